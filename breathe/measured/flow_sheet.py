"""A flow-bench sheet -> discharge coefficients of one side's valves on curtain area.

What the sheet does not say is asked for, not guessed: test pressure, flow unit, which column. What
can be told beyond doubt (inches or mm against the valve, a pressure in the file's name) is used and
said.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np

from breathe.engine.parts import BenchFlow, Floats, FlowCoefficients, Side
from breathe.measured.bench import Convention, bench_speed, to_isentropic
from breathe.measured.flow_checks import check_rows
from breathe.measured.flow_columns import FLOW_UNITS, Header, choose_columns, find_header
from breathe.measured.flow_facts import sentences
from breathe.measured.flow_rows import Reading, read_readings
from breathe.measured.flow_setup import Given, Setup, find_setup
from breathe.measured.remarks import Remarks
from breathe.measured.sheet import RawSheet, SheetError, looks_like, open_sheet
from breathe.valvetrain.opening import REVERSE_SHARE

_OTHER: dict[Side, Side] = {"intake": "exhaust", "exhaust": "intake"}


@dataclass(frozen=True, slots=True, kw_only=True)
class FlowRow:
    """One reading that is used."""

    number: int
    """Row of the file."""
    lift_m: float
    flow_m3_s: float
    """Through all valves measured, at the test pressure."""
    coefficient: float
    """On curtain area, in the sheet's ``convention``."""
    reverse_coefficient: float | None
    remark: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FlowSheet:
    """A flow sheet, understood."""

    path: Path
    side: Side
    rows: tuple[FlowRow, ...]
    """Rising in lift."""
    head_diameter_m: float
    valves: int
    """Open on the bench."""
    valves_from: Literal["given", "sheet", "assumed"]
    area: str
    """The reference area in words."""
    test_pressure_Pa: float
    ambient_Pa: float
    density_kg_m3: float
    convention: Convention
    flow_unit: str
    """Of the flows as written, a key of `FLOW_UNITS`."""
    understood: tuple[str, ...]
    """How the file was read, one line each."""
    notes: tuple[str, ...]
    """What to know of the figures, one line each."""
    questions: tuple[str, ...]
    """What looks odd, one line each, with row numbers."""

    def coefficients(self) -> FlowCoefficients:
        """As the engine takes them: isentropic convention, at lift over head diameter.

        Reverse figures where the sheet has them, on straight lines between those lifts; else
        `REVERSE_SHARE` of the forward ones.
        """
        lift = np.array([row.lift_m for row in self.rows])
        forward = np.array([row.coefficient for row in self.rows]) * self._factor(self.side)
        measured = [r for r in self.rows if r.reverse_coefficient is not None]
        reverse = REVERSE_SHARE * forward
        if measured:
            figures = np.array([r.reverse_coefficient for r in measured], dtype=np.float64)
            reverse = np.interp(lift, [r.lift_m for r in measured], figures)
            reverse = reverse * self._factor(_OTHER[self.side])
        return FlowCoefficients(
            lift_over_diameter=lift / self.head_diameter_m,
            forward=forward,
            reverse=reverse,
            bench=self._bench(lift, forward),
        )

    def _bench(self, lift_m: Floats, isentropic: Floats) -> BenchFlow:
        to_bench = 1 / to_isentropic(self.test_pressure_Pa, self.side, self.ambient_Pa)
        return BenchFlow(
            file=self.path.name,
            area=self.area,
            lift_m=lift_m,
            flow=np.array([row.flow_m3_s for row in self.rows]) / FLOW_UNITS[self.flow_unit],
            flow_unit=self.flow_unit,
            coefficient=isentropic * to_bench,
        )

    def _factor(self, direction: Side) -> float:
        if self.convention == "isentropic":
            return 1.0
        return to_isentropic(self.test_pressure_Pa, direction, self.ambient_Pa)


def read_flow_sheet(
    path: Path,
    *,
    side: Side,
    head_diameter_m: float,
    valves: int | None = None,
    valves_fitted: int | None = None,
    test_pressure_Pa: float | None = None,
    convention: Convention = "bench",
    workbook_sheet: str | None = None,
) -> FlowSheet:
    """Discharge coefficients from a flow-bench sheet.

    Parameters
    ----------
    path : Path
        Text in columns, or a workbook.
    side : {'intake', 'exhaust'}
        Whose columns are wanted.
    head_diameter_m : float
        Of one valve.
    valves : int, optional
        Open on the bench; by default as the sheet says, else ``valves_fitted``, else 1.
    valves_fitted : int, optional
        Of one cylinder of the engine; a sheet that says more is refused.
    test_pressure_Pa : float, optional
        By default as the sheet, or the file's name, says.
    convention : {'bench', 'isentropic'}
        Of the coefficients in the rows; `FlowSheet.coefficients` is isentropic in any case.
    workbook_sheet : str, optional
        Which sheet of a workbook.

    Raises
    ------
    SheetError
        One line: another kind of file, something given nowhere, or figures no valve can have.
    """
    raw = open_sheet(path, workbook_sheet=workbook_sheet)
    header = _header(raw)
    remarks = Remarks()
    columns = choose_columns(header, side, path.name)
    given = Given(test_pressure_Pa=test_pressure_Pa, valves=valves, valves_fitted=valves_fitted)
    said = sentences(raw, header)
    setup = find_setup(path.name, said, header, columns[1], side, given, remarks)
    readings = read_readings(raw, header, columns, head_diameter_m, remarks)
    rows = _rows(path.name, readings, setup, head_diameter_m, side, convention, remarks)
    names = " and ".join(f'"{c.name}"' for c in columns if c is not None)
    return FlowSheet(
        path=path,
        side=side,
        rows=rows,
        head_diameter_m=head_diameter_m,
        valves=setup.valves,
        valves_from=setup.valves_from,
        area=_area(setup.valves, head_diameter_m),
        test_pressure_Pa=setup.test_pressure_Pa,
        ambient_Pa=setup.air.ambient_Pa,
        density_kg_m3=setup.air.density_kg_m3,
        convention=convention,
        flow_unit=setup.flow_unit,
        understood=(*raw.understood, f"{names}, {setup.flow_unit}; {len(rows)} rows used"),
        notes=tuple(remarks.notes),
        questions=tuple(remarks.questions),
    )


def _area(valves: int, head_diameter_m: float) -> str:
    many = valves > 1
    each = f"pi x {head_diameter_m * 1e3:g} mm x lift{', each' if many else ''}"
    return f"curtain area of {valves} valve{'s' if many else ''} ({each})"


def _header(raw: RawSheet) -> Header:
    header = find_header(raw)
    if header is None:
        looks = looks_like(raw)
        this = f"this looks like {looks}" if looks else "no row names a lift and a flow"
        raise SheetError(
            f"{raw.path.name}: expected a flow sheet with columns such as lift mm, in cfm, ex "
            f"cfm; {this}"
        )
    return header


def _rows(
    file: str,
    readings: Sequence[Reading],
    setup: Setup,
    head_m: float,
    side: Side,
    convention: Convention,
    remarks: Remarks,
) -> tuple[FlowRow, ...]:
    """Coefficients of the readings, checked, in the convention asked for.

    C = Q / (n pi d L sqrt(2 dp / rho)): J. B. Heywood, Internal Combustion Engine Fundamentals,
    1988, eq. 6.13 in its incompressible limit (from memory).
    """
    pressure, air = setup.test_pressure_Pa, setup.air
    speed = bench_speed(pressure, air.density_kg_m3)
    per_flow = [
        FLOW_UNITS[setup.flow_unit] / (setup.valves * math.pi * head_m * r.lift_m * speed)
        for r in readings
    ]
    forward = [r.flow * p for r, p in zip(readings, per_flow, strict=True)]
    check_rows(file, readings, forward, remarks)
    back = [r.reverse * p for r, p in zip(readings, per_flow, strict=True) if r.reverse is not None]
    has = [r for r in readings if r.reverse is not None]
    check_rows(file, has, back, remarks)
    last = readings[-1].lift_m
    remarks.notes.append(
        f"above the last lift, {last * 1e3:.2f} mm ({last / 0.0254:.3f} in), the coefficient is "
        f"held at {forward[-1]:.2f}, not extrapolated"
    )
    isentropic = convention == "isentropic"
    ahead = to_isentropic(pressure, side, air.ambient_Pa) if isentropic else 1.0
    behind = to_isentropic(pressure, _OTHER[side], air.ambient_Pa) if isentropic else 1.0
    return tuple(
        FlowRow(
            number=r.number,
            lift_m=r.lift_m,
            flow_m3_s=r.flow * FLOW_UNITS[setup.flow_unit],
            coefficient=c * ahead,
            reverse_coefficient=None if r.reverse is None else r.reverse * p * behind,
            remark=r.remark,
        )
        for r, c, p in zip(readings, forward, per_flow, strict=True)
    )

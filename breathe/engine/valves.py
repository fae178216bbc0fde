"""The valves of one side, with flow coefficients given, from a flow bench, or typical."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from breathe.engine.assumed import Filled
from breathe.engine.engine_classes import EngineClass
from breathe.engine.findings import COMMON_PRACTICE, Findings
from breathe.engine.parts import Floats, FlowCoefficients, Side, Valve
from breathe.measured.bench import bench_speed, to_isentropic
from breathe.measured.flow_checks import SLIP, USUAL, low_highest
from breathe.valvetrain.opening import REVERSE_SHARE, default_coefficients, default_source

_INLINE = ("lift", "lift_over_diameter", "coefficient", "reverse_coefficient", "bench_flow")
"""Keys that give in the engine file what a flow sheet beside it gives."""


def build_valve(
    values: Mapping[str, Any], side: Side, kind: EngineClass, folder: Path, findings: Findings
) -> Valve:
    """The valves of one side; what is missing follows the engine's class.

    ``folder`` is where a flow sheet named in the file is looked for.
    """
    given = values.get(side, {}).get("valve", {})
    table = f"{side}.valve"
    filled = Filled(given, table, findings)
    count = given.get("count") or _assumed_count(values, side, kind, findings)
    head = _head_diameter(values, side, kind, filled)
    throat = 0.87 if side == "intake" else 0.84
    stem = 0.17 if count > 1 else 0.20
    seat = 0.035 if side == "intake" else 0.05
    return Valve(
        count=count,
        head_diameter_m=head,
        throat_diameter_m=filled.take(
            "throat_diameter", throat * head, "length", f"{throat:g} of the head", step=0.5e-3
        ),
        stem_diameter_m=filled.take(
            "stem_diameter", stem * head, "length", f"{stem:g} of the head", step=0.5e-3
        ),
        seat_angle_deg=filled.take("seat_angle", 45.0, "plain angle", "usual"),
        seat_width_m=filled.take(
            "seat_width", seat * head, "length", f"{seat:g} of the head", step=0.1e-3
        ),
        coefficients=_coefficients(given.get("flow", {}), side, head, count, folder, findings),
    )


def _assumed_count(
    values: Mapping[str, Any], side: Side, kind: EngineClass, findings: Findings
) -> int:
    intake = values.get("intake", {}).get("valve", {}).get("count", kind.intake_valves)
    count = int(kind.intake_valves if side == "intake" else min(intake, 2))
    findings.assume(f"{side}.valve.count", str(count), f"typical of {kind.name}")
    return count


def _head_diameter(
    values: Mapping[str, Any], side: Side, kind: EngineClass, filled: Filled
) -> float:
    if side == "intake":
        default = kind.intake_valve_over_bore * values["engine"]["bore"]
        reason = f"{kind.intake_valve_over_bore:g} of the bore, typical of {kind.name}"
    else:
        intake = values.get("intake", {}).get("valve", {}).get("head_diameter")
        intake = intake or kind.intake_valve_over_bore * values["engine"]["bore"]
        default = kind.exhaust_over_intake_valve * intake
        reason = f"{kind.exhaust_over_intake_valve:g} of the intake valve"
    return filled.take("head_diameter", default, "length", reason, step=0.5e-3)


def _coefficients(
    flow: Mapping[str, Any],
    side: Side,
    head_m: float,
    count: int,
    folder: Path,
    findings: Findings,
) -> FlowCoefficients:
    table = f"{side}.valve.flow"
    if flow.get("bench_valves", count) > count:
        text = (
            f"found {flow['bench_valves']}, the engine has {count} per cylinder: another engine's "
        )
        findings.ask(f"[{table}] bench_valves", f"{text}sheet?")
    if "file" in flow:
        return _from_sheet(flow, side, head_m, count, folder, findings)
    if not flow:
        usual = default_coefficients(side)
        shown = ", ".join(
            f"{c:.2f} at {x:.2f}"
            for x, c in zip(usual.lift_over_diameter[1::2], usual.forward[1::2], strict=True)
        )
        reason = "no flow-bench figures; curtain area, at lift/diameter"
        findings.assume(table, shown, reason, default_source(side))
        return usual
    forward, at = _given_curve(flow, side, head_m, count, findings)
    if "reverse_coefficient" in flow and len(flow["reverse_coefficient"]) == len(forward):
        reverse = np.array(flow["reverse_coefficient"])
    else:
        if "reverse_coefficient" in flow:
            found = len(flow["reverse_coefficient"])
            text = f"{found} values; expected {len(forward)}, one for each lift"
            findings.fault(f"[{table}] reverse_coefficient", text)
        reverse = REVERSE_SHARE * forward
        _assume_reverse(table, findings)
    return FlowCoefficients(lift_over_diameter=at, forward=forward, reverse=reverse)


def _assume_reverse(table: str, findings: Findings) -> None:
    findings.assume(
        f"{table}.reverse_coefficient",
        f"{REVERSE_SHARE:g} of the forward one",
        "a bench sheet seldom has it",
        "from memory: both ways agree within about 10 %",
    )


def _assume_valves(table: str, count: int, findings: Findings) -> None:
    if count > 1:
        findings.assume(f"{table}.bench_valves", str(count), "all valves open", COMMON_PRACTICE)


def _from_sheet(
    flow: Mapping[str, Any],
    side: Side,
    head_m: float,
    count: int,
    folder: Path,
    findings: Findings,
) -> FlowCoefficients:
    """Coefficients from the flow sheet the table names; its faults and remarks noted."""
    from breathe.measured.flow_sheet import read_flow_sheet
    from breathe.measured.sheet import SheetError

    table = f"{side}.valve.flow"
    place, path = f"[{table}] file", folder / flow["file"]
    both = [key for key in _INLINE if key in flow]
    if both:
        findings.fault(place, f'give "{path.name}" or {" and ".join(both)}, not both')
        return default_coefficients(side)
    try:
        sheet = read_flow_sheet(
            path,
            side=side,
            head_diameter_m=head_m,
            valves=flow.get("bench_valves"),
            valves_fitted=count,
            test_pressure_Pa=flow.get("bench_pressure"),
            workbook_sheet=flow.get("workbook_sheet"),
        )
    except SheetError as error:
        findings.fault(place, str(error))
        return default_coefficients(side)
    for question in sheet.questions:
        findings.ask(place, f"{path.name}: {question}")
    for note in sheet.notes:
        findings.note(f"{side} {path.name}", note)
    if sheet.valves_from == "assumed":
        _assume_valves(table, sheet.valves, findings)
    if all(row.reverse_coefficient is None for row in sheet.rows):
        _assume_reverse(table, findings)
    return sheet.coefficients()


def _given_curve(
    flow: Mapping[str, Any], side: Side, head_m: float, count: int, findings: Findings
) -> tuple[Floats, Floats]:
    """Forward coefficient and lift/diameter, rows sorted by lift; faults noted."""
    nothing = np.array([0.5]), np.array([0.1])
    place = f"[{side}.valve.flow]"
    lifts = flow.get("lift_over_diameter") or [x / head_m for x in flow.get("lift", [])]
    figures = flow.get("coefficient") or flow.get("bench_flow")
    if not lifts or not figures:
        text = "needs a file, or lift or lift_over_diameter, and coefficient or bench_flow"
        findings.fault(place, text)
        return nothing
    if len(lifts) != len(figures):
        text = f"{len(lifts)} lifts but {len(figures)} flow figures; expected one for each"
        findings.fault(place, text)
        return nothing
    order = np.argsort(lifts, kind="stable")
    at, known = np.array(lifts, dtype=float)[order], np.array(figures, dtype=float)[order]
    if at[0] <= 0 or np.any(np.diff(at) <= 0):
        findings.fault(place, "expected lifts above 0, each only once")
        return nothing
    if np.any(np.diff(lifts) < 0):
        findings.note(place, "lifts were not in rising order; sorted")
    if "coefficient" in flow:
        return known, at
    return _from_bench(flow, side, at, known, head_m, count, findings), at


def _from_bench(
    flow: Mapping[str, Any],
    side: Side,
    at: Floats,
    flow_m3_s: Floats,
    head_m: float,
    count: int,
    findings: Findings,
) -> Floats:
    """Isentropic coefficients on curtain area from flow-bench rows.

    Judged on the bench convention, C = Q / (n pi d L sqrt(2 dp / rho)), as users know them: J. B.
    Heywood, Internal Combustion Engine Fundamentals, 1988, eq. 6.13 in its incompressible limit
    (from memory).
    """
    place = f"[{side}.valve.flow]"
    pressure = flow.get("bench_pressure")
    if pressure is None:
        text = 'missing; 10, 25 or 28 inH2O? Write bench_pressure = "28 inH2O"'
        findings.fault(f"{place} bench_pressure", text)
        return np.full_like(at, 0.5)
    valves = flow.get("bench_valves", count)
    if "bench_valves" not in flow:
        _assume_valves(f"{side}.valve.flow", count, findings)
    ideal = valves * math.pi * head_m**2 * at * bench_speed(pressure)
    coefficient: Floats = flow_m3_s / ideal
    _judge_bench(place, at * head_m, coefficient, findings)
    return coefficient * to_isentropic(pressure, side)


def _judge_bench(place: str, lift_m: Floats, coefficient: Floats, findings: Findings) -> None:
    """Note coefficients on the bench convention that no valve has, or few."""
    for x, c in zip(lift_m, coefficient, strict=True):
        row = f"at lift {x * 1e3:.2f} mm the coefficient on curtain area is {c:.2f}"
        if c > 0.95 or c <= 0:
            findings.fault(place, f"{row}; expected at most 0.95; {SLIP}")
        elif c > USUAL[1]:
            findings.ask(place, f"{row}, above the usual {USUAL[1]:g}; {SLIP}")
        elif c < USUAL[0]:
            findings.ask(place, f"{row}, below the usual {USUAL[0]:g}; {SLIP}")
    low = low_highest(list(coefficient))
    if low:
        findings.ask(place, low)

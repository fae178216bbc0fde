"""How the flow was measured: what was given, what the sheet says, and what has to be asked."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from breathe.engine.parts import Side
from breathe.engine.quantities import from_si
from breathe.measured.bench import AIR_PRESSURE_PA, same_flow_at
from breathe.measured.flow_columns import Column, Header, flow_units
from breathe.measured.flow_facts import (
    FILE_NAME,
    Air,
    Sentences,
    find_air,
    find_pipe,
    find_pressures,
    find_valves,
)
from breathe.measured.remarks import Remarks
from breathe.measured.sheet import SheetError

_USUAL_PRESSURE = (1500.0, 7500.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """What turns a flow as written into one with a meaning."""

    test_pressure_Pa: float
    flow_unit: str
    air: Air
    valves: int
    valves_from: Literal["given", "sheet", "assumed"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Given:
    """What the user says beside the sheet; None is left to the sheet."""

    test_pressure_Pa: float | None
    valves: int | None
    valves_fitted: int | None
    """Of one cylinder: taken where the sheet says nothing, and the most it may say."""


def find_setup(
    file: str,
    said: Sentences,
    header: Header,
    flow: Column,
    side: Side,
    given: Given,
    remarks: Remarks,
) -> Setup:
    """The bench set-up of one column of flow.

    Raises
    ------
    SheetError
        If test pressure or flow unit is given nowhere, or in two ways; if more valves were open
        than the engine has.
    """
    if flow.side is None:
        remarks.questions.append(f'the column "{flow.name}" names no side; taken as {side}')
    valves, valves_from = _valves(file, said, given, remarks)
    setup = Setup(
        test_pressure_Pa=_test_pressure(file, said, given.test_pressure_Pa, remarks),
        flow_unit=_flow_unit(file, said, header, flow, remarks),
        air=find_air(said),
        valves=valves,
        valves_from=valves_from,
    )
    remarks.notes.append(f"test pressure {_shown(setup.test_pressure_Pa)}, {setup.air.said}")
    _side_notes(said, side, setup.test_pressure_Pa, remarks)
    return setup


def _shown(pascal: float) -> str:
    inches = from_si(pascal, "pressure difference", "inH2O")
    return f"{inches:.4g} inH2O = {pascal:.0f} Pa"


def _test_pressure(file: str, said: Sentences, given: float | None, remarks: Remarks) -> float:
    found = find_pressures(said)
    if given is not None:
        for other in found:
            if abs(other.pascal / given - 1) > 0.01:
                remarks.questions.append(
                    f"{other.place} says {other.written}, but {_shown(given)} was given; the "
                    "latter is used"
                )
        return given
    if not found:
        factor, less = same_flow_at(1.0, 10, 28), same_flow_at(1.0, 25, 28)
        raise SheetError(
            f"{file}: no test pressure; was it 10, 25 or 28 inH2O? It matters: one port flows "
            f"{factor:.3f} times as much at 28 as at 10, {less:.3f} times as much as at 25. Write "
            'bench_pressure = "28 inH2O" in the engine file, or 28 inH2O in the first row'
        )
    if len(found) > 1:
        each = " and ".join(f"{p.written} ({p.place})" for p in found[:4])
        raise SheetError(
            f"{file}: found test pressures {each}; which do the figures stand for? Write "
            'bench_pressure = "28 inH2O" in the engine file'
        )
    if found[0].place == FILE_NAME:
        remarks.notes.append(f"test pressure {found[0].written} taken from {FILE_NAME}")
    if not _USUAL_PRESSURE[0] <= found[0].pascal <= _USUAL_PRESSURE[1]:
        low, high = (f"{p / 1e3:g}" for p in _USUAL_PRESSURE)
        remarks.questions.append(
            f"{found[0].place}: test pressure {found[0].written} is outside the usual {low} to "
            f"{high} kPa. inH2O or kPa?"
        )
    return found[0].pascal


def _flow_unit(file: str, said: Sentences, header: Header, flow: Column, remarks: Remarks) -> str:
    if flow.unit:
        return flow.unit
    units = {unit: place for place, text in reversed(said) for unit in flow_units(text)}
    if len(units) != 1:
        found = f"found {' and '.join(sorted(units))}" if units else "none is given"
        raise SheetError(
            f'{file}, row {header.row.number}: the column "{flow.name}" names no unit of flow; '
            f"{found}: cfm, l/s or m3/h? Write it behind the name"
        )
    unit, place = units.popitem()
    remarks.notes.append(f'"{flow.name}" names no unit: {unit}, from {place}')
    return unit


def _valves(
    file: str, said: Sentences, given: Given, remarks: Remarks
) -> tuple[int, Literal["given", "sheet", "assumed"]]:
    found, fitted = find_valves(said), given.valves_fitted
    if given.valves is not None:
        if found and found.count != given.valves:
            remarks.questions.append(
                f"{found.place} says {found.written}, but {_count(given.valves)} was given; the "
                "latter is used"
            )
        return given.valves, "given"
    if found and fitted is not None and found.count > fitted:
        raise SheetError(
            f"{file}: {found.place} says {found.written}, the engine has {fitted} per cylinder: "
            f"another engine's sheet? bench_valves = {fitted} says otherwise"
        )
    if found:
        remarks.notes.append(f"{_count(found.count)} open, as {found.place} says")
        return found.count, "sheet"
    return fitted or 1, "assumed"


def _count(valves: int) -> str:
    return "one valve" if valves == 1 else f"{valves} valves"


def _side_notes(said: Sentences, side: Side, pressure_Pa: float, remarks: Remarks) -> None:
    if side == "intake":
        return
    pipe = find_pipe(said)
    if pipe:
        remarks.notes.append(
            f"{pipe} says a pipe was fitted: it typically lifts exhaust flow about 5 % (common "
            "practice); the figures are used as measured"
        )
    share = pressure_Pa / AIR_PRESSURE_PA
    remarks.notes.append(
        "exhaust flow is taken as volume at the density of the room; if the bench states it at "
        f"that of the air blown in, the coefficients are {100 * share:.0f} % higher"
    )

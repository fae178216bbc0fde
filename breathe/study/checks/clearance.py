"""Valve to piston and valve to valve, as built and in every tolerance case."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from breathe.engine.parts import Engine, Setting, Side
from breathe.study.checks.line import Line, gap_verdict, worst_of
from breathe.study.checks.springs import coil_bind_lines
from breathe.study.checks.stand import SIDES, Stand, mechanics_of, stand
from breathe.valvetrain.clearance import (
    RADIAL_RULE_M,
    RULE_SOURCE,
    PistonRoom,
    piston_room,
    piston_rule_m,
    piston_tolerances,
    valve_tolerances,
)
from breathe.valvetrain.crank import motion

WHEEL_DEG = 1.0
"""What a wheel reading may be off by, crank degrees (common practice, no source)."""
READING_M = 0.05e-3
"""What a gap may be off by (common practice, no source: 0.02 mm each of two dial readings)."""


def piston_lines(engine: Engine, stood: Stand) -> list[Line]:
    """The smallest gap of the cycle between valve and piston in every tolerance case."""
    gap = stood.parts.piston_gap
    if gap is None:
        return []
    room, rule = piston_room(engine.cylinder, gap), piston_rule_m(stood.side)
    cases = piston_tolerances(stood.valve, room, mechanics_of(engine).tolerances)
    return [
        Line(
            topic="valve to piston",
            item="smallest gap along the valve",
            side=stood.side,
            setting=stood.setting,
            case=case.label,
            value=case.tightest.gap_m,
            unit="m",
            where=case.tightest.where,
            limit=rule,
            rule=RULE_SOURCE,
            verdict=gap_verdict(case.tightest.gap_m, rule),
        )
        for case in cases
    ]


def valve_lines(engine: Engine, intake: Stand, exhaust: Stand) -> list[Line]:
    """The smallest gap of the cycle between the two heads in every tolerance case."""
    mechanics = mechanics_of(engine)
    if mechanics.valve_pair is None:
        return []
    heads = engine.intake_valve.head_diameter_m, engine.exhaust_valve.head_diameter_m
    cases = valve_tolerances(
        mechanics.valve_pair, heads, intake.valve, exhaust.valve, mechanics.tolerances
    )
    return [
        Line(
            topic="valve to valve",
            item="smallest gap between the heads",
            setting=intake.setting,
            case=case.label,
            value=case.tightest.gap_m,
            unit="m",
            where=case.tightest.where,
            limit=RADIAL_RULE_M,
            rule=RULE_SOURCE,
            verdict=gap_verdict(case.tightest.gap_m, RADIAL_RULE_M),
        )
        for case in cases
    ]


def gap_questions(engine: Engine) -> list[str]:
    """Measured gaps that the piston's own motion cannot make."""
    asked = []
    for side in SIDES:
        gap = mechanics_of(engine).of(side).piston_gap
        if gap is None or len(gap.angle_deg) < 2:
            continue
        question = _mismatch(piston_room(engine.cylinder, gap), side)
        asked += [question] if question else []
    return asked


def _mismatch(room: PistonRoom, side: Side) -> str | None:
    """The question about a table of gaps, if it strays by more than wheel and dial explain."""
    slope = room.along * motion(room.crank, room.angle_deg)[1]
    stray = room.mismatch_m
    beyond = np.abs(stray) - (READING_M + WHEEL_DEG * np.abs(slope))
    worst = int(np.argmax(beyond))
    if beyond[worst] <= 0:
        return None
    # A wheel whose zero is late by d reads d times the slope too little.
    wheel = float(slope @ (stray - stray.mean()) / (slope @ slope))
    left = stray - stray.mean() - wheel * slope
    told = (
        f"[{side}.clearance]: the gap measured at {room.angle_deg[worst]:g} deg from TDC differs "
        f"by {stray[worst] * 1e3:+.2f} mm from what stroke and rod make of the gap at TDC"
    )
    if np.abs(left).max() < READING_M + 0.2 * np.abs(stray).max():
        return f"{told}. Is the wheel's zero {abs(wheel):.1f} deg off TDC?"
    return f"{told}. Stroke, rod and angles right? The measured gaps are taken"


def does_not_clear(engine: Engine, settings: Iterable[Setting]) -> dict[str, str]:
    """Which settings touch or come too close, coils too, and the worst gap of each in words.

    Parameters
    ----------
    engine : Engine
    settings : iterable of Setting
        One that cannot stand at all is passed over: its cases say so.

    Returns
    -------
    dict
        By label, such as 'intake valve to piston 1.09 mm at 7.0 ATDC, too close: at least 2 mm'.
    """
    found = {}
    for setting in settings:
        try:
            intake, exhaust = (stand(engine, setting, side) for side in SIDES)
        except ValueError:
            continue
        lines = [
            *piston_lines(engine, intake),
            *piston_lines(engine, exhaust),
            *valve_lines(engine, intake, exhaust),
            *coil_bind_lines(intake),
            *coil_bind_lines(exhaust),
        ]
        worst = worst_of(lines)
        if worst is not None:
            found[setting.label] = gap_words(worst)
    return found


def gap_words(line: Line) -> str:
    """A gap that fails, told in metric units."""
    assert line.value is not None and line.limit is not None
    what = f"{line.side} {line.topic}" if line.side else line.topic
    what += f", {line.item}" if line.topic == "spring" else ""
    case = f" with {line.case}" if line.case not in ("as given", "") else ""
    where = line.where if line.where.startswith("at ") else f"at {line.where}"
    told = f"{what} {line.value * 1e3:.2f} mm {where}{case}"
    return f"{told}, {line.verdict}: at least {line.limit * 1e3:.3g} mm"


def known_clearances(engine: Engine) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Names of the clearances that can be checked, and of those that cannot."""
    mechanics = mechanics_of(engine)
    told = {f"{side} valve to piston": mechanics.of(side).piston_gap for side in SIDES}
    parts = {**told, "valve to valve": mechanics.valve_pair}
    checked = tuple(name for name, part in parts.items() if part is not None)
    return checked, tuple(name for name in parts if name not in checked)


def unknown_clearances(engine: Engine) -> tuple[str, ...]:
    """Clearances that the engine file tells too little of to be checked."""
    return known_clearances(engine)[1]

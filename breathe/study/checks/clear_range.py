"""How much room the valves have where the gear stands, and which stretch of an axis clears."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.optimize import brentq

from breathe.engine.parts import Engine, Floats, Setting, Side
from breathe.study.checks.clearance import known_clearances
from breathe.study.checks.stand import SIDES, mechanics_of
from breathe.study.gear import Gear
from breathe.valvetrain.clearance import (
    RADIAL_RULE_M,
    ValveMotion,
    piston_room,
    piston_rule_m,
    piston_tolerances,
    valve_tolerances,
)
from breathe.valvetrain.dwell import lift_curve

_PLACES = 7
"""Places along an axis where clearance is worked out before its edges are refined."""
_EDGE_DEG = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class Clear:
    """Where along an axis every clearance that can be checked keeps its rule."""

    low_deg: float
    high_deg: float
    checked: tuple[str, ...]
    """Such as 'intake valve to piston'."""
    unknown: tuple[str, ...]
    """Clearances that the engine file tells too little of: NOT CHECKED."""
    beyond: str = ""
    """What comes too close outside, in words; empty if nothing does."""


def clear_range(engine: Engine, gear: Gear, axis: int, stand: Sequence[float]) -> Clear:
    """The widest stretch of an axis on which all known clearances keep their rule.

    Every tolerance case of the engine file counts: cam early and late, lash used up.

    Parameters
    ----------
    engine : Engine
    gear : Gear
    axis : int
        The one that moves.
    stand : sequence of float
        Where all axes stand; the moving one's is passed over.
    """
    low, high = gear.axes[axis].low_deg, gear.axes[axis].high_deg
    checked, unknown = known_clearances(engine)
    if not checked:
        return Clear(low_deg=low, high_deg=high, checked=checked, unknown=unknown)

    def spare(degrees: float) -> float:
        return spare_room(engine, _setting(gear, axis, stand, degrees))[0]

    places = np.linspace(low, high, _PLACES if high > low else 1)
    room = [spare(float(x)) for x in places]
    stretches = _stretches(places, room, spare)
    if not stretches:
        worst = spare_room(engine, _setting(gear, axis, stand, float(places[np.argmax(room)])))[1]
        # An empty stretch: above its high end.
        return Clear(low_deg=high, high_deg=low, checked=checked, unknown=unknown, beyond=worst)
    first, last = max(stretches, key=lambda ends: ends[1] - ends[0])
    outside = low if first > low else high
    whole = first <= low and last >= high
    beyond = "" if whole else spare_room(engine, _setting(gear, axis, stand, outside))[1]
    return Clear(low_deg=first, high_deg=last, checked=checked, unknown=unknown, beyond=beyond)


def _setting(gear: Gear, axis: int, stand: Sequence[float], degrees: float) -> Setting:
    place = [degrees if i == axis else x for i, x in enumerate(stand)]
    return gear.setting(place)


def _stretches(
    places: Floats, room: Sequence[float], spare: Callable[[float], float]
) -> list[tuple[float, float]]:
    """Ends of the stretches with room to spare, found on a grid and refined."""
    edges = [float(places[0])] if room[0] >= 0 else []
    for (a, room_a), (b, room_b) in pairwise(zip(places, room, strict=True)):
        if (room_a >= 0) != (room_b >= 0):
            edge = float(brentq(spare, a, b, xtol=_EDGE_DEG))
            # Never on the far side of the edge.
            edges.append(edge + _EDGE_DEG if room_b >= 0 else edge - _EDGE_DEG)
    if room[-1] >= 0:
        edges.append(float(places[-1]))
    return list(zip(edges[::2], edges[1::2], strict=True))


def spare_room(engine: Engine, setting: Setting) -> tuple[float, str]:
    """Least of gap less rule [m] over all known clearances and tolerance cases, and its words."""
    mechanics = mechanics_of(engine)
    motions = {side: _motion(engine, setting, side) for side in SIDES}
    found: list[tuple[float, str]] = []
    for side in SIDES:
        gap = mechanics.of(side).piston_gap
        if gap is not None:
            rule = piston_rule_m(side)
            room = piston_room(engine.cylinder, gap)
            for case in piston_tolerances(motions[side], room, mechanics.tolerances):
                what = f"{side} valve to piston"
                found.append(_told(what, case.label, case.tightest.gap_m, rule))
    if mechanics.valve_pair is not None:
        heads = engine.intake_valve.head_diameter_m, engine.exhaust_valve.head_diameter_m
        cases = valve_tolerances(
            mechanics.valve_pair, heads, motions["intake"], motions["exhaust"], mechanics.tolerances
        )
        for case in cases:
            found.append(_told("valve to valve", case.label, case.tightest.gap_m, RADIAL_RULE_M))
    return min(found)


def _told(what: str, case: str, gap_m: float, rule_m: float) -> tuple[float, str]:
    case = "" if case == "as given" else f" with {case}"
    words = f"{what} {gap_m * 1e3:.2f} mm{case}, at least {rule_m * 1e3:.3g} mm"
    # Gaps are judged as they are shown.
    return round(gap_m * 1e5) / 1e5 - rule_m, words


def _motion(engine: Engine, setting: Setting, side: Side) -> ValveMotion:
    intake = side == "intake"
    own = engine.intake_cam if intake else engine.exhaust_cam
    cam = (setting.intake_cam if intake else setting.exhaust_cam) or own
    curve = lift_curve(
        cam,
        travel_m=setting.intake_travel_m if intake else setting.exhaust_travel_m,
        shift_deg=setting.intake_shift_deg if intake else setting.exhaust_shift_deg,
        stretch=setting.intake_stretch if intake else setting.exhaust_stretch,
        side=side,
    )
    return ValveMotion(curve=curve, lash_m=cam.lash_m)

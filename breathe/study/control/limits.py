"""What a control map is held inside: room for the valves, travel, burnt gas, knock, vacuum."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from breathe.cycle.burn import LONGEST_10_90_DEG
from breathe.cycle.remarks import ROUGH_RESIDUAL
from breathe.engine.mechanics import Mechanics
from breathe.engine.parts import Engine, Floats, Setting, Side
from breathe.errors import BreatheError
from breathe.study.gear import SIDES, Axis, Gear
from breathe.valvetrain.clearance import (
    RADIAL_RULE_M,
    ValveMotion,
    piston_room,
    piston_rule_m,
    piston_tolerances,
    valve_tolerances,
)
from breathe.valvetrain.dwell import lift_curve

KNOCK_MOST = 1.05
"""Index above which knock was not avoided by retarding; settled cases hold it at 1."""
_HARDLY = {"knock": 0.05, "burning": 1.0, "residual": 0.01, "vacuum": 1e3}
"""How much worse than the least bad place running does not tell, where no place keeps a limit:
index, crank degrees, share of the charge, Pa (common practice, no source)."""
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Vacuum:
    """Manifold vacuum to be kept at light load, for a brake servo and the like."""

    least_Pa: float
    """Outside less manifold pressure."""
    below_bmep_Pa: float
    """Only up to this load: no engine has vacuum at full load."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Everything a target may not pass. Degrees count along the axis from its zero."""

    low_deg: float
    high_deg: float
    """Travel that may be used: the axis's own, or less if asked."""
    clear: Clear
    margin_deg: float = 0.0
    """How far the gear may stand from its target: hysteresis. Clearance is kept with it."""
    residual_most: float = ROUGH_RESIDUAL
    knock_most: float = KNOCK_MOST
    vacuum: Vacuum | None = None

    @property
    def safe_deg(self) -> tuple[float, float]:
        """Ends that hold in every cell: travel, and clearance with the margin on it.

        Raises
        ------
        BreatheError
            Nothing is left between them.
        """
        low, high = self.low_deg, self.high_deg
        if self.clear.low_deg > low:
            low = self.clear.low_deg + self.margin_deg
        if self.clear.high_deg < high:
            high = self.clear.high_deg - self.margin_deg
        if low > high:
            raise BreatheError(
                f"no position of the travel asked for clears: {self.clear.beyond}. The rule, and "
                "every clearance of the engine file, are printed by `breathe check`"
            )
        return low, high

    def allowed(self, figures: Mapping[str, Floats], bmep_Pa: float, outside_Pa: float) -> Allowed:
        """Which places of a cell keep the limits that depend on speed and load.

        Parameters
        ----------
        figures : mapping
            Columns of `part_load.FIGURES` over the places (n,).
        bmep_Pa : float
            Load of the cell.
        outside_Pa : float
            Pressure of the outside air.
        """
        # What can wreck the engine stands first: it is given up last.
        over = {
            "knock": figures["knock_index"] - self.knock_most,
            "burning": figures["burn_10_90_deg"] - (LONGEST_10_90_DEG - 1e-6),
            "residual": figures["residual_fraction"] - self.residual_most,
        }
        if self.vacuum is not None and bmep_Pa <= self.vacuum.below_bmep_Pa:
            left = outside_Pa - figures["manifold_pressure_Pa"]
            over["vacuum"] = self.vacuum.least_Pa - left
        return Allowed(over)


@dataclass(frozen=True, slots=True)
class Allowed:
    """By how much each limit is passed at places (n,); gravest limit first."""

    over: Mapping[str, Floats]

    @property
    def places(self) -> NDArray[np.bool_]:
        """(n,) where all are kept."""
        return np.logical_and.reduce([over <= 0 for over in self.over.values()])

    def least_bad(self, known: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """(n,) places of those ``known`` that keep what can be kept, the gravest limit first, and
        hardly pass what cannot more than the least."""
        places = known.copy()
        for name, over in self.over.items():
            kept = places & (over <= 0)
            near = places & (over <= np.min(over[places]) + _HARDLY[name])
            places = kept if kept.any() else near
        return places

    def broken_at(self, place: int) -> tuple[str, ...]:
        return tuple(name for name, over in self.over.items() if over[place] > 0)


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


def _stretches(places: Floats, room: Sequence[float], spare: object) -> list[tuple[float, float]]:
    """Ends of the stretches with room to spare, found on a grid and refined."""
    assert callable(spare)
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
    mechanics = engine.mechanics or Mechanics()
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


def known_clearances(engine: Engine) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Names of the clearances that can be checked, and of those that cannot."""
    mechanics = engine.mechanics or Mechanics()
    told = {f"{side} valve to piston": mechanics.of(side).piston_gap for side in SIDES}
    parts = {**told, "valve to valve": mechanics.valve_pair}
    checked = tuple(name for name, part in parts.items() if part is not None)
    return checked, tuple(name for name in parts if name not in checked)


def steepest_deg_per_rpm(slew_deg_per_s: float, rev_rate_rpm_per_s: float) -> float:
    """Change of target over engine speed that the actuator follows while the engine revs up."""
    return slew_deg_per_s / rev_rate_rpm_per_s


def within_travel(axis: Axis, low_deg: float, high_deg: float) -> tuple[float, float]:
    """Part of the axis that may be used.

    Raises
    ------
    BreatheError
        It reaches beyond the axis, or is empty.
    """
    if not axis.low_deg - 1e-6 <= low_deg < high_deg <= axis.high_deg + 1e-6:
        found, has = f"{low_deg:g} to {high_deg:g}", f"{axis.low_deg:g} to {axis.high_deg:g}"
        if axis.kind == "dwell":
            ends = (1e3 * axis.travel_m(x) for x in (low_deg, high_deg, axis.high_deg))
            low_mm, high_mm, has_mm = (f"{x:.3g}" for x in ends)
            raise BreatheError(
                f"travel: found {low_mm} to {high_mm} mm ({found} deg crank); {axis.name} has 0 to "
                f"{has_mm} mm ({has})"
            )
        raise BreatheError(f"travel: found {found} deg crank; {axis.name} has {has}")
    return max(low_deg, axis.low_deg), min(high_deg, axis.high_deg)

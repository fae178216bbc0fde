"""Room between valve and piston, and between the valves, at every crank angle of the cycle.

Geometry of still parts, as when the engine is turned by hand: nothing here depends on speed. Rods
and valve gear that stretch, pistons that rock, valves that leave the cam or bounce take more room;
the rules below are what practice keeps for them. The cylindrical wall of a pocket is not looked at.

Crank angles count from firing TDC, so that overlap TDC is 360; words count from overlap TDC. Gaps
below zero are contact, by that much.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy.interpolate import PPoly
from scipy.optimize import minimize_scalar

from breathe.engine.mechanics import PistonGap, Tolerances, ValvePair
from breathe.engine.parts import Cylinder, Floats, Side
from breathe.valvetrain.crank import SliderCrank, motion, slider_crank
from breathe.valvetrain.timing import OVERLAP_TDC_DEG, in_words

INTAKE_RULE_M = 2.0e-3
"""Least gap between intake valve and piston, 0.080 in."""
EXHAUST_RULE_M = 2.5e-3
"""Least gap between exhaust valve and piston, 0.100 in: the piston chases this valve."""
RADIAL_RULE_M = 1.27e-3
"""Least gap sideways, 0.050 in."""
RULE_SOURCE = (
    "0.080 and 0.100 in: article on the basics of piston-to-valve clearance; 0.050 in sideways: "
    "forum thread 'Measuring Piston To Valve Clearance'; about 0.5 mm more with aluminium rods"
)
GRID_DEG = 0.25
"""Step of the search; the tightest place is then refined between two steps."""


def piston_rule_m(side: Side) -> float:
    """Least gap along the valve that practice keeps [m]; see `RULE_SOURCE`."""
    return INTAKE_RULE_M if side == "intake" else EXHAUST_RULE_M


@dataclass(frozen=True, slots=True, kw_only=True)
class ValveMotion:
    """Lift of a valve as it is built: a lift curve, its lash, and how late the cam stands."""

    curve: PPoly
    """Lift at zero lash [m] over crank degrees, from `dwell.lift_curve`."""
    lash_m: float = 0.0
    late_deg: float = 0.0
    """Crank degrees the cam stands late; negative is early."""

    def lift_m(self, angle_deg: Floats) -> Floats:
        """Lift at crank angles of any turn, 0 where the valve is seated; same shape."""
        start = self.curve.x[0]
        unwrapped = start + np.mod(angle_deg - self.late_deg - start, 720.0)
        return np.maximum(np.nan_to_num(self.curve(unwrapped), nan=0.0) - self.lash_m, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class PistonRoom:
    """Gap along a seated valve at any crank angle; make it with `piston_room`."""

    crank: SliderCrank
    along: float
    """Gap along the valve for one of piston travel."""
    angle_deg: Floats
    """(n,) of the readings, from overlap TDC."""
    offset_m: Floats
    """(n,) reading less the piston's own motion."""

    def seated_m(self, angle_deg: Floats) -> Floats:
        """Gap with the valve on its seat [m]; same shape as the angles.

        Between readings their difference from the piston's motion is interpolated, so that the
        motion's curvature is kept; beyond them the motion goes on from the last reading. A piston
        stands at firing TDC as it does at overlap TDC.
        """
        after = np.mod(angle_deg + 180.0, 360.0) - 180.0
        travel = motion(self.crank, after)[0]
        return self.along * travel + np.interp(after, self.angle_deg, self.offset_m)

    @property
    def mismatch_m(self) -> Floats:
        """(n,) reading less what slider-crank and the gap at TDC say [m].

        A slope over the angle says that the wheel's zero is not TDC.
        """
        return self.offset_m - np.interp(0.0, self.angle_deg, self.offset_m)


def piston_room(cylinder: Cylinder, gap: PistonGap) -> PistonRoom:
    """What a seated valve has below it, from one reading or a table of them.

    When the piston is ``x`` down the bore, the floor of a pocket parallel to the valve's face has
    moved ``x cos(valve angle)`` along the valve; a crown square to the bore ``x / cos``.
    """
    crank = slider_crank(cylinder)
    cosine = math.cos(math.radians(gap.valve_angle_deg))
    along = cosine if gap.floor == "parallel to the valve" else 1.0 / cosine
    angle = np.asarray(gap.angle_deg, dtype=np.float64)
    offset = gap.gap_m - along * motion(crank, angle)[0]
    return PistonRoom(crank=crank, along=along, angle_deg=angle, offset_m=offset)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tightest:
    """The smallest gap of the cycle and where it is."""

    gap_m: float
    """Negative is contact."""
    angle_deg: float
    """0..720."""

    @property
    def where(self) -> str:
        """From overlap TDC, such as '6.5 ATDC', or said to be from firing TDC."""
        if 180.0 < self.angle_deg < 540.0:
            return in_words(self.angle_deg, OVERLAP_TDC_DEG, 1)
        return f"{in_words(self.angle_deg, 0.0, 1)} (firing)"


def piston_gap_m(valve: ValveMotion, room: PistonRoom, angle_deg: Floats) -> Floats:
    """Gap along the valve between its face and the piston [m]; same shape as the angles."""
    return room.seated_m(angle_deg) - valve.lift_m(angle_deg)


def smallest_piston_gap(valve: ValveMotion, room: PistonRoom) -> Tightest:
    """The tightest place between valve and piston, of all 720 degrees."""
    return _tightest(lambda angle: piston_gap_m(valve, room, angle))


def _tightest(gap_m: Callable[[Floats], Floats]) -> Tightest:
    """Smallest value over the cycle, found on a grid and refined around its lowest point."""
    grid = np.arange(0.0, 720.0, GRID_DEG)
    gaps = gap_m(grid)
    low = int(np.argmin(gaps))
    near = minimize_scalar(
        lambda angle: float(gap_m(np.array([angle]))[0]),
        bounds=(grid[low] - GRID_DEG, grid[low] + GRID_DEG),
        method="bounded",
        options={"xatol": 1e-5},
    )
    # At a corner, such as first lift, the grid itself may be nearer.
    gap, angle = min((float(near.fun), float(near.x)), (float(gaps[low]), float(grid[low])))
    return Tightest(gap_m=gap, angle_deg=angle % 720.0)


def valve_gap_m(
    pair: ValvePair,
    head_m: tuple[float, float],
    intake_lift_m: Floats,
    exhaust_lift_m: Floats,
) -> Floats:
    """Shortest distance between the two heads in the plane of both stems [m].

    Each head is a rectangle, its face and ``edge_thickness_m`` of edge; the cone and the stem
    behind are left out. The centres of the seats are taken to be equally deep in the head.

    Parameters
    ----------
    pair : ValvePair
    head_m : (float, float)
        Head diameters, intake and exhaust [m].
    intake_lift_m, exhaust_lift_m : (n,) float
        Lifts at the same angles.

    Returns
    -------
    (n,) float
        Negative where the heads overlap: the shortest way out.
    """
    thick = pair.edge_thickness_m
    intake = _head(pair.intake_angle_deg, head_m[0], thick, intake_lift_m)
    exhaust = _head(pair.exhaust_angle_deg, head_m[1], thick, exhaust_lift_m)
    exhaust = np.array([pair.seat_centre_distance_m, 0.0]) + exhaust * np.array([-1.0, 1.0])
    apart = np.max([_apart(intake, exhaust, axis) for axis in _axes(pair)], axis=0)
    nearest = np.minimum(_nearest(intake, exhaust), _nearest(exhaust, intake))
    return np.where(apart > 0, nearest, apart)


def _head(angle_deg: float, diameter_m: float, thick_m: float, lift_m: Floats) -> Floats:
    """(n, 4, 2) corners of an intake head; x towards the exhaust valve, y into the cylinder."""
    lean = math.radians(angle_deg)
    down = np.array([math.sin(lean), math.cos(lean)])
    across = np.array([math.cos(lean), -math.sin(lean)]) * diameter_m / 2
    back = -down * thick_m
    corners = np.array([-across, across, across + back, -across + back])
    return corners + np.asarray(lift_m)[:, None, None] * down


def _axes(pair: ValvePair) -> list[Floats]:
    """Face and stem directions of both valves: one of them parts two rectangles that are apart."""
    leans = (math.radians(pair.intake_angle_deg), -math.radians(pair.exhaust_angle_deg))
    return [
        np.array(axis)
        for lean in leans
        for axis in (
            (math.cos(lean), -math.sin(lean)),
            (math.sin(lean), math.cos(lean)),
        )
    ]


def _apart(one: Floats, other: Floats, axis: Floats) -> Floats:
    """(n,) space between two shapes seen along an axis; negative where their shadows overlap."""
    a, b = one @ axis, other @ axis
    return np.maximum(b.min(axis=1) - a.max(axis=1), a.min(axis=1) - b.max(axis=1))


def _nearest(corners: Floats, shape: Floats) -> Floats:
    """(n,) shortest distance from the corners of one shape to the edges of another."""
    start = shape[:, None, :, :]
    edge = np.roll(shape, -1, axis=1)[:, None, :, :] - start
    to_corner = corners[:, :, None, :] - start
    length2 = (edge**2).sum(axis=-1)
    # An edge without length, of a thin disc, is its own start.
    share = (to_corner * edge).sum(axis=-1) / np.where(length2 > 0, length2, 1.0)
    foot = np.clip(share, 0.0, 1.0)[..., None] * edge
    distance = np.sqrt(((to_corner - foot) ** 2).sum(axis=-1))
    return np.asarray(distance.min(axis=(1, 2)))


def smallest_valve_gap(
    pair: ValvePair, head_m: tuple[float, float], intake: ValveMotion, exhaust: ValveMotion
) -> Tightest:
    """The tightest place between the two valves, of all 720 degrees; arguments `valve_gap_m`."""
    return _tightest(
        lambda angle: valve_gap_m(pair, head_m, intake.lift_m(angle), exhaust.lift_m(angle))
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class ToleranceCase:
    """The tightest place with the engine built a little differently."""

    label: str
    """Such as 'cam early, no lash'; the first case is 'as given'."""
    tightest: Tightest


def _lateness(tolerances: Tolerances) -> dict[str, float]:
    early, late = -tolerances.cam_timing_deg, tolerances.cam_timing_deg
    return {
        "as given": 0.0,
        "cam early": early,
        "cam late": late + tolerances.chain_slack_deg,
    }


def _lashes(label: str, *lash_m: float) -> list[tuple[str, tuple[float, ...]]]:
    """The same case with the lash as given, and used up."""
    without = "no lash" if label == "as given" else f"{label}, no lash"
    cases = [(label, lash_m)]
    return [*cases, (without, (0.0,) * len(lash_m))] if any(lash_m) else cases


def piston_tolerances(
    valve: ValveMotion, room: PistonRoom, tolerances: Tolerances
) -> tuple[ToleranceCase, ...]:
    """Valve to piston as given, with the cam early and late, each also with the lash used up.

    A slack chain only makes a cam later.
    """
    return tuple(
        ToleranceCase(label=label, tightest=smallest_piston_gap(_moved(valve, late, lash), room))
        for name, late in _lateness(tolerances).items()
        for label, (lash,) in _lashes(name, valve.lash_m)
    )


def _moved(valve: ValveMotion, late_deg: float, lash_m: float) -> ValveMotion:
    return replace(valve, late_deg=valve.late_deg + late_deg, lash_m=lash_m)


def valve_tolerances(
    pair: ValvePair,
    head_m: tuple[float, float],
    intake: ValveMotion,
    exhaust: ValveMotion,
    tolerances: Tolerances,
) -> tuple[ToleranceCase, ...]:
    """Valve to valve as given; both cams early, both late, and intake early with exhaust late,
    which adds overlap; each also with the lash used up.
    """
    late = _lateness(tolerances)
    stands = {
        "as given": (0.0, 0.0),
        "both early": (late["cam early"], late["cam early"]),
        "both late": (late["cam late"], late["cam late"]),
        "intake early, exhaust late": (late["cam early"], late["cam late"]),
    }
    cases = []
    for name, (intake_late, exhaust_late) in stands.items():
        for label, (one, other) in _lashes(name, intake.lash_m, exhaust.lash_m):
            moved = _moved(intake, intake_late, one), _moved(exhaust, exhaust_late, other)
            tightest = smallest_valve_gap(pair, head_m, *moved)
            cases.append(ToleranceCase(label=label, tightest=tightest))
    return tuple(cases)

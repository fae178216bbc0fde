"""Valve timing in the words of the trade, from a lift event or from a cam card.

Durations and events always go with a checking lift, which is counted at the valve with the lash
taken off. Angles are crank degrees; only lobe separation is in cam degrees, as is customary.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import PchipInterpolator

from breathe.engine.parts import LiftEvent, Side

OVERLAP_TDC_DEG = 360.0
SEAT_HEIGHT_M = 1.0e-4
"""Valve lift at which settings are named and opening and closing count (common practice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Timing:
    """When the valves of one side open and close at one checking lift."""

    checking_lift_m: float
    opens_deg: float
    """0..720 from firing TDC."""
    closes_deg: float
    """May exceed 720, so that closes > opens."""
    opens: str
    """In words, such as '22 BTDC'."""
    closes: str
    centreline_deg: float
    """Middle of the opening, from overlap TDC: after it for intake, before it for exhaust."""

    @property
    def duration_deg(self) -> float:
        return self.closes_deg - self.opens_deg


def timing(event: LiftEvent, side: Side, checking_lift_m: float = 0.0) -> Timing:
    """Opening, closing and centreline of ``event`` at a checking lift.

    Raises
    ------
    ValueError
        If the valve does not reach the checking lift.
    """
    opens, closes = open_between(event, checking_lift_m)
    # Opening is told from the dead centre before the valve's stroke, closing from the one after it.
    before, after = (360.0, 540.0) if side == "intake" else (180.0, 360.0)
    towards = 1.0 if side == "intake" else -1.0
    middle = _nearest_turn((opens + closes) / 2 - OVERLAP_TDC_DEG)
    return Timing(
        checking_lift_m=checking_lift_m,
        opens_deg=opens,
        closes_deg=closes,
        opens=in_words(opens, before),
        closes=in_words(closes, after),
        centreline_deg=towards * middle,
    )


def seat_timing(event: LiftEvent, side: Side) -> Timing:
    """Timing at `SEAT_HEIGHT_M`; of a valve that lifts less, from first to last lift."""
    height = SEAT_HEIGHT_M if event.lift_m.max() > SEAT_HEIGHT_M else 0.0
    return timing(event, side, height)


def open_between(event: LiftEvent, checking_lift_m: float = 0.0) -> tuple[float, float]:
    """First and last crank angle at which lift exceeds the checking lift, closing after opening.

    Raises
    ------
    ValueError
        If the valve does not reach the checking lift.
    """
    if checking_lift_m == 0.0:
        return event.opens_deg, event.closes_deg
    full = float(event.lift_m.max())
    if not 0.0 < checking_lift_m < full:
        raise ValueError(
            f"checking lift: found {checking_lift_m * 1e3:.2f} mm; "
            f"expected between 0 and the full lift of {full * 1e3:.2f} mm"
        )
    count = len(event.lift_m)
    step = 720.0 / count
    first = int(np.floor(event.opens_deg / step)) - 2
    index = first + np.arange(count)
    lift = event.lift_m[index % count]
    above = np.flatnonzero(lift > checking_lift_m)
    rise, fall = int(above[0]), int(above[-1])
    opens = (first + _crossing(lift, rise - 1, checking_lift_m)) * step
    closes = (first + _crossing(lift, fall, checking_lift_m)) * step
    turns = 720.0 * np.floor(opens / 720.0)
    return float(opens - turns), float(closes - turns)


def _crossing(lift: np.ndarray, before: int, level: float) -> float:
    """Grid position, between ``before`` and the next, at which ``lift`` crosses ``level``."""
    start = max(before - 2, 0)
    near = np.arange(start, min(before + 4, len(lift)))
    # Monotone, so that the corner where lash ends cannot make it overshoot.
    curve = PchipInterpolator(near, lift[near])
    roots = curve.solve(level, extrapolate=False)
    inside = roots[(roots >= before - 1e-9) & (roots <= before + 1 + 1e-9)]
    return float(inside[0])


def duration_deg(event: LiftEvent, checking_lift_m: float = 0.0) -> float:
    """Crank degrees between opening and closing at a checking lift."""
    opens, closes = open_between(event, checking_lift_m)
    return closes - opens


def lift_area_m_deg(event: LiftEvent) -> float:
    """Area under the lift curve, metres times crank degrees."""
    return float(event.lift_m.sum() * (720.0 / len(event.lift_m)))


def overlap_deg(intake: LiftEvent, exhaust: LiftEvent, checking_lift_m: float = 0.0) -> float:
    """Crank degrees around overlap TDC with both valves open; negative where neither is.

    Use seat timings: at 1 mm or 0.050 in the figure says little about the gas.
    """
    intake_opens = _nearest_turn(open_between(intake, checking_lift_m)[0] - OVERLAP_TDC_DEG)
    exhaust_closes = _nearest_turn(open_between(exhaust, checking_lift_m)[1] - OVERLAP_TDC_DEG)
    return exhaust_closes - intake_opens


def in_words(angle_deg: float, dead_centre_deg: float, digits: int = 0) -> str:
    """Crank angle against a dead centre, such as '22 BTDC' or '62 ABDC'.

    Parameters
    ----------
    angle_deg : float
    dead_centre_deg : float
        A multiple of 180: of 360 for TDC, else BDC.
    digits : int
        Decimals shown.
    """
    name = "TDC" if dead_centre_deg % 360.0 == 0.0 else "BDC"
    after = round(_nearest_turn(angle_deg - dead_centre_deg), digits)
    if after == 0:
        return name
    return f"{abs(after):.{digits}f} {'A' if after > 0 else 'B'}{name}"


def _nearest_turn(angle_deg: float) -> float:
    """The angle brought into -360..360 by whole cycles."""
    return float((angle_deg + 360.0) % 720.0 - 360.0)


def card_duration_deg(intake_opens_btdc: float, intake_closes_abdc: float) -> float:
    """Duration from a card's two events; for an exhaust cam EVC ATDC and EVO BBDC serve alike."""
    return intake_opens_btdc + 180.0 + intake_closes_abdc


def card_centreline_deg(near_tdc: float, near_bdc: float) -> float:
    """Centreline from a card's two events: IVO BTDC and IVC ABDC, or EVC ATDC and EVO BBDC."""
    return card_duration_deg(near_tdc, near_bdc) / 2 - near_tdc


def lobe_separation_cam_deg(intake_centreline_deg: float, exhaust_centreline_deg: float) -> float:
    """Lobe separation in *cam* degrees from the two centrelines in crank degrees."""
    return (intake_centreline_deg + exhaust_centreline_deg) / 2


def card_overlap_deg(
    intake_duration_deg: float, exhaust_duration_deg: float, lobe_separation_cam_deg: float
) -> float:
    """Overlap [crank degrees] from two seat durations and the lobe separation."""
    return (intake_duration_deg + exhaust_duration_deg) / 2 - 2 * lobe_separation_cam_deg


def lobe_separation_for_overlap(
    intake_duration_deg: float, exhaust_duration_deg: float, overlap_deg: float
) -> float:
    """Lobe separation [cam degrees] that gives an overlap; the inverse of ``card_overlap_deg``."""
    return ((intake_duration_deg + exhaust_duration_deg) / 2 - overlap_deg) / 2


def advanced(opens_before: float, closes_after: float, by_deg: float) -> tuple[float, float]:
    """A card's two events, before one dead centre and after the next, with the cam advanced."""
    return opens_before + by_deg, closes_after - by_deg


def equal_lift_centreline_deg(opening_deg: float, closing_deg: float) -> float:
    """Centreline from the wheel readings at one equal lift on both sides of the nose."""
    return (opening_deg + closing_deg) / 2

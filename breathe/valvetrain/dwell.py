"""The dwell sleeve: opening flank, dwell, closing flank, and the lift event they make.

Travel opens dwell at the highest point of the lobe and moves the flanks apart without changing
them. Lift is kept as piecewise polynomials whose coefficients belong to each piece alone, so a
flank's derivatives are the same numbers at every travel.
"""

from __future__ import annotations

import math

import numpy as np
from scipy.interpolate import CubicSpline, PPoly

from breathe.engine.parts import (
    Cam,
    Case,
    Engine,
    LiftEvent,
    Lobe,
    Operating,
    Setting,
    Side,
    Sleeve,
)

GRID = 2880
"""Points of a lift event over 720 degrees: one each quarter degree."""
SEATED_AT_LEAST_DEG = 180.0
"""A valve open longer than 720 less this leaves no closed part in compression and expansion
(common practice, no source)."""
OVERLAP_TDC_DEG = 360.0


def crank_deg_per_m(lead_m_per_cam_rev: float) -> float:
    """Added crank degrees for each metre of sleeve travel, 2 * 360 / lead.

    Parameters
    ----------
    lead_m_per_cam_rev : float
        Relative lead of the two flanks' helix, metres of travel per whole turn of the cam.
    """
    if lead_m_per_cam_rev <= 0:
        raise ValueError(
            f"sleeve lead: found {lead_m_per_cam_rev * 1e3:g} mm per cam turn; expected above 0"
        )
    return 720.0 / lead_m_per_cam_rev


def travel_for(sleeve: Sleeve, added_deg: float) -> float:
    """Sleeve travel [m] that adds ``added_deg`` crank degrees of duration; not limited."""
    return added_deg / sleeve.crank_deg_per_m


def added_dwell_deg(cam: Cam, travel_m: float, side: Side) -> float:
    """Crank degrees of dwell the sleeve has opened at ``travel_m``.

    Raises
    ------
    ValueError
        If there is no sleeve, or the travel is negative or more than the sleeve has.
    """
    if travel_m == 0.0:
        return 0.0
    if cam.sleeve is None:
        raise ValueError(
            f"{side} cam: needs {travel_m * 1e3:.1f} mm of travel, but this cam has no sleeve"
        )
    room_m = cam.sleeve.travel_max_m
    if travel_m < 0:
        raise ValueError(
            f"{side} cam: found a sleeve travel of {travel_m * 1e3:.1f} mm; "
            f"expected 0 to {room_m * 1e3:.1f} mm"
        )
    # A travel worked out from a duration may pass the end by round-off.
    if travel_m > room_m * (1 + 1e-9):
        raise ValueError(
            f"{side} cam: needs {travel_m * 1e3:.1f} mm, the sleeve has {room_m * 1e3:.1f} mm"
        )
    return travel_m * cam.sleeve.crank_deg_per_m


def flank_splines(lobe: Lobe, stretch: float = 1.0) -> tuple[PPoly, PPoly]:
    """Opening and closing flank as cubic splines, with zero velocity at base circle and nose.

    Parameters
    ----------
    lobe : Lobe
    stretch : float
        Multiplies the angles about the nose.

    Returns
    -------
    PPoly, PPoly
        Lift [m] over crank degrees from the nose, up to the first and from the last node of full
        lift; nodes at full lift between them are dwell of the lobe itself.
    """
    if stretch <= 0:
        raise ValueError(f"stretch of the lobe: found {stretch:g}; expected above 0")
    angle, lift = np.asarray(lobe.angle_deg) * stretch, np.asarray(lobe.lift_m)
    top = np.flatnonzero(lift >= lift.max() * (1 - 1e-12))
    first, last = int(top[0]), int(top[-1])
    if first < 1 or last > len(lift) - 2:
        raise ValueError(
            f"lobe ({lobe.made_from}): found full lift at an end; expected a flank on both sides"
        )
    return (
        CubicSpline(angle[: first + 1], lift[: first + 1], bc_type="clamped"),
        CubicSpline(angle[last:], lift[last:], bc_type="clamped"),
    )


def lift_curve(
    cam: Cam,
    *,
    travel_m: float = 0.0,
    shift_deg: float = 0.0,
    stretch: float = 1.0,
    side: Side,
) -> PPoly:
    """Lift at zero lash [m] over crank degrees, from first to last lift, dwell opened.

    Angles run on beyond 720 rather than wrap, so the curve is one stretch. Its derivatives are the
    follower's, per crank degree; ``.derivative(k)``, ``.solve(lift)`` and ``.integrate(a, b)``
    serve.

    Parameters
    ----------
    cam : Cam
    travel_m : float
        Sleeve travel.
    shift_deg : float
        Crank degrees the whole curve is moved, positive later.
    stretch : float
        Multiplies the lobe's own angles about the nose; the added dwell is not stretched.
    side : 'intake' or 'exhaust'

    Raises
    ------
    ValueError
        If the travel is beyond the sleeve's, or the valve would not stay seated long enough.
    """
    added = added_dwell_deg(cam, travel_m, side)
    share = cam.sleeve.closing_share if cam.sleeve else 0.5
    opening, closing = flank_splines(cam.lobe, stretch)
    towards = 1.0 if side == "intake" else -1.0
    nose = OVERLAP_TDC_DEG + towards * cam.centreline_deg + shift_deg
    up = opening.x + (nose - (1 - share) * added)
    down = closing.x + (nose + share * added)
    coefficients = [opening.c, closing.c]
    angles = [up, down]
    if down[0] - up[-1] > 1e-9:
        level = np.zeros((opening.c.shape[0], 1))
        level[-1] = cam.lobe.lift_m.max()
        coefficients.insert(1, level)
    else:
        angles[1] = down[1:]
    _check_seated(down[-1] - up[0], side)
    return PPoly(np.concatenate(coefficients, axis=1), np.concatenate(angles), extrapolate=False)


def _check_seated(duration_deg: float, side: Side) -> None:
    """Refuse a lift that meets itself or leaves the valve hardly any time on its seat."""
    if duration_deg >= 720.0:
        raise ValueError(
            f"{side} cam: lift lasts {duration_deg:.0f} deg crank, so the valve never seats within "
            "a cycle of 720 deg"
        )
    if 720.0 - duration_deg < SEATED_AT_LEAST_DEG:
        raise ValueError(
            f"{side} cam: lift lasts {duration_deg:.0f} deg crank and leaves the valve seated for "
            f"{720.0 - duration_deg:.0f} deg; expected at least {SEATED_AT_LEAST_DEG:.0f} deg"
        )


def open_span(curve: PPoly, lash_m: float, side: Side) -> tuple[float, float]:
    """First and last crank angle with lift above ``lash_m``, unwrapped.

    Raises
    ------
    ValueError
        If the lash takes up all the lift.
    """
    if lash_m == 0.0:
        return float(curve.x[0]), float(curve.x[-1])
    crossings = curve.solve(lash_m, extrapolate=False)
    crossings = crossings[np.isfinite(crossings)]
    if len(crossings) < 2:
        full = float(np.nanmax(curve(curve.x)))
        raise ValueError(
            f"{side} cam: found a lash of {lash_m * 1e3:.2f} mm against {full * 1e3:.2f} mm of "
            "lift, so the valve never opens; expected a lash below the lift"
        )
    return float(crossings.min()), float(crossings.max())


def event(
    cam: Cam,
    *,
    travel_m: float = 0.0,
    shift_deg: float = 0.0,
    stretch: float = 1.0,
    side: Side,
) -> LiftEvent:
    """Valve lift through the cycle with lash taken off; arguments and errors as ``lift_curve``.

    Returns
    -------
    LiftEvent
        ``GRID`` points over 0..720; events between grid points, so they move smoothly with travel.
    """
    if cam.lash_m < 0:
        raise ValueError(f"{side} cam: found a lash of {cam.lash_m * 1e3:g} mm; expected 0 or more")
    curve = lift_curve(cam, travel_m=travel_m, shift_deg=shift_deg, stretch=stretch, side=side)
    opens, closes = open_span(curve, cam.lash_m, side)
    grid = np.arange(GRID) * (720.0 / GRID)
    start = float(curve.x[0])
    unwrapped = start + np.mod(grid - start, 720.0)
    zero_lash = np.nan_to_num(curve(unwrapped), nan=0.0)
    turns = 720.0 * math.floor(opens / 720.0)
    return LiftEvent(
        lift_m=np.maximum(zero_lash - cam.lash_m, 0.0),
        opens_deg=opens - turns,
        closes_deg=closes - turns,
    )


def case(engine: Engine, setting: Setting, operating: Operating) -> Case:
    """The case of one engine at one cam setting and operating point.

    Raises
    ------
    ValueError
        As ``event``, with the setting named.
    """
    try:
        intake = event(
            setting.intake_cam or engine.intake_cam,
            travel_m=setting.intake_travel_m,
            shift_deg=setting.intake_shift_deg,
            stretch=setting.intake_stretch,
            side="intake",
        )
        exhaust = event(
            setting.exhaust_cam or engine.exhaust_cam,
            travel_m=setting.exhaust_travel_m,
            shift_deg=setting.exhaust_shift_deg,
            stretch=setting.exhaust_stretch,
            side="exhaust",
        )
    except ValueError as error:
        raise ValueError(f"setting '{setting.label}': {error}") from None
    return Case(engine=engine, setting=setting, operating=operating, intake=intake, exhaust=exhaust)

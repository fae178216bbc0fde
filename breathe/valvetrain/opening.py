"""Flow area that the valves of one side open at a lift.

Geometry gives the curtain and the least area a gas can pass; a discharge coefficient on curtain
area, forward and reverse apart, makes it the effective area.
"""

from __future__ import annotations

from math import cos, pi, radians, sin, tan

import numpy as np
from numpy.typing import ArrayLike

from breathe.engine.parts import Floats, FlowCoefficients, Side, Valve

REVERSE_SHARE = 0.94
"""Reverse over forward coefficient by default (from memory: both ways agree within about 10 %)."""

_LIFT_OVER_DIAMETER = (0.05, 0.10, 0.15, 0.20, 0.25, 0.30, 0.35, 0.40)
_FORWARD: dict[Side, tuple[float, ...]] = {
    "intake": (0.64, 0.64, 0.62, 0.58, 0.53, 0.485, 0.437, 0.393),
    "exhaust": (0.66, 0.65, 0.63, 0.60, 0.55, 0.49, 0.43, 0.385),
}
_SOURCE: dict[Side, str] = {
    "intake": (
        "middle of the published band on curtain area, 0.60-0.70 at L/D 0.10 falling to 0.42-0.55 "
        "at 0.30: Annand & Roe, Gas Flow in the Internal Combustion Engine, 1974; Heywood, "
        "Internal Combustion Engine Fundamentals, 1988, figs. 6.18-6.20 (from memory)"
    ),
    "exhaust": (
        "published band on curtain area, 0.60-0.80 below L/D 0.1 and 0.55-0.70 at 0.2: Heywood, "
        "Internal Combustion Engine Fundamentals, 1988, fig. 6.21 (from memory)"
    ),
}


def default_coefficients(side: Side) -> FlowCoefficients:
    """Discharge coefficients taken where no flow-bench figures are given."""
    forward = np.array(_FORWARD[side])
    return FlowCoefficients(
        lift_over_diameter=np.array(_LIFT_OVER_DIAMETER),
        forward=forward,
        reverse=REVERSE_SHARE * forward,
    )


def default_source(side: Side) -> str:
    """Where ``default_coefficients`` come from, for the list of assumptions."""
    return f"{_SOURCE[side]}; reverse flow {REVERSE_SHARE:g} of it, from memory"


def check_coefficients(coefficients: FlowCoefficients) -> None:
    """Refuse coefficients no valve can have.

    Raises
    ------
    ValueError
        If lengths differ, L/D does not rise, or a coefficient is not above 0 and at most 1.
    """
    at = coefficients.lift_over_diameter
    if not len(at) == len(coefficients.forward) == len(coefficients.reverse) or len(at) == 0:
        raise ValueError(
            f"discharge coefficients: found {len(at)} lifts, {len(coefficients.forward)} forward "
            f"and {len(coefficients.reverse)} reverse figures; expected one of each per lift"
        )
    if np.any(np.diff(at) <= 0) or at[0] < 0:
        raise ValueError("discharge coefficients: expected lifts from 0 up, each above the last")
    for way, values in (("forward", coefficients.forward), ("reverse", coefficients.reverse)):
        bad = np.flatnonzero(~((values > 0) & (values <= 1)))
        if len(bad):
            row = int(bad[0])
            raise ValueError(
                f"discharge coefficient, {way}, at L/D {at[row]:.3f}: found {values[row]:.3f} on "
                "curtain area; expected above 0 and at most 1. Check the flow unit, the test "
                "pressure, the valve diameter, and whether the flow is of one valve or of two"
            )


def curtain_area(lift_m: ArrayLike, head_diameter_m: float) -> Floats:
    """Curtain area of one valve [m2]: pi * head diameter * lift."""
    result: Floats = pi * head_diameter_m * np.asarray(lift_m, dtype=np.float64)
    return result


def throat_area(valve: Valve) -> float:
    """Throat less stem of one valve [m2]."""
    return pi / 4 * (valve.throat_diameter_m**2 - valve.stem_diameter_m**2)


def throat_stage_lift(valve: Valve) -> float:
    """Lift [m] from which the throat, not the seat, is the least area."""
    mean_diameter = valve.head_diameter_m - valve.seat_width_m
    slant = throat_area(valve) / (pi * mean_diameter)
    width = valve.seat_width_m
    over = max(slant**2 - width**2, 0.0)
    return float(np.sqrt(over)) + width * tan(radians(valve.seat_angle_deg))


def least_area(lift_m: ArrayLike, valve: Valve) -> Floats:
    """Least geometric area of one valve with a conical seat [m2], same shape as ``lift_m``.

    Three stages: a cone frustum square to the seat, a slant between the seat edges, the throat
    less the stem.

    References
    ----------
    J. B. Heywood, Internal Combustion Engine Fundamentals, 1988, eqs. 6.7-6.9 (from memory; the
    stages join without a step).
    """
    lift = np.asarray(lift_m, dtype=np.float64)
    beta = radians(valve.seat_angle_deg)
    head, width = valve.head_diameter_m, valve.seat_width_m
    frustum = pi * lift * cos(beta) * (head - 2 * width + lift / 2 * sin(2 * beta))
    slant = pi * (head - width) * np.hypot(lift - width * tan(beta), width)
    # A flat seat (0 degrees) never leaves the first stage.
    leaves = width / (sin(beta) * cos(beta)) if beta > 0 else np.inf
    seat = np.where(lift < leaves, frustum, slant)
    result: Floats = np.minimum(seat, throat_area(valve))
    return result


def curtain_coefficient(lift_m: float, valve: Valve, on_least_area: float) -> float:
    """Coefficient on curtain area equal to one given on the least geometric area."""
    least = float(least_area(lift_m, valve))
    return on_least_area * least / float(curtain_area(lift_m, valve.head_diameter_m))


def effective_area(lift_m: ArrayLike, valve: Valve) -> tuple[Floats, Floats]:
    """Effective flow areas of all ``count`` valves together.

    Coefficient times curtain area, but no more than the least geometric area: gas cannot fill more
    than there is. Coefficients are read off straight lines and held outside their lifts.

    Parameters
    ----------
    lift_m : array_like
        Lift of each valve.
    valve : Valve

    Returns
    -------
    (forward_m2, reverse_m2) : Floats
        Same shape as ``lift_m``.

    Raises
    ------
    ValueError
        From ``check_coefficients``.
    """
    check_coefficients(valve.coefficients)
    lift = np.asarray(lift_m, dtype=np.float64)
    curtain = curtain_area(lift, valve.head_diameter_m)
    least = least_area(lift, valve)
    at = lift / valve.head_diameter_m
    known = valve.coefficients.lift_over_diameter
    forward = np.minimum(np.interp(at, known, valve.coefficients.forward) * curtain, least)
    reverse = np.minimum(np.interp(at, known, valve.coefficients.reverse) * curtain, least)
    return valve.count * forward, valve.count * reverse


def bench_coefficient(flow_m3_s: float, area_m2: float, flow_per_area_m_s: float) -> float:
    """Discharge coefficient of a flow-bench reading: flow over area times ideal flow per area."""
    return flow_m3_s / (area_m2 * flow_per_area_m_s)

"""Mechanics of the dwell sleeve: what moves it, what twists it, what play does to duration.

``lead_m`` is the relative lead of the two lobe halves, metres of travel per whole turn of the cam:
720 / (crank degrees per metre). Torque of a lobe changes sign between its flanks, so the sleeve is
pushed both ways in every event and play shows as jitter of the duration.
"""

from __future__ import annotations

from math import atan, degrees, pi, tan

import numpy as np

from breathe.engine.mechanics import SleeveParts
from breathe.engine.parts import Floats, Sleeve
from breathe.valvetrain.motion import Motion, per_cam_rad
from breathe.valvetrain.springs import STEEL_SHEAR_MODULUS_PA

FLANK_PRESSURE_GUIDE_PA = (7e6, 14e6)
"""Usual limits for splines that slide (from memory)."""


def lead_m(sleeve: Sleeve) -> float:
    """Relative lead of the helix, metres of travel per whole turn of the cam."""
    return 720.0 / sleeve.crank_deg_per_m


def lead_for(added_deg: float, travel_m: float) -> float:
    """Lead that adds so many crank degrees in so much travel; a shorter lead is a steeper law."""
    return 720.0 * travel_m / added_deg


def helix_angle_deg(lead_m: float, radius_m: float) -> float:
    """Angle of the helix from the shaft's axis, atan(2 pi r / lead)."""
    return degrees(atan(2 * pi * radius_m / lead_m))


def cam_torque_Nm(motion: Motion, force_at_valve_N: Floats) -> Floats:
    """Torque that one valve's spring and mass ask of the cam, force times ds/dtheta. (n,)

    Both taken at the valve: the rocker ratio cancels. Positive holds the cam back.
    """
    result: Floats = force_at_valve_N * per_cam_rad(motion.velocity_m_per_deg, 1)
    return result


def axial_force_N(torque_Nm: float, lead_m: float) -> float:
    """Force along the shaft that a torque on the helix makes without friction, 2 pi T / lead."""
    return 2 * pi * torque_Nm / lead_m


def axial_force_pushing_N(
    torque_Nm: float, lead_m: float, radius_m: float, friction: float
) -> float:
    """Force along the shaft to move the sleeve against a torque, (T/r) tan(helix + friction angle).

    Raises
    ------
    ValueError
        If friction and helix together reach a right angle, so that no force moves the sleeve.

    References
    ----------
    The power screw of machine-design texts, such as J. E. Shigley, Mechanical Engineering Design
    (from memory), its angle counted from the axis.
    """
    slope = 2 * pi * radius_m / lead_m
    if friction * slope >= 1.0:
        raise ValueError(
            f"sleeve: a helix {degrees(atan(slope)):.1f} deg from the axis jams with a friction of "
            f"{friction:g}; expected friction below {1 / slope:.2f}"
        )
    return torque_Nm / radius_m * tan(atan(slope) + atan(friction))


def axial_force_holding_N(
    torque_Nm: float, lead_m: float, radius_m: float, friction: float
) -> float:
    """Force along the shaft that keeps a torque from moving the sleeve; 0 or less: it stays put."""
    slope = 2 * pi * radius_m / lead_m
    return torque_Nm / radius_m * tan(atan(slope) - atan(friction))


def is_self_holding(lead_m: float, radius_m: float, friction: float) -> bool:
    """Whether friction alone holds the sleeve: coefficient at least tan(helix angle).

    Shaking undoes it: with friction near the limit count on creep (common practice, no source).
    """
    return friction >= 2 * pi * radius_m / lead_m


def wind_up_crank_deg(
    torque_Nm: float,
    length_m: float,
    diameter_m: float,
    bore_m: float = 0.0,
    shear_modulus_Pa: float = STEEL_SHEAR_MODULUS_PA,
) -> float:
    """Twist of a round shaft, T L / (G J), in crank degrees (twice the cam's)."""
    polar = pi / 32 * (diameter_m**4 - bore_m**4)
    return 2 * degrees(torque_Nm * length_m / (shear_modulus_Pa * polar))


def axial_play_deg(play_m: float, crank_deg_per_m: float) -> float:
    """Crank degrees by which axial play lets the duration wander."""
    return play_m * crank_deg_per_m


def circumferential_play_deg(play_m: float, radius_m: float) -> float:
    """Crank degrees by which play along the circumference at a radius lets the duration wander."""
    return 2 * degrees(play_m / radius_m)


def duration_play_deg(parts: SleeveParts, crank_deg_per_m: float) -> float | None:
    """Crank degrees by which all the play that is known lets the duration wander; None if none is.

    Raises
    ------
    ValueError
        If circumferential play is given without the radius it is counted at.
    """
    known = []
    if parts.axial_play_m is not None:
        known.append(axial_play_deg(parts.axial_play_m, crank_deg_per_m))
    if parts.circumferential_play_m is not None:
        if parts.helix_radius_m is None:
            raise ValueError(
                "sleeve: found circumferential play without a helix radius; expected both"
            )
        known.append(circumferential_play_deg(parts.circumferential_play_m, parts.helix_radius_m))
    return sum(known) if known else None


def flank_pressure_Pa(
    torque_Nm: float, radius_m: float, splines: int, height_m: float, length_m: float
) -> float:
    """Pressure on the flanks of the splines, T / (r z h l), all of them bearing."""
    return torque_Nm / (radius_m * splines * height_m * length_m)


def torque_range_Nm(torque_Nm: Floats) -> tuple[float, float]:
    """Most negative and most positive torque of an event: the sleeve feels both in every turn."""
    return float(np.min(torque_Nm)), float(np.max(torque_Nm))

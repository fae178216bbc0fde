"""Where and how hard the follower touches the lobe.

Geometry is the lobe's own: lift divided by the rocker ratio, derivatives per radian of the cam. A
flat face (flat tappet, bucket, flat finger) and a round one (roller, curved finger pad) are two
sets of formulas. A finger's pivot is not known here: its pad is taken to move along a straight
line, as a tappet's does.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, pi, sqrt

import numpy as np
from numpy.typing import NDArray

from breathe.engine.mechanics import Follower
from breathe.engine.parts import Floats
from breathe.valvetrain.motion import Motion, Values, per_cam_rad

PRESSURE_ANGLE_GUIDE_DEG = 30.0
"""Largest usual between a roller's motion and the common normal (from memory)."""
HERTZ_GUIDE_PA = {
    "chilled iron, flat": (600e6, 700e6),
    "hardened steel, flat": (900e6, 1000e6),
    "steel roller": (1300e6, 1700e6),
}
"""Typical limits of contact pressure (from memory, 15 % either way): a warning, no promise."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Contact:
    """Contact geometry at the angles of a motion, all (n,)."""

    angle_deg: Floats
    """Crank degrees."""
    offset_m: Floats
    """Of the touching line from the middle of the follower's face, along the direction in which
    the lobe sweeps it; positive while opening."""
    lobe_radius_m: Floats
    """Radius of curvature of the lobe; negative where it is hollow, infinite where it is flat."""
    reduced_radius_m: Floats
    """Of lobe and follower together; not positive where no such lobe can be ground."""
    pressure_angle_deg: Floats
    """Between common normal and the follower's motion; 0 with a flat face."""
    entrainment_m_per_rad: Floats
    """Mean speed at which both surfaces carry oil into the contact, per rad/s of the cam. Where it
    passes zero the film is thinnest."""
    undercut: NDArray[np.bool_]
    """The follower would need a point or a loop on the lobe: it cannot follow this lift."""


def face_radius_m(follower: Follower) -> float | None:
    """Radius of the roller or pad; None for a flat face."""
    return follower.roller_radius_m or follower.face_radius_m


def contact_geometry(motion: Motion, follower: Follower) -> Contact:
    """Contact geometry over the event, lash or not: lash only takes the force away."""
    lobe = motion.at_lobe(follower.rocker_ratio)
    radius = face_radius_m(follower)
    return _flat(lobe, follower) if radius is None else _round(lobe, follower, radius)


def _flat(lobe: Motion, follower: Follower) -> Contact:
    """Offset s', radius rho = Rb + s + s'', entrainment (2 rho - Rb - s) / 2.

    References
    ----------
    R. L. Norton, Cam Design and Manufacturing Handbook (from memory). Entrainment: a paper on
    lubrication of automotive cams citing Muller, 1966, and Naylor, 1967 (read).
    """
    height = follower.base_circle_radius_m + lobe.lift_m
    radius = height + per_cam_rad(lobe.acceleration_m_per_deg2, 2)
    return Contact(
        angle_deg=lobe.angle_deg,
        offset_m=per_cam_rad(lobe.velocity_m_per_deg, 1),
        lobe_radius_m=radius,
        reduced_radius_m=radius,
        pressure_angle_deg=np.zeros_like(height),
        entrainment_m_per_rad=radius - height / 2,
        undercut=radius <= 0.0,
    )


def _round(lobe: Motion, follower: Follower, face_radius: float) -> Contact:
    """Contact of a round face, whose centre runs on the pitch curve.

    With y = sqrt(Rp^2 - e^2) + s, u = s' - e and g^2 = y^2 + u^2: tan phi = u / y, pitch radius
    g^3 / (g^2 + u s' - s'' y), which for e = 0 is the textbooks' form; the lobe's radius is less by
    the face's. The normal turns by 1 - phi' on the lobe and phi' on the face, each per cam radian.

    References
    ----------
    R. L. Norton, Cam Design and Manufacturing Handbook (from memory); offset and entrainment
    derived, and checked against the flat face as the limit of a large radius.
    """
    pitch = follower.base_circle_radius_m + face_radius
    slope = per_cam_rad(lobe.velocity_m_per_deg, 1)
    bend = per_cam_rad(lobe.acceleration_m_per_deg2, 2)
    along = sqrt(pitch**2 - follower.offset_m**2) + lobe.lift_m
    across = slope - follower.offset_m
    squared = along**2 + across**2
    angle = np.arctan2(across, along)
    turning = (bend * along - across * slope) / squared
    with np.errstate(divide="ignore"):
        pitch_radius = np.sqrt(squared) / (1.0 - turning)
        lobe_radius = pitch_radius - face_radius
        reduced = 1.0 / (1.0 / lobe_radius + 1.0 / face_radius)
    on_lobe = np.sqrt(squared) - face_radius * (1.0 - turning)
    rolling = follower.roller_radius_m is not None
    # A roller turns as fast as the lobe drives it; a pad only tilts by its pressure angle.
    carried = on_lobe if rolling else (on_lobe + face_radius * turning) / 2
    return Contact(
        angle_deg=lobe.angle_deg,
        offset_m=face_radius * np.sin(angle),
        lobe_radius_m=lobe_radius,
        reduced_radius_m=reduced,
        pressure_angle_deg=np.degrees(angle),
        entrainment_m_per_rad=carried,
        undercut=(pitch_radius > 0.0) & (lobe_radius <= 0.0),
    )


def base_circle_needed_m(motion: Motion, least_radius_m: float, rocker_ratio: float = 1.0) -> float:
    """Base-circle radius with which a flat face finds at least a radius everywhere on the lobe.

    rho_min - min(s + s''): a hard, short flank asks for a large base circle.
    """
    lobe = motion.at_lobe(rocker_ratio)
    return least_radius_m - float(
        (lobe.lift_m + per_cam_rad(lobe.acceleration_m_per_deg2, 2)).min()
    )


def face_radius_needed_m(found: Contact) -> float:
    """Half-width of face that the touching line sweeps; add an edge margin of 0.5 to 1 mm."""
    return float(np.abs(found.offset_m).max())


def touching_length_m(found: Contact, follower: Follower) -> Floats:
    """Length of the touching line along the shaft, at most what a round flat face leaves of it.

    0 where the line has run off the face. (n,)
    """
    width = np.full_like(found.offset_m, follower.contact_width_m)
    if follower.face_diameter_m is None or face_radius_m(follower) is not None:
        return width
    left = (follower.face_diameter_m / 2) ** 2 - found.offset_m**2
    return np.minimum(width, 2 * np.sqrt(np.maximum(left, 0.0)))


def entrainment_zeros_deg(found: Contact) -> Floats:
    """Crank angles at which the entrainment speed passes through zero, jumps included.

    Twice in an event over a nose whose radius is below half its distance from the cam axis. With
    dwell the top is an arc about the axis, and each flank passes zero twice: four times.
    """
    speed, angle = found.entrainment_m_per_rad, found.angle_deg
    before = np.flatnonzero(np.signbit(speed[:-1]) != np.signbit(speed[1:]))
    share = speed[before] / (speed[before] - speed[before + 1])
    result: Floats = angle[before] + share * (angle[before + 1] - angle[before])
    return result


def contact_modulus_Pa(
    first_Pa: float, first_poisson: float, second_Pa: float, second_poisson: float
) -> float:
    """E* of two bodies, 1/E* = (1 - n1^2)/E1 + (1 - n2^2)/E2."""
    return 1.0 / ((1 - first_poisson**2) / first_Pa + (1 - second_poisson**2) / second_Pa)


def hertz_pressure_Pa(
    force_N: Values, length_m: Values, reduced_radius_m: Values, modulus_Pa: float
) -> Values:
    """Peak pressure of a line contact, sqrt(F E* / (pi L R)).

    References
    ----------
    Mechanical Engineer's Data Handbook, p. 52 (read), in the form 4F/(pi w L).
    """
    return (force_N * modulus_Pa / (pi * length_m * reduced_radius_m)) ** 0.5


def hertz_half_width_m(
    force_N: Values, length_m: Values, reduced_radius_m: Values, modulus_Pa: float
) -> Values:
    """Half the width of a line contact, sqrt(4 F R / (pi L E*)); source as the pressure's."""
    return (4 * force_N * reduced_radius_m / (pi * length_m * modulus_Pa)) ** 0.5


def hertz_shear(pressure_Pa: float, half_width_m: float) -> tuple[float, float]:
    """Largest shear stress below a line contact [Pa] and its depth [m]: 0.3003 p at 0.7861 b."""
    return 0.3003 * pressure_Pa, 0.7861 * half_width_m


def contact_pressure_Pa(found: Contact, follower: Follower, force_at_valve_N: Floats) -> Floats:
    """Hertz pressure over the event.

    Parameters
    ----------
    found : Contact
    follower : Follower
    force_at_valve_N : (n,) array
        Contact force counted at the valve, as ``loads`` gives; the lobe feels rocker ratio times
        it, over the cosine of the pressure angle. Where it is not positive there is no pressure.

    Returns
    -------
    (n,) array
        Infinite where the line has run off the face or the lobe is undercut.
    """
    modulus = contact_modulus_Pa(
        follower.lobe_modulus_Pa,
        follower.lobe_poisson,
        follower.follower_modulus_Pa,
        follower.follower_poisson,
    )
    normal = force_at_valve_N * follower.rocker_ratio / np.cos(np.radians(found.pressure_angle_deg))
    length = touching_length_m(found, follower)
    sound = (length > 0.0) & ~found.undercut
    loaded = normal > 0.0
    pressure = np.where(loaded, inf, 0.0)
    on = loaded & sound
    pressure[on] = hertz_pressure_Pa(normal[on], length[on], found.reduced_radius_m[on], modulus)
    return pressure

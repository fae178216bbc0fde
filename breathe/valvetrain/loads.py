"""Whether the spring keeps the follower on the lobe: contact force, reserve, separation speed.

Forces, masses and stiffness are per valve and at the valve. Left out, because nothing is known of
them: gas force on the valve head, friction, and surge of the spring (``springs`` has its speeds).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, pi, sqrt

import numpy as np
from numpy.typing import NDArray

from breathe.engine.mechanics import Spring, Train
from breathe.engine.parts import Floats
from breathe.valvetrain.motion import Motion, per_second
from breathe.valvetrain.springs import spring_force_N


@dataclass(frozen=True, slots=True, kw_only=True)
class Separation:
    """Where the follower would first leave the lobe."""

    speed_rpm: float
    """Engine speed; infinite if the lobe never asks the spring to hold the valve."""
    at_deg: float
    """Crank degrees from firing TDC; NaN with an infinite speed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reserve:
    """The tightest place at one speed."""

    least_contact_N: float
    """Least contact force while the valve is open; negative: the spring cannot hold it."""
    at_deg: float
    """Where that is."""
    share: float
    """Least of (spring force / force needed) - 1; infinite if none is needed. Its place is that of
    ``Separation``, since (separation speed / speed)^2 is 1 + share."""


def moving_mass_kg(train: Train, spring: Spring) -> float:
    """Mass that moves with the valve, a third of the spring's active coils included.

    Without a spring mass the train's alone, which is on the unsafe side. A third is exact for a
    spring that stretches evenly (Rayleigh; from memory).
    """
    return train.moving_mass_kg + (spring.mass_kg or 0.0) / 3.0


def is_open(motion: Motion, lash_m: float = 0.0) -> NDArray[np.bool_]:
    """Where the lobe has taken up the lash and carries the spring. (n,)"""
    return motion.lift_m > lash_m


def inertia_force_N(motion: Motion, mass_kg: float, speed_rpm: float) -> Floats:
    """Mass times acceleration; negative where the spring has to supply it. (n,)"""
    return mass_kg * per_second(motion.acceleration_m_per_deg2, 2, speed_rpm)


def contact_force_N(
    motion: Motion, spring: Spring, train: Train, speed_rpm: float, lash_m: float = 0.0
) -> Floats:
    """Force between lobe and follower, counted at the valve, with a rigid train.

    Seat load + rate * valve lift + mass * acceleration; at the lobe it is rocker ratio times that.

    Returns
    -------
    (n,) array
        At the angles of ``motion``; negative means contact is lost. 0 while the valve is seated.
    """
    mass = moving_mass_kg(train, spring)
    open_force = spring_force_N(spring, motion.lift_m - lash_m)
    force = open_force + inertia_force_N(motion, mass, speed_rpm)
    return np.where(is_open(motion, lash_m), force, 0.0)


def separation(motion: Motion, spring: Spring, train: Train, lash_m: float = 0.0) -> Separation:
    """Speed at which the contact force first reaches zero, rigid train, and where it does.

    Every angle is looked at: a flank may need the spring most well before full lift.
    """
    mass = moving_mass_kg(train, spring)
    needs = is_open(motion, lash_m) & (motion.acceleration_m_per_deg2 < 0.0)
    if not needs.any():
        return Separation(speed_rpm=inf, at_deg=float("nan"))
    force = spring_force_N(spring, motion.lift_m[needs] - lash_m)
    # Force over mass and angular acceleration is crank degrees per second, squared.
    squared = force / (-mass * motion.acceleration_m_per_deg2[needs])
    first = int(np.argmin(squared))
    return Separation(
        speed_rpm=sqrt(float(squared[first])) / 6.0, at_deg=float(motion.angle_deg[needs][first])
    )


def reserve(
    motion: Motion, spring: Spring, train: Train, speed_rpm: float, lash_m: float = 0.0
) -> Reserve:
    """How much the spring has left at one speed above 0, rigid train.

    Raises
    ------
    ValueError
        If the lash takes up all the lift.
    """
    open_at = is_open(motion, lash_m)
    if not open_at.any():
        full = float(motion.lift_m.max())
        raise ValueError(
            f"lash: found {lash_m * 1e3:.2f} mm against {full * 1e3:.2f} mm of lift, so the valve "
            "never opens; expected a lash below the lift"
        )
    force = contact_force_N(motion, spring, train, speed_rpm, lash_m)[open_at]
    least = int(np.argmin(force))
    return Reserve(
        least_contact_N=float(force[least]),
        at_deg=float(motion.angle_deg[open_at][least]),
        share=(separation(motion, spring, train, lash_m).speed_rpm / speed_rpm) ** 2 - 1.0,
    )


def natural_frequency_Hz(train: Train, spring: Spring) -> float | None:
    """Of the moving mass on the train's stiffness and the spring's; None for a rigid train."""
    if train.stiffness_N_per_m is None:
        return None
    stiffness = train.stiffness_N_per_m + spring.rate_N_per_m
    return sqrt(stiffness / moving_mass_kg(train, spring)) / (2 * pi)


def vibration_m(motion: Motion, natural_Hz: float, speed_rpm: float, lash_m: float = 0.0) -> Floats:
    """How far the valve strays from the motion the lobe asks for, one mass on an undamped train.

    z'' + w^2 z = -s'', at rest when the lash is taken up and struck there with the lobe's velocity.
    Solved exactly for acceleration that runs straight between samples (Duhamel's integral).
    Damping, which every train has, makes it less.

    Parameters
    ----------
    motion : Motion
    natural_Hz, speed_rpm : float
    lash_m : float

    Returns
    -------
    (n,) array
        z at the angles of ``motion``; 0 while the valve is seated.

    References
    ----------
    F. Y. Chen, Mechanics and Design of Cam Mechanisms, 1982 (from memory).
    """
    driven, turn = _driven(motion, natural_Hz, speed_rpm, lash_m)
    phase = np.exp(1j * turn * (motion.angle_deg - motion.angle_deg[0]))
    stray = -np.imag(phase * driven) / turn
    return np.where(is_open(motion, lash_m), stray, 0.0)


def residual_vibration_m(
    motion: Motion, natural_Hz: float, speed_rpm: float
) -> tuple[float, float]:
    """Amplitude of the vibration left where full lift begins, and where the lobe ends, no lash.

    On a dwell longer than half a period, and on the base circle, this is how far the valve swings.
    """
    driven, turn = _driven(motion, natural_Hz, speed_rpm, 0.0)
    full = int(np.argmax(motion.lift_m >= motion.lift_m.max() * (1 - 1e-12)))
    return float(abs(driven[full])) / turn, float(abs(driven[-1])) / turn


def _driven(
    motion: Motion, natural_Hz: float, speed_rpm: float, lash_m: float
) -> tuple[NDArray[np.complex128], float]:
    """Integral of s'' exp(-i w x) up to each sample, and w in radians per crank degree."""
    turn = 2 * pi * natural_Hz / (6.0 * speed_rpm)
    x = motion.angle_deg - motion.angle_deg[0]
    width = np.diff(x)
    start, end = motion.acceleration_m_per_deg2[:-1], motion.acceleration_m_per_deg2[1:]
    slope = np.divide(end - start, width, out=np.zeros_like(width), where=width > 0)
    wave = np.exp(-1j * turn * x)
    # Of (a + g x) exp(-i w x) the primitive is exp(-i w x) ((a + g x) i / w + g / w^2).
    at_end = wave[1:] * (1j * end / turn + slope / turn**2)
    at_start = wave[:-1] * (1j * start / turn + slope / turn**2)
    each = np.where(width > 0, at_end - at_start, 0.0)
    lifted = int(np.argmax(is_open(motion, lash_m))) if lash_m > 0 else 0
    each[:lifted] = 0.0
    result = np.concatenate([[0.0], np.cumsum(each)])
    if lash_m > 0:
        result[lifted:] += motion.velocity_m_per_deg[lifted] * wave[lifted]
    return result, turn


def contact_force_springy_N(
    motion: Motion, spring: Spring, train: Train, speed_rpm: float, lash_m: float = 0.0
) -> Floats:
    """Contact force at the valve with the train's own stiffness, undamped.

    Spring force - train stiffness * z, z from ``vibration_m``: what vibration adds to and takes
    from ``contact_force_N``. What the seat load winds up before the valve lifts is left out.

    Raises
    ------
    ValueError
        If the stiffness of the train is not known.
    """
    natural_Hz = natural_frequency_Hz(train, spring)
    if natural_Hz is None or train.stiffness_N_per_m is None:
        raise ValueError("train stiffness: found none; expected a stiffness at the valve")
    stray = vibration_m(motion, natural_Hz, speed_rpm, lash_m)
    force = spring_force_N(spring, motion.lift_m - lash_m) - train.stiffness_N_per_m * stray
    return np.where(is_open(motion, lash_m), force, 0.0)

"""Valve springs: rate, stress, surge, and what the lift's harmonics do to them."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, floor, pi, sqrt

import numpy as np

from breathe.engine.mechanics import Spring
from breathe.engine.parts import Floats, LiftEvent
from breathe.valvetrain.motion import Values

STEEL_SHEAR_MODULUS_PA = 79.3e9
STEEL_DENSITY_KG_PER_M3 = 7850.0
SURGE_NUMBER_LEAST = 10.0
"""Below this many spring cycles a cam turn the strong harmonics of the lift drive the coils: 10 to
12 is common for valve gear (from memory)."""
SURGE_NUMBER_AMPLE = 13.0
"""Published rules for springs in general ask for 13, or 15 to 20 (spring makers' design pages)."""


def spring_rate_N_per_m(
    wire_m: float,
    coil_m: float,
    active_turns: float,
    shear_modulus_Pa: float = STEEL_SHEAR_MODULUS_PA,
) -> float:
    """Rate of a helical spring of round wire, G d^4 / (8 D^3 N).

    Parameters
    ----------
    wire_m : float
        Wire diameter d.
    coil_m : float
        Mean coil diameter D, from wire centre to wire centre.
    active_turns : float
        N, without the closed end coils.
    shear_modulus_Pa : float

    References
    ----------
    J. E. Shigley, Mechanical Engineering Design, chapter on springs (from memory).
    """
    return shear_modulus_Pa * wire_m**4 / (8 * coil_m**3 * active_turns)


def wire_length_m(coil_m: float, turns: float) -> float:
    """Length of wire in a number of coils, pitch left out."""
    return pi * coil_m * turns


def coil_mass_kg(
    wire_m: float,
    coil_m: float,
    turns: float,
    density_kg_per_m3: float = STEEL_DENSITY_KG_PER_M3,
) -> float:
    """Mass of a number of coils; with the active ones, the mass that surges."""
    return density_kg_per_m3 * pi / 4 * wire_m**2 * wire_length_m(coil_m, turns)


def surge_frequency_Hz(rate_N_per_m: float, active_mass_kg: float) -> float:
    """First natural frequency of a spring between two plates, sqrt(k/m) / 2.

    For steel this is 357690 d / (D^2 N) Hz in mm, as public design pages give it.
    """
    return 0.5 * sqrt(rate_N_per_m / active_mass_kg)


def spring_index(wire_m: float, coil_m: float) -> float:
    """Mean coil diameter over wire diameter [-]."""
    return coil_m / wire_m


def wahl_factor(index: float) -> float:
    """Curvature and direct-shear factor (4C-1)/(4C-4) + 0.615/C.

    References
    ----------
    A. M. Wahl, Mechanical Springs, 1963 (from memory).
    """
    return (4 * index - 1) / (4 * index - 4) + 0.615 / index


def bergstraesser_factor(index: float) -> float:
    """The same by (4C+2)/(4C-3), within about 1 % of Wahl's (Shigley, from memory)."""
    return (4 * index + 2) / (4 * index - 3)


def shear_stress_Pa(force_N: float, wire_m: float, coil_m: float) -> float:
    """Largest shear stress in the wire, Wahl factor * 8 F D / (pi d^3)."""
    factor = wahl_factor(spring_index(wire_m, coil_m))
    return factor * 8 * force_N * coil_m / (pi * wire_m**3)


def spring_force_N(spring: Spring, valve_lift_m: Values) -> Values:
    """Spring force at a valve lift (lash taken off): seat load + rate * lift."""
    return spring.seat_load_N + spring.rate_N_per_m * valve_lift_m


def coil_bind_margin_m(spring: Spring, full_lift_m: float) -> float | None:
    """Travel left at full lift before the coils touch; None where the bind height is unknown.

    The same at every sleeve travel, because the lift does not change. At least 1.0 mm (0.040 in) is
    advised by engine builders (common practice, no source).
    """
    if spring.coil_bind_height_m is None:
        return None
    return spring.installed_height_m - full_lift_m - spring.coil_bind_height_m


def surge_number(surge_Hz: float, speed_rpm: float) -> float:
    """Spring cycles in a turn of the cam: the lift harmonic that meets surge at this speed.

    Spring cycles a minute over half the engine speed, as H. A. Rothbart (ed.), Cam Design Handbook,
    2004, p. 539, counts it (read). See ``SURGE_NUMBER_LEAST`` and ``SURGE_NUMBER_AMPLE``.
    """
    return 60.0 * surge_Hz / (speed_rpm / 2)


def lift_harmonics_m(event: LiftEvent, highest: int) -> Floats:
    """Amplitudes of the lift's harmonics of a cam turn, lash taken off.

    Dwell between two like flanks changes harmonic n as abs(sin(n (b + D)/2)), b being a flank's
    angle and D the dwell on the cam: some settings excite a harmonic that others do not.

    Parameters
    ----------
    event : LiftEvent
    highest : int
        Number of harmonics wanted; well below half the points of the event.

    Returns
    -------
    (highest + 1,) array
        Element n is the amplitude of n cycles a cam turn [m]; element 0 is the mean lift.
    """
    count = len(event.lift_m)
    amplitude = np.abs(np.fft.rfft(event.lift_m))[: highest + 1] * (2.0 / count)
    amplitude[0] /= 2.0
    return amplitude


@dataclass(frozen=True, slots=True, kw_only=True)
class SurgeSpeed:
    """A speed at which a harmonic of the lift keeps time with the spring's own surge."""

    harmonic: int
    speed_rpm: float
    amplitude_m: float
    """Of that harmonic in the lift. What the coils make of it depends on their damping, which is
    not known: compare settings by it, and take no stress from it."""


def surge_speeds(
    event: LiftEvent, surge_Hz: float, slowest_rpm: float, fastest_rpm: float
) -> tuple[SurgeSpeed, ...]:
    """Speeds within a range at which surge is driven, fastest (lowest harmonic) first."""
    first = max(ceil(surge_number(surge_Hz, fastest_rpm) - 1e-9), 1)
    last = floor(surge_number(surge_Hz, slowest_rpm) + 1e-9)
    last = min(last, len(event.lift_m) // 4)
    amplitude = lift_harmonics_m(event, max(last, 0))
    return tuple(
        SurgeSpeed(harmonic=n, speed_rpm=120.0 * surge_Hz / n, amplitude_m=float(amplitude[n]))
        for n in range(first, last + 1)
    )

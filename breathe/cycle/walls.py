"""Heat from the cylinder gas to its walls.

Three published correlations for the coefficient, and the flow to head, piston and liner. Kernels
only: SI scalars. Each correlation keeps the units of its source inside and takes SI.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from breathe.kernel import kernel

MOTORED_EXPONENT = 1.32
"""Polytropic exponent of compression without fire, fresh charge with heat loss [-].
J. B. Heywood, Internal Combustion Engine Fundamentals, 1988, ch. 9 (1.3 +/- 0.05; from memory)."""

SCAVENGING, COMPRESSION = 6.18, 2.28
"""Woschni's C1: valves open; valves shut [-]."""
COMBUSTION = 3.24e-3
"""Woschni's C2 from the start of burning until the exhaust valve opens [m/(s K)]."""


class Walls(NamedTuple):
    """Surfaces above the ring pack and their temperatures."""

    head_m2: float
    piston_m2: float
    head_K: float
    piston_K: float
    liner_K: float


@kernel
def motored_pressure(
    pressure_shut_Pa: float, volume_shut_m3: float, volume_m3: float, exponent: float
) -> float:
    """Pressure [Pa] there would be without fire, from the state at intake closing."""
    return pressure_shut_Pa * math.exp(exponent * math.log(volume_shut_m3 / volume_m3))


@kernel
def woschni_speed(
    piston_speed: float,
    swirl_factor: float,
    fire_factor: float,
    swept_m3: float,
    temperature_shut_K: float,
    pressure_shut_Pa: float,
    volume_shut_m3: float,
    pressure_rise_Pa: float,
) -> float:
    """Gas speed of Woschni's correlation [m/s].

    Parameters
    ----------
    piston_speed : float
        Mean piston speed [m/s].
    swirl_factor, fire_factor : float
        C1 [-] and C2 [m/(s K)], see `SCAVENGING`, `COMPRESSION`, `COMBUSTION`.
    swept_m3 : float
        Swept volume of one cylinder [m3].
    temperature_shut_K, pressure_shut_Pa, volume_shut_m3 : float
        State at intake closing.
    pressure_rise_Pa : float
        Pressure over the motored pressure at the same volume [Pa].

    References
    ----------
    G. Woschni, SAE 670931, 1967, as in J. B. Heywood, Internal Combustion Engine Fundamentals,
    1988, eq. 12.19 (from memory).
    """
    per_kelvin = swept_m3 * temperature_shut_K / (pressure_shut_Pa * volume_shut_m3)
    return swirl_factor * piston_speed + fire_factor * per_kelvin * max(pressure_rise_Pa, 0.0)


@kernel
def woschni(bore_m: float, pressure_Pa: float, temperature_K: float, gas_speed: float) -> float:
    """Heat transfer coefficient [W/(m2 K)]; ``gas_speed`` from `woschni_speed`.

    References
    ----------
    As `woschni_speed`: ``3.26 b^-0.2 p^0.8 T^-0.55 w^0.8`` with p in kPa.
    """
    driving = pressure_Pa * 1e-3 * gas_speed
    # One exp of logs: a third of the time of three powers.
    logs = 0.8 * math.log(driving) - 0.55 * math.log(temperature_K) - 0.2 * math.log(bore_m)
    return 3.26 * math.exp(logs)


@kernel
def hohenberg(
    volume_m3: float, pressure_Pa: float, temperature_K: float, piston_speed: float
) -> float:
    """Heat transfer coefficient [W/(m2 K)].

    References
    ----------
    G. F. Hohenberg, SAE 790825, 1979 (from memory): ``130 V^-0.06 p^0.8 T^-0.4 (s + 1.4)^0.8`` with
    p in bar.
    """
    driving = pressure_Pa * 1e-5 * (piston_speed + 1.4)
    return 130.0 * volume_m3**-0.06 * driving**0.8 * temperature_K**-0.4


@kernel
def annand(
    bore_m: float,
    reynolds: float,
    conductivity: float,
    temperature_K: float,
    wall_K: float,
    convection: float,
    radiation: float,
) -> float:
    """Heat flux [W/m2] to a wall.

    Parameters
    ----------
    bore_m, reynolds : float
        Bore [m]; Reynolds number on bore and mean piston speed [-].
    conductivity : float
        Of the gas [W/(m K)].
    temperature_K, wall_K : float
        Gas and wall.
    convection, radiation : float
        a, 0.35 to 0.8 [-]; c, 4.3e-9 while burning in a spark-ignition engine, else 0 [W/(m2 K4)].

    References
    ----------
    W. J. D. Annand, Proc. Inst. Mech. Engrs 177, 1963, 973 (from memory).
    """
    coefficient = convection * conductivity / bore_m * reynolds**0.7
    return coefficient * (temperature_K - wall_K) + radiation * (temperature_K**4 - wall_K**4)


@kernel
def heat_flow(walls: Walls, coefficient: float, temperature_K: float, liner_m2: float) -> float:
    """Heat from gas to all walls [W]; negative when the walls are hotter.

    ``coefficient`` [W/(m2 K)] is one for all surfaces; ``liner_m2`` is the liner seen by the gas.
    """
    head = walls.head_m2 * (temperature_K - walls.head_K)
    piston = walls.piston_m2 * (temperature_K - walls.piston_K)
    liner = liner_m2 * (temperature_K - walls.liner_K)
    return coefficient * (head + piston + liner)

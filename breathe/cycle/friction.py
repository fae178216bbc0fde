"""Friction mean effective pressure.

`chen_flynn` is what a run uses. `barnes_moss` and `sandoval_heywood` are independent estimates to
hold it against; models of this kind agree within about 20 %. SI outside, the units of each source
inside.
"""

from __future__ import annotations

from typing import NamedTuple

from breathe.engine.parts import Friction


def chen_flynn(friction: Friction, peak_pressure_Pa: float, piston_speed: float) -> float:
    """Friction mean effective pressure [Pa], without pumping.

    Parameters
    ----------
    friction : Friction
        Coefficients; the default set is common practice for spark ignition, no source.
    peak_pressure_Pa, piston_speed : float
        Peak cylinder pressure [Pa]; mean piston speed [m/s].

    References
    ----------
    S. K. Chen and P. F. Flynn, SAE 650733, 1965 (from memory; form with a square term added).
    """
    return (
        friction.constant_Pa
        + friction.per_peak_pressure * peak_pressure_Pa
        + friction.per_piston_speed * piston_speed
        + friction.per_piston_speed_squared * piston_speed**2
    )


def barnes_moss(speed_rpm: float) -> float:
    """Total motored mean effective pressure [Pa] of 0.85 to 2 litre four-cylinder engines.

    Wide open throttle, **pumping included**: do not add a pumping loop to it.

    References
    ----------
    H. W. Barnes-Moss, 1975, as in J. B. Heywood, Internal Combustion Engine Fundamentals, 1988,
    ch. 13 (from memory).
    """
    thousands = speed_rpm / 1000
    return 1e5 * (0.97 + 0.15 * thousands + 0.05 * thousands**2)


class Bearings(NamedTuple):
    """A row of equal journal bearings."""

    number: int
    diameter_m: float
    length_m: float


class ValveGear(NamedTuple):
    """Flat followers, cam in block."""

    valve_count: int
    lift_m: float
    cam_bearing_count: int


def _hydrodynamic(bearings: Bearings, speed_rpm: float, bore_stroke_mm3: float) -> float:
    """Film friction of a row of journal bearings [kPa]; ``bore_stroke_mm3`` is b^2 S n_c."""
    diameter, length = bearings.diameter_m * 1e3, bearings.length_m * 1e3
    return 3.03e-4 * speed_rpm * diameter**3 * length * bearings.number / bore_stroke_mm3


def sandoval_heywood(
    bore_m: float,
    stroke_m: float,
    cylinder_count: int,
    compression_ratio: float,
    main: Bearings,
    rod: Bearings,
    gear: ValveGear,
    speed_rpm: float,
    intake_pressure_ratio: float = 1.0,
) -> float:
    """Rubbing and auxiliary friction mean effective pressure [Pa], without pumping.

    ``intake_pressure_ratio`` is intake over ambient pressure [-].

    References
    ----------
    D. Sandoval and J. B. Heywood, SAE 2003-01-0725, 2003 (constants from memory).
    """
    bore, stroke, cylinders, speed = bore_m * 1e3, stroke_m * 1e3, cylinder_count, speed_rpm
    piston_speed = 2 * stroke_m * speed / 60
    size = bore**2 * stroke * cylinders
    mixed = 1 + 500 / speed
    main_mm = main.diameter_m * 1e3
    lift = gear.lift_m * 1e3
    per_valve = gear.valve_count / (stroke * cylinders)

    crank = 1.22e5 * main_mm / size + _hydrodynamic(main, speed, size)
    crank += 1.35e-10 * main_mm**2 * speed**2 * main.number / cylinders
    piston = 294 * piston_speed / bore + 4.06e4 * mixed / bore**2
    piston += _hydrodynamic(rod, speed, size)
    exponent = 1.33 - 0.0238 * piston_speed
    gas_load = (
        6.89
        * intake_pressure_ratio
        * (0.088 * compression_ratio + 0.182 * compression_ratio**exponent)
    )
    valves = 244 * speed * gear.cam_bearing_count / size + 400 * mixed * per_valve
    valves += 0.5 * lift**1.5 * speed**0.5 * per_valve / bore + 32.1 * mixed * lift * per_valve
    auxiliaries = 8.32 + 1.86e-3 * speed + 7.45e-7 * speed**2
    return 1e3 * (crank + piston + gas_load + valves + auxiliaries)

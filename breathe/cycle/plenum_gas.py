"""The content of one cylinder as a gas: pressure, properties with their slopes, warming.

Mass, temperature and burned fraction are given; burned gas is in equilibrium, or frozen for
comparison.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from breathe.gas.burned_table import FREEZE_K
from breathe.gas.mixture import (
    Charge,
    blend_u_cv,
    burned_hot,
    gas_constant,
    heat_capacity,
    internal_energy,
)
from breathe.kernel import inlined, kernel


class Gas(NamedTuple):
    """The cylinder's content; slopes of u and R by T, by ln p and by burned fraction."""

    pressure: float
    R: float
    u: float
    R_T: float
    u_T: float
    R_p: float
    u_p: float
    R_x: float
    u_x: float


@inlined
def log_pressure_shift(
    charge: Charge, x: float, assumed_R: float, burned_R: float, burned_R_p: float
) -> float:
    """Newton step of ln p towards p V = m R(p) T, when p was found with ``assumed_R``."""
    R = x * burned_R + (1.0 - x) * charge.fresh_R
    return (R / assumed_R - 1.0) / (1.0 - x * burned_R_p / R)


@inlined
def frozen_gas(charge: Charge, mass: float, T: float, x: float, V: float) -> Gas:
    """Content whose composition stands still."""
    fresh_u = internal_energy(T, charge.fresh, charge.fresh_R)
    fresh_cv = heat_capacity(T, charge.fresh) - charge.fresh_R
    burned_u = internal_energy(T, charge.burned, charge.burned_R)
    burned_cv = heat_capacity(T, charge.burned) - charge.burned_R
    R_x, u_x = charge.burned_R - charge.fresh_R, burned_u - fresh_u
    R = charge.fresh_R + x * R_x
    u_T = fresh_cv + x * (burned_cv - fresh_cv)
    return Gas(mass * R * T / V, R, fresh_u + x * u_x, 0.0, u_T, 0.0, 0.0, R_x, u_x)


@kernel
def hot_gas(charge: Charge, mass: float, T: float, x: float, V: float) -> Gas:
    """Content whose burned part is in equilibrium.

    Pressure and gas constant depend on each other; one or two Newton steps from the frozen pressure
    meet both to 1e-6.
    """
    fresh_u = internal_energy(T, charge.fresh, charge.fresh_R)
    fresh_cv = heat_capacity(T, charge.fresh) - charge.fresh_R
    frozen_R = gas_constant(x, charge)
    # A stage of a step that will be rejected may hold less than nothing.
    pressure = max(mass * frozen_R * T / V, 1.0)
    burned = burned_hot(T, pressure, charge)
    shift = log_pressure_shift(charge, x, frozen_R, burned[1], burned[5])
    if shift > 1e-3:
        pressure *= math.exp(shift)
        burned = burned_hot(T, pressure, charge)
        nearer_R = pressure * V / (mass * T)
        shift = log_pressure_shift(charge, x, nearer_R, burned[1], burned[5])
    burned_u, burned_R = burned[0] + burned[4] * shift, burned[1] + burned[5] * shift
    return Gas(
        pressure=pressure * (1.0 + shift),
        R=x * burned_R + (1.0 - x) * charge.fresh_R,
        u=x * burned_u + (1.0 - x) * fresh_u,
        R_T=x * burned[3],
        u_T=x * burned[2] + (1.0 - x) * fresh_cv,
        R_p=x * burned[5],
        u_p=x * burned[4],
        R_x=burned_R - charge.fresh_R,
        u_x=burned_u - fresh_u,
    )


@inlined
def cylinder_gas(charge: Charge, frozen: bool, mass: float, T: float, x: float, V: float) -> Gas:
    """Pressure and properties of the content from mass, temperature, burned fraction, volume."""
    if frozen or not T >= FREEZE_K:
        return frozen_gas(charge, mass, T, x, V)
    return hot_gas(charge, mass, T, x, V)


@kernel
def temperature_from_h(h: float, x: float, charge: Charge, guess_K: float) -> float:
    """Temperature [K] of the frozen blend with enthalpy ``h`` [J/kg], by Newton."""
    T = guess_K
    R = gas_constant(x, charge)
    for _ in range(8):
        u, cv = blend_u_cv(T, x, charge)
        change = (h - u - R * T) / (cv + R)
        T = min(6000.0, max(100.0, T + change))
        if abs(change) < 1e-6 * T:
            break
    return T


@inlined
def temperature_rate(
    gas: Gas, mass: float, T: float, heating: float, mass_rate: float, x_rate: float, squeeze: float
) -> float:
    """dT from the energy balance ``m du = heating`` with p V = m R T, all per the same unit.

    ``heating`` [J] is enthalpy carried in less heat, work and u dm; ``squeeze`` is dV / V.
    """
    stiffness = 1.0 - gas.R_p / gas.R
    log_p = (mass_rate / mass + gas.R_x / gas.R * x_rate - squeeze) / stiffness
    log_p_T = (gas.R_T / gas.R + 1.0 / T) / stiffness
    return (heating / mass - gas.u_x * x_rate - gas.u_p * log_p) / (gas.u_T + gas.u_p * log_p_T)

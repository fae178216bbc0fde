"""The gas in an engine: fresh charge, burned gas, and any blend of the two by mass.

Fresh charge is air, water vapour and fuel vapour; burned gas is what it becomes. Blends of fixed
composition are exact (polynomials add up); hot burned gas is in equilibrium (`burned_table`).
Energies hold the heat of formation, so burning changes composition, never energy.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from breathe.gas import fuels
from breathe.gas.burned_table import (
    FREEZE_K,
    N_PRESSURES,
    N_TEMPERATURES,
    STEP_K,
    BurnedTable,
    across,
    fill_burned_table,
    hermite,
    place,
)
from breathe.gas.composition import burned_composition, fresh_composition
from breathe.gas.equilibrium import ELEMENTS, reacting_data
from breathe.gas.fuels import FUELS
from breathe.gas.polynomial import (
    BREAK_K,
    enthalpy,
    entropy0,
    heat_capacity,
    internal_energy,
)
from breathe.gas.species import atoms, mixture_polynomial
from breathe.kernel import kernel

__all__ = [
    "FUELS",
    "PRANDTL",
    "BurnedTable",
    "Charge",
    "air",
    "blend_u_cv",
    "burned_hot",
    "burned_mole_fraction",
    "charge",
    "enthalpy",
    "entropy0",
    "frozen_state",
    "gas_constant",
    "heat_capacity",
    "internal_energy",
    "mixture_hot",
    "state_from_u_v",
    "temperature_from_u",
]

Floats = NDArray[np.float64]

RICHEST = 2.0
"""Upper limit of the equivalence ratio [-]: beyond it soot forms, which is not modelled."""

WETTEST = 0.1
"""Upper limit of humidity [kg/kg]: saturated air at 50 C holds 0.087."""

PRANDTL = 0.71
"""Prandtl number of air [-], 0.69 to 0.73 from 250 to 1500 K: F. P. Incropera, D. P. DeWitt,
Fundamentals of Heat and Mass Transfer, table A.4 (from memory)."""


class Charge(NamedTuple):
    """One fuel at one mixture strength and humidity; all per kg of the gas named."""

    fresh: Floats
    """(2, 7) polynomial of the fresh charge, see `polynomial`."""
    burned: Floats
    """(2, 7) polynomial of the frozen burned gas."""
    fresh_R: float
    """[J/(kg K)]"""
    burned_R: float
    """[J/(kg K)], frozen"""
    table: BurnedTable
    """The hot burned gas."""
    air_fraction: float
    """Dry air over fresh charge [kg/kg]."""
    fuel_fraction: float
    """Fuel over fresh charge [kg/kg]."""
    fuel_heat: float
    """Lower heating value of the fuel's vapour at 298.15 K [J/kg]."""
    stoichiometric_afr: float
    """Dry air over fuel [kg/kg]."""
    equivalence_ratio: float
    fresh_moles: float
    """[mol/kg]"""
    burned_moles: float
    """[mol/kg], frozen"""


def air(humidity_kg_per_kg: float = 0.0) -> Charge:
    """Plain (moist) air as a charge: what it burns to is itself."""
    return charge("gasoline", 0.0, humidity_kg_per_kg)


def charge(fuel: str, equivalence_ratio: float, humidity_kg_per_kg: float = 0.0) -> Charge:
    """The gases of one fuel at one mixture strength.

    Parameters
    ----------
    fuel : str
        A name in `FUELS`.
    equivalence_ratio : float
        Fuel over stoichiometric fuel [-], 0 (plain air) to 2.
    humidity_kg_per_kg : float
        Water vapour over dry air [kg/kg], 0 to 0.1.

    Raises
    ------
    ValueError
        If the fuel is unknown or a number is out of its range.
    """
    fuels.find_fuel(fuel)
    _check_range("equivalence_ratio", equivalence_ratio, RICHEST)
    _check_range("humidity_kg_per_kg", humidity_kg_per_kg, WETTEST)
    return _charge(fuel, float(equivalence_ratio), float(humidity_kg_per_kg))


def _check_range(name: str, value: float, upper: float) -> None:
    if not 0.0 <= value <= upper:
        raise ValueError(f"{name}: found {value!r}; expected a number from 0 to {upper:g}")


@lru_cache(maxsize=256)
def _charge(fuel_name: str, equivalence_ratio: float, humidity: float) -> Charge:
    fuel = fuels.find_fuel(fuel_name)
    afr = fuels.stoichiometric_afr(fuel)
    fuel_per_air = equivalence_ratio / afr
    total = 1.0 + humidity + fuel_per_air
    fresh = fresh_composition(fuel, fuel_per_air / total, 1.0 / total, humidity / total)
    burned = burned_composition(fresh)
    fresh_a, fresh_R = mixture_polynomial(fresh)
    burned_a, burned_R = mixture_polynomial(burned)
    return Charge(
        fresh=fresh_a,
        burned=burned_a,
        fresh_R=fresh_R,
        burned_R=burned_R,
        table=_burned_table(fresh, burned_a, burned_R),
        air_fraction=1.0 / total,
        fuel_fraction=fuel_per_air / total,
        fuel_heat=fuels.heating_value(fuel),
        stoichiometric_afr=afr,
        equivalence_ratio=equivalence_ratio,
        fresh_moles=sum(fresh.values()),
        burned_moles=sum(burned.values()),
    )


def _burned_table(fresh: dict[str, float], burned: Floats, burned_R: float) -> BurnedTable:
    # An element that is absent (hydrogen in dry air) would leave a singular system; a trace of
    # 1e-8 mol/kg moves u by less than 0.01 J/kg.
    element_moles = np.array([max(atoms(fresh, e), 1e-8) for e in ELEMENTS])
    species_atoms, nasa = reacting_data()
    nodes = np.empty((N_TEMPERATURES, N_PRESSURES, 8))
    fill_burned_table(nodes, nasa, species_atoms, element_moles, fresh["Ar"], burned, burned_R)
    if not np.isfinite(nodes).all():
        raise ArithmeticError("no chemical equilibrium found for this burned gas")
    return BurnedTable(nodes)


# Blends of fixed composition. ``burned_fraction`` is by mass, 0 fresh to 1 burned [-].


@kernel
def gas_constant(burned_fraction, charge):
    """Gas constant of the frozen blend [J/(kg K)]."""
    return charge.fresh_R + burned_fraction * (charge.burned_R - charge.fresh_R)


@kernel
def blend_u_cv(T, burned_fraction, charge):
    """Internal energy [J/kg] and its slope cv [J/(kg K)] of the frozen blend at ``T`` [K]."""
    k = 1 if T >= BREAK_K else 0
    f, b, x = charge.fresh, charge.burned, burned_fraction
    a0 = f[k, 0] + x * (b[k, 0] - f[k, 0]) - gas_constant(x, charge)
    a1 = f[k, 1] + x * (b[k, 1] - f[k, 1])
    a2 = f[k, 2] + x * (b[k, 2] - f[k, 2])
    a3 = f[k, 3] + x * (b[k, 3] - f[k, 3])
    a4 = f[k, 4] + x * (b[k, 4] - f[k, 4])
    a5 = f[k, 5] + x * (b[k, 5] - f[k, 5])
    u = a5 + T * (a0 + T * (a1 * 0.5 + T * (a2 * (1 / 3) + T * (a3 * 0.25 + T * (a4 * 0.2)))))
    return u, a0 + T * (a1 + T * (a2 + T * (a3 + T * a4)))


@kernel
def burned_mole_fraction(burned_fraction, charge):
    """Moles of burned gas over all moles [-], frozen, from its mass fraction."""
    burned = burned_fraction * charge.burned_moles
    return burned / (burned + (1.0 - burned_fraction) * charge.fresh_moles)


@kernel
def temperature_from_u(u, burned_fraction, charge, guess_T):
    """Temperature [K] of the frozen blend with internal energy ``u`` [J/kg], by Newton.

    Good to about 1e-10 of T; NaN if no temperature from 50 to 8000 K has this energy.
    """
    T = guess_T
    for _ in range(30):
        found, cv = blend_u_cv(T, burned_fraction, charge)
        change = (u - found) / cv
        T = min(8000.0, max(50.0, T + change))
        # The next step would be of order change^2 / T.
        if abs(change) < 1e-5 * T:
            return T
    return math.nan


@kernel
def frozen_state(u, burned_fraction, charge, guess_T):
    """Temperature, cv and mixing energy of the frozen blend with internal energy ``u`` [J/kg].

    What `temperature_from_u` and two calls of `blend_u_cv` give, in one pass over both gases.

    Returns
    -------
    T, cv, mixing : float
        [K], NaN as in `temperature_from_u`; [J/(kg K)]; internal energy of burned less that of
        fresh gas at T [J/kg].
    """
    f, b, x = charge.fresh, charge.burned, burned_fraction
    fresh_R, burned_R = charge.fresh_R, charge.burned_R
    T = guess_T
    for _ in range(30):
        k = 1 if T >= BREAK_K else 0
        f0, b0 = f[k, 0] - fresh_R, b[k, 0] - burned_R
        fresh_cv = f0 + T * (f[k, 1] + T * (f[k, 2] + T * (f[k, 3] + T * f[k, 4])))
        burned_cv = b0 + T * (b[k, 1] + T * (b[k, 2] + T * (b[k, 3] + T * b[k, 4])))
        third = 1 / 3
        fresh = f[k, 5] + T * (
            f0
            + T * (f[k, 1] * 0.5 + T * (f[k, 2] * third + T * (f[k, 3] * 0.25 + T * f[k, 4] * 0.2)))
        )
        burned = b[k, 5] + T * (
            b0
            + T * (b[k, 1] * 0.5 + T * (b[k, 2] * third + T * (b[k, 3] * 0.25 + T * b[k, 4] * 0.2)))
        )
        cv = fresh_cv + x * (burned_cv - fresh_cv)
        change = (u - fresh - x * (burned - fresh)) / cv
        # The next step would be of order change^2 / T.
        if abs(change) < 1e-5 * T:
            return T + change, cv, burned - fresh
        T = min(8000.0, max(50.0, T + change))
    return math.nan, math.nan, math.nan


# Hot gas: fresh part frozen, burned part in equilibrium.


@kernel
def mixture_hot(T, p, burned_fraction, charge):
    """Blend of fresh charge and burned gas by mass, the burned part as hot as it is.

    Fresh gas is frozen; burned gas is frozen below 1500 K and in equilibrium from 1700 K up.
    One long function on purpose: a compiled call that hands on arrays costs as much as this work.

    Parameters
    ----------
    T, p : float
        Temperature [K] and absolute pressure [Pa].
    burned_fraction : float
        By mass, 0 to 1 [-].
    charge : Charge

    Returns
    -------
    u, R, du_dT, dR_dT, du_dlnp, dR_dlnp : float
        Internal energy [J/kg], gas constant [J/(kg K)], and their slopes by T [K] at constant p
        and by ln p at constant T.
    """
    x = burned_fraction
    if T < FREEZE_K:
        u, cv = blend_u_cv(T, x, charge)
        return u, gas_constant(x, charge), cv, 0.0, 0.0, 0.0
    i, j, s, q, beyond, per_log_p = place(T, math.log(p))
    n = charge.table.nodes
    u0 = hermite(n[i, j, 0], n[i + 1, j, 0], n[i, j, 2], n[i + 1, j, 2], s)
    r0 = hermite(n[i, j, 1], n[i + 1, j, 1], n[i, j, 3], n[i + 1, j, 3], s)
    u0_p = hermite(n[i, j, 4], n[i + 1, j, 4], n[i, j, 6], n[i + 1, j, 6], s)
    r0_p = hermite(n[i, j, 5], n[i + 1, j, 5], n[i, j, 7], n[i + 1, j, 7], s)
    j += 1
    u1 = hermite(n[i, j, 0], n[i + 1, j, 0], n[i, j, 2], n[i + 1, j, 2], s)
    r1 = hermite(n[i, j, 1], n[i + 1, j, 1], n[i, j, 3], n[i + 1, j, 3], s)
    u1_p = hermite(n[i, j, 4], n[i + 1, j, 4], n[i, j, 6], n[i + 1, j, 6], s)
    r1_p = hermite(n[i, j, 5], n[i + 1, j, 5], n[i, j, 7], n[i + 1, j, 7], s)
    u, u_s, u_q = across(u0, u1, u0_p, u1_p, q)
    r, r_s, r_q = across(r0, r1, r0_p, r1_p, q)
    per_kelvin, y = x * (1.0 / STEP_K), 1.0 - x
    u_t, r_t = u_s * per_kelvin, r_s * per_kelvin
    fresh_u, fresh_cv = blend_u_cv(T, 0.0, charge)
    u = x * u + u_t * beyond + y * fresh_u
    r = x * r + r_t * beyond + y * charge.fresh_R
    return u, r, u_t + y * fresh_cv, r_t, x * u_q * per_log_p, x * r_q * per_log_p


@kernel
def burned_hot(T, p, charge):
    """Burned gas alone; returns what `mixture_hot` does, which is the faster one in kernels."""
    return mixture_hot(T, p, 1.0, charge)


@kernel
def state_from_u_v(u, v, burned_fraction, charge, T_guess, p_guess):
    """Temperature [K] and pressure [Pa] from internal energy [J/kg] and volume [m3/kg].

    Newton on u(T, p) = u and R(T, p) T = p v. Good to about 1e-9; NaN, NaN if it does not settle
    within 40 steps between 50 and 8000 K.
    """
    T, p = T_guess, p_guess
    for _ in range(40):
        found, r, u_t, r_t, u_p, r_p = mixture_hot(T, p, burned_fraction, charge)
        # Unknowns are changes of T and of ln p.
        u_error, pv_error = u - found, p * v - r * T
        pv_t, pv_p = r + r_t * T, r_p * T - p * v
        determinant = u_t * pv_p - u_p * pv_t
        change_t = (u_error * pv_p - u_p * pv_error) / determinant
        change_p = (u_t * pv_error - u_error * pv_t) / determinant
        T = min(8000.0, max(50.0, T + change_t))
        p *= 1.0 + min(2.0, max(-0.6, change_p))
        if abs(change_t) < 1e-5 * T and abs(change_p) < 1e-5:
            return T, p
    return math.nan, math.nan

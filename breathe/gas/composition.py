"""What fresh charge is made of and what it burns to: moles of each species, before any property."""

from __future__ import annotations

import math
from functools import lru_cache

from breathe.gas import fuels
from breathe.gas.equilibrium import ELEMENTS
from breathe.gas.polynomial import enthalpy, entropy0
from breathe.gas.species import all_species, atoms, mass, mixture_polynomial

WATER_GAS_K = 1740.0
"""Temperature at which CO + H2O = CO2 + H2 freezes in rich burned gas: common textbook choice
(J. B. Heywood, Internal Combustion Engine Fundamentals, 1988, chapter 4, from memory)."""


def fresh_composition(
    fuel: fuels.SuppliedFuel, fuel_mass: float, air_mass: float, water_mass: float
) -> dict[str, float]:
    """Species name -> mol in the given masses [kg] of fuel, dry air and water."""
    air_moles = air_mass / mass(fuels.DRY_AIR)
    moles = {name: x * air_moles for name, x in fuels.DRY_AIR.items()}
    moles["H2O"] = water_mass / all_species()["H2O"].molar_mass
    return moles | {name: n * fuel_mass for name, n in fuel.moles.items()}


def burned_composition(fresh: dict[str, float]) -> dict[str, float]:
    """What a fresh charge burns to when it cools and freezes.

    Lean: complete combustion. Rich: no oxygen left, CO2, CO, H2O and H2 in water-gas equilibrium
    at `WATER_GAS_K`, K = [CO2][H2] / ([CO][H2O]).

    Parameters
    ----------
    fresh : dict
        Species name -> mol.

    Returns
    -------
    dict
        Species name -> mol, of the same mass.
    """
    carbon, hydrogen, oxygen, nitrogen = (atoms(fresh, e) for e in ELEMENTS)
    burned = {"N2": nitrogen / 2, "Ar": fresh["Ar"]}
    spare = oxygen - 2 * carbon - hydrogen / 2
    if spare >= 0.0:
        return burned | {"CO2": carbon, "H2O": hydrogen / 2, "O2": spare / 2}
    constant = _water_gas_constant()
    # With x mol of CO: H2O = x + oxygen - 2 carbon, H2 = free - x, a quadratic in x.
    free = hydrogen / 2 + 2 * carbon - oxygen
    a = 1.0 - constant
    b = -(carbon + free + constant * (oxygen - 2 * carbon))
    c = carbon * free
    monoxide = 2 * c / (-b + math.sqrt(b * b - 4 * a * c))
    water = monoxide + oxygen - 2 * carbon
    return burned | {"CO2": carbon - monoxide, "CO": monoxide, "H2O": water, "H2": free - monoxide}


@lru_cache(maxsize=1)
def _water_gas_constant() -> float:
    signs = {"CO": 1.0, "H2O": 1.0, "CO2": -1.0, "H2": -1.0}
    log_constant = 0.0
    for name, sign in signs.items():
        a, R = mixture_polynomial({name: 1.0})
        g = enthalpy(WATER_GAS_K, a) / (R * WATER_GAS_K) - entropy0(WATER_GAS_K, a) / R
        log_constant += sign * g
    return math.exp(log_constant)

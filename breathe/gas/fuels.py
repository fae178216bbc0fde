"""The supplied fuels and what they need to burn.

A fuel is a blend of pure vapours. Liquid fuel gives less heat than the vapour by its heat of
vaporisation; that belongs to whoever evaporates it.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass

from breathe.gas.species import all_species, atoms, mass, molar_enthalpy

DRY_AIR: Mapping[str, float] = {"N2": 0.78084, "O2": 0.20946, "Ar": 0.00934, "CO2": 0.00036}
"""Mole fractions, rarer gases left out: common handbook values (from memory), within 0.00005 of the
U.S. Standard Atmosphere, 1976, table 3. They sum to 1."""


@dataclass(frozen=True, slots=True)
class SuppliedFuel:
    """A fuel as mass fractions of pure substances."""

    mass_fractions: Mapping[str, float]
    """Species name -> kg per kg of fuel; sums to 1."""
    about: str

    @property
    def moles(self) -> dict[str, float]:
        """Species name -> mol per kg of fuel."""
        table = all_species()
        return {name: y / table[name].molar_mass for name, y in self.mass_fractions.items()}


_SURROGATE = {"iso-octane": 0.57, "n-heptane": 0.13, "toluene": 0.30}
_SURROGATE_DENSITY, _ETHANOL_DENSITY = 745.0, 789.0  # kg/m3, liquid, 20 C; from memory


def _with_ethanol(volume_fraction: float) -> dict[str, float]:
    """Mass fractions of the surrogate with ethanol added by liquid volume, volumes adding up."""
    ethanol = volume_fraction * _ETHANOL_DENSITY
    ethanol /= ethanol + (1.0 - volume_fraction) * _SURROGATE_DENSITY
    return {n: (1.0 - ethanol) * y for n, y in _SURROGATE.items()} | {"ethanol": ethanol}


FUELS: Mapping[str, SuppliedFuel] = {
    "gasoline": SuppliedFuel(
        _SURROGATE, "surrogate of 57 % iso-octane, 13 % n-heptane, 30 % toluene by mass; own choice"
    ),
    "iso-octane": SuppliedFuel({"iso-octane": 1.0}, "2,2,4-trimethylpentane"),
    "E10": SuppliedFuel(_with_ethanol(0.10), "the surrogate with 10 % ethanol by volume"),
    "E85": SuppliedFuel(_with_ethanol(0.85), "the surrogate with 85 % ethanol by volume"),
    "ethanol": SuppliedFuel({"ethanol": 1.0}, "pure"),
    "methanol": SuppliedFuel({"methanol": 1.0}, "pure"),
    "methane": SuppliedFuel({"methane": 1.0}, "pure; stands for natural gas"),
    "propane": SuppliedFuel({"propane": 1.0}, "pure; stands for LPG"),
}


def find_fuel(name: str) -> SuppliedFuel:
    """The supplied fuel called ``name``.

    Raises
    ------
    ValueError
        If there is none; the message names the nearest and lists all.
    """
    if name in FUELS:
        return FUELS[name]
    folded = {known.casefold(): known for known in FUELS}
    near = difflib.get_close_matches(str(name).casefold(), folded, n=1, cutoff=0.5)
    hint = f"did you mean {folded[near[0]]!r}? " if near else ""
    raise ValueError(f"unknown fuel {name!r}; {hint}Supplied: {', '.join(FUELS)}")


def stoichiometric_afr(fuel: SuppliedFuel) -> float:
    """Dry air over fuel by mass for complete combustion [kg/kg].

    CO2 in the air brings the oxygen it needs, so free O2 alone counts.
    """
    moles = fuel.moles
    oxygen = atoms(moles, "C") + 0.25 * atoms(moles, "H") - 0.5 * atoms(moles, "O")  # mol O2/kg
    return oxygen / DRY_AIR["O2"] * mass(DRY_AIR) / mass(moles)


def heating_value(fuel: SuppliedFuel) -> float:
    """Lower heating value of the vapour at 298.15 K, products gaseous [J/kg of fuel]."""
    moles, t = fuel.moles, 298.15
    carbon, hydrogen, oxygen = (atoms(moles, e) for e in ("C", "H", "O"))
    needed = carbon + 0.25 * hydrogen - 0.5 * oxygen
    reactants = sum(n * molar_enthalpy(name, t) for name, n in moles.items())
    reactants += needed * molar_enthalpy("O2", t)
    products = carbon * molar_enthalpy("CO2", t) + 0.5 * hydrogen * molar_enthalpy("H2O", t)
    return (reactants - products) / mass(moles)

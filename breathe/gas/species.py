"""Thermodynamic data of single species and of mixtures of them that do not react.

Data: NASA polynomials in ``species.json`` (see its header). Plain numpy; no kernels.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

GAS_CONSTANT = 8.31446261815324
"""Molar gas constant [J/(mol K)]; exact, SI 2019."""

STANDARD_PRESSURE_PA = 101_325.0
"""Pressure of the entropies in the data: 1 atm, not 1 bar."""


@dataclass(frozen=True, slots=True)
class Species:
    """One gas species."""

    name: str
    formula: Mapping[str, int]
    """Atoms of each element."""
    molar_mass: float
    """[kg/mol]"""
    nasa: Floats
    """(2, 7) coefficients below and above 1000 K, of cp/R, h/(R T) and s/R [-, K^-n]."""


@lru_cache(maxsize=1)
def _file() -> dict[str, Any]:
    text = files("breathe.gas").joinpath("species.json").read_text(encoding="utf-8")
    data: dict[str, Any] = json.loads(text)
    if data["reference_pressure_Pa"] != STANDARD_PRESSURE_PA:
        raise ValueError(
            f"species.json: reference_pressure_Pa is {data['reference_pressure_Pa']}, "
            f"expected {STANDARD_PRESSURE_PA}"
        )
    return data


@lru_cache(maxsize=1)
def all_species() -> dict[str, Species]:
    """Every species of the data file, by name."""
    return {
        name: Species(
            name,
            record["formula"],
            record["molar_mass_kg_per_mol"],
            np.array([record["below_1000_K"], record["above_1000_K"]], dtype=float),
        )
        for name, record in _file()["species"].items()
    }


def atoms(moles: Mapping[str, float], element: str) -> float:
    """Moles of ``element`` atoms in a mixture of ``moles`` (species name -> mol)."""
    table = all_species()
    return sum(n * table[name].formula.get(element, 0) for name, n in moles.items())


def mass(moles: Mapping[str, float]) -> float:
    """Mass [kg] of a mixture of ``moles`` (species name -> mol)."""
    table = all_species()
    return sum(n * table[name].molar_mass for name, n in moles.items())


def molar_enthalpy(name: str, temperature_K: float) -> float:
    """Enthalpy of a species with its formation from elements at 298.15 K included [J/mol]."""
    a = all_species()[name].nasa[1 if temperature_K >= 1000.0 else 0]
    powers = temperature_K ** np.arange(1, 6) / np.arange(1, 6)
    return GAS_CONSTANT * float(powers @ a[:5] + a[5])


def mixture_polynomial(moles: Mapping[str, float]) -> tuple[Floats, float]:
    """Coefficients and gas constant of an ideal mixture of fixed composition.

    The polynomials are linear in their coefficients, so this is exact.

    Parameters
    ----------
    moles : mapping
        Species name -> amount [mol]; any total.

    Returns
    -------
    coefficients : ndarray (2, 7)
        Rows below and above 1000 K; a0..a4 of cp [J/(kg K^n)], a5 of enthalpy
        [J/kg], a6 of entropy at 1 atm with the entropy of mixing [J/(kg K)].
    gas_constant : float
        [J/(kg K)]
    """
    table = all_species()
    kilograms, total = mass(moles), sum(moles.values())
    coefficients = np.zeros((2, 7))
    for name, n in moles.items():
        if n > 0.0:
            coefficients += GAS_CONSTANT * n / kilograms * table[name].nasa
            coefficients[:, 6] -= GAS_CONSTANT * n / kilograms * np.log(n / total)
    return coefficients, GAS_CONSTANT * total / kilograms

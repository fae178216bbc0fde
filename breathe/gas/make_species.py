"""Write species.json anew: ``python -m breathe.gas.make_species``.

The numbers come from the species library of cantera, which is needed here and in tests only; the
program itself reads the file this writes.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

LIBRARY = "nasa_gas.yaml"
NAMES = {
    "N2": "N2",
    "O2": "O2",
    "Ar": "Ar",
    "CO2": "CO2",
    "H2O": "H2O",
    "CO": "CO",
    "H2": "H2",
    "OH": "OH",
    "H": "H",
    "O": "O",
    "NO": "NO",
    "N": "N",
    "iso-octane": "C8H18,isooctane",
    "n-heptane": "C7H16,n-heptane",
    "toluene": "C7H8",
    "ethanol": "C2H5OH",
    "methanol": "CH3OH",
    "methane": "CH4",
    "propane": "C3H8",
}
"""Our name of a species -> its name in the library."""

BREAK_K = 1000.0


def species_record(library_species: Any) -> dict[str, Any]:
    """One species as stored: composition, molar mass [kg/mol] and both coefficient rows [-]."""
    thermo = library_species.input_data["thermo"]
    ranges, rows = thermo["temperature-ranges"], [list(row) for row in thermo["data"]]
    if ranges[1] == ranges[-1]:
        # Argon has one range, 200-6000 K: its row serves both sides of the break.
        rows = [rows[0], rows[0]]
    elif ranges[1] != BREAK_K:
        raise ValueError(f"{library_species.name}: ranges meet at {ranges[1]} K, not {BREAK_K} K")
    return {
        "formula": {element: int(n) for element, n in library_species.composition.items()},
        "molar_mass_kg_per_mol": round(library_species.molecular_weight * 1e-3, 9),
        "note": thermo.get("note", "").strip(),
        "below_1000_K": rows[0],
        "above_1000_K": rows[1],
    }


def make() -> dict[str, Any]:
    """The whole data file as a dictionary."""
    import cantera

    library = {s.name: s for s in cantera.Species.list_from_file(LIBRARY)}
    pressures = {library[theirs].thermo.reference_pressure for theirs in NAMES.values()}
    if len(pressures) != 1:
        raise ValueError(f"more than one reference pressure in {LIBRARY}: {sorted(pressures)} Pa")
    return {
        "made_by": "python -m breathe.gas.make_species",
        "made_from": f"{LIBRARY} of cantera {cantera.__version__}",
        "source": "B. J. McBride, S. Gordon, M. A. Reno, Coefficients for Calculating "
        "Thermodynamic and Transport Properties of Individual Species, NASA TM-4513, 1993",
        "form": "cp/R = a1 + a2 T + a3 T^2 + a4 T^3 + a5 T^4; a6, a7 the constants of h/(R T) and "
        "s/R; 200-6000 K",
        "note": "the code after each species is the source tag of NASA TM-4513; argon has one "
        "range, given twice",
        "reference_pressure_Pa": pressures.pop(),
        "species": {ours: species_record(library[theirs]) for ours, theirs in NAMES.items()},
    }


def text() -> str:
    """The data file's text."""
    return json.dumps(make(), indent=1) + "\n"


if __name__ == "__main__":
    path = Path(__file__).with_name("species.json")
    path.write_text(text(), encoding="utf-8")
    print(f"wrote {path.name}: {len(NAMES)} species")

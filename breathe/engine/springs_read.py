"""Springs and the mass they move, from the engine file.

The rate may be given, told by two loads, or worked out from wire and coils.
"""

from __future__ import annotations

from breathe.engine.findings import FROM_MEMORY
from breathe.engine.given import Given
from breathe.engine.mechanics import Spring, Train
from breathe.engine.quantities import from_si
from breathe.valvetrain.springs import coil_mass_kg, spring_rate_N_per_m, surge_frequency_Hz

_WOUND = ("wire_diameter", "coil_diameter", "active_coils")


def spring(given: Given) -> Spring | None:
    """The springs of one valve; None after asking for what is missing."""
    values = given.values
    rate = _rate(given)
    if given.lacks("seat_load", "seat_height", what="the spring") or rate is None:
        return None
    bind = values.get("coil_bind")
    if bind is not None and values["seat_height"] <= bind:
        text = (
            f"the spring is solid at {bind * 1e3:g} mm, not below its installed height "
            f"seat_height = {values['seat_height'] * 1e3:g} mm"
        )
        given.fault("coil_bind", text)
        return None
    mass, surge = _surge(given, rate)
    return Spring(
        seat_load_N=values["seat_load"],
        installed_height_m=values["seat_height"],
        rate_N_per_m=rate,
        coil_bind_height_m=bind,
        surge_frequency_Hz=surge,
        mass_kg=mass,
    )


def _rate(given: Given) -> float | None:
    """Spring rate as given, from two loads, or from wire and coils; None after asking for it."""
    stated = given.values.get("rate")
    by_loads = _rate_of_loads(given)
    by_wire = _rate_of_wire(given)
    for found, how, within in ((by_loads, "the two loads", 0.02), (by_wire, "wire and coils", 0.1)):
        known = stated if stated is not None else by_loads
        if found and known and abs(found - known) > within * known:
            text = f"{_shown_rate(known)}, but {how} make {_shown_rate(found)}"
            if how == "the two loads":
                given.fault("rate", f"{text}; give one of them")
            else:
                given.ask("rate", f"{text}; the first is taken")
    rate = next((r for r in (stated, by_loads, by_wire) if r is not None), None)
    if rate is None and not given.findings.faulty & {given.table}:
        text = (
            "missing; without it the spring is NOT CHECKED. It may also be told by open_load and "
            "open_height, or by wire_diameter, coil_diameter and active_coils"
        )
        given.ask("rate", text)
    return rate


def _shown_rate(rate: float) -> str:
    return f"{from_si(rate, 'spring rate', 'N/mm'):.3g} N/mm"


def _rate_of_loads(given: Given) -> float | None:
    values = given.values
    if not {"open_load", "open_height"} & values.keys():
        return None
    if not {"open_load", "open_height", "seat_load", "seat_height"} <= values.keys():
        given.ask("open_load", "tells the rate only with open_height, seat_load and seat_height")
        return None
    closed = values["seat_height"] - values["open_height"]
    gained = values["open_load"] - values["seat_load"]
    if closed <= 0 or gained <= 0:
        text = "the open spring is shorter and pushes harder than the installed one; swapped?"
        given.fault("open_load, open_height", text)
        return None
    return float(gained / closed)


def _rate_of_wire(given: Given) -> float | None:
    values = given.values
    if not values.keys() & set(_WOUND):
        return None
    missing = [key for key in _WOUND if key not in values]
    if missing:
        given.ask(", ".join(missing), "missing; wire and coils tell nothing without it")
        return None
    wire, coil, turns = (values[key] for key in _WOUND)
    if coil <= 2 * wire:
        text = f"{coil * 1e3:g} mm is hardly more than the wire; expected the mean coil diameter"
        given.fault("coil_diameter", text)
        return None
    return spring_rate_N_per_m(wire, coil, turns)


def _surge(given: Given, rate: float) -> tuple[float | None, float | None]:
    """Mass of the active coils and surge frequency, each given, worked out, or None."""
    values = given.values
    mass, surge = values.get("mass"), values.get("surge_frequency")
    if mass is None and set(_WOUND) <= values.keys():
        grams = coil_mass_kg(
            values["wire_diameter"], values["coil_diameter"], values["active_coils"]
        )
        mass = given.derive(
            "mass", grams, "mass", "worked out for the active coils of steel wire", FROM_MEMORY
        )
    if surge is None and mass is not None:
        surge = given.derive(
            "surge_frequency",
            surge_frequency_Hz(rate, mass),
            "frequency",
            "worked out, half the root of rate over mass of the active coils",
            "public engineering page on springs",
        )
    return mass, surge


def train(given: Given) -> Train | None:
    """The mass the spring has to move; None after asking for it."""
    if given.lacks("moving_mass", what="valve float"):
        return None
    return Train(
        moving_mass_kg=given.values["moving_mass"],
        stiffness_N_per_m=given.values.get("stiffness"),
    )

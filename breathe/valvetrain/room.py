"""Room for the sleeve: travel that fits along the shaft, and duration that fits into the cycle."""

from __future__ import annotations

from breathe.engine.mechanics import ShaftRoom
from breathe.engine.parts import Sleeve
from breathe.valvetrain.dwell import SEATED_AT_LEAST_DEG


def travel_room_m(room: ShaftRoom) -> float:
    """Sleeve travel that fits between two bearing faces.

    What lobes and collars leave free, shared by as many sleeves as slide in it. Negative where
    they do not even fit without travel; ``room_sum`` says why.

    Raises
    ------
    ValueError
        If there is no lobe.
    """
    if room.lobes < 1:
        raise ValueError(f"room along the shaft: found {room.lobes} lobes; expected 1 or more")
    free = room.between_bearings_m - room.lobes * room.fixed_per_lobe_m
    return free / (1 if room.shared_sleeve else room.lobes)


def room_sum(room: ShaftRoom) -> str:
    """The sum behind ``travel_room_m`` in words, mm."""
    free = room.between_bearings_m - room.lobes * room.fixed_per_lobe_m
    count = 1 if room.shared_sleeve else room.lobes
    shared = f", for {count} sleeves {travel_room_m(room) * 1e3:.1f} mm each" if count > 1 else ""
    lobes = f"{room.lobes} lobe{'' if room.lobes == 1 else 's'}"
    return (
        f"{room.between_bearings_m * 1e3:.1f} mm between bearing faces less {lobes} x "
        f"{room.fixed_per_lobe_m * 1e3:.1f} mm fixed leaves {free * 1e3:.1f} mm{shared}"
    )


def added_room_deg(room: ShaftRoom, sleeve: Sleeve) -> float:
    """Crank degrees of duration that the travel along the shaft can add."""
    return travel_room_m(room) * sleeve.crank_deg_per_m


def longest_duration_deg() -> float:
    """First to last lift, crank degrees, beyond which the valve is not seated long enough."""
    return 720.0 - SEATED_AT_LEAST_DEG


def travel_until_unseated_m(duration_deg: float, sleeve: Sleeve) -> float:
    """Travel at which the valve no longer seats long enough; negative: not even unmoved.

    Parameters
    ----------
    duration_deg : float
        From first to last lift with the sleeve at zero travel, zero lash.
    sleeve : Sleeve
    """
    return (longest_duration_deg() - duration_deg) / sleeve.crank_deg_per_m

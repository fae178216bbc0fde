"""What of a range fits along the shaft: travel, the law that would make it fit, and play."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from breathe.engine.mechanics import ShaftRoom, SideMechanics
from breathe.study.search.ranges import Window
from breathe.study.search.survey import PART
from breathe.valvetrain.room import room_sum, travel_room_m
from breathe.valvetrain.sleeve import duration_play_deg

STEEPER = 1.5
"""A law so many times as steep is asked about where room is short."""


def fit(range_deg: float, rate: float, side: SideMechanics | None) -> dict[str, Any]:
    """Whether a range fits along the shaft, the law that would make it fit, and its play.

    ``rate`` is the sleeve's law [deg crank/m]; 0 where it is not known, and then nothing is told.
    """
    room = side.room if side is not None else None
    if room is None or not rate:
        return {"fits": "", "law_to_fit_deg_per_m": math.nan, "play_to_fit_deg": math.nan}
    free = travel_room_m(room)
    law = max(range_deg / free, rate) if free > 0 else math.nan
    fits = free > 0 and range_deg / rate <= free + 1e-7
    return {
        "fits": "yes" if fits else "no",
        "law_to_fit_deg_per_m": law,
        "play_to_fit_deg": _play(side, law),
    }


def in_room(
    rate: float,
    side: SideMechanics,
    room: ShaftRoom,
    windows: Sequence[Window],
) -> dict[str, Any]:
    """The room, what range it holds at this law and at a steeper one, and the best choice in it.

    ``rate`` is the sleeve's law [deg crank/m].
    The best choice is the smallest range that gets what the largest one inside the room does.
    """
    free, steeper = travel_room_m(room), STEEPER * rate
    row: dict[str, Any] = {"room_m": free, "room_sum": room_sum(room), "law_deg_per_m": rate}
    if free <= 0:
        return row
    fitting = [one for one in windows if one.range_deg <= free * rate + 1e-6]
    inside = next(one for one in fitting if one.mean_Nm >= fitting[-1].mean_Nm * (1 - PART))
    axial = side.sleeve.axial_play_m if side.sleeve is not None else None
    return row | {
        "room_deg": free * rate,
        "axial_play_m": math.nan if axial is None else axial,
        "play_deg": _play(side, rate),
        "steeper_law_deg_per_m": steeper,
        "steeper_room_deg": free * steeper,
        "steeper_play_deg": _play(side, steeper),
        "inside_deg": inside.range_deg,
        "inside_low_deg": inside.low_deg,
        "inside_high_deg": inside.high_deg,
        "inside_gain": inside.mean_Nm / windows[0].mean_Nm - 1,
    }


def _play(side: SideMechanics | None, rate: float) -> float:
    """Crank degrees by which play lets the duration wander; nan if not known."""
    if side is None or side.sleeve is None or not math.isfinite(rate):
        return math.nan
    found = duration_play_deg(side.sleeve, rate)
    return math.nan if found is None else found

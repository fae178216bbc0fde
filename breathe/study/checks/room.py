"""Whether the sleeve's travel fits along the shaft, and its duration into the cycle."""

from __future__ import annotations

from collections.abc import Sequence

from breathe.engine.mechanics import ShaftRoom
from breathe.engine.parts import Sleeve
from breathe.study.checks.line import Line
from breathe.study.checks.stand import Stand, lift_span
from breathe.valvetrain.dwell import SEATED_AT_LEAST_DEG
from breathe.valvetrain.room import (
    added_room_deg,
    room_sum,
    travel_room_m,
    travel_until_unseated_m,
)

SEATED_SOURCE = (
    f"seated for at least {SEATED_AT_LEAST_DEG:.0f} deg crank, first to last lift at zero lash "
    "(common practice, no source)"
)


def room_lines(own: Stand, stood: Sequence[Stand]) -> list[Line]:
    """Room along the shaft, travel and duration that fit, and each setting against it.

    Parameters
    ----------
    own : Stand
        The sleeve's own lobe at zero travel.
    stood : sequence of Stand
        The same side in every setting.
    """
    sleeve, room = own.cam.sleeve, own.parts.room
    if sleeve is None or not sleeve.law_known:
        return []
    lines = [_unseated(own, sleeve)]
    if room is None:
        return lines
    fits = max(travel_room_m(room), 0.0)
    return [
        *_along(own, sleeve, room),
        *(_setting(one, fits) for one in stood if one.cam.sleeve is not None),
        *lines,
    ]


def _along(own: Stand, sleeve: Sleeve, room: ShaftRoom) -> list[Line]:
    free = travel_room_m(room)
    first, last = lift_span(own.curve)
    needed = sleeve.travel_max_m
    lines = [
        Line(
            topic="room",
            item="travel the shaft allows",
            side=own.side,
            value=free,
            unit="m",
            limit=needed,
            rule=room_sum(room),
            verdict="fits" if _within(needed, free) else "does not fit",
        )
    ]
    if free <= 0.0:
        return lines
    added = added_room_deg(room, sleeve)
    duration = Line(
        topic="room",
        item="duration it allows",
        side=own.side,
        value=last - first + added,
        unit="deg crank",
        where="at 0.1 mm",
        note=f"{added:.4g} deg more than {last - first:.0f}",
    )
    return [*lines, duration]


def _setting(stood: Stand, fits_m: float) -> Line:
    return Line(
        topic="room",
        item="travel of the setting",
        side=stood.side,
        setting=stood.setting,
        value=stood.travel_m,
        unit="m",
        limit=fits_m,
        limit_is="most",
        rule="the travel that fits along the shaft",
        verdict="fits" if _within(stood.travel_m, fits_m) else "does not fit",
    )


def _unseated(own: Stand, sleeve: Sleeve) -> Line:
    """Travel beyond which the valve no longer stays on its seat long enough."""
    duration = float(own.curve.x[-1] - own.curve.x[0])
    travel = travel_until_unseated_m(duration, sleeve)
    first, last = lift_span(own.curve)
    longest = last - first + travel * sleeve.crank_deg_per_m
    return Line(
        topic="room",
        item="travel the seat allows",
        side=own.side,
        value=travel,
        unit="m",
        limit=sleeve.travel_max_m,
        rule=SEATED_SOURCE,
        verdict="fits" if _within(sleeve.travel_max_m, travel) else "does not fit",
        where=f"{longest:.0f} deg at 0.1 mm",
    )


def _within(needed_m: float, room_m: float) -> bool:
    """Round-off of a travel worked out from a duration does not count."""
    return needed_m <= room_m + 1e-7

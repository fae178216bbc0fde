"""Places on the axes of a valve gear in the tuner's words: '246°', '4.8 mm', '5° earlier'."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from breathe.engine.quantities import System, from_si, user_unit
from breathe.study.answer import AxisNote

_OWN = "its own place"
_END_DEG = 0.5
"""A place so near to the end of an axis stands at it."""


def degrees(axis: AxisNote, place_deg: float) -> str:
    """One place: a duration where the file's labels are durations, otherwise what is added.

    Examples
    --------
    >>> sleeve = AxisNote(side="intake", kind="dwell", low_deg=0, high_deg=60, rest_deg=228)
    >>> turn = AxisNote(side="intake", kind="phase", low_deg=-9, high_deg=9)
    >>> degrees(sleeve, 24.2), degrees(turn, -5)
    ('252°', '-5°')
    """
    if axis.kind == "dwell" and axis.rest_deg is not None:
        return f"{axis.rest_deg + place_deg:.0f}°"
    return f"{round(place_deg) + 0:+d}°" if round(place_deg) else "0°"


def span(axis: AxisNote, low_deg: float, high_deg: float) -> str:
    """A stretch of an axis, such as '240-262°'."""
    low, high = degrees(axis, low_deg), degrees(axis, high_deg)
    if low == high:
        return high
    between = "-" if axis.kind == "dwell" and axis.rest_deg is not None else " to "
    return f"{low.removesuffix('°')}{between}{high}"


def in_words(axes: Sequence[AxisNote], place: Sequence[float]) -> str:
    """All axes of one place, such as '246°' or 'intake 246°, exhaust 4° later'."""
    told: dict[str, list[str]] = {}
    for axis, x in zip(axes, place, strict=True):
        text = degrees(axis, x) if axis.kind == "dwell" else _turn(x, "not turned")
        told.setdefault(axis.side, []).append(text)
    if list(told) == ["intake"]:
        return ", ".join(told["intake"])
    return ", ".join(f"{side} {' and '.join(parts)}" for side, parts in told.items())


def listed(places: Sequence[str]) -> str:
    """Places in a row, told apart though each may hold a comma."""
    return ("; " if any("," in place for place in places) else ", ").join(places)


def off_words(axis: AxisNote, off_deg: float) -> str:
    """So many degrees off a place: '12° less' of a duration, '12° earlier' of a turn."""
    less, more = ("less", "more") if axis.kind == "dwell" else ("earlier", "later")
    return f"{abs(off_deg):.0f}° {less if off_deg < 0 else more}"


def place_of(row: Mapping[Any, Any], axes: Sequence[AxisNote]) -> list[float]:
    """The place that a row of `Best.steps` or `Best.tops` holds."""
    return [float(row[f"axis{n}_deg"]) for n in range(len(axes))]


def travel(axis: AxisNote, degrees_: float, system: System) -> str:
    """Sleeve travel for added degrees, bare; '-' where the law is not known."""
    if not axis.deg_per_m:
        return "-"
    unit = user_unit("length", system)
    digits = 1 if system == "metric" else 2
    return f"{from_si(degrees_ / axis.deg_per_m, 'length', unit):.{digits}f}"


def what_moves(axes: Sequence[AxisNote], system: System) -> list[str]:
    """A sentence for each axis."""
    return [_moves(axis, system) for axis in axes]


def _moves(axis: AxisNote, system: System) -> str:
    if axis.kind == "phase":
        return (
            f"What moves: the {axis.side} cam turns from {_turn(axis.low_deg, _OWN)} to "
            f"{_turn(axis.high_deg, _OWN)}, crank degrees; {degrees(axis, axis.low_deg)} to "
            f"{degrees(axis, axis.high_deg)} in tables."
        )
    adds = f" adds 0 to {axis.high_deg:.0f} deg crank of dwell"
    if axis.deg_per_m:
        unit = user_unit("length", system)
        adds = f", {travel(axis, axis.high_deg, system)} {unit} of travel{adds}"
    named = ""
    if axis.rest_deg is not None:
        low, high = axis.rest_deg, axis.rest_deg + axis.high_deg
        named = f"; {low:.0f} to {high:.0f}° as the file counts duration"
    return f"What moves: the {axis.side} sleeve{adds}{named}."


def _turn(degrees_: float, none: str) -> str:
    if not round(degrees_):
        return none
    return f"{abs(degrees_):.0f}° {'later' if degrees_ > 0 else 'earlier'}"


def at_end(axis: AxisNote, place_deg: float) -> int:
    """-1 at the low end of the axis, 1 at the high one, 0 between."""
    if place_deg - axis.low_deg <= _END_DEG:
        return -1
    return 1 if axis.high_deg - place_deg <= _END_DEG else 0

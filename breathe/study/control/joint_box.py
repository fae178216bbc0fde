"""Ranges of several actuators that clear together: every place of one with every place of others.

Any actuator may lag behind its target, so maps that are run together need a box in which all
combinations keep the rules, not only those the maps ask for. Where not the whole travel of all
clears, there are several largest boxes: more of one axis for less of another.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from breathe.engine.parts import Engine, Floats
from breathe.study.checks.clear_range import spare_room
from breathe.study.gear import Gear
from breathe.study.search.surface import response

Place = tuple[float, ...]

_COARSE = {1: 9, 2: 5}
"""Places along an axis at which room is worked out, by number of axes; 3 on more."""
_LINES = {1: 25, 2: 13, 3: 9}
"""Lines along an axis between which boxes are looked for; 5 on more."""
_MOST_BOXES = 3
_MOST_TRIES = 8
"""Boxes between lines whose sides are worked out."""
_SHARE_OF_LARGEST = 0.25
"""Boxes smaller than this share of the largest are not tried."""
_ALIKE = 0.5
"""Share of what two boxes cover that both do, from which the smaller is not tried."""
_EDGE_DEG = 0.1


@dataclass(frozen=True, slots=True)
class Box:
    """A range of every axis [deg crank]."""

    low_deg: Place
    high_deg: Place
    beyond: tuple[str, ...] = ()
    """For every axis what comes too close outside its range, in words; empty if nothing does."""

    def lattice(self, count: int) -> list[Place]:
        """``count`` places along every axis, with every one along the others."""
        return list(itertools.product(*self.lines(count)))

    def lines(self, count: int) -> list[list[float]]:
        return [
            [float(x) for x in np.linspace(low, high, count)]
            for low, high in zip(self.low_deg, self.high_deg, strict=True)
        ]

    def holds(self, place: Sequence[float | None]) -> bool:
        """Whether a place lies inside; None along an axis is anywhere."""
        ends = zip(place, self.low_deg, self.high_deg, strict=True)
        return all(x is None or low - 1e-9 <= x <= high + 1e-9 for x, low, high in ends)

    def covers(self, ranges: Sequence[tuple[float, float] | None]) -> bool:
        """Whether ranges lie inside; None is anywhere."""
        ends = [(None, None) if one is None else one for one in ranges]
        low, high = zip(*ends, strict=True)
        return self.holds(low) and self.holds(high)

    def with_side(self, axis: int, high: bool, degrees: float) -> Box:
        side = list(self.high_deg if high else self.low_deg)
        side[axis] = degrees
        return replace(self, high_deg=tuple(side)) if high else replace(self, low_deg=tuple(side))


class Room:
    """Room over the rule at places of a gear, each worked out once."""

    def __init__(self, engine: Engine, gear: Gear) -> None:
        self._engine, self._gear = engine, gear
        self._known: dict[Place, tuple[float, str]] = {}

    def least(self, places: Iterable[Place]) -> tuple[float, str]:
        """The least room [m] at any of some places, and what is close there."""
        return min(self._at(place) for place in places)

    def _at(self, place: Place) -> tuple[float, str]:
        if place not in self._known:
            self._known[place] = spare_room(self._engine, self._gear.setting(place))
        return self._known[place]


def travel_box(gear: Gear) -> Box:
    """The whole travel of all axes."""
    axes = gear.axes
    none = ("",) * len(axes)
    return Box(tuple(a.low_deg for a in axes), tuple(a.high_deg for a in axes), none)


def clear_boxes(
    engine: Engine, gear: Gear, hold: Sequence[tuple[float, float] | None] = ()
) -> list[Box]:
    """The largest boxes of the axes in which every combination clears, largest first.

    Every tolerance case of the engine file counts. Sides are found to a tenth of a degree, and the
    room is worked out on a lattice of each box that is given; empty where none was found.

    Parameters
    ----------
    engine : Engine
    gear : Gear
    hold : (n_axes,) sequence of (float, float) or None
        What each range must hold at least, such as the fallback with its margin [deg crank].
    """
    room, whole = Room(engine, gear), travel_box(gear)
    count = _COARSE.get(len(gear.axes), 3)
    coarse = whole.lattice(count)
    known = [room.least([place])[0] for place in coarse]
    if min(known) >= 0.0:
        return [whole]
    lines = whole.lines(_LINES.get(len(gear.axes), 5))
    # The shape of the room between the places, as `breathe best` lays it.
    shape = response(coarse, known)
    clear = shape(np.array(list(itertools.product(*lines)))) >= 0.0
    clear = clear.reshape([len(line) for line in lines])
    must = [
        None if ends is None else (max(ends[0], line[0]), min(ends[1], line[-1]))
        for ends, line in zip(hold or [None] * len(lines), lines, strict=True)
    ]
    held = [_held(line, ends) for line, ends in zip(lines, must, strict=True)]
    found: list[Box] = []
    for ranges in _largest(clear, held)[:_MOST_TRIES]:
        box = _exact(room, whole, lines, ranges)
        if box is not None and box not in found and box.covers(must):
            found.append(box)
        if len(found) == _MOST_BOXES:
            break
    return sorted(found, key=_size, reverse=True)


def _held(line: Sequence[float], ends: tuple[float, float] | None) -> tuple[int, int]:
    """The first line must be no later than one, the last no earlier than another.

    Sides reach out from lines afterwards, so what must be held may lie a line further out.
    """
    if ends is None:
        return len(line) - 1, 0
    first = int(np.searchsorted(line, ends[0] + 1e-9, side="right"))
    last = int(np.searchsorted(line, ends[1] - 1e-9, side="left")) - 1
    return first, last


def _largest(
    clear: np.ndarray, held: Sequence[tuple[int, int]]
) -> list[tuple[tuple[int, int], ...]]:
    """First and last line along every axis of clear boxes unlike each other, largest first."""
    pairs = [
        [(a, b) for a, b in itertools.combinations(range(n), 2) if a <= first and b >= last]
        for n, (first, last) in zip(clear.shape, held, strict=True)
    ]
    every = [
        ranges
        for ranges in itertools.product(*pairs)
        if clear[tuple(slice(a, b + 1) for a, b in ranges)].all()
    ]
    every.sort(key=_lines_held, reverse=True)
    kept: list[tuple[tuple[int, int], ...]] = []
    for ranges in every:
        if _lines_held(ranges) < _SHARE_OF_LARGEST * _lines_held(every[0]):
            break
        if not any(_shared(ranges, other) > _ALIKE or _inside(ranges, other) for other in kept):
            kept.append(ranges)
    return kept


def _lines_held(ranges: Sequence[tuple[int, int]]) -> int:
    return int(np.prod([b - a for a, b in ranges]))


def _shared(ranges: Sequence[tuple[int, int]], other: Sequence[tuple[int, int]]) -> float:
    """Share of what two boxes cover together that lies in both."""
    pairs = zip(ranges, other, strict=True)
    both = _lines_held([(max(a, c), max(min(b, d), max(a, c))) for (a, b), (c, d) in pairs])
    return both / (_lines_held(ranges) + _lines_held(other) - both)


def _inside(ranges: Sequence[tuple[int, int]], other: Sequence[tuple[int, int]]) -> bool:
    return all(c <= a and b <= d for (a, b), (c, d) in zip(ranges, other, strict=True))


def _size(box: Box) -> float:
    return float(np.prod(np.subtract(box.high_deg, box.low_deg)))


def _exact(
    room: Room,
    whole: Box,
    lines: Sequence[Sequence[float]],
    ranges: Sequence[tuple[int, int]],
) -> Box | None:
    """The box between some lines with sides that clear and that reach as far as they can."""
    steps = [line[1] - line[0] for line in lines]
    box = Box(
        tuple(line[a] for line, (a, _) in zip(lines, ranges, strict=True)),
        tuple(line[b] for line, (_, b) in zip(lines, ranges, strict=True)),
        whole.beyond,
    )
    for _ in range(6):  # the shape is not the room itself
        if room.least(box.lattice(3))[0] >= 0.0:
            break
        box = _pulled_in(box, whole, steps)
        if np.any(np.subtract(box.high_deg, box.low_deg) <= 0.0):
            return None
    else:
        return None
    wider = box
    for axis, high in itertools.product(range(len(lines)), (False, True)):
        wider = _pushed_out(room, wider, whole, axis, high, 2.0 * steps[axis])
    if room.least(wider.lattice(5 if len(lines) < 3 else 3))[0] >= 0.0:
        return wider
    return replace(box, beyond=wider.beyond)


def _pulled_in(box: Box, whole: Box, steps: Sequence[float]) -> Box:
    """The same with the sides that are not those of the travel half a line further in."""
    for axis, step in enumerate(steps):
        low, high = box.low_deg[axis], box.high_deg[axis]
        if low > whole.low_deg[axis]:
            box = box.with_side(axis, False, low + step / 2)
        if high < whole.high_deg[axis]:
            box = box.with_side(axis, True, high - step / 2)
    return box


def _pushed_out(room: Room, box: Box, whole: Box, axis: int, high: bool, most_deg: float) -> Box:
    """The same with one side as far out as it clears with all of the others, and what is beyond."""
    inside = (box.high_deg if high else box.low_deg)[axis]
    end = (whole.high_deg if high else whole.low_deg)[axis]
    if inside == end:
        return box
    outside = min(inside + most_deg, end) if high else max(inside - most_deg, end)

    def face(degrees: float) -> tuple[float, str]:
        flat = box.with_side(axis, False, degrees).with_side(axis, True, degrees)
        return room.least(flat.lattice(3))

    edge = _edge(lambda x: face(x)[0] >= 0.0, inside, outside)
    box = box.with_side(axis, high, edge)
    if edge == end:
        return box
    words = list(box.beyond)
    words[axis] = face(end)[1]
    return replace(box, beyond=tuple(words))


def _edge(clears: Callable[[float], bool], inside: float, outside: float) -> float:
    """The last place that clears on the way out, to a tenth of a degree."""
    if clears(outside):
        return outside
    while abs(outside - inside) > _EDGE_DEG:
        middle = (inside + outside) / 2
        if clears(middle):
            inside = middle
        else:
            outside = middle
    return inside


def around(boxes: Sequence[Box]) -> tuple[Floats, Floats]:
    """Ends of the smallest range of every axis that holds all boxes, (n_axes,) each."""
    low = np.min([box.low_deg for box in boxes], axis=0)
    return low, np.max([box.high_deg for box in boxes], axis=0)

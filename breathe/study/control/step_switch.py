"""At which engine speeds a map of steps switches, with how much hysteresis, and what is felt.

Between cells everything is read on straight lines over speed: where two steps burn or pull the
same, and up to where a step keeps its limits. A band of hysteresis lies where both steps keep
theirs.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.interpolate import PchipInterpolator

from breathe.engine.parts import Engine, Floats
from breathe.study.control.cells import AtSpeed, Cell, bmep_of
from breathe.study.control.limits import Limits
from breathe.study.control.part_load import Sweep
from breathe.study.control.step_map import StepMap
from breathe.study.crossings import NUMERICAL_ERROR

Span = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Switch:
    """One change of step along a row of the map. Speeds in rpm."""

    load: float
    """Of the row, SI."""
    below_rpm: float
    above_rpm: float
    """The two cells that differ; hysteresis may reach half way to the next beyond."""
    first: int
    then: int
    """Numbers of the step below and of the step above."""
    equal_rpm: float
    """Where both are as good; the nearer cell where they nowhere are, nan where not known."""
    tied_rpm: Span
    """Between these they differ by less than the numerical error."""
    up_rpm: float
    """Speed rising: from here on the second is held."""
    down_rpm: float
    """Speed falling: from here on the first is held."""
    limited: bool
    """A limit, not torque or fuel, decides where."""
    proven: bool
    """Whether one of the two is known to keep the limits at every speed between the cells."""
    felt_up: float
    felt_down: float
    """Share by which torque changes at once, the throttle where it stood [-]; nan if not known."""

    @property
    def band_rpm(self) -> float:
        return self.up_rpm - self.down_rpm


def switches_of(found: StepMap) -> list[Switch]:
    """Every switch of a map, row by row, speed rising."""
    numbers, held = found.numbers, found.held
    return [
        _switch(found, i, j)
        for i in range(len(found.cells))
        for j in range(len(found.at_speeds) - 1)
        if numbers[i, j] != numbers[i, j + 1] and held[i, j] != held[i, j + 1]
    ]


def _switch(found: StepMap, i: int, j: int) -> Switch:
    question = found.question
    here, there = found.cells[i][j], found.cells[i][j + 1]
    at, next_ = found.at_speeds[j], found.at_speeds[j + 1]
    a, b = int(found.held[i, j]), int(found.held[i, j + 1])
    ends = here.speed_rpm, there.speed_rpm
    room = _room(found, i, j, a, b)
    equal, tied = equal_at(ends, *costs((here, there), a, b))
    wanted = (ends[0] + ends[1]) / 2 if math.isnan(equal) else equal
    down, up = band(wanted, question.hysteresis_rpm, room)
    return Switch(
        load=here.load,
        below_rpm=ends[0],
        above_rpm=ends[1],
        first=question.numbers[a],
        then=question.numbers[b],
        equal_rpm=equal,
        tied_rpm=tied,
        up_rpm=up,
        down_rpm=down,
        limited=not room[0] <= wanted <= room[1],
        proven=room[0] <= room[1],
        felt_up=felt_at(up, (here, there), (at, next_), a, b),
        felt_down=felt_at(down, (here, there), (at, next_), b, a),
    )


def _room(found: StepMap, i: int, j: int, first: int, then: int) -> Span:
    """Speeds at which both steps of a switch keep their limits; ends crossed where there are none.

    It reaches half way to the cells beyond the two that differ, where those hold the same steps: so
    no two bands of a row meet.
    """
    line, held = found.cells[i], found.held[i]
    speeds = [cell.speed_rpm for cell in line]
    low, high = speeds[j], speeds[j + 1]
    if j > 0 and held[j - 1] == held[j]:
        low = (speeds[j - 1] + low) / 2
    if j + 2 < len(line) and held[j + 2] == held[j + 1]:
        high = (high + speeds[j + 2]) / 2
    last = max(end for start, end in kept_spans(found, i, first) if start <= speeds[j] <= end)
    start = min(start for start, end in kept_spans(found, i, then) if start <= speeds[j + 1] <= end)
    return max(low, start), min(high, last)


def costs(cells: tuple[Cell, Cell], first: int, second: int) -> tuple[Span, Span]:
    """What each of two steps costs in two cells: fuel [kg/s], torque [Nm] with its sign turned,
    or, between a cell of part load and one of full load, shares of the best's [-]."""
    full = ["full" in cell.kind for cell in cells]

    def cost(cell: Cell, step: int) -> float:
        if full[0] != full[1]:
            return 1.0 + float(cell.loss[step])
        if full[0]:
            return -float(cell.figures["torque_Nm"][step])
        return float(cell.figures["fuel_kg_per_s"][step])

    one, other = ((cost(cells[0], k), cost(cells[1], k)) for k in (first, second))
    return one, other


def equal_at(
    ends: Span, first: Span, second: Span, tie: float = NUMERICAL_ERROR
) -> tuple[float, Span]:
    """Where two steps cost the same on straight lines, and between which speeds they tie.

    Parameters
    ----------
    ends : (float, float)
        Speeds of two cells [rpm], rising.
    first, second : (float, float)
        What the steps cost there, in any one unit; nan if not known.
    tie : float
        Difference that counts as none, as a share of the larger [-].

    Returns
    -------
    float, (float, float)
        The nearer end where there is no such speed between; nan where a cost is not known.

    Examples
    --------
    >>> equal_at((2000.0, 3000.0), (1.0, 1.03), (1.01, 1.0), 0.0)[0]
    2250.0
    >>> equal_at((2000.0, 3000.0), (1.0, 1.0), (1.03, 1.01), 0.005)[0]
    3000.0
    """
    low, high = first[0] - second[0], first[1] - second[1]
    if not (math.isfinite(low) and math.isfinite(high)):
        return math.nan, (math.nan, math.nan)
    nothing = [tie * max(abs(first[k]), abs(second[k])) for k in (0, 1)]
    if low >= high:  # only limits, or other cells, make the first give way here
        return (ends[1] if abs(high) < abs(low) else ends[0]), (math.nan, math.nan)
    zeros = [
        _zero(ends, low + side * nothing[0], high + side * nothing[1]) for side in (1.0, 0.0, -1.0)
    ]
    return zeros[1], (min(zeros[0], zeros[2]), max(zeros[0], zeros[2]))


def _zero(ends: Span, low: float, high: float) -> float:
    """Where a straight line that rises is zero, at the nearer end if not between them."""
    if low >= 0 or high <= 0:
        return ends[0] if low >= 0 else ends[1]
    return ends[0] - low / (high - low) * (ends[1] - ends[0])


def band(wanted: float, width: float, room: Span) -> Span:
    """Speeds to switch down and up at: ``width`` apart round ``wanted``, moved and if need be cut
    to lie in the room; its middle twice where there is none.

    Examples
    --------
    >>> band(2900.0, 300.0, (2000.0, 3000.0)), band(2500.0, 300.0, (2400.0, 2500.0))
    ((2700.0, 3000.0), (2400.0, 2500.0))
    """
    low, high = room
    if low > high:
        middle = float(round((low + high) / 2))
        return middle, middle
    width = min(width, high - low)
    down = min(max(wanted - width / 2, low), high - width)
    first, last = math.ceil(low - 1e-9), math.floor(high - width + 1e-9)
    if first <= last:  # whole rpm, where there are any with room for all of the width
        down = float(min(max(round(down), first), last))
        return down, down + width
    # To a tenth, inwards; what is narrower than that stays as it is.
    tenths = math.ceil(10 * down - 1e-6) / 10, math.floor(10 * (down + width) + 1e-6) / 10
    return tenths if tenths[0] <= tenths[1] else (down, down + width)


def kept_between(engine: Engine, limits: Limits, here: Cell, there: Cell, step: int) -> Span | None:
    """Speeds between two cells at which a step keeps its limits, read on straight lines.

    Returns
    -------
    (float, float) or None
        None where neither cell allows it. Where a step is allowed in one cell and the limit it
        passes on the way to the other is not known, the cell alone.
    """
    ok = bool(here.allowed[step]), bool(there.allowed[step])
    ends = here.speed_rpm, there.speed_rpm
    if not any(ok):
        return None
    if all(ok):
        return ends
    over = [limits_over(engine, limits, cell, step) for cell in (here, there)]
    inside, outside = over if ok[0] else over[::-1]
    start, end = ends if ok[0] else ends[::-1]
    shares = [
        inside[name] / (inside[name] - outside[name]) if inside[name] < 0 else 0.0
        for name in outside
        if outside[name] > 0
    ]
    known = all(math.isfinite(x) for x in outside.values())
    edge = start + (min(shares) if shares and known else 0.0) * (end - start)
    return (start, edge) if ok[0] else (edge, start)


def limits_over(engine: Engine, limits: Limits, cell: Cell, step: int) -> Mapping[str, float]:
    """By how much a step passes each limit of running in a cell; below 0 it keeps it."""
    bmep = bmep_of(engine, cell.torque_Nm)
    kept = limits.allowed(cell.figures, bmep, engine.air.pressure_Pa)
    return {name: float(over[step]) for name, over in kept.over.items()}


def kept_spans(found: StepMap, i: int, step: int) -> list[Span]:
    """Speeds of a row at which a step keeps its limits, as few stretches as they are."""
    limits, engine = found.question.limits, found.engine
    line = found.cells[i]
    if len(line) == 1:
        return [(line[0].speed_rpm, line[0].speed_rpm)] if line[0].allowed[step] else []
    spans: list[Span] = []
    for here, there in pairwise(line):
        span = kept_between(engine, limits, here, there, step)
        if span is None:
            continue
        if spans and spans[-1][1] >= span[0]:
            spans[-1] = spans[-1][0], max(spans[-1][1], span[1])
        else:
            spans.append(span)
    return spans


def felt_at(
    speed_rpm: float, cells: tuple[Cell, Cell], at: tuple[AtSpeed, AtSpeed], from_: int, to: int
) -> float:
    """Share by which torque changes when a step is switched and the throttle stays [-].

    Both torques are read on straight lines between the two cells.
    """
    ends = cells[0].speed_rpm, cells[1].speed_rpm
    pairs = [_torques(cell, one, from_, to) for cell, one in zip(cells, at, strict=True)]
    before, after = (float(np.interp(speed_rpm, ends, side)) for side in zip(*pairs, strict=True))
    return after / before - 1.0


def _torques(cell: Cell, at: AtSpeed, from_: int, to: int) -> tuple[float, float]:
    """Torque [Nm] before and after a switch in a cell, the throttle where it stood."""
    if "full" in cell.kind:
        torque = cell.figures["torque_Nm"]
        return float(torque[from_]), float(torque[to])
    opening = float(cell.figures["log_opening"][from_])
    return cell.torque_Nm, torque_at_opening(at.sweeps[to], opening)


def torque_at_opening(sweep: Sweep, log_opening: float) -> float:
    """Torque [Nm] of a sweep at an opening, its ends held; nan where it has too few cases."""
    if len(sweep.log_opening) < 2 or not math.isfinite(log_opening):
        return math.nan
    held = float(np.clip(log_opening, sweep.log_opening[0], sweep.log_opening[-1]))
    return float(PchipInterpolator(sweep.log_opening, sweep.figures["torque_Nm"])(held))


def reading_moves(found: StepMap) -> tuple[float, int, int] | None:
    """Farthest that a switch at equal torque moves the gauge of the load axis, SI, and its cell.

    None on an axis of torque, or where nothing switches below full load.
    """
    name = {"map": "manifold_pressure_Pa", "throttle": "log_opening"}.get(found.question.scale.axis)
    if name is None:
        return None
    moves = []
    for i, line in enumerate(found.cells):
        for j, cell in enumerate(line):
            if cell.kind != "part load":
                continue
            reading: Floats = cell.figures[name]
            reading = np.exp(reading) if name == "log_opening" else reading
            for k in _neighbours(found, i, j):
                away = abs(float(reading[k] - reading[found.held[i, j]]))
                moves += [(away, i, j)] if math.isfinite(away) and away > 0 else []
    return max(moves) if moves else None


def _neighbours(found: StepMap, i: int, j: int) -> Sequence[int]:
    rows, columns = found.held.shape
    places = [(i - 1, j), (i + 1, j), (i, j - 1), (i, j + 1)]
    return [int(found.held[p]) for p in places if 0 <= p[0] < rows and 0 <= p[1] < columns]

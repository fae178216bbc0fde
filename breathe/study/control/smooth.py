"""From what each cell wants to the numbers of the map: smoothed, then in whole steps."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from breathe.engine.parts import Floats
from breathe.errors import BreatheError
from breathe.study.control.asked import Question
from breathe.study.control.cells import Cell
from breathe.study.control.smooth_map import (
    Wanted,
    neighbours_mean,
    quantised,
    smoothest,
    stretch_near,
    weights_at,
)

GIVE_UP_MORE = (0.005, 0.0075, 0.01, 0.015, 0.02, 0.03, 0.05, 0.1, 0.2, math.inf)
"""Shares that cells give up, one after another, until the actuator follows."""
SETTLE_PASSES = 12
"""Times every cell looks where its neighbours are; the map's branches have settled by then."""


@dataclass(frozen=True, slots=True)
class Smoothed:
    """A map (m, n) before rounding, and which of its steps the actuator follows."""

    degrees: Floats
    over_speed: bool
    over_load: bool


def smoothed(question: Question, cells: Sequence[Sequence[Cell]]) -> Smoothed:
    """The smoothest map that the cells are content with.

    Where no such map keeps the steps that the actuator follows, all cells give up more, as little
    as possible; limits are kept in any case.
    """
    over_speed, over_load = question.steepest, question.steepest_over_load
    shares = (question.give_up, *(x for x in GIVE_UP_MORE if x > question.give_up))
    for load in dict.fromkeys((over_load, None)):
        for share in shares:
            wanted = _wanted(question, cells, share)
            found = smoothest(wanted, over_speed, load, question.step_deg)
            if found is not None:
                return Smoothed(found, True, load == over_load)
    fallback = smoothest(_wanted(question, cells, question.give_up))
    assert fallback is not None  # nothing but bounds, each with its low below its high
    return Smoothed(fallback, over_speed is None, over_load is None)


def _wanted(question: Question, cells: Sequence[Sequence[Cell]], give_up: float) -> Wanted:
    """What the cells are content with where they may give up a share."""
    best = np.array([[cell.best_deg for cell in line] for line in cells])
    now = best.copy()
    low, high = best.copy(), best.copy()
    content = [[_content(cell, give_up) for cell in line] for line in cells]
    for _ in range(SETTLE_PASSES):
        for i, line in enumerate(cells):
            for j, cell in enumerate(line):
                wish = neighbours_mean(now, i, j)
                low[i, j], high[i, j], now[i, j] = stretch_near(cell.degrees, content[i][j], wish)
    wanted = Wanted(
        speeds_rpm=np.array(question.speeds_rpm),
        loads=np.array(question.loads),
        best=np.clip(best, low, high),
        low=low,
        high=high,
        anchors=question.anchors,
    )
    ranges = np.array([[cell.range_deg() for cell in line] for line in cells])
    return with_anchored_cells(wanted, ranges)


def _content(cell: Cell, give_up: float) -> NDArray[np.bool_]:
    """(f,) settings that keep the limits, or are the least bad, and give up no more than may be."""
    content = cell.allowed & (cell.loss <= give_up)
    content[cell.best] = True
    return content


def with_anchored_cells(wanted: Wanted, ranges: Floats) -> Wanted:
    """The same with measured settings held in the cells they were measured in.

    Cells round a setting measured between them may take what they need for it, within ``ranges``
    (m, n, 2), the limits of each cell.
    """
    low, high, best = wanted.low.copy(), wanted.high.copy(), wanted.best.copy()
    shape = best.shape
    for one in wanted.anchors:
        near = weights_at(wanted, one).reshape(shape) > 0
        low = np.where(near, np.minimum(ranges[..., 0], one.degrees), low)
        high = np.where(near, np.maximum(ranges[..., 1], one.degrees), high)
    for one in wanted.anchors:
        near = weights_at(wanted, one).reshape(shape) > 1.0 - 1e-9
        for array in (low, high, best):
            array[near] = one.degrees
    return replace(wanted, low=low, high=high, best=best)


def in_steps(question: Question, cells: Sequence[Sequence[Cell]], smooth: Floats) -> Floats:
    """Whole steps, inside the safe ends and, where a step fits, inside each cell's own limits.

    Raises
    ------
    BreatheError
        No whole step lies between the safe ends.
    """
    low, high = question.limits.safe_deg
    zero_deg = question.shown.zero / question.shown.per_deg
    try:
        values = quantised(smooth, question.step_deg, low, high, zero_deg)
    except ValueError as error:
        raise BreatheError(f"step: {error}") from error
    held = {(one.load, one.speed_rpm) for one in question.anchors}
    for i, line in enumerate(cells):
        for j, cell in enumerate(line):
            if (cell.load, cell.speed_rpm) in held:
                continue
            first, last = cell.range_deg()
            try:
                values[i, j] = quantised(
                    np.array(smooth[i, j]),
                    question.step_deg,
                    max(first, low),
                    min(last, high),
                    zero_deg,
                )
            except ValueError:
                continue
    return values

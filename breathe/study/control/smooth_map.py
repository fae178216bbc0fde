"""The smoothest map that gives up no more than it may in any cell, within reach of its actuator.

Each cell brings the stretch of settings it is content with. Inside all of them the map bends as
little as it can: it lies as near as possible to a straight line through each cell's neighbours,
along both axes. Steps over engine speed, and over load if asked, stay within what the actuator
follows.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import qr, solve_triangular
from scipy.optimize import nnls

from breathe.engine.parts import Floats

Places = NDArray[np.intp]

PULL = 0.1
"""Weight of a cell's own best against bending: it decides where nothing else does."""
ANCHOR_WEIGHT = 1e3
_ROUND_OFF = 1e-9


@dataclass(frozen=True, slots=True)
class Anchor:
    """A measured setting, anywhere on the map."""

    speed_rpm: float
    load: float
    degrees: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What the cells ask for; (m, n) arrays of loads x speeds, degrees along the axis."""

    speeds_rpm: Floats
    """(n,) rising."""
    loads: Floats
    """(m,) rising."""
    best: Floats
    low: Floats
    """Lower end of what a cell is content with."""
    high: Floats
    anchors: tuple[Anchor, ...] = ()


def smoothest(
    wanted: Wanted,
    steepest_deg_per_rpm: float | None = None,
    steepest_deg_per_load: float | None = None,
    rounding_deg: float = 0.0,
) -> Floats | None:
    """The map (m, n) that bends least; None if the steps allowed leave none.

    Parameters
    ----------
    wanted : Wanted
    steepest_deg_per_rpm : float, optional
        Largest change over engine speed.
    steepest_deg_per_load : float, optional
        Largest change over load, for one of its axis.
    rounding_deg : float
        What rounding may add to a step afterwards: steps are held that much smaller.
    """
    rows, targets = _bending(wanted)
    shape = wanted.best.shape
    pull = np.eye(wanted.best.size) * PULL
    anchor_rows = [ANCHOR_WEIGHT * weights_at(wanted, one) for one in wanted.anchors]
    matrix = np.vstack([rows, pull, *anchor_rows])
    aims = [ANCHOR_WEIGHT * one.degrees for one in wanted.anchors]
    right = np.concatenate([targets, PULL * wanted.best.ravel(), aims])
    edge = np.eye(wanted.best.size)
    sides = [edge, -edge]
    ends = [wanted.low.ravel(), -wanted.high.ravel()]
    place = np.arange(wanted.best.size).reshape(shape)
    for steep, lines, axis in (
        (steepest_deg_per_rpm, place, wanted.speeds_rpm),
        (steepest_deg_per_load, place.T, wanted.loads),
    ):
        if steep is None or len(axis) < 2:
            continue
        steps, width = _steps(lines, axis)
        most = np.maximum(steep * width - rounding_deg, 0.0)
        sides += [steps, -steps]
        ends += [-most, -most]
    found = least_squares_within(matrix, right, np.vstack(sides), np.concatenate(ends))
    if found is None:
        return None
    return np.clip(found.reshape(shape), wanted.low, wanted.high)


def _bending(wanted: Wanted) -> tuple[Floats, Floats]:
    """Rows that give each cell's distance from the straight line through its two neighbours."""
    count = wanted.best.size
    place: Places = np.arange(count).reshape(wanted.best.shape)
    rows = [
        *_bends(place, wanted.speeds_rpm, count),
        *_bends(place.T, wanted.loads, count),
    ]
    return np.array(rows).reshape(len(rows), count), np.zeros(len(rows))


def _bends(place: Places, axis: Floats, count: int) -> list[Floats]:
    rows = []
    for line in place:
        for k in range(1, len(axis) - 1):
            before, after = axis[k] - axis[k - 1], axis[k + 1] - axis[k]
            row = np.zeros(count)
            row[line[k]] = 1.0
            row[line[k - 1]] = -after / (before + after)
            row[line[k + 1]] = -before / (before + after)
            rows.append(row)
    return rows


def _steps(place: Places, axis: Floats) -> tuple[Floats, Floats]:
    """Rows that give the change between neighbours along an axis, and how far apart they are."""
    rows, width = [], []
    for line in place:
        for k, (a, b) in enumerate(pairwise(line)):
            row = np.zeros(place.size)
            row[a], row[b] = -1.0, 1.0
            rows.append(row)
            width.append(axis[k + 1] - axis[k])
    return np.array(rows), np.array(width)


def weights_at(wanted: Wanted, anchor: Anchor) -> Floats:
    """Shares of all cells in the map's value where an anchor lies; edges are held."""
    over_speed = _shares(wanted.speeds_rpm, anchor.speed_rpm)
    over_load = _shares(wanted.loads, anchor.load)
    return np.outer(over_load, over_speed).ravel()


def _shares(axis: Floats, at: float) -> Floats:
    return np.array([np.interp(at, axis, unit) for unit in np.eye(len(axis))])


def least_squares_within(
    matrix: Floats, right: Floats, sides: Floats, ends: Floats
) -> Floats | None:
    """Smallest |matrix x - right| with sides x >= ends; None if there is no such x.

    References
    ----------
    C. L. Lawson and R. J. Hanson, Solving Least Squares Problems, 1974, ch. 23: the problem turned
    into one of least distance, and that into non-negative least squares (from memory).

    Examples
    --------
    >>> least_squares_within(np.eye(2), np.zeros(2), np.array([[1.0, 1.0]]), np.array([2.0]))
    array([1., 1.])
    """
    q, r = qr(matrix, mode="economic")
    aim = q.T @ right
    # Least distance: y = r x - aim.
    turned = solve_triangular(r, sides.T, trans="T").T
    beyond = ends - turned @ aim
    system = np.vstack([turned.T, beyond])
    unit = np.zeros(len(system))
    unit[-1] = 1.0
    shares, left = nnls(system, unit, maxiter=30 * len(beyond))
    if left < 1e-7:
        return None
    miss = system @ shares - unit
    y = -miss[:-1] / miss[-1]
    return np.asarray(solve_triangular(r, y + aim))


def stretch_near(
    degrees: Floats, content: NDArray[np.bool_], towards: float
) -> tuple[float, float, float]:
    """The stretch of places a cell is content with that lies nearest to a wish.

    Parameters
    ----------
    degrees : (f,) float
        Places along the axis, rising.
    content : (f,) bool
        At least one is True.
    towards : float
        Where the neighbours would like it.

    Returns
    -------
    low, high, at : float
        Ends of the stretch, and the place in it nearest to the wish.
    """
    edges = np.flatnonzero(np.diff(np.concatenate([[0], content.astype(int), [0]])))
    stretches = [
        (float(degrees[a]), float(degrees[b - 1]))
        for a, b in zip(edges[::2], edges[1::2], strict=True)
    ]
    nearest = min(stretches, key=lambda ends: abs(np.clip(towards, *ends) - towards))
    return *nearest, float(np.clip(towards, *nearest))


def neighbours_mean(values: Floats, row: int, column: int) -> float:
    """Mean of a cell and those beside it."""
    near = [values[row, column]]
    for i, j in ((row - 1, column), (row + 1, column), (row, column - 1), (row, column + 1)):
        if 0 <= i < values.shape[0] and 0 <= j < values.shape[1]:
            near.append(values[i, j])
    return float(np.mean(near))


def quantised(values: Floats, step: float, low: float, high: float, zero: float = 0.0) -> Floats:
    """Values rounded to whole steps counted from ``-zero``, never outside ``low`` to ``high``.

    Parameters
    ----------
    values : (...) float
    step : float
    low, high : float
    zero : float
        What is added to a value before it is shown: steps are round in what is shown.

    Raises
    ------
    ValueError
        No whole step lies between the ends.
    """
    first = np.ceil((low + zero) / step - _ROUND_OFF)
    last = np.floor((high + zero) / step + _ROUND_OFF)
    if first > last:
        raise ValueError(
            f"no whole step of {step:g} lies between {low + zero:g} and {high + zero:g}"
        )
    return np.clip(np.round((values + zero) / step), first, last) * step - zero


@dataclass(frozen=True, slots=True)
class Step:
    """The steepest change between neighbouring cells along one axis."""

    per_unit: float
    """Degrees for one of the axis, signed."""
    from_: tuple[float, float]
    """Speed and load."""
    to: tuple[float, float]


def steepest(values: Floats, speeds: Sequence[float], loads: Sequence[float], axis: int) -> Step:
    """Steepest change along speed (``axis`` 1) or load (0); (m, n) values."""
    points = np.asarray(speeds if axis else loads, dtype=float)
    spread = np.diff(values, axis=axis)
    width = np.diff(points)
    slopes = spread / (width if axis else width[:, None])
    i, j = divmod(int(np.argmax(np.abs(slopes))), slopes.shape[1])
    i2, j2 = (i, j + 1) if axis else (i + 1, j)
    return Step(float(slopes[i, j]), (speeds[j], loads[i]), (speeds[j2], loads[i2]))

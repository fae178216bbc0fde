"""Where one curve over engine speed beats another: stretches and crossings, all of them.

A verdict belongs to a speed that was run; a difference below the numerical error is none. Between
speeds the curves are joined by straight lines, which only places the crossings. A tuned engine
crosses more than once; nothing here assumes one.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Verdict = Literal["helps", "hurts", "same"]

NUMERICAL_ERROR = 0.005
"""Share of a torque that grid, step and settling may be wrong by; smaller differences are ties."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """Neighbouring speeds that were run, at each of which the verdict is the same."""

    start_rpm: float
    """The first of these speeds."""
    end_rpm: float
    """The last of these speeds; the first again where there is one only."""
    verdict: Verdict
    extreme: float
    """Largest difference in size at one of these speeds, over the other curve, signed [-]."""
    extreme_rpm: float


@dataclass(frozen=True, slots=True)
class Crossing:
    """One change of winner."""

    speed_rpm: float
    low_rpm: float
    high_rpm: float
    """The band: between these the difference is below the numerical error, and never narrower
    than a quarter of the local speed step each way (a straight line knows no better; common
    practice, no source) unless a speed that was run is nearer."""
    below_rpm: float
    above_rpm: float
    """The nearest speeds that were run where one or the other wins."""
    starts: bool
    """The first curve starts to win here, going up in speed; else it stops."""

    @property
    def wide(self) -> bool:
        """The band fills most of the way between the speeds that decide: its middle says little."""
        return self.high_rpm - self.low_rpm > 0.501 * (self.above_rpm - self.below_rpm)


def tied(first: ArrayLike, second: ArrayLike, tie: float = NUMERICAL_ERROR) -> NDArray[np.bool_]:
    """Whether two figures differ by no more than ``tie``, as a share of the larger.

    The one rule for ties; tables and sentences both ask here. Figures of any shape; nan ties
    with nothing.
    """
    one, other = np.asarray(first, dtype=float), np.asarray(second, dtype=float)
    return np.asarray(np.abs(one - other) <= tie * np.maximum(np.abs(one), np.abs(other)))


def _curves(speed: ArrayLike, a: ArrayLike, b: ArrayLike) -> tuple[Floats, Floats, Floats]:
    """Both curves at the speeds where both are known, rising in speed."""
    x, first, second = (np.asarray(v, dtype=float) for v in (speed, a, b))
    known = np.isfinite(first) & np.isfinite(second)
    order = np.argsort(x[known], kind="stable")
    x, first, second = x[known][order], first[known][order], second[known][order]
    if np.any(np.diff(x) <= 0):
        raise ValueError("each speed may appear once")
    return x, first, second


def _signs(first: Floats, second: Floats, tie: float) -> Floats:
    """1 where the first curve wins, -1 where the second does, 0 where they tie."""
    return np.asarray(np.where(tied(first, second, tie), 0.0, np.sign(first - second)))


def stretches(speed: ArrayLike, a: ArrayLike, b: ArrayLike, tie: float) -> list[Stretch]:
    """Cut the speeds that were run into stretches where ``a`` helps, hurts or ties with ``b``.

    Parameters
    ----------
    speed, a, b : array_like
        (n,) engine speeds [rpm], each once, and the two curves there; nan where unknown, which
        is passed over.
    tie : float
        Difference that counts as none, as a share of the larger of both [-].

    Returns
    -------
    list of Stretch
        Rising in speed, each known speed in one of them, neighbours of different verdict. Empty
        without a point.

    Raises
    ------
    ValueError
        A speed appears twice.

    Examples
    --------
    >>> [s.verdict for s in stretches([1000, 2000, 3000], [90, 100, 110], [100, 100, 100], 0.01)]
    ['hurts', 'same', 'helps']
    """
    x, first, second = _curves(speed, a, b)
    if len(x) == 0:
        return []
    signs = _signs(first, second, tie)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = (first - second) / np.abs(second)
    edges = [0, *(np.flatnonzero(np.diff(signs)) + 1), len(x)]
    words: dict[float, Verdict] = {1.0: "helps", -1.0: "hurts", 0.0: "same"}
    return [
        Stretch(
            float(x[start]),
            float(x[end - 1]),
            words[float(signs[start])],
            *_extreme(x[start:end], share[start:end]),
        )
        for start, end in pairwise(edges)
    ]


def _extreme(x: Floats, share: Floats) -> tuple[float, float]:
    finite = np.flatnonzero(np.isfinite(share))
    if len(finite) == 0:
        return float("nan"), float(x[0])
    most = finite[np.argmax(np.abs(share[finite]))]
    return float(share[most]), float(x[most])


def crossings(speed: ArrayLike, a: ArrayLike, b: ArrayLike, tie: float) -> list[Crossing]:
    """Every speed at which ``a`` starts or stops to beat ``b``; parameters as `stretches`.

    Returns
    -------
    list of Crossing
        Rising in speed. Curves that only touch, or part from level, do not cross.

    Raises
    ------
    ValueError
        A speed appears twice.

    Examples
    --------
    >>> crossings([1000, 3000], [90, 110], [100, 100], 0.0)[0].speed_rpm
    2000.0
    """
    x, first, second = _curves(speed, a, b)
    signs = _signs(first, second, tie)
    decided = np.flatnonzero(signs)
    return [
        _crossing(x, first, second, tie, int(below), int(above))
        for below, above in pairwise(decided)
        if signs[below] != signs[above]
    ]


def _crossing(
    x: Floats, first: Floats, second: Floats, tie: float, below: int, above: int
) -> Crossing:
    """Between the points ``below`` and ``above``, which different curves win."""
    difference = first - second
    none = tie * np.maximum(np.abs(first), np.abs(second))
    side = np.sign(difference)
    zeros = [_zero(x, difference, i) for i in range(below, above) if side[i] * side[i + 1] <= 0]
    middle = (zeros[0] + zeros[-1]) / 2
    right = int(np.clip(np.searchsorted(x, middle), below + 1, above))
    margin = float(x[right] - x[right - 1]) / 4
    low = _zero(x, side[below] * difference - none, below)
    high = _zero(x, side[above] * difference - none, above - 1)
    return Crossing(
        speed_rpm=middle,
        low_rpm=max(float(x[below]), min(low, middle - margin)),
        high_rpm=min(float(x[above]), max(high, middle + margin)),
        below_rpm=float(x[below]),
        above_rpm=float(x[above]),
        starts=bool(side[above] > 0),
    )


def _zero(x: Floats, y: Floats, i: int) -> float:
    """Where the straight line from point i to the next is zero; its middle where all of it is."""
    if y[i] == y[i + 1]:
        return float(x[i] + x[i + 1]) / 2
    return float(x[i] + (x[i + 1] - x[i]) * y[i] / (y[i] - y[i + 1]))

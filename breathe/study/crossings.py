"""Where one curve over engine speed beats another: stretches and crossings, all of them.

Both curves are joined by straight lines between the speeds that were run. A difference below the
numerical error is no difference. A tuned engine crosses more than once; nothing here assumes one.
"""

from __future__ import annotations

from collections.abc import Iterable
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
    """Speeds over which one curve stays above, below or level with the other."""

    start_rpm: float
    end_rpm: float
    verdict: Verdict
    extreme: float
    """Largest difference in size at a speed that was run, over the other curve, signed [-]."""
    extreme_rpm: float


@dataclass(frozen=True, slots=True)
class Crossing:
    """One change of winner."""

    speed_rpm: float
    low_rpm: float
    high_rpm: float
    """The band: between these the difference is below the numerical error, and never narrower
    than a quarter of the local speed step each way (a straight line knows no better; common
    practice, no source)."""
    starts: bool
    """The first curve starts to win here, going up in speed; else it stops."""


def _curves(speed: ArrayLike, a: ArrayLike, b: ArrayLike) -> tuple[Floats, Floats, Floats]:
    """Both curves at the speeds where both are known, rising in speed."""
    x, first, second = (np.asarray(v, dtype=float) for v in (speed, a, b))
    known = np.isfinite(first) & np.isfinite(second)
    order = np.argsort(x[known], kind="stable")
    x, first, second = x[known][order], first[known][order], second[known][order]
    if np.any(np.diff(x) <= 0):
        raise ValueError("each speed may appear once")
    return x, first, second


def _level(first: Floats, second: Floats, tie: float) -> Floats:
    """Difference that counts as none."""
    return np.asarray(tie * np.maximum(np.abs(first), np.abs(second)))


def _zeros(x: Floats, y: Floats) -> list[float]:
    """Where the broken line (x, y) is zero, ends of level zero pieces included."""
    found = [float(p) for p, value in zip(x, y, strict=True) if value == 0]
    for left, right, low, high in zip(x[:-1], x[1:], y[:-1], y[1:], strict=True):
        if low * high < 0:
            found.append(float(left + (right - left) * low / (low - high)))
    return sorted(found)


def _pieces(x: Floats, difference: Floats, none: Floats) -> Iterable[tuple[float, float, Verdict]]:
    breaks = {float(x[0]), float(x[-1])}
    breaks.update(_zeros(x, difference - none), _zeros(x, difference + none))
    edges = sorted(breaks)
    for start, end in pairwise(edges):
        middle = (start + end) / 2
        d, t = np.interp(middle, x, difference), np.interp(middle, x, none)
        yield start, end, "helps" if d > t else "hurts" if d < -t else "same"


def stretches(speed: ArrayLike, a: ArrayLike, b: ArrayLike, tie: float) -> list[Stretch]:
    """Cut the speed range into stretches where ``a`` helps, hurts or is level with ``b``.

    Parameters
    ----------
    speed, a, b : array_like
        (n,) engine speeds [rpm], each once, and the two curves there; nan where unknown, which
        is bridged by a straight line between its neighbours.
    tie : float
        Difference that counts as none, as a share of the larger of both [-].

    Returns
    -------
    list of Stretch
        Rising in speed, without gaps, neighbours of different verdict. Empty without a point.

    Examples
    --------
    >>> [s.verdict for s in stretches([1000, 2000, 3000], [90, 100, 110], [100, 100, 100], 0.01)]
    ['hurts', 'same', 'helps']
    """
    x, first, second = _curves(speed, a, b)
    difference, none = first - second, _level(first, second, tie)
    if len(x) == 0:
        return []
    merged: list[tuple[float, float, Verdict]] = []
    for start, end, verdict in _pieces(x, difference, none):
        if merged and merged[-1][2] == verdict:
            start = merged.pop()[0]
        merged.append((start, end, verdict))
    if len(x) == 1:
        level = abs(difference[0]) <= none[0]
        only: Verdict = "same" if level else "helps" if difference[0] > 0 else "hurts"
        merged = [(float(x[0]), float(x[0]), only)]
    with np.errstate(divide="ignore", invalid="ignore"):
        share = difference / np.abs(second)
    return [Stretch(*piece, *_extreme(x, share, piece[0], piece[1])) for piece in merged]


def _extreme(x: Floats, share: Floats, start: float, end: float) -> tuple[float, float]:
    inside = np.flatnonzero((x >= start) & (x <= end) & np.isfinite(share))
    if len(inside) == 0:
        middle = (start + end) / 2
        return float(np.interp(middle, x, share)), middle
    most = inside[np.argmax(np.abs(share[inside]))]
    return float(share[most]), float(x[most])


def crossings(speed: ArrayLike, a: ArrayLike, b: ArrayLike, tie: float) -> list[Crossing]:
    """Every speed at which ``a`` starts or stops to beat ``b``; parameters as `stretches`.

    Returns
    -------
    list of Crossing
        Rising in speed. Curves that only touch, or part from level, do not cross.

    Examples
    --------
    >>> crossings([1000, 3000], [90, 110], [100, 100], 0.0)[0].speed_rpm
    2000.0
    """
    x, first, second = _curves(speed, a, b)
    decided = [s for s in stretches(speed, a, b, tie) if s.verdict != "same"]
    found = []
    for before, after in pairwise(decided):
        if before.verdict == after.verdict:
            continue
        low, high = before.end_rpm, after.start_rpm
        zeros = [z for z in _zeros(x, first - second) if low <= z <= high]
        middle = (zeros[0] + zeros[-1]) / 2 if zeros else (low + high) / 2
        right = int(np.clip(np.searchsorted(x, middle), 1, len(x) - 1))
        margin = float(x[right] - x[right - 1]) / 4
        found.append(
            Crossing(
                speed_rpm=middle,
                low_rpm=max(float(x[0]), min(low, middle - margin)),
                high_rpm=min(float(x[-1]), max(high, middle + margin)),
                starts=after.verdict == "helps",
            )
        )
    return found

"""Readings that do not fit their neighbours: another unit, a slipped mark, dust under the dial."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import maximum_filter1d

from breathe.engine.parts import Floats
from breathe.measured.told import RowNote
from breathe.valvetrain.smoothing import smooth

RUNNING = ((30, 9), (16, 5))
"""Readings on the lobe, and readings in the running median where there are so many: with nine, four
wrong ones in a row cannot move it far; on a lobe of few, nine would span both flanks."""
STANDS_OUT_M = 0.10e-3
"""A reading this far from the curve through the others is taken for a slip, if it also stands out
eightfold from how far the others are (common practice, no source)."""
OF_A_STEP = 0.15
"""Nor is one that is off by no more than this share of what lift changes from row to row there:
coarse steps pass over the corners of a lobe."""
MOST_OUT = 0.2
"""Share of readings that may be wrong before the whole sheet is doubted."""
FEWEST = 8
STRETCH = 21
"""Readings among which one wrong one is looked for at a time."""
BLOCK = 200
"""Readings smoothed at a time: the work grows with the cube of their number."""
_UNITS: tuple[tuple[float, str, str], ...] = (
    (25.4, "in", "mm"),
    (1 / 25.4, "mm", "in"),
    (1e-3, "µm", "mm"),
    (25.4e-3, "thou", "mm"),
    (1e-3, "thou", "in"),
    (1e3, "in", "thou"),
    (1e3, "mm", "µm"),
)
"""Factor, unit meant, unit of the column."""
_SLIPS = ((10.0, "1/10"), (0.1, "10 times"), (100.0, "1/100"), (0.01, "100 times"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Repaired:
    """Readings after slips are put right or left out."""

    lift_m: Floats
    """(n,) with repaired values; those left out as they were."""
    kept: np.ndarray
    """(n,) bool."""
    notes: tuple[RowNote, ...]


class TooManyError(ValueError):
    """More readings stand out than a good sheet can have."""


def repair(
    angle_deg: Floats,
    lift_m: Floats,
    row: Sequence[int],
    unit: tuple[str, float],
    named: np.ndarray | None = None,
) -> Repaired:
    """Find readings that stand out and say what each is likely meant to be.

    First those off a running median by more than the readings around change, then, worst first,
    those off the smoothing spline through the others. One that fits in another unit is taken so;
    any other is left out.

    Parameters
    ----------
    angle_deg : (n,) array
        Strictly rising.
    lift_m : (n,) array
    row : (n,) int
    unit : (name, metres)
        Of the column, for the words.
    named : (n,) bool, optional
        Readings whose cell names its own unit: never taken in another.

    Raises
    ------
    TooManyError
        Naming the rows.
    """
    kept = ~_gross(lift_m)
    _not_too_many(kept, row)
    while kept.sum() >= FEWEST:
        off, limit = _off_the_others(angle_deg[kept], lift_m[kept])
        excess = np.abs(off) / limit
        # One wrong reading makes those beside it look wrong: only the worst of each stretch goes.
        worst = (excess > 1) & (excess == maximum_filter1d(excess, STRETCH))
        if not worst.any():
            break
        kept[np.flatnonzero(kept)[worst]] = False
        _not_too_many(kept, row)
    if kept.all() or kept.sum() < FEWEST:
        return Repaired(lift_m=lift_m, kept=kept, notes=())
    return _put_right(angle_deg, lift_m, row, kept, unit, named)


def _put_right(
    angle_deg: Floats,
    lift_m: Floats,
    row: Sequence[int],
    kept: np.ndarray,
    unit: tuple[str, float],
    named: np.ndarray | None,
) -> Repaired:
    through = smooth(angle_deg[kept], lift_m[kept])
    near = max(STANDS_OUT_M, 6 * through.scatter_m)
    lift, kept, notes = lift_m.copy(), kept.copy(), []
    for i in np.flatnonzero(~kept).tolist():
        expected = float(through.spline(np.clip(angle_deg[i], *through.at_deg[[0, -1]])))
        found, wanted = lift_m[i] / unit[1], expected / unit[1]
        told = f"found {found:.4g} {unit[0]}, its neighbours suggest {wanted:.4g} {unit[0]}"
        meant = _in_other_unit(lift_m[i], expected, near, unit[0])
        if meant and not (named is not None and named[i]):
            factor, name = meant
            lift[i], kept[i] = lift_m[i] * factor, True
            notes.append(
                RowNote(
                    row=row[i],
                    done="repaired",
                    why=f"{found:.4g} fits its neighbours as {name}: taken as {name} "
                    f"({lift[i] * 1e3:.3f} mm)",
                )
            )
            continue
        slip = _slipped(lift_m[i], expected, near)
        notes.append(RowNote(row=row[i], done="dropped", why=f"{told}{slip}"))
    return Repaired(lift_m=lift, kept=kept, notes=tuple(notes))


def _in_other_unit(
    found: float, expected: float, near: float, column: str
) -> tuple[float, str] | None:
    for factor, name, of in _UNITS:
        if of == column and abs(found * factor - expected) < near and expected > 4 * near:
            return factor, {"in": "inches"}.get(name, name)
    return None


def _slipped(found: float, expected: float, near: float) -> str:
    for factor, words in _SLIPS:
        if expected > 2 * near and abs(found * factor - expected) < near:
            return f": {words} of it, a slipped decimal mark?"
    if expected > 2 * near and abs(found + expected) < near:
        return ": a sign too many?"
    return ""


def _gross(lift_m: Floats) -> np.ndarray:
    """Readings off the running median by more than the readings around explain."""
    n = len(lift_m)
    out = np.zeros(n, dtype=bool)
    on_lobe = int((lift_m > 0.05 * np.quantile(lift_m, 0.95)).sum())
    size = next((size for fewest, size in RUNNING if on_lobe >= fewest and n > size), 0)
    if not size:
        return out
    half = size // 2
    change = np.abs(np.diff(lift_m))
    for i in range(n):
        first = min(max(i - half, 0), n - size)
        middle = float(np.median(lift_m[first : first + size]))
        # Among the smaller of the changes: a wrong reading makes two wild ones.
        usual = float(np.quantile(change[first : first + size - 1], 0.4))
        reach = (size - 1 if first in (0, n - size) else half) * usual
        out[i] = abs(lift_m[i] - middle) > 1.5 * reach + 0.5e-3
    return out


def _off_the_others(angle_deg: Floats, lift_m: Floats) -> tuple[Floats, Floats]:
    """How far each reading is from the spline through the others, and how far is too far."""
    n = len(lift_m)
    curve, expected = np.empty(n), np.empty(n)
    for start in range(0, n, BLOCK):
        inner = slice(start, min(start + BLOCK, n))
        outer = slice(max(start - STRETCH, 0), min(start + BLOCK + STRETCH, n))
        through = smooth(angle_deg[outer], lift_m[outer])
        at = slice(inner.start - outer.start, inner.stop - outer.start)
        curve[inner] = through.spline(angle_deg[inner])
        share = np.minimum(through.leverage[at], 0.98)
        expected[inner] = lift_m[inner] - (lift_m[inner] - curve[inner]) / (1 - share)
    off = lift_m - expected
    for end, beside in ((0, 1), (-1, -2)):
        # The others only say how the line would go straight on; a flank that flattens into its
        # ramp ends between that, or the base circle, and the reading before.
        low = max(float(expected[end]), 0.0)
        high = max(low, float(lift_m[beside]))
        off[end] = lift_m[end] - np.clip(lift_m[end], low, high)
    change = np.abs(np.diff(curve))
    around = maximum_filter1d(np.append(change, 0.0), 4)
    usual = max(STANDS_OUT_M, 8 * float(np.median(np.abs(off))))
    return off, np.maximum(usual, OF_A_STEP * around)


def _not_too_many(kept: np.ndarray, row: Sequence[int]) -> None:
    out = np.flatnonzero(~kept)
    if len(out) > max(3, MOST_OUT * len(kept)):
        rows = ", ".join(str(row[i]) for i in out[:10].tolist())
        raise TooManyError(
            f"found {len(out)} of {len(kept)} readings that do not lie on one smooth curve, among "
            f"them rows {rows}. Two units in one column, or two lobes?"
        )

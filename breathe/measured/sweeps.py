"""Passes of the wheel over a lobe: in order, repeats averaged, slips put right, two made one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from breathe.engine.parts import Floats
from breathe.measured.lift_words import Wheel
from breathe.measured.repair import repair
from breathe.measured.told import Told
from breathe.measured.wheel import (
    Ordered,
    WheelError,
    backlash_deg,
    in_order,
    whole_turn_cut,
)

FEWEST_ROWS = 12
LEAST_BACKLASH_DEG = 0.25
REPEATS_APART_M = 0.1e-3
WIDEST_DISAGREEMENT_M = 0.15e-3
"""Two passes further apart than this (rms) are not of one lobe."""


@dataclass(frozen=True, slots=True)
class Sweep:
    """One pass over the lobe: rising angles, each once."""

    angle: Floats
    lift_m: Floats
    row: tuple[int, ...]


def passes(angle_deg: Floats, lift_m: Floats, row: Sequence[int], told: Told) -> list[Sweep]:
    """Passes over the lobe in a column of readings, in order, repeats averaged.

    Parameters
    ----------
    angle_deg, lift_m : (n,) arrays
        As they were written; NaN where an angle cannot be placed.
    row : (n,) int
    told : Told
        Learns what was dropped and averaged.

    Raises
    ------
    SheetError, WheelError
    """
    known = np.flatnonzero(np.isfinite(angle_deg))
    for i in np.setdiff1d(np.arange(len(angle_deg)), known).tolist():
        told.drop(row[i], "the angle names no dead centre, as the others do")
    rows = [row[i] for i in known.tolist()]
    if len(known) < FEWEST_ROWS:
        raise told.refuse(f"found {len(known)} angles that can be placed; expected more")
    ordered = in_order(angle_deg[known], lift_m[known], rows)
    told.understood += ordered.notes
    for i in ordered.out_of_order:
        told.drop(rows[i], f"angle {angle_deg[known][i]:g} is out of order")
    found = [_one_each(ordered, places, lift_m[known], rows, told) for places in ordered.sweeps]
    return [_turned(one, told) for one in found]


def _one_each(
    ordered: Ordered, places: np.ndarray, lift_m: Floats, row: Sequence[int], told: Told
) -> Sweep:
    """Repeated angles averaged; of repeats that disagree, the one nearer its neighbours."""
    angle = ordered.angle_deg[places]
    starts = np.flatnonzero(np.diff(np.concatenate([[-np.inf], angle])) > 1e-9)
    groups = np.split(places, starts[1:])
    firsts = np.array([lift_m[group].mean() for group in groups])
    lifts, averaged = firsts.copy(), []
    for k, group in enumerate(groups):
        if len(group) == 1:
            continue
        if np.ptp(lift_m[group]) > REPEATS_APART_M and 0 < k < len(groups) - 1:
            between = np.interp(
                angle[starts[k]], angle[starts[[k - 1, k + 1]]], firsts[[k - 1, k + 1]]
            )
            keep = int(np.argmin(np.abs(lift_m[group] - between)))
            lifts[k] = lift_m[group[keep]]
            for i in np.delete(group, keep):
                told.drop(row[i], f"repeats row {row[group[keep]]} but reads otherwise")
        else:
            averaged.append("/".join(str(row[i]) for i in group))
    if averaged:
        more = f" and {len(averaged) - 6} more" if len(averaged) > 6 else ""
        told.understood.append(f"repeated angles averaged: rows {', '.join(averaged[:6])}{more}")
    return Sweep(angle[starts], lifts, tuple(row[int(group[0])] for group in groups))


def _turned(sweep: Sweep, told: Told) -> Sweep:
    """A sheet over the whole turn whose lobe runs across its ends, cut on the base circle."""
    period = 720.0 if np.ptp(sweep.angle) > 400 else 360.0
    cut = whole_turn_cut(sweep.angle, sweep.lift_m, period)
    if cut is None:
        return sweep
    told.understood.append(f"the lobe runs across the wheel's 0: {period:g} taken off before it")
    angle = np.concatenate([sweep.angle[cut:] - period, sweep.angle[:cut]])
    lift = np.concatenate([sweep.lift_m[cut:], sweep.lift_m[:cut]])
    row = sweep.row[cut:] + sweep.row[:cut]
    kept = np.concatenate([[True], np.diff(angle) > 1e-9])
    return Sweep(angle[kept], lift[kept], tuple(r for r, k in zip(row, kept, strict=True) if k))


def repaired(
    sweep: Sweep, unit: tuple[str, float], names_unit: frozenset[int], told: Told
) -> Sweep:
    """A pass with its slips put right or left out, by row.

    Parameters
    ----------
    sweep : Sweep
    unit : (name, metres)
        Of the readings that name none.
    names_unit : frozenset of int
        Rows whose reading names its own unit.
    told : Told

    Raises
    ------
    SheetError, TooManyError
    """
    named = np.array([row in names_unit for row in sweep.row])
    found = repair(sweep.angle, sweep.lift_m, sweep.row, unit, named)
    told.rows += found.notes
    if found.kept.sum() < FEWEST_ROWS:
        raise told.refuse(f"found {found.kept.sum()} readings that fit each other; expected more")
    return Sweep(
        sweep.angle[found.kept],
        found.lift_m[found.kept],
        tuple(r for r, k in zip(sweep.row, found.kept, strict=True) if k),
    )


def merged(sweeps: Sequence[Sweep], wheel: Wheel, told: Told) -> tuple[Sweep, float | None]:
    """Two passes made one, and the crank degrees between them.

    Raises
    ------
    WheelError
        If they are not of one lobe.
    """
    if len(sweeps) == 1:
        return sweeps[0], None
    first, second = sweeps
    apart, left = backlash_deg((first.angle, first.lift_m), (second.angle, second.lift_m))
    if left > WIDEST_DISAGREEMENT_M:
        raise WheelError(
            f"found two passes over the lobe that differ by {left * 1e3:.2f} mm (rms) however "
            "they are moved; expected the same lobe twice. Two lobes in one column?"
        )
    crank = apart * (2.0 if wheel == "cam" else 1.0)
    backlash = abs(crank) > LEAST_BACKLASH_DEG
    told.understood.append(
        f"the lobe was read twice, the passes {abs(crank):.2f} deg crank apart: the mean is taken"
        + ("; backlash shows like this, so turn one way only" if backlash else "")
    )
    angle = np.concatenate([first.angle + apart / 2, second.angle - apart / 2])
    lift = np.concatenate([first.lift_m, second.lift_m])
    row = np.array(first.row + second.row)
    order = np.argsort(angle, kind="stable")
    angle, lift, row = angle[order], lift[order], row[order]
    # Two readings closer than a tenth of a step are one, else the spline would bend between them.
    near = 0.1 * float(np.median(np.diff(first.angle)))
    starts = np.flatnonzero(np.diff(np.concatenate([[-np.inf], angle])) > near)
    count = np.diff(np.append(starts, len(angle)))
    mean = Sweep(
        np.add.reduceat(angle, starts) / count,
        np.add.reduceat(lift, starts) / count,
        tuple(int(r) for r in row[starts]),
    )
    return mean, abs(crank)

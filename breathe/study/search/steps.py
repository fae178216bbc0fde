"""A cam of two or three fixed places instead of a continuous one: which places, switched where."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from breathe.study.crossings import NUMERICAL_ERROR, tied

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Steps:
    """Some candidates, and which of them is used at each speed."""

    chosen: tuple[int, ...]
    """Rows of the candidates, in the order they are first used going up in speed."""
    used: tuple[int, ...]
    """(n_speeds,) the row used at each speed."""
    mean_Nm: float
    """Weighted mean torque."""


def steps_table(
    speeds: Sequence[float],
    shares: Sequence[float],
    torque: Floats,
    fixed_mean: float,
    variable: Floats,
    *,
    places: Sequence[tuple[float, ...]] | None = None,
    labels: Sequence[str] | None = None,
) -> pd.DataFrame:
    """Two and three steps as one table, one row a stretch of speeds with one place.

    Where a place would be used over several stretches, the best plan that uses each over one is
    given too, as order 'in order'.

    Parameters
    ----------
    speeds, shares : (n_speeds,) sequence of float
        What each speed [rpm] counts.
    torque : (n_candidates, n_speeds) array
    fixed_mean : float
        Weighted mean torque of the best single place [Nm].
    variable : (n_speeds,) array
        Torque of the continuous gear [Nm].
    places, labels : sequence, optional
        What the candidates are, for the table.
    """
    whole = float(variable @ np.array(shares)) - fixed_mean
    worth = not tied(whole + fixed_mean, fixed_mean, NUMERICAL_ERROR)
    rows = []
    for count in (2, 3):
        if len(torque) < count:
            continue
        free = best_steps(torque, shares, count)
        if len(free.chosen) < count:
            continue  # the same as with fewer
        plans = [("free", free)]
        if len(switches(speeds, torque, free.used)) > count:
            plans.append(("in order", steps_in_order(torque, shares, count)))
        for order, found in plans:
            for first, last, used, switch in switches(speeds, torque, found.used):
                row: dict[str, Any] = {"steps": count, "order": order}
                row |= {"first_rpm": first, "last_rpm": last, "switch_rpm": switch}
                row["weighted_Nm"] = found.mean_Nm
                row["share_of_gain"] = (found.mean_Nm - fixed_mean) / whole if worth else math.nan
                if places is not None:
                    row |= {f"axis{n}_deg": x for n, x in enumerate(places[used])}
                if labels is not None:
                    row["setting"] = labels[used]
                rows.append(row)
    return pd.DataFrame(rows)


def best_steps(torque_Nm: ArrayLike, shares: ArrayLike, count: int) -> Steps:
    """The ``count`` candidates whose best at each speed has the largest weighted mean.

    Parameters
    ----------
    torque_Nm : (n_candidates, n_speeds) array_like
        Rising in speed.
    shares : (n_speeds,) array_like
        What each speed counts.
    count : int
        1, 2 or 3; never more than there are candidates.
    """
    table, weight = np.asarray(torque_Nm, dtype=float), np.asarray(shares, dtype=float)
    count = min(count, len(table))
    most = -np.inf
    chosen: tuple[int, ...] = (0,)
    for first in combinations(range(len(table)), count - 1):
        base = table[list(first)].max(axis=0) if first else np.full(table.shape[1], -np.inf)
        means = np.maximum(base, table) @ weight
        last = int(np.argmax(means))
        if means[last] > most:
            most, chosen = float(means[last]), (*first, last)
    used = assigned(table, chosen)
    return Steps(
        chosen=tuple(dict.fromkeys(used)),
        used=used,
        mean_Nm=float(table[list(used), range(table.shape[1])] @ weight),
    )


def steps_in_order(torque_Nm: ArrayLike, shares: ArrayLike, count: int) -> Steps:
    """As `best_steps`, but each candidate is used over one stretch of neighbouring speeds only."""
    table, weight = np.asarray(torque_Nm, dtype=float), np.asarray(shares, dtype=float)
    sums = np.concatenate([np.zeros((len(table), 1)), np.cumsum(table * weight, axis=1)], axis=1)
    speeds = table.shape[1]
    most, used = -np.inf, (0,) * speeds
    for inner in combinations(range(1, speeds), min(count, speeds) - 1):
        edges = [0, *inner, speeds]
        gained = [sums[:, end] - sums[:, start] for start, end in pairwise(edges)]
        mean = sum(float(one.max()) for one in gained)
        if mean > most:
            most = mean
            used = tuple(
                int(np.argmax(one))
                for one, (start, end) in zip(gained, pairwise(edges), strict=True)
                for _ in range(end - start)
            )
    return Steps(chosen=tuple(dict.fromkeys(used)), used=used, mean_Nm=most)


def assigned(torque_Nm: ArrayLike, chosen: Sequence[int]) -> tuple[int, ...]:
    """The candidate used at each speed: the best, but no switch for what is a tie.

    Every run of speeds is given to one candidate that ties with the best all along, as far as one
    does; of several, to the one with the most torque there.
    """
    table = np.asarray(torque_Nm, dtype=float)
    best = table[list(chosen)].max(axis=0)
    good = {c: np.asarray(tied(table[c], best, NUMERICAL_ERROR)) for c in chosen}
    used: list[int] = []
    place = 0
    while place < table.shape[1]:
        reach = {c: _run_length(good[c][place:]) for c in chosen}
        longest = max(reach.values())
        alike = [c for c in chosen if reach[c] == longest]
        span = slice(place, place + longest)
        used += [max(alike, key=lambda c: float(table[c, span].sum()))] * longest
        place += longest
    return tuple(used)


def _run_length(good: NDArray[np.bool_]) -> int:
    return int(np.argmin(good)) if not good.all() else len(good)


def switches(
    speeds_rpm: Sequence[float], torque_Nm: ArrayLike, used: Sequence[int]
) -> list[tuple[float, float, int, float]]:
    """Stretches of one candidate: first and last speed run, candidate, and where it takes over.

    Returns
    -------
    list of (first_rpm, last_rpm, row, switch_rpm)
        ``switch_rpm`` is where straight lines of both candidates cross between the two speeds, its
        middle if they do not; nan for the first.
    """
    table = np.asarray(torque_Nm, dtype=float)
    edges = [0, *(n + 1 for n, (a, b) in enumerate(pairwise(used)) if a != b), len(used)]
    found = []
    for start, end in pairwise(edges):
        switch = float("nan")
        if start:
            below, above = table[used[start]] - table[used[start - 1]], slice(start - 1, start + 1)
            switch = _crossing(np.asarray(speeds_rpm[above]), below[above])
        found.append((float(speeds_rpm[start]), float(speeds_rpm[end - 1]), used[start], switch))
    return found


def _crossing(speed: Floats, difference: Floats) -> float:
    if difference[0] * difference[1] >= 0:
        return float(speed.mean())
    return float(np.interp(0.0, difference * np.sign(difference[1]), speed))

"""What a cam gains that follows the best of some settings, over one that stands still."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from breathe.study.crossings import NUMERICAL_ERROR, tied


@dataclass(frozen=True, slots=True)
class Gain:
    """Of one torque curve over another that is nowhere above it."""

    share: float
    """Of the mean torque over the speeds [-]; each speed counts the same."""
    mean_Nm: float
    """The same, in torque."""
    none: bool
    """The means tie."""
    most: float
    """Largest gain at one speed, as a share [-]."""
    most_rpm: float
    least: float
    least_rpm: float
    """The first speed with the least gain."""
    least_none: bool
    """The curves tie there."""


@dataclass(frozen=True, slots=True)
class Following:
    """A cam that takes the best of the settings at each speed, beside fixed ones."""

    speeds_rpm: tuple[float, ...]
    """Those at which every setting is known."""
    mean_Nm: float
    over_reference: Gain
    best_fixed: tuple[str, ...]
    """Settings of the largest mean torque, the best first, the rest tie with it."""
    over_best_fixed: Gain


def follow_best(torque: pd.DataFrame, reference: str) -> Following | None:
    """Following the best setting at each speed, against one setting and the best single one.

    Parameters
    ----------
    torque : DataFrame
        One row per speed [rpm], one column per setting [Nm]; nan where unknown. Speeds at which a
        setting is unknown are left out, so that all are judged at the same.
    reference : str
        A column.

    Returns
    -------
    Following or None
        None without a speed at which all are known, or with one setting alone.
    """
    known = torque.dropna()
    if len(known) == 0 or known.shape[1] < 2 or reference not in known:
        return None
    best = known.max(axis=1)
    means = known.mean().sort_values(ascending=False, kind="stable")
    fixed = tuple(str(label) for label in means.index[tied(means, means.iloc[0], NUMERICAL_ERROR)])
    return Following(
        speeds_rpm=tuple(float(speed) for speed in known.index),
        mean_Nm=float(best.mean()),
        over_reference=_gain(best, known[reference]),
        best_fixed=fixed,
        over_best_fixed=_gain(best, known[fixed[0]]),
    )


def _gain(best: pd.Series, other: pd.Series) -> Gain:
    one, two = best.to_numpy(), other.to_numpy()
    with np.errstate(divide="ignore", invalid="ignore"):
        share = (one - two) / np.abs(two)
    most, least = int(np.argmax(share)), int(np.argmin(share))
    mean, fixed = float(one.mean()), float(two.mean())
    return Gain(
        share=(mean - fixed) / abs(fixed) if fixed else float("nan"),
        mean_Nm=mean - fixed,
        none=bool(tied(mean, fixed, NUMERICAL_ERROR)),
        most=float(share[most]),
        most_rpm=float(best.index[most]),
        least=float(share[least]),
        least_rpm=float(best.index[least]),
        least_none=bool(tied(one[least], two[least], NUMERICAL_ERROR)),
    )

"""The best place of every range of travel, from the response at each speed."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from breathe.engine.parts import Floats
from breathe.study.crossings import NUMERICAL_ERROR
from breathe.study.search.best import Searched

STEP_DEG = 12.0
_MOST_OTHERS = 400


@dataclass(frozen=True, slots=True)
class Window:
    """The best place of one range."""

    range_deg: float
    low_deg: float
    high_deg: float
    mean_Nm: float


def windows_of(found: Searched, axis: int, shares: Floats, up_to_deg: float | None) -> list[Window]:
    """The best place of every range, degree by degree."""
    line, torque = profile(found, axis)
    longest = float(line[-1] - line[0])
    if up_to_deg is not None:
        longest = min(longest, up_to_deg)
    spacing = (line[-1] - line[0]) / (len(line) - 1)
    count = round(longest / spacing)
    windows = [window(line, torque, shares, n * spacing) for n in range(count + 1)]
    if len(found.survey.gear.axes) == 1:  # the search has it closer than a degree
        (place,) = found.fixed.place
        windows[0] = Window(0.0, place, place, max(found.fixed.value, windows[0].mean_Nm))
    return windows


def listed(windows: Sequence[Window]) -> list[Window]:
    """Those of 0, 12, 24 ... degrees and of the longest range."""
    longest = windows[-1].range_deg
    steps = [STEP_DEG * n for n in range(math.floor(longest / STEP_DEG + 1e-9) + 1)]
    steps = steps if longest - steps[-1] < 0.5 else [*steps, longest]
    return [min(windows, key=lambda one: abs(one.range_deg - step)) for step in steps]


def profile(found: Searched, axis: int) -> tuple[Floats, Floats]:
    """Torque along one axis with the others at their best.

    Returns
    -------
    (n,) and (n_speeds, n) arrays
        Places a degree apart [deg crank], torque [Nm].
    """
    survey, axes = found.survey, found.survey.gear.axes
    own = axes[axis]
    line = np.linspace(own.low_deg, own.high_deg, round(own.high_deg - own.low_deg) + 1)
    others = [
        np.linspace(a.low_deg, a.high_deg, max(3, round(_MOST_OTHERS ** (1 / (len(axes) - 1)))))
        for n, a in enumerate(axes)
        if n != axis
    ]
    places = np.array(
        [[*rest[:axis], x, *rest[axis:]] for x in line for rest in itertools.product(*others)]
    )
    torque = [
        survey.response(speed)(places).reshape(len(line), -1).max(axis=1)
        for speed in found.speeds_rpm
    ]
    return line, np.array(torque)


def window(line: Floats, torque: Floats, shares: Floats, range_deg: float) -> Window:
    """The stretch of ``range_deg`` whose best at each speed has the largest weighted mean.

    Parameters
    ----------
    line, torque
        As `profile` gives them.
    shares : (n_speeds,) array
    range_deg : float
    """
    spacing = (line[-1] - line[0]) / (len(line) - 1)
    count = min(round(range_deg / spacing), len(line) - 1)
    best = np.lib.stride_tricks.sliding_window_view(torque, count + 1, axis=1).max(axis=2)
    means = shares @ best
    start = int(np.argmax(means))
    return Window(range_deg, float(line[start]), float(line[start + count]), float(means[start]))


def knee_deg(table: pd.DataFrame) -> float:
    """Smallest range past which every 12 degrees bring less than the numerical error; nan if the
    last ones still bring more."""
    pays = np.flatnonzero(table.added_per_12_deg.to_numpy() > NUMERICAL_ERROR)
    last = int(pays[-1]) if len(pays) else 0
    return float(table.range_deg.iloc[last]) if last < len(table) - 1 else math.nan

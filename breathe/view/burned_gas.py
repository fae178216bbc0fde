"""Where a setting loses torque while it keeps more burned gas than the best one, in a sentence."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from breathe.about import About
from breathe.study.crossings import tied

MORE_POINTS = 0.03
"""Share of the charge by which the residual must exceed the other's to be told."""
_LONGER_DEG = 2.0
"""Difference in overlap that is called longer."""


@dataclass(frozen=True, slots=True)
class _Keeps:
    speed_rpm: float
    label: str
    best: str
    more: float


def kept_burned_gas(torque: pd.DataFrame, residual: pd.DataFrame, about: About) -> list[str]:
    """A sentence on the largest such difference, with the further speeds where it happens.

    Parameters
    ----------
    torque, residual : DataFrame
        One row per speed, one column per setting; residual as a share of the charge [-].
    about : About
        Tells the overlap of each setting, where known.
    """
    found = [one for speed in torque.index if (one := _worst(speed, torque, residual)) is not None]
    if not found:
        return []
    most = max(found, key=lambda one: one.more)
    shares = residual.loc[most.speed_rpm]
    also = [f"{one.speed_rpm:.0f}" for one in found if one is not most]
    further = (
        f" Settings with less torque keep more burned gas at {', '.join(also)} rpm too."
        if also
        else ""
    )
    return [
        f"At {most.speed_rpm:.0f} rpm {_overlap(most, about)} keeps more burned gas than "
        f"{most.best} ({shares[most.label] * 100:.0f} % of the charge against "
        f"{shares[most.best] * 100:.0f} %), and torque is less.{further}"
    ]


def _worst(speed: float, torque: pd.DataFrame, residual: pd.DataFrame) -> _Keeps | None:
    """The setting that keeps most more than the best one of this speed, and has less torque."""
    known = torque.loc[speed].dropna()
    if len(known) < 2:
        return None
    best = str(known.idxmax())
    behind = [label for label in known.index if not tied(known[label], known[best])]
    shares = residual.loc[speed]
    more = (shares[behind] - shares[best]).dropna().to_dict()
    label = max(more, key=more.__getitem__, default=None)
    if label is None or more[label] <= MORE_POINTS:
        return None
    return _Keeps(float(speed), str(label), best, float(more[label]))


def _overlap(most: _Keeps, about: About) -> str:
    """The setting, by its overlap where that is the longer one."""
    overlap = {note.label: note.overlap_deg for note in about.settings}
    ours, theirs = overlap.get(most.label), overlap.get(most.best)
    if ours is None or theirs is None or ours - theirs <= _LONGER_DEG:
        return most.label
    return f"the longer overlap of {most.label} ({ours:.0f}° against {theirs:.0f}°)"

"""What a search for the best setting found, in sentences."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from breathe.about import About
from breathe.engine.quantities import System
from breathe.study.answer import AxisNote, Best
from breathe.study.crossings import NUMERICAL_ERROR, tied
from breathe.view import cautions
from breathe.view.clearing import clearing_words
from breathe.view.figures import change, percent
from breathe.view.places import at_end, degrees, in_words, listed, off_words, place_of
from breathe.view.turned import turned_words

NONE_FOUND = f"no difference found (below {NUMERICAL_ERROR * 100:g} %)"


def findings(found: Best, about: About, system: System) -> list[str]:
    """All sentences below the tables."""
    told = [*_left_out(found)]
    if found.speeds == 1:
        told.append("At a single speed a fixed cam is as good by definition.")
    else:
        told += [
            *_gain(found),
            *_against_standard(found, about),
            *clearing_words(found),
            *turned_words(found),
            *_rivals(found),
            *_edge_of_tried(found, about),
            *_step_gain(found),
        ]
    for axis in found.axes:
        told += [*_ends(found, axis), *_flat(found, axis)]
    told += _other_tops(found)
    if found.axes and found.speeds > 1:
        told.append(
            "The best fixed cam is this cam's own lobe held at one place on the same axes, the one "
            "with the largest mean; a fixed cam of another lobe was looked at only where the file "
            "has it as a setting."
        )
    return [*told, cautions.DOUBT.format(error=NUMERICAL_ERROR * 100)]


def _row(found: Best, role: str) -> pd.Series:
    return found.cams[found.cams.role == role].iloc[0]


def _left_out(found: Best) -> list[str]:
    if not found.left_out_rpm:
        return []
    where = ", ".join(f"{speed:.0f}" for speed in found.left_out_rpm)
    return [f"Left out, for want of cases that settled: {where} rpm."]


def name_of_fixed(found: Best) -> str:
    """The best fixed cam: its place on the axes, or its label."""
    if found.axes:
        return in_words(found.axes, found.fixed_place_deg)
    return str(_row(found, "fixed").label)


def _gain(found: Best) -> list[str]:
    row = _row(found, "fixed")
    counted = "by your weights" if found.weights else "in the mean"
    kind = "variable" if found.axes else "stepped"
    share = change(row.gain_weighted)
    over = f"over the best fixed one ({name_of_fixed(found)})"
    if share == "=":
        verdict = (
            f"A {kind} cam is not shown to be worth it {over}: {NONE_FOUND} {counted}. At single "
            "speeds it may still gain: "
        )
    else:
        verdict = (
            f"What a {kind} cam gains {over}: {share} % {counted}, give or take "
            f"{NUMERICAL_ERROR * 100:g}; "
        )
    return [
        f"{verdict}{_much(row.gain_peak_power)} in peak power; {_much(row.gain_most)} at the speed "
        f"that suits the fixed cam worst, {row.gain_most_rpm:.0f} rpm; {_much(row.gain_least)} at "
        f"{row.gain_least_rpm:.0f} rpm, where it gains least."
    ]


def _much(share: float) -> str:
    text = change(share)
    return f"no difference (below {NUMERICAL_ERROR * 100:g} %)" if text == "=" else f"{text} %"


def _against_standard(found: Best, about: About) -> list[str]:
    standard, fixed = _row(found, "standard"), _row(found, "fixed")
    if fixed.label == standard.label:
        return [f"The standard cam ({about.standard}) is the best fixed one of the file."]
    gain = fixed.weighted_Nm / standard.weighted_Nm - 1
    of_it = (
        f"{_much(gain)} of that needs nothing variable: the best fixed cam has it too."
        if change(gain) != "="
        else "The best fixed cam has no more than the standard one."
    )
    if gain < -NUMERICAL_ERROR:
        of_it = f"The best fixed place is behind the standard cam by {-gain * 100:.1f} %."
    return [f"Over the standard cam ({about.standard}): {_much(standard.gain_weighted)}. {of_it}"]


def _rivals(found: Best) -> list[str]:
    """Other fixed cams of the file that beat the best fixed place."""
    fixed = _row(found, "fixed")
    others = found.cams[found.cams.role.isin(["other", "standard"])]
    better = others[
        (others.weighted_Nm > fixed.weighted_Nm)
        & ~tied(others.weighted_Nm, np.full(len(others), fixed.weighted_Nm))
    ]
    if not len(better):
        return []
    named = ", ".join(
        f"{row['label']} (variable over it: {_much(row['gain_weighted'])})"
        for row in better.to_dict("records")
    )
    return [f"Better than any fixed place of this gear are the file's fixed cams: {named}."]


def _edge_of_tried(found: Best, about: About) -> list[str]:
    """Where the best fixed cam is the shortest or the longest of the file, others may beat it."""
    if found.axes:
        return []
    known = {note.label: note.intake_duration_deg for note in about.settings}
    lengths = [length for length in known.values() if length is not None]
    best = known.get(name_of_fixed(found))
    if best is None or len(lengths) < len(known) or max(lengths) - min(lengths) < 1.0:
        return []
    if best not in (min(lengths), max(lengths)):
        return []
    kind, more = ("shortest", "shorter") if best == min(lengths) else ("longest", "longer")
    return [
        f"The best fixed one is the {kind} of those tried: one {more} still may do better; write "
        "further ones as [[setting]], such as intake.stretch = "
        f"{'0.9' if kind == 'shortest' else '1.1'}."
    ]


def _step_gain(found: Best) -> list[str]:
    if not len(found.steps) or not np.isfinite(found.steps.share_of_gain).all():
        return []
    parts = []
    free = found.steps[found.steps.order == "free"]
    for count, stretches in free.groupby("steps"):
        word = "Two" if count == 2 else "three"
        parts.append(f"{word} fixed steps get {percent(stretches.share_of_gain.iloc[0])}")
    whose = "variable cam's" if found.axes else "whole"
    return [f"{', '.join(parts)} of the {whose} gain over the best fixed one."]


def _ends(found: Best, axis: AxisNote) -> list[str]:
    """Where the best setting stands at an end, so that the gear and not the engine decides."""
    places = found.by_speed[f"{axis.column}_deg"]
    told = []
    for end, more in ((-1, "earliest"), (1, "latest")):
        at = found.by_speed.speed_rpm[[at_end(axis, x) == end for x in places]]
        if not len(at):
            continue
        place = degrees(axis, axis.low_deg if end < 0 else axis.high_deg)
        if axis.kind == "dwell":
            what = "the shortest" if end < 0 else "the longest"
            hint = (
                "a shorter lobe might do better there"
                if end < 0
                else f'`breathe reach --up-to "{axis.high_deg * 1.25:.0f} deg crank"` asks for more'
            )
            told.append(
                f"At {_speeds(found, at)} the best is {what} this gear gives, {place}; {hint}."
            )
        else:
            told.append(
                f"At {_speeds(found, at)} the {axis.side} cam is best at the {more} its phaser "
                f"gives, {place}; more turn might do better there, where the valves clear."
            )
    return told


def _speeds(found: Best, at: pd.Series) -> str:
    """Speeds in words, neighbours as a stretch."""
    order = list(found.by_speed.speed_rpm)
    places = [order.index(speed) for speed in at]
    runs: list[list[int]] = []
    for place in places:
        if runs and place == runs[-1][-1] + 1:
            runs[-1].append(place)
        else:
            runs.append([place])
    parts = [
        f"{order[run[0]]:.0f}" if len(run) == 1 else f"{order[run[0]]:.0f} to {order[run[-1]]:.0f}"
        for run in runs
    ]
    return f"{', '.join(parts)} rpm"


def _flat(found: Best, axis: AxisNote) -> list[str]:
    """What it costs to stand wrong, and where it does not matter."""
    price = found.price[found.price.axis == axis.name].dropna()
    if not len(price):
        return []
    worst = price.sort_values("change", kind="stable").iloc[0]
    most = price.groupby("speed_rpm").change.min()
    same = pd.Series([speed for speed, lost in most.items() if change(lost) == "="], dtype=float)
    off = off_words(axis, worst.off_deg)
    wrong = f"{off} {axis.side} duration" if axis.kind == "dwell" else f"the {axis.side} cam {off}"
    told = (
        f"Standing wrong costs most at {worst.speed_rpm:.0f} rpm: {_much(worst.change)} with "
        f"{wrong}"
    )
    if len(same):
        told += f"; 12° off to either side is too small to tell at {_speeds(found, same)}"
    return [f"{told}."]


def _other_tops(found: Best) -> list[str]:
    if not len(found.tops):
        return []
    parts = [
        f"{in_words(found.axes, place_of(row, found.axes))} at {row['speed_rpm']:.0f} rpm"
        for row in found.tops.to_dict("records")
    ]
    return [f"As good as the best, on a hump apart from it: {_listed(parts)}."]


def _listed(parts: Sequence[str]) -> str:
    return f"{listed(parts[:6])}{' ...' if len(parts) > 6 else ''}"

"""What a comparison found, in sentences: where each setting helps, hurts and crosses over."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import pandas as pd

from breathe.about import About
from breathe.study.crossings import NUMERICAL_ERROR, Crossing, Stretch, crossings, stretches

_ROUND_RPM = 50.0


def winners(torque: pd.DataFrame) -> list[list[str]]:
    """Settings that give the most torque at each speed; several if they tie, none if unknown.

    Parameters
    ----------
    torque : DataFrame
        One row per speed, one column per setting; nan where a case did not settle.
    """
    found = []
    for _, row in torque.iterrows():
        known = row.dropna()
        most = known.max() if len(known) else 0.0
        found.append(
            [str(name) for name in known.index[known >= most - NUMERICAL_ERROR * abs(most)]]
        )
    return found


def best_by_speed(torque: pd.DataFrame) -> str:
    """One sentence: which setting gives most torque over which speeds that were run."""
    runs: list[tuple[list[str], list[float]]] = []
    for speed, names in zip(torque.index, winners(torque), strict=True):
        if runs and runs[-1][0] == names:
            runs[-1][1].append(float(speed))
        elif names:
            runs.append((names, [float(speed)]))
    if not runs:
        return "No case settled, so there is no best setting."
    parts = [f"{_named(names)} {_speeds(speeds)}" for names, speeds in runs]
    return f"Most torque: {', '.join(parts)}."


def _named(names: list[str]) -> str:
    if len(names) == 1:
        return names[0]
    return f"a tie of {', '.join(names[:-1])} and {names[-1]}"


def _speeds(speeds: list[float]) -> str:
    if len(speeds) == 1:
        return f"at {speeds[0]:.0f} rpm"
    return f"from {speeds[0]:.0f} to {speeds[-1]:.0f} rpm"


def by_duration(about: About) -> list[str]:
    """Labels of the settings, shortest intake first; those of unknown duration keep their place."""
    known = [note for note in about.settings if note.intake_duration_deg is not None]
    if len(known) < len(about.settings):
        return [note.label for note in about.settings]
    return [note.label for note in sorted(known, key=lambda note: note.intake_duration_deg or 0.0)]


def against_standard(torque: pd.DataFrame, about: About) -> list[str]:
    """A sentence for each other setting: where it helps, hurts and crosses the standard."""
    sentences = []
    for label in by_duration(about):
        if label == about.standard or label not in torque or about.standard not in torque:
            continue
        curves = (torque.index, torque[label], torque[about.standard], NUMERICAL_ERROR)
        told = sentence(stretches(*curves), crossings(*curves))
        sentences.append(f"{label} ({_kind(label, about)}) against {about.standard}: {told}")
    return sentences


def _kind(label: str, about: About) -> str:
    """'longer', 'shorter' or 'as long', by intake duration, otherwise by exhaust duration."""
    notes = {note.label: note for note in about.settings}
    ours, theirs = notes[label], notes[about.standard]
    for one, other in (
        (ours.intake_duration_deg, theirs.intake_duration_deg),
        (ours.exhaust_duration_deg, theirs.exhaust_duration_deg),
    ):
        if one is not None and other is not None and abs(one - other) > 0.5:
            return f"{abs(one - other):.0f}° {'longer' if one > other else 'shorter'}"
    return "as long"


def sentence(found: Sequence[Stretch], crossed: Sequence[Crossing]) -> str:
    """All stretches of one comparison in words, with every crossing and its band.

    Examples
    --------
    >>> from breathe.study.crossings import Crossing, Stretch
    >>> low = Stretch(1500, 3990, "hurts", -0.05, 1500)
    >>> high = Stretch(4010, 7500, "helps", 0.03, 7000)
    >>> sentence([low, high], [Crossing(4000, 3875, 4125, True)]).split("; ")[0]
    'hurts up to about 4000 rpm (3850 to 4150), worst -5.0 % at 1500 rpm'
    """
    if not found:
        return "no speed at which both settled."
    if all(stretch.verdict == "same" for stretch in found):
        return f"no difference found (all below {NUMERICAL_ERROR:.1%}).".replace("%", " %")
    told = _fold(found)
    waiting = list(crossed)
    parts = []
    for place, stretch in enumerate(told):
        following = told[place + 1] if place + 1 < len(told) else None
        until = _until(stretch, following, waiting)
        parts.append(f"{'then ' if place else ''}{_verdict(stretch)}{until}{_most(stretch)}")
    return "; ".join(parts) + "."


def _fold(found: Sequence[Stretch]) -> list[Stretch]:
    """Leave out level stretches between opposite verdicts: they are the band of a crossing."""
    kept = []
    for place, stretch in enumerate(found):
        inside = 0 < place < len(found) - 1
        if (
            stretch.verdict == "same"
            and inside
            and found[place - 1].verdict != found[place + 1].verdict
        ):
            continue
        kept.append(stretch)
    return kept


def _until(stretch: Stretch, following: Stretch | None, waiting: list[Crossing]) -> str:
    if following is None:
        return ""
    if "same" not in (stretch.verdict, following.verdict) and waiting:
        crossing = waiting.pop(0)
        return f" up to about {_rpm(crossing.speed_rpm)} rpm ({_band(crossing)})"
    return f" up to about {_rpm(stretch.end_rpm)} rpm"


def _verdict(stretch: Stretch) -> str:
    return "no difference" if stretch.verdict == "same" else stretch.verdict


def _most(stretch: Stretch) -> str:
    if stretch.verdict == "same" or stretch.extreme != stretch.extreme:
        return ""
    word = "most" if stretch.verdict == "helps" else "worst"
    return f", {word} {stretch.extreme * 100:+.1f} % at {stretch.extreme_rpm:.0f} rpm"


def _rpm(speed: float) -> str:
    return f"{round(speed / _ROUND_RPM) * _ROUND_RPM:.0f}"


def _band(crossing: Crossing) -> str:
    low = crossing.low_rpm // _ROUND_RPM * _ROUND_RPM
    high = -(-crossing.high_rpm // _ROUND_RPM) * _ROUND_RPM
    return f"{low:.0f} to {high:.0f}"


def neighbours(torque: pd.DataFrame, about: About) -> list[str]:
    """Where each setting hands over to the next longer one, all crossings; empty below three."""
    labels = [label for label in by_duration(about) if label in torque]
    if len(labels) < 3:
        return []
    parts = []
    for shorter, longer in pairwise(labels):
        found = crossings(torque.index, torque[longer], torque[shorter], NUMERICAL_ERROR)
        for crossing in found:
            better = longer if crossing.starts else shorter
            parts.append(
                f"{better} beats {shorter if crossing.starts else longer} above about "
                f"{_rpm(crossing.speed_rpm)} rpm ({_band(crossing)})"
            )
    if not parts:
        return ["No two neighbouring settings change places over these speeds."]
    return [f"Neighbours: {'; '.join(parts)}."]

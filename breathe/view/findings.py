"""What a comparison found, in sentences: where each setting helps, hurts and crosses over."""

from __future__ import annotations

from itertools import pairwise

import pandas as pd

from breathe.about import About
from breathe.study.crossings import NUMERICAL_ERROR, crossings, stretches, tied
from breathe.view.stretch_words import sentence, whereabouts


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
        found.append([str(name) for name in known.index[tied(known, most)]])
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


def neighbours(torque: pd.DataFrame, about: About) -> list[str]:
    """Where each setting hands over to the next longer one, all crossings; empty below three."""
    labels = [label for label in by_duration(about) if label in torque]
    if len(labels) < 3:
        return []
    parts = []
    for shorter, longer in pairwise(labels):
        for crossing in crossings(torque.index, torque[longer], torque[shorter], NUMERICAL_ERROR):
            lower, upper = (shorter, longer) if crossing.starts else (longer, shorter)
            parts.append(f"{lower} gives way to {upper} at {whereabouts(crossing)}")
    if not parts:
        return ["No two neighbouring settings change places over these speeds."]
    told = "; ".join(parts).replace(" at somewhere", " somewhere")
    return [f"Neighbours, going up in speed: {told}."]

"""Which settings of a comparison do not clear, noted with what its page says."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from breathe.about import About
from breathe.engine.parts import Engine, Setting
from breathe.study.checks.clearance import does_not_clear, unknown_clearances


def with_clearances(about: About, engine: Engine, settings: Sequence[Setting]) -> About:
    """The notes of a comparison, with what the clearance check found of each setting."""
    failing = does_not_clear(engine, settings)
    notes = (replace(note, does_not_clear=failing.get(note.label, "")) for note in about.settings)
    return replace(about, settings=tuple(notes), unknown_clearances=unknown_clearances(engine))


def as_now(stored: About, fresh: About) -> About:
    """The notes of a run begun before, its clearances as the engine file has them now.

    Mechanics change no cycle, so a run goes on with other ones; what was found with them is new.
    """
    now = {note.label: note.does_not_clear for note in fresh.settings}
    notes = (
        replace(note, does_not_clear=now.get(note.label, note.does_not_clear))
        for note in stored.settings
    )
    return replace(stored, settings=tuple(notes), unknown_clearances=fresh.unknown_clearances)

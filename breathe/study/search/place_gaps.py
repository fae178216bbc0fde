"""Which places on the axes of the valve gear do not clear."""

from __future__ import annotations

from collections.abc import Sequence

from breathe.engine.parts import Engine
from breathe.study.checks.clearance import does_not_clear, unknown_clearances
from breathe.study.gear import Gear
from breathe.study.search.survey import rounded


def gaps_of(engine: Engine, gear: Gear, places: Sequence[Sequence[float]]) -> list[str]:
    """The gap that fails at each place, in words; empty where none does or none can be checked."""
    if engine.mechanics is None:
        return [""] * len(places)
    settings = [gear.setting(rounded(place)) for place in places]
    failing = does_not_clear(engine, {setting.label: setting for setting in settings}.values())
    return [failing.get(setting.label, "") for setting in settings]


def unknown(engine: Engine) -> tuple[str, ...] | None:
    """What of the clearances cannot be checked; None where nothing can."""
    return None if engine.mechanics is None else unknown_clearances(engine)

"""What was typed for a map of steps, as the study takes it; every fault is found before any run."""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass
from typing import Any

import click
from click.core import ParameterSource

from breathe.commands import control_words as words
from breathe.commands.control_task import axes_of, change_of
from breathe.engine.parts import Engine, Setting
from breathe.errors import BreatheError
from breathe.study.choose import bare, setting_named, settings_of
from breathe.study.control.gear_change import Change
from breathe.study.control.map_axes import load_scale, refuse_outside_trust
from breathe.study.control.step_asked import StepQuestion, gaps_of_steps
from breathe.study.search.best import moving

HYSTERESIS_RPM = 150.0
"""Stand-in where the user gives none; it is listed as assumed."""
_NOTHING_BETWEEN = "a map of steps holds one cam or another and nothing between"
_NO_MEANING = {
    "actuator": "the steps are the settings of the file, and --steps names those to use",
    "stand": "each step, a [[setting]], says where everything stands",
    "travel": "steps have no travel; name the steps to use with --steps",
    "cells": "the cells hold numbers of steps",
    "step": "cells are whole steps already",
    "slew": "a step is switched, not slid",
    "rev_rate": "a step is switched, so there is no slope for an actuator to follow",
    "pedal": "a step is switched, so there is no slope for an actuator to follow",
    "anchors": "measured settings are kept in maps along a sleeve or phaser only",
    "start": "a map of your own is judged along a sleeve or phaser only, and --speeds, --loads and "
    "--axis give its axes",
}
"""Options of a map along an axis, and why they say nothing here."""
_NUMBER = r"\d+(?:\.\d+)?"


@dataclass(frozen=True, slots=True, kw_only=True)
class StepTask:
    """What was typed, as a study takes it."""

    question: StepQuestion
    change: Change | None
    notices: tuple[str, ...]


def asks_for_steps(engine: Engine, typed: dict[str, Any]) -> bool:
    """Whether a map of steps is meant: they are named, or nothing slides or turns and the file has
    several settings."""
    if typed["steps"] is not None:
        return True
    return not moving(engine).axes and len(engine.settings) > 1


def step_task_of(engine: Engine, typed: dict[str, Any]) -> StepTask:
    """The question that was typed, every fault of it found before anything is run.

    Raises
    ------
    BreatheError
        An option without meaning for steps; a step or a value that cannot be meant; a fallback
        that does not clear; fewer than two steps that clear.
    """
    _refuse_options(typed)
    steps = _steps(engine, typed["steps"])
    scale = load_scale(typed["axis"] or "bmep bar")
    speeds, loads = axes_of(engine, typed, None, scale)
    hysteresis = _hysteresis(typed["hysteresis"], speeds)
    change = change_of(engine, speeds, typed["gear_change"])
    vacuum = None
    if typed["keep_vacuum"]:
        vacuum = words.vacuum(typed["keep_vacuum"], engine.air.pressure_Pa)
    failing, unknown = gaps_of_steps(engine, steps)
    fallback = _fallback(typed, steps, failing)
    standard = setting_named(engine, engine.standard)
    question = StepQuestion(
        steps=steps,
        standard=next((one for one in steps if one.label == standard.label), standard),
        does_not_clear=failing,
        unknown_clearances=unknown,
        speeds_rpm=speeds,
        scale=scale,
        loads=loads,
        residual_most=typed["residual"],
        vacuum=vacuum,
        fallback=fallback,
        give_up=typed["give_up"],
        hysteresis_rpm=hysteresis,
    )
    return StepTask(question=question, change=change, notices=tuple(_notices(engine, typed, steps)))


def _refuse_options(typed: dict[str, Any]) -> None:
    if typed["egr"] is not None:
        refuse_outside_trust(["egr"], "--egr")
    context = click.get_current_context()
    for name, reason in _NO_MEANING.items():
        if context.get_parameter_source(name) is ParameterSource.COMMANDLINE:
            option = "--" + name.replace("_", "-")
            raise BreatheError(f"{option}: {_NOTHING_BETWEEN}; {reason}. Leave {option} out")
    if "travel" in [part.strip().lower() for part in (typed["show"] or "").split(",")]:
        raise BreatheError("--show: found 'travel'; steps have none")


def _steps(engine: Engine, text: str | None) -> tuple[Setting, ...]:
    """The steps, in the order of the file or as they were named."""
    try:
        steps = settings_of(engine, text)
    except BreatheError as fault:
        raise BreatheError(re.sub("^settings:", "--steps:", str(fault))) from None
    if len(steps) < 2:
        raise BreatheError(
            f"--steps: found {text!r}; expected at least two to switch between, of: "
            f"{', '.join(one.label for one in engine.settings)}"
        )
    return steps


def _hysteresis(text: str | None, speeds: tuple[float, ...]) -> float:
    if text is None:
        return HYSTERESIS_RPM
    found = re.fullmatch(rf"\s*({_NUMBER})\s*(?:rpm)?\s*", text)
    if found is None:
        raise BreatheError(
            f"--hysteresis: found {text!r}; steps are switched by engine speed, so expected rpm, "
            f"such as '{HYSTERESIS_RPM:g} rpm'"
        )
    most = speeds[-1] - speeds[0]
    if len(speeds) > 1 and float(found[1]) >= most:
        raise BreatheError(
            f"--hysteresis: found {float(found[1]):g} rpm; the whole map has {most:g} rpm"
        )
    return float(found[1])


def _fallback(
    typed: dict[str, Any], steps: tuple[Setting, ...], failing: dict[str, str]
) -> str | None:
    """Label of the step without power; needed for a file."""
    text, known = typed["fallback"], {bare(one.label): one.label for one in steps}
    labels = ", ".join(one.label for one in steps)
    if text is None:
        if not typed["write"]:
            return None
        raise BreatheError(
            "--fallback: missing. Which step does the cam go to when the switch has no power? That "
            f"step must clear and run at any speed. Give it, one of: {labels}; no map is exported "
            "without it"
        )
    if bare(text) not in known:
        close = difflib.get_close_matches(bare(text), known, n=1, cutoff=0.4)
        hint = f"did you mean {known[close[0]]!r}? " if close else ""
        raise BreatheError(f"--fallback: found {text!r}; {hint}the steps are: {labels}")
    label = known[bare(text)]
    if label in failing:
        clear = [one.label for one in steps if one.label not in failing]
        raise BreatheError(
            f"--fallback: found {text!r}, which does not clear: {failing[label]}. Steps that "
            f"clear: {', '.join(clear)}"
        )
    return label


def _notices(engine: Engine, typed: dict[str, Any], steps: tuple[Setting, ...]) -> list[str]:
    """What is taken for granted."""
    told = []
    if typed["steps"] is None:
        told.append(
            f"Assumed: the cam can be switched between all {len(steps)} settings of the file while "
            "it runs. --steps names those it can, --steps "
            f'"{steps[0].label}, {steps[-1].label}" for two.'
        )
    elif moving(engine).axes:
        told.append(
            "Steps as named: what slides or turns here is held at these settings and nowhere "
            "between. Without --steps the map goes along it."
        )
    if typed["hysteresis"] is None:
        told.append(
            f"Assumed: hysteresis of {HYSTERESIS_RPM:g} rpm between switching up and down (no "
            "source: give your own with --hysteresis)."
        )
    return told

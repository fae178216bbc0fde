"""What was typed for maps of several actuators, as the study takes it, and options once an axis."""

from __future__ import annotations

import difflib
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import click

from breathe.commands import control_words as words
from breathe.commands.control_stand import stand_of
from breathe.commands.control_task import (
    HYSTERESIS,
    REV_RATE,
    SLEW,
    TURN_RATE,
    axes_of,
    change_of,
)
from breathe.engine.parts import Engine
from breathe.errors import BreatheError
from breathe.study.checks.clear_range import Clear
from breathe.study.checks.clearance import known_clearances
from breathe.study.control.asked import Question, shown_as
from breathe.study.control.gear_change import Change
from breathe.study.control.joint_asked import JointQuestion, Moved, boxes_that_serve, reach
from breathe.study.control.joint_box import clear_boxes, travel_box
from breathe.study.control.limits import Limits, within_travel
from breathe.study.control.map_axes import load_scale, refuse_outside_trust
from breathe.study.gear import Axis, Gear
from breathe.study.search.best import moving

EACH = ("travel", "step", "slew", "hysteresis", "fallback")
"""Options that may be given once for each actuator."""
_ONE_ALONE = {
    "start": "a map of your own is judged for one actuator alone; give --speeds, --loads and "
    "--axis for its axes",
    "anchors": "measured settings are held for one actuator alone",
    "steps": "no map of steps is made: steps are switched, neither slid nor turned",
}
_SAFE = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class JointTask:
    """What was typed, as a study takes it."""

    asked: JointQuestion
    fallback_deg: tuple[float | None, ...]
    change: Change | None
    notices: tuple[str, ...]


def asks_for_several(typed: dict[str, Any]) -> bool:
    """Whether maps of several actuators are meant."""
    return len(typed["actuator"]) > 1


def of_one(typed: dict[str, Any]) -> dict[str, Any]:
    """What was typed for one actuator: options that may be given once for each, without a name.

    Raises
    ------
    BreatheError
        One of them was given more than once.
    """
    found = dict(typed)
    for name in ("actuator", *EACH):
        given = typed[name]
        if len(given) > 1:
            option = "--" + name
            raise BreatheError(
                f"{option}: found {len(given)} times; this map moves one actuator. Two and more "
                "are given by --actuator, once for each"
            )
        found[name] = given[0] if given else None
    return found


def joint_task_of(engine: Engine, typed: dict[str, Any]) -> JointTask:
    """The question that was typed, every fault of it found before anything is run.

    Raises
    ------
    BreatheError
        An actuator that is none, an option that says nothing here, a value that cannot be meant,
        travel of which nothing clears, a fallback that does not.
    """
    if typed["egr"] is not None:
        refuse_outside_trust(["egr"], "--egr")
    for name, reason in _ONE_ALONE.items():
        if typed.get(name) is not None:
            raise BreatheError(f"--{name}: with several actuators {reason}. Leave --{name} out")
    whole = moving(engine)
    moves = _moves(whole, typed["actuator"])
    axes = [whole.axes[n] for n in moves]
    each = {name: of_each(typed[name], [a.name for a in axes], f"--{name}") for name in EACH}
    questions = _questions(engine, typed, axes, each)
    fallback = _fallbacks(typed, questions, axes, each["fallback"])
    stand = _stand(engine, whole, moves, typed["stand"])
    change = change_of(engine, questions[0].speeds_rpm, typed["gear_change"])
    shown = tuple(question.shown for question in questions)
    moved = Moved(tuple(axes), whole.steps, whole, tuple(moves), stand, shown)
    asked = _with_boxes(engine, moved, questions, fallback)
    return JointTask(
        asked=asked,
        fallback_deg=fallback,
        change=change,
        notices=tuple(_notices(engine, asked, typed, each)),
    )


def actuators_named(engine: Engine, typed: Sequence[str]) -> tuple[str, ...]:
    """The actuators, as the engine calls them, in the order they were named.

    Raises
    ------
    BreatheError
        One is none of the engine's, or named twice.
    """
    gear = moving(engine)
    return tuple(gear.axes[n].name for n in _moves(gear, typed))


def _moves(gear: Gear, typed: Sequence[str]) -> list[int]:
    """Places in the gear of the actuators, in the order they were named."""
    named = [axis.name for axis in gear.axes]
    found = []
    for text in typed:
        name = text.strip().lower()
        if name not in named:
            has = ", ".join(named) or "nothing that slides or turns"
            raise BreatheError(f"--actuator: found {text!r}; this engine has: {has}")
        if named.index(name) in found:
            raise BreatheError(f"--actuator: found {text!r} twice; name each actuator once")
        found.append(named.index(name))
    return found


def of_each(given: Sequence[str], names: Sequence[str], where: str) -> list[str | None]:
    """What was given for each actuator, None where nothing was.

    Each text begins with the actuator's name, such as 'intake phase 150 deg/s'; without names there
    is one for every actuator, in their order.

    Raises
    ------
    BreatheError
        It cannot be told what belongs to which.
    """
    found: list[str | None] = [None] * len(names)
    bare: list[str] = []
    for text in given:
        match = re.fullmatch(rf"\s*({'|'.join(map(re.escape, names))})[ =:]+(\S.*)", text, re.I)
        if match is None:
            bare.append(text)
            continue
        n = names.index(match[1].lower())
        if found[n] is not None:
            raise BreatheError(f"{where}: found twice for the {names[n]}; give it once")
        found[n] = match[2]
    if bare and len(bare) == len(given) == len(names):
        return list(bare)
    if bare:
        raise BreatheError(
            f"{where}: found {bare[0]!r}; of which actuator? Begin with its name, such as "
            f'"{_with_name(bare[0], names)}", or give one for each of: {", ".join(names)}'
        )
    return found


def _with_name(text: str, names: Sequence[str]) -> str:
    """What may have been meant: a misspelt name is put right, a missing one put in front."""
    parts = re.fullmatch(r"\s*(\D*?)[ =:]*([-+]?\d.*?)\s*", text)
    if parts is None:
        return f"{names[0]} {text.strip()}"
    close = difflib.get_close_matches(parts[1].lower(), names, n=1, cutoff=0.0)
    return f"{close[0] if parts[1] and close else names[0]} {parts[2]}"


def _questions(
    engine: Engine, typed: dict[str, Any], axes: Sequence[Axis], each: dict[str, list[str | None]]
) -> list[Question]:
    scale = load_scale(typed["axis"] or "bmep bar")
    speeds, loads = axes_of(engine, typed, None, scale)
    vacuum = None
    if typed["keep_vacuum"]:
        vacuum = words.vacuum(typed["keep_vacuum"], engine.air.pressure_Pa)
    checked, unknown = known_clearances(engine)
    found = []
    for n, axis in enumerate(axes):
        durations = shown_as(engine, axis)
        shown = shown_as(engine, axis, travel=True) if typed["cells"] == "travel" else durations
        slew, hysteresis = each["slew"][n], each["hysteresis"][n] or HYSTERESIS
        slew = slew or (SLEW if axis.deg_per_m else TURN_RATE)
        low, high, travel = axis.low_deg, axis.high_deg, each["travel"][n]
        if travel is not None:
            low, high = within_travel(axis, *words.travel(travel, shown, durations, axis))
        margin = words.along(hysteresis, axis, "--hysteresis")
        found.append(
            Question(
                axis=n,
                speeds_rpm=speeds,
                scale=scale,
                loads=loads,
                limits=Limits(
                    low_deg=low,
                    high_deg=high,
                    clear=Clear(low_deg=low, high_deg=high, checked=checked, unknown=unknown),
                    margin_deg=margin,
                    residual_most=typed["residual"],
                    vacuum=vacuum,
                ),
                shown=shown,
                durations=durations,
                step=words.step(each["step"][n] or ("0.1" if shown.unit == "mm" else "0.5"), shown),
                give_up=typed["give_up"],
                slew_deg_per_s=words.along(slew, axis, "--slew", per_second=True),
                rev_rate_rpm_per_s=typed["rev_rate"] or REV_RATE,
                pedal_s=words.seconds(typed["pedal"], "--pedal") if typed["pedal"] else None,
                hysteresis_deg=margin,
            )
        )
    return found


def _fallbacks(
    typed: dict[str, Any],
    questions: Sequence[Question],
    axes: Sequence[Axis],
    given: Sequence[str | None],
) -> tuple[float | None, ...]:
    """Degrees along each axis of the position without power; needed for a file."""
    missing = [axis.name for axis, text in zip(axes, given, strict=True) if text is None]
    if missing and (typed["write"] or len(missing) < len(axes)):
        examples = " ".join(
            f'--fallback "{axis.name} {"0 mm" if axis.deg_per_m else "0 deg"}"' for axis in axes
        )
        raise BreatheError(
            f"--fallback: missing for the {' and the '.join(missing)}. Where does it go when it "
            "has no power? That place must clear and run at any speed, wherever the other is. Give "
            f"one for each, such as {examples}; no maps are exported without them"
        )
    found = []
    for question, axis, text in zip(questions, axes, given, strict=True):
        place = None
        if text is not None:
            place = words.place(text, question.shown, question.durations, axis, "--fallback")
            low, high = question.limits.low_deg, question.limits.high_deg
            if not low - _SAFE <= place <= high + _SAFE:
                ends = f"{question.shown.of(low):g} to {question.shown.of(high):g}"
                raise BreatheError(
                    f"--fallback: found {text!r} for the {axis.name}, which goes from {ends} "
                    f"{question.shown.unit}"
                )
        found.append(place)
    return tuple(found)


def _stand(
    engine: Engine, gear: Gear, moves: Sequence[int], typed: Sequence[str]
) -> tuple[float, ...]:
    """Where the axes that are no actuators stand."""
    for text in typed:
        for n in moves:
            if text.strip().lower().startswith(gear.axes[n].name):
                raise BreatheError(
                    f"--stand: found {text!r}; that is one of the actuators, which moves. --stand "
                    "is for what none of them moves"
                )
    return stand_of(engine, gear, moves[0], typed)


def _with_boxes(
    engine: Engine,
    moved: Moved,
    questions: Sequence[Question],
    fallback: Sequence[float | None],
) -> JointQuestion:
    """The question with the ranges that clear together."""
    limits = [question.limits for question in questions]
    pairs = list(zip(moved.axes, limits, strict=True))
    beyond = moved.within(
        [max(axis.low_deg, one.low_deg - one.margin_deg) for axis, one in pairs],
        [min(axis.high_deg, one.high_deg + one.margin_deg) for axis, one in pairs],
    )
    checked, unknown = limits[0].clear.checked, limits[0].clear.unknown
    whole = travel_box(beyond)
    if checked:
        click.echo("Looking for ranges in which every place of each clears with all of the others.",
                   err=True)  # fmt: skip
    hold = [
        None if x is None else (x - one.margin_deg, x + one.margin_deg)
        for x, one in zip(fallback, limits, strict=True)
    ]
    boxes = clear_boxes(engine, beyond, hold) if checked else [whole]
    asked = JointQuestion(
        gear=beyond, questions=tuple(questions), whole=whole, boxes=tuple(boxes),
        checked=checked, unknown=unknown,
    )  # fmt: skip
    serve = boxes_that_serve(boxes, asked, fallback)
    return replace(asked, gear=_used(asked, reach(beyond, serve)), boxes=serve)


def _used(asked: JointQuestion, gear: Moved) -> Moved:
    """The gear held to the travel that may be used."""
    pairs = list(zip(gear.axes, asked.questions, strict=True))
    return gear.within(
        [max(axis.low_deg, q.limits.low_deg) for axis, q in pairs],
        [min(axis.high_deg, q.limits.high_deg) for axis, q in pairs],
    )


def _notices(
    engine: Engine,
    asked: JointQuestion,
    typed: dict[str, Any],
    each: dict[str, list[str | None]],
) -> list[str]:
    """What stands, and what stands in for what the user did not give."""
    gear, told = asked.gear, []
    still = [n for n in range(len(gear.whole.axes)) if n not in gear.moves]
    if still:
        places = []
        for n in still:
            axis = gear.whole.axes[n]
            at = shown_as(engine, axis).of(gear.stand_deg[n])
            places.append(f"{axis.name} {at:g}°")
        told.append(
            f"What stands, in every cell: {', '.join(places)} (--stand puts it elsewhere). These "
            "maps hold only while it stands there."
        )
    assumed = []
    for n, axis in enumerate(gear.axes):
        slew = SLEW if axis.deg_per_m else TURN_RATE
        own = [f"slew {slew}"] if each["slew"][n] is None else []
        own += [f"hysteresis {HYSTERESIS}"] if each["hysteresis"][n] is None else []
        if own:
            assumed.append(f"{axis.name} {', '.join(own)}")
    if typed["rev_rate"] is None:
        assumed.append(f"engine revs up at {REV_RATE:.0f} rpm/s")
    if assumed:
        told.append(f"Assumed for the actuators: {'; '.join(assumed)} (no source: give your own).")
    return told

"""What was typed for a control map, as the study takes it; every fault is found before any run."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from breathe.commands import control_words as words
from breathe.commands.control_stand import stand_of, stands_told
from breathe.engine.parts import Engine
from breathe.errors import BreatheError
from breathe.study.checks.clear_range import clear_range
from breathe.study.choose import default_speeds, speeds_of
from breathe.study.control.anchors import refuse_far_outside
from breathe.study.control.asked import Question, Shown, shown_as
from breathe.study.control.gear_change import Change
from breathe.study.control.judge_map import measured_places, refuse_unsafe, typed_places
from breathe.study.control.limits import Limits, within_travel
from breathe.study.control.map_axes import LoadScale, fitted, load_scale, refuse_outside_trust
from breathe.study.control.smooth_map import Anchor
from breathe.study.control.typed_map import TypedMap, moved_point, read_anchors, read_typed_map
from breathe.study.gear import Axis, Gear
from breathe.study.search.best import moving

DEFAULT_LOADS = {
    "bmep": (1.0, 2.0, 3.0, 4.0, 6.0, 8.0, 10.0, 14.0),  # bar
    "map": (30.0, 40.0, 50.0, 60.0, 70.0, 85.0, 100.0),  # kPa
    "throttle": (2.0, 4.0, 7.0, 12.0, 20.0, 40.0, 100.0),  # %
}
SLEW, TURN_RATE, HYSTERESIS, REV_RATE = "40 mm/s", "100 deg/s", "1 deg", 3000.0
"""Stand-ins where the user gives none; they are listed as assumed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """What was typed, as a study takes it."""

    gear: Gear
    question: Question
    change: Change | None
    start: TypedMap | None
    notices: tuple[str, ...]
    files: tuple[Path, ...]


def task_of(engine: Engine, typed: dict[str, Any]) -> Task:
    """The question that was typed, every fault of it found before anything is run."""
    if typed["egr"] is not None:
        refuse_outside_trust(["egr"], "--egr")
    gear, which = _axis_of(engine, typed["actuator"])
    axis = gear.axes[which]
    durations = shown_as(engine, axis)
    shown = shown_as(engine, axis, travel=True) if typed["cells"] == "travel" else durations
    start, scale = _start_and_scale(typed)
    speeds, loads = axes_of(engine, typed, start, scale)
    slew = words.along(
        typed["slew"] or (SLEW if axis.deg_per_m else TURN_RATE), axis, "--slew", per_second=True
    )
    hysteresis = words.along(typed["hysteresis"] or HYSTERESIS, axis, "--hysteresis")
    step = words.step(typed["step"] or ("0.1" if shown.unit == "mm" else "0.5"), shown)
    change = change_of(engine, speeds, typed["gear_change"])
    fallback = _fallback(typed, shown, durations, axis)
    stand = stand_of(engine, gear, which, typed["stand"])
    limits = _limits(engine, gear, which, stand, typed, shown, durations, hysteresis)

    def refuse(file: str, places: Sequence[tuple[str, float]]) -> None:
        refuse_unsafe(file, places, limits, shown, step)

    if fallback is not None:
        refuse("--fallback", [(typed["fallback"], fallback)])
    if start is not None:
        refuse(start.file, typed_places(start, durations, axis.deg_per_m))
    anchors = _anchors(typed, scale, speeds, loads, durations, axis, refuse)
    question = Question(
        axis=which,
        speeds_rpm=speeds,
        scale=scale,
        loads=loads,
        limits=limits,
        shown=shown,
        durations=durations,
        step=step,
        fallback_deg=fallback,
        give_up=typed["give_up"],
        slew_deg_per_s=slew,
        rev_rate_rpm_per_s=typed["rev_rate"] or REV_RATE,
        pedal_s=words.seconds(typed["pedal"], "--pedal") if typed["pedal"] else None,
        hysteresis_deg=hysteresis,
        anchors=anchors,
        stand_deg=stand,
    )
    return Task(
        gear=gear,
        question=question,
        change=change,
        start=start,
        notices=(*stands_told(engine, gear, which, stand), *_notices(typed, start, axis)),
        files=tuple(path for path in (typed["start"], typed["anchors"]) if path is not None),
    )


def _axis_of(engine: Engine, text: str | None) -> tuple[Gear, int]:

    gear = moving(engine)
    named = [axis.name for axis in gear.axes]
    if not named:
        raise BreatheError(
            f"{engine.source_file or engine.name}: nothing moves and there is one setting, so "
            "there is nothing to control; a sleeve is written as [intake.sleeve], a phaser as "
            "[intake.phaser], the steps of a switched cam as a [[setting]] each"
        )
    if text is None:
        sleeves = [k for k, axis in enumerate(gear.axes) if axis.kind == "dwell"]
        return gear, sleeves[0] if sleeves else 0
    if text.strip().lower() not in named:
        raise BreatheError(f"--actuator: found {text!r}; this engine has: {', '.join(named)}")
    return gear, named.index(text.strip().lower())


def _start_and_scale(typed: dict[str, Any]) -> tuple[TypedMap | None, LoadScale]:

    if typed["start"] is None:
        return None, load_scale(typed["axis"] or "bmep bar")
    start = read_typed_map(typed["start"], typed["axis"])
    return start, start.scale


def axes_of(
    engine: Engine, typed: dict[str, Any], start: TypedMap | None, scale: LoadScale
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Speeds, and loads in SI: those typed, else those of the start map, else round ones."""

    if typed["speeds"] is not None:
        speeds = words.points(typed["speeds"], "--speeds")
    else:
        speeds = start.speeds_rpm if start else default_speeds(engine)
    if typed["move_point"] is not None:
        speeds = moved_point(speeds, *words.moved(typed["move_point"]), "--move-point")
    if typed["loads"] is not None:
        loads = words.points(typed["loads"], "--loads")
    elif start:
        loads = start.loads
    else:
        per = {"bmep": 1e5, "map": 1e3, "throttle": 0.01}[scale.axis] / scale.si
        loads = tuple(round(x * per, 3) for x in DEFAULT_LOADS[scale.axis])
    if typed["fits"] is not None:
        most_speeds, most_loads = words.room_for(typed["fits"])
        whole = start is not None and (len(speeds), len(loads)) == start.cells.T.shape
        cells = start.cells if start is not None and whole else None
        fitted(speeds, most_speeds, "--speeds", cells)
        fitted(loads, most_loads, "--loads", cells.T if cells is not None else None)
    return speeds_of(speeds), scale.checked(loads, "--loads")


def _notices(typed: dict[str, Any], start: TypedMap | None, axis: Axis) -> list[str]:
    """How the start map was read, and what stands in for what the user did not give."""
    told = [f"{start.file}: {'; '.join(start.understood)}."] if start else []
    assumed = []
    if typed["slew"] is None:
        assumed.append(f"slew {SLEW if axis.deg_per_m else TURN_RATE}")
    if typed["hysteresis"] is None:
        assumed.append(f"hysteresis {HYSTERESIS}")
    if typed["rev_rate"] is None:
        assumed.append(f"engine revs up at {REV_RATE:.0f} rpm/s")
    if assumed:
        told.append(f"Assumed for the actuator: {', '.join(assumed)} (no source: give your own).")
    return told


def _limits(
    engine: Engine,
    gear: Gear,
    which: int,
    stand: Sequence[float],
    typed: dict[str, Any],
    shown: Shown,
    durations: Shown,
    margin_deg: float,
) -> Limits:
    axis = gear.axes[which]
    low, high = axis.low_deg, axis.high_deg
    if typed["travel"] is not None:
        low, high = within_travel(axis, *words.travel(typed["travel"], shown, durations, axis))
    vacuum = None
    if typed["keep_vacuum"]:
        vacuum = words.vacuum(typed["keep_vacuum"], engine.air.pressure_Pa)
    return Limits(
        low_deg=low,
        high_deg=high,
        clear=clear_range(engine, gear, which, stand),
        margin_deg=margin_deg,
        residual_most=typed["residual"],
        vacuum=vacuum,
    )


def _anchors(
    typed: dict[str, Any],
    scale: LoadScale,
    speeds_rpm: Sequence[float],
    loads: Sequence[float],
    durations: Shown,
    axis: Axis,
    refuse: Callable[[str, Sequence[tuple[str, float]]], None],
) -> tuple[Anchor, ...]:
    """Measured settings; those that are not safe are refused."""
    if typed["anchors"] is None:
        return ()
    found = read_anchors(typed["anchors"], scale)
    refuse_far_outside(typed["anchors"].name, found, speeds_rpm, loads, scale)
    places = measured_places(found, scale.unit, durations, axis.deg_per_m)
    refuse(typed["anchors"].name, places)
    return tuple(
        Anchor(one.speed_rpm, one.load * scale.si, degrees)
        for one, (_, degrees) in zip(found, places, strict=True)
    )


def _fallback(typed: dict[str, Any], shown: Shown, durations: Shown, axis: Axis) -> float | None:
    """Degrees along the axis of the position without power; needed for a file."""
    if typed["fallback"] is not None:
        return words.place(typed["fallback"], shown, durations, axis, "--fallback")
    if not typed["write"]:
        return None
    example = "0 mm" if axis.deg_per_m else "0 deg"
    raise BreatheError(
        "--fallback: missing. Where does the actuator go when it has no power? That place must "
        f'clear and run at any speed. Give it, such as --fallback "{example}"; no map is exported '
        "without it"
    )


def change_of(engine: Engine, speeds_rpm: tuple[float, ...], text: str | None) -> Change:
    """The change asked for, or a quick one up near the limit or the end of the map (common
    practice, no source)."""
    if text is not None:
        change = words.gear_change(text)
        fastest = max(change.from_rpm, change.to_rpm)
        if fastest > engine.speed_limit_rpm:
            raise BreatheError(
                f"--gear-change: found {fastest:g} rpm; over the engine's limit of "
                f"{engine.speed_limit_rpm:g} rpm (engine.speed_limit)"
            )
        return change
    high = min(round(0.93 * engine.speed_limit_rpm, -2), speeds_rpm[-1])
    return Change(from_rpm=high, to_rpm=round(0.72 * high, -2), lasts_s=0.3)

"""Maps of several actuators as one page: each map, what they give up together, what each brings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import pandas as pd

from breathe.about import About
from breathe.engine.quantities import System
from breathe.study.control.answer import Control
from breathe.study.control.joint_answer import JointControl
from breathe.view.best import outside
from breathe.view.console import Grid, Item, Piece
from breathe.view.control import (
    cautions_of,
    change_grid,
    given_up_grid,
    last_words,
    map_grid,
    moving_rows,
    notices_told,
    saved_grid,
    shown_grid,
    sure_grid,
)
from breathe.view.control_found import (
    actuator_told,
    axis_told,
    cell_name,
    gains,
    gear_change_told,
    not_checked,
    runs_told,
    steps_told,
)
from breathe.view.control_limits import limits_told, setting_shown

_KINDS = (("part load", "less fuel", "cell"), ("full load", "more torque", "speed"))
_OF_EACH = ("travel", "limits")
"""Tables after ``--show`` that differ from actuator to actuator."""


def joint_page(
    found: JointControl,
    rows: pd.DataFrame,
    about: About,
    system: System = "metric",
    names: Sequence[str] = (),
) -> list[Piece]:
    """The page of maps that belong together.

    Parameters
    ----------
    found : JointControl
    rows : DataFrame
        All cases that were run, SI.
    about : About
    system : 'metric' or 'imperial'
    names : sequence of str
        Further tables, of `control.SHOWN`.
    """
    parts = {name: found.control(name) for name in found.actuators}
    first = next(iter(parts.values()))
    page = [*_head(found, first, about, system), "", *notices_told(found.notices, about)]
    for part in parts.values():
        page += [map_grid(part), ""]
    if len(first.cells) > 1:
        page += [given_up_grid(first), ""]
        for name, part in parts.items():
            page += [_named(name, sure_grid(part)), ""]
        page += [saved_grid(first, about), ""]
    for name in names:
        page += _further(parts, first, name, system)
    told = _findings(found, parts, first, about, system)
    page += ["What was found", *(Item(text, indent=2) for text in told), ""]
    for name, part in parts.items():
        if len(moving_rows(part.change)):
            page += [_named(name, change_grid(part, "the lag of all of them")), ""]
    warned = dict.fromkeys(text for part in parts.values() for text in cautions_of(part))
    return [*page, *last_words(rows, about, system, list(warned))]


def _named(name: str, grid: Grid) -> Grid:
    title = grid.title or ""
    return replace(grid, title=f"{name.capitalize()}: {title[:1].lower()}{title[1:]}")


def _head(found: JointControl, first: Control, about: About, system: System) -> list[Piece]:
    facts, table = first.facts, first.table()
    speeds, loads = len(table.speeds_rpm), len(table.loads)
    named = _listed(found.actuators)
    return [
        f"{about.engine}: control maps of {named}, which belong together, {speeds} "
        f"speed{'s' * (speeds > 1)} x {loads} load{'s' * (loads > 1)}, outside air "
        f"{outside(about, system)}",
        Item(
            f"Full load: most torque, air ratio {facts['full_load_lambda']:.2f}. Below: least fuel "
            f"for the torque asked, air ratio {facts['part_load_lambda']:.2f} (assumed), by all of "
            "these and the throttle at once. Spark at best torque, later where knock asks it. None "
            "of these maps holds without the others: run them at once."
        ),
    ]


def _listed(names: Sequence[str]) -> str:
    return f"{', '.join(names[:-1])} and {names[-1]}"


def _further(parts: dict[str, Control], first: Control, name: str, system: System) -> list[Piece]:
    """A table after ``--show``, for each actuator where they differ."""
    if name == "saved":
        return []
    if name not in _OF_EACH:
        return [shown_grid(first, name, system), ""]
    page: list[Piece] = []
    for actuator, part in parts.items():
        if name != "travel" or part.facts["deg_per_mm"]:
            page += [_named(actuator, shown_grid(part, name, system)), ""]
    return page


def _findings(
    found: JointControl, parts: dict[str, Control], first: Control, about: About, system: System
) -> list[str]:
    """Sentences, each complete."""
    told = [*gains(first, about), *_brings(found, first), *_given_up(found, first)]
    told += axis_told(first, system)
    told += _ranges(found, parts) if first.facts["clear"]["checked"] else not_checked(first)
    for name, part in parts.items():
        own = [*limits_told(part, system), *steps_told(part), *actuator_told(part, system)]
        told += [f"{name.capitalize()}: {text[:1].lower()}{text[1:]}" for text in own]
    told += [*_pedal(found, first), *gear_change_told(first), *_fallback(found, parts)]
    return [*told, runs_told(first)]


def _brings(found: JointControl, first: Control) -> list[str]:
    """What the others bring over each actuator alone, in the mean of the cells."""
    tie, told = first.facts["tie"], []
    for name, kinds in found.facts["joint"]["alone"].items():
        others = _listed([one for one in found.actuators if one != name] or [name])
        others = others.removeprefix(" and ")
        words = []
        for kind, of, unit in _KINDS:
            one = kinds[kind]
            if one["cells"]:
                mean = f"{one['mean'] * 100:.1f} %" if one["mean"] > tie else "no more than a tie"
                gain = f"{mean} {of}" if one["mean"] > tie else mean
                most = f"(most {one['most'] * 100:.1f} %)"
                words.append(
                    f"{gain} in the mean of {one['cells']} {unit}s at {kind} {most}"
                    if one["cells"] > 1
                    else f"{gain} at 1 {unit} at {kind}"
                )
        told.append(
            f"What the {others} {'brings' if len(found.actuators) == 2 else 'bring'} over the "
            f"{name} alone: "
            f"{' and '.join(' '.join(text.split()) for text in words)}; best against best, the "
            "rest at 0 or as near as its range lets it."
        )
    return told


def _given_up(found: JointControl, first: Control) -> list[str]:
    joint, share = found.facts["joint"], first.facts["give_up"]
    count = len(found.actuators)
    told = (
        "What smoothing gives up is counted for all maps together, against the best of all at "
        f"once: of {share * 100:.2g} % the first map may take {share / count * 100:.2g} %, the "
        "last what is left."
    )
    if joint["given_up_over"]:
        told += (
            f" Cells give up as much as {joint['given_up_most'] * 100:.1f} %, more than that, so "
            "that the actuators follow."
        )
    return [told]


def _ranges(found: JointControl, parts: dict[str, Control]) -> list[str]:
    """Inside which ranges any place of one clears with any of the others."""
    joint, words = found.facts["joint"], []
    for name, part in parts.items():
        low, high = sorted(part.facts["safe"])
        words.append(f"{name} {setting_shown(part, low)} to {setting_shown(part, high)}")
    checked = ", ".join(next(iter(parts.values())).facts["clear"]["checked"])
    told = (
        f"Since any actuator may lag, every place of one clears with every place of "
        f"the other{'s' * (len(parts) > 2)} ({checked}) inside: {'; '.join(words)}."
    )
    if all(joint["whole_travel"]):
        told += " That is the whole of the travel asked for."
    elif joint["boxes_tried"] > 1:
        told += (
            f" {joint['boxes_tried']} such pairs of ranges were tried, more of one for less of the "
            "other; this one gains most."
        )
    return [told]


def _pedal(found: JointControl, first: Control) -> list[str]:
    one: dict[str, Any] | None = found.facts["joint"]["pedal"]
    if one is None or one["lost_at_first"] <= first.facts["tie"]:
        return []
    scale = first.facts["load"]
    low, high = (f"{one[name] / scale['si']:g}" for name in ("from_load", "to_load"))
    return [
        f"Pedal down at once from {low} to {high} {scale['unit']}: at worst "
        f"{one['lost_at_first'] * 100:.1f} % of full-load torque is missing at first "
        f"({one['speed_rpm']:.0f} rpm), all actuators still where they were; the slowest arrives "
        f"after {one['takes_s']:.2f} s.{_held(one)}"
    ]


def _held(one: dict[str, Any]) -> str:
    """Whether steps over load are held to what the actuators follow."""
    if one["pedal_s"] is None:
        return " Steps over load are not held smaller; --pedal does that."
    if one["followed"]:
        return ""
    return (
        f" The steps over load are larger than the actuators follow in {one['pedal_s']:g} s: no "
        "maps within the limits keep them smaller."
    )


def _fallback(found: JointControl, parts: dict[str, Control]) -> list[str]:
    one = found.facts["joint"]["fallback"]
    if one is None:
        return ["Fallback positions: none given, so no map is exported."]
    where = [
        f"{name} {setting_shown(part, shown)}"
        for (name, part), shown in zip(parts.items(), one["shown"], strict=True)
    ]
    first = next(iter(parts.values()))
    speed = one["residual_speed_rpm"]
    cells = first.cells[first.cells["speed_rpm"] == speed]
    lowest = cells.loc[cells["load"].idxmin()]
    light = cell_name(first, speed, float(lowest["load"]))
    if lowest["kind"] == "too light":
        light = f"{speed:.0f} rpm, the lightest that is trusted"
    return [
        f"Fallback, all at once at {_listed(where)}: costs up to {one['worst_lost'] * 100:.1f} % "
        f"of full-load torque ({one['worst_speed_rpm']:.0f} rpm); burnt gas at the lightest load "
        f"up to {one['residual_most'] * 100:.0f} % ({light})."
    ]

"""A map of steps as a file: written, read back, and walked through as a controller would.

The controller takes the row of the load at or below the one it has, and along that row switches at
the speeds listed for it, one when speed rises and another when it falls. Nothing lies between
steps.
"""

from __future__ import annotations

import bisect
import csv
import io
import json
import math
import random
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from breathe.study.control.map_file import (
    OUT_OF_RANGE,
    Rows,
    Table,
    csv_text,
    json_lines,
    named_axes,
    read_back,
)
from breathe.study.control.step_switch import Span

LOOK_UP = (
    "row: the load at or below; along it the step changes at the switch speeds of that row; "
    "nothing between steps"
)
TABLE_ALONE = "the cell at or below in load and in speed; nothing between steps"
_INNER = re.compile(r"\[[^][{}]*\]|\{[^][{}]*\}")
_HEAD = ("load", "from", "to", "switch up rpm", "switch down rpm")
_FINE = 12
"""Places between two axis points."""
_RANDOM_MOVES = 5000
_SLACK = 1e-6


@dataclass(frozen=True, slots=True)
class Line:
    """One switch as a controller has it."""

    load: float
    """Of its row, in the user's unit."""
    first: int
    then: int
    up_rpm: float
    down_rpm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class StepTable:
    """All that a controller needs, in the user's units."""

    table: Table
    """Step numbers over speed and load."""
    labels: tuple[str, ...]
    """Of step 1, 2 and so on, those that are never held among them."""
    switches: tuple[Line, ...]
    """Row by row, speed rising."""


def held(steps: StepTable, speed_rpm: float, load: float, before: int | None = None) -> int:
    """Number of the step that is held.

    Parameters
    ----------
    steps : StepTable
    speed_rpm : float
    load : float
        In the unit of the table; beyond the axes the edge is held.
    before : int, optional
        The step held until now, which stays within a band of hysteresis.
    """
    i = _row_of(steps, load)
    row = [one for one in steps.switches if _near(one.load, steps.table.loads[i])]
    along = [int(steps.table.values[i, 0]), *(one.then for one in row)]
    least = sum(speed_rpm >= one.up_rpm and speed_rpm > one.down_rpm for one in row)
    most = sum(speed_rpm > one.down_rpm for one in row)
    if before in along[least : most + 1]:
        return int(before)
    middle = sum(speed_rpm > (one.up_rpm + one.down_rpm) / 2 for one in row)
    return along[min(max(middle, least), most)]


def steps_csv(steps: StepTable, rows: Rows = "load falling", *, decimal_comma: bool = False) -> str:
    """Three blocks parted by an empty line: step numbers over the axes, labels, switch speeds."""
    out = io.StringIO()
    separator = ";" if decimal_comma else ","
    writer = csv.writer(out, delimiter=separator, lineterminator="\n")

    def shown(value: float) -> str:
        return f"{value:.10g}".replace(".", ",") if decimal_comma else f"{value:.10g}"

    writer.writerow([])
    writer.writerow(["step", "label"])
    writer.writerows([n, label] for n, label in enumerate(steps.labels, 1))
    writer.writerow([])
    writer.writerow([f"load {steps.table.load_unit}", *_HEAD[1:]])
    for one in steps.switches:
        numbers = (one.load, one.first, one.then, one.up_rpm, one.down_rpm)
        writer.writerow([shown(x) for x in numbers])
    return csv_text(steps.table, rows, decimal_comma=decimal_comma) + out.getvalue()


def steps_json(steps: StepTable, facts: Mapping[str, Any], rows: Rows = "load falling") -> str:
    """The same with everything a controller and its planner must know."""
    down, across, values = steps.table.oriented(rows)
    first, second = named_axes(steps.table, rows)
    content = {
        "what": "control map of a cam that switches between steps",
        "cells": {"name": "number of the step", "unit": "", "step": 1},
        "steps": [{"step": n, "label": label} for n, label in enumerate(steps.labels, 1)],
        "rows": {**first, "points": down},
        "columns": {**second, "points": across},
        "values": [[int(x) for x in line] for line in values],
        "switches": [
            {
                "load": one.load,
                "from": one.first,
                "to": one.then,
                "switch_up_rpm": one.up_rpm,
                "switch_down_rpm": one.down_rpm,
            }
            for one in steps.switches
        ],
        "look_up": LOOK_UP,
        "look_up_of_the_table_alone": TABLE_ALONE,
        "out_of_range": OUT_OF_RANGE,
        **facts,
    }
    return json_lines(content, _INNER)


def steps_back(text: str, like: StepTable, *, decimal_comma: bool = False) -> StepTable:
    """A written file again; ``like`` says what its cells are called.

    Raises
    ------
    ValueError
        It is not what was written.
    """
    if text.lstrip().startswith("{"):
        found = json.loads(text)
        return StepTable(
            table=read_back(text, like.table),
            labels=tuple(one["label"] for one in found["steps"]),
            switches=tuple(
                Line(
                    one["load"], one["from"], one["to"], one["switch_up_rpm"],
                    one["switch_down_rpm"],
                )
                for one in found["switches"]
            ),
        )  # fmt: skip
    table, named, switched = text.split("\n\n")
    separator = ";" if decimal_comma else ","
    labels = [line[1] for line in csv.reader(io.StringIO(named), delimiter=separator)][1:]
    lines = []
    for cells in list(csv.reader(io.StringIO(switched), delimiter=separator))[1:]:
        load, first, then, up, down = (float(x.replace(",", ".")) for x in cells)
        lines.append(Line(load, int(first), int(then), up, down))
    return StepTable(
        table=read_back(table, like.table, decimal_comma=decimal_comma),
        labels=tuple(labels),
        switches=tuple(lines),
    )


def same(one: StepTable, other: StepTable) -> bool:
    """Whether two files say the same, speeds to a thousandth of a rpm."""
    return (
        one.table.values.tolist() == other.table.values.tolist()
        and all(map(_near, one.table.speeds_rpm, other.table.speeds_rpm))
        and all(map(_near, one.table.loads, other.table.loads))
        and one.labels == other.labels
        and len(one.switches) == len(other.switches)
        and all(_same_line(a, b) for a, b in zip(one.switches, other.switches, strict=True))
    )


def _same_line(one: Line, other: Line) -> bool:
    speeds = (one.up_rpm, other.up_rpm), (one.down_rpm, other.down_rpm)
    steps = (one.first, one.then) == (other.first, other.then)
    return steps and _near(one.load, other.load) and all(abs(a - b) < 1e-3 for a, b in speeds)


def _near(one: float, other: float) -> bool:
    """Whether two axis points are the same to the digits that a table is written with."""
    return math.isclose(one, other, rel_tol=1e-5)


@dataclass(frozen=True, slots=True, kw_only=True)
class Walked:
    """What walking through a file as read back found."""

    places: int
    """Looked up."""
    changes: int
    """Of step."""
    outside: int
    """Places at which a step was held beyond what is allowed it."""
    narrowest_rpm: float | None
    """Least hysteresis of all switches; None without any."""

    @property
    def holds(self) -> bool:
        return self.outside == 0


Allowed = Sequence[Mapping[int, Sequence[Span]]]
"""For each row of loads, rising: the speeds [rpm] at which a step may be held, by its number."""


def walk(steps: StepTable, allowed: Allowed) -> Walked:
    """Walk a fine grid, a tenth beyond its edges: up and down along speed and along load, then
    at random (always the same way), the step before remembered."""
    speeds, loads = _fine(steps.table.speeds_rpm), _fine(steps.table.loads)
    speeds = sorted({*speeds, *(x for s in steps.switches for x in (s.up_rpm, s.down_rpm))})
    chance = random.Random(1)
    paths = [
        *([(n, load) for n in way] for load in loads for way in (speeds, speeds[::-1])),
        *([(n, load) for load in way] for n in speeds for way in (loads, loads[::-1])),
        [(chance.choice(speeds), chance.choice(loads)) for _ in range(_RANDOM_MOVES)],
    ]
    places = changes = outside = 0
    for path in paths:
        before: int | None = None
        for speed, load in path:
            now = held(steps, speed, load, before)
            outside += not _may_hold(steps, allowed, speed, load, now)
            changes += before is not None and now != before
            before, places = now, places + 1
    bands = [one.up_rpm - one.down_rpm for one in steps.switches]
    return Walked(
        places=places, changes=changes, outside=outside, narrowest_rpm=min(bands, default=None)
    )


def _may_hold(steps: StepTable, allowed: Allowed, speed_rpm: float, load: float, step: int) -> bool:
    """Whether a step keeps its limits, on the row at or below; beyond the axes as at the edge."""
    points = steps.table.speeds_rpm
    at = min(max(speed_rpm, points[0]), points[-1])
    spans = allowed[_row_of(steps, load)].get(step, ())
    return any(low - _SLACK <= at <= high + _SLACK for low, high in spans)


def _row_of(steps: StepTable, load: float) -> int:
    """The row of the load at or below."""
    return max(bisect.bisect_right(steps.table.loads, load) - 1, 0)


def changes_along(steps: StepTable, speeds_rpm: Sequence[float], loads: Sequence[float]) -> int:
    """How often the step changes on a way through speed and load."""
    before: int | None = None
    course = []
    for speed, load in zip(speeds_rpm, loads, strict=True):
        before = held(steps, speed, load, before)
        course.append(before)
    return sum(a != b for a, b in pairwise(course))


def _fine(points: Sequence[float]) -> list[float]:
    """Places between and beyond the points of an axis."""
    inside = [
        low + (high - low) * k / _FINE for low, high in pairwise(points) for k in range(_FINE)
    ]
    beyond = 0.1 * ((points[-1] - points[0]) or max(abs(points[0]), 1.0))
    return [points[0] - beyond, *inside, points[-1], points[-1] + beyond]

"""Write the files of a map of steps, walk through them as read back, and print the page."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Any

from breathe.commands.control_facts import made_of
from breathe.errors import BreatheError
from breathe.run import Run
from breathe.study.control.map_file import Rows, write_map
from breathe.study.control.step_answer import StepControl
from breathe.study.control.step_file import (
    Walked,
    same,
    steps_back,
    steps_csv,
    steps_json,
    walk,
)
from breathe.view.console import Item, Piece


def print_steps(run: Run, typed: dict[str, Any], names: tuple[str, ...]) -> None:
    """Write what is to be written, then print the page."""
    from breathe.commands.searching import print_answer

    told: list[Piece] = []
    if typed["write"]:
        found = StepControl.from_json(run.answer() or "")
        told = [Item(written(found, run, path, typed)) for path in typed["write"]]
    print_answer(run, typed["units"], csv=typed["csv"], names=names, told=told)


def written(found: StepControl, run: Run, path: Path, typed: dict[str, Any]) -> str:
    """Write one file, read it back from the disk, walk through it; one that fails is taken away.

    Raises
    ------
    BreatheError
        It cannot be written, does not come back as it was, or a step is held where it may not be.
    """
    steps, rows = found.step_table(), typed["rows"]
    is_csv = path.suffix.lower() == ".csv"
    comma = typed["decimal_comma"] and is_csv
    if is_csv:
        text = steps_csv(steps, rows, decimal_comma=comma)
    else:
        walked = walk(steps, found.allowed())
        text = steps_json(steps, step_facts(found, run, walked, rows), rows)
    write_map(path, text, replace=typed["overwrite"])
    again = steps_back(path.read_text(encoding="utf-8"), steps, decimal_comma=comma)
    walked = walk(again, found.allowed())
    if not (walked.holds and same(again, steps)):
        path.unlink(missing_ok=True)
        raise BreatheError(
            f"{path}: taken away again: read back, it is "
            + ("not what was written" if walked.holds else "held outside its limits at ")
            + ("" if walked.holds else f"{walked.outside} of {walked.places} places")
        )
    return _told(found, path, rows, walked)


def _told(found: StepControl, path: Path, rows: Rows, walked: Walked) -> str:
    loads, speeds = found.table().values.shape
    unknown = found.facts["unknown_clearances"]
    told = [
        f"Written: {path} ({rows}, {loads} loads x {speeds} speeds, numbers of steps, their labels "
        f"and switch speeds). Read back and walked through, up and down and at random, beyond the "
        f"edges too: at none of {walked.places} places is a step held beyond what the cells of "
        "its row allow it."
    ]
    if walked.narrowest_rpm is not None:
        told.append(f"Least hysteresis of a switch: {walked.narrowest_rpm:g} rpm.")
    if unknown:
        told.append(f"Clearance NOT CHECKED: {', '.join(unknown)}.")
    told.append("Outside the axes: hold the edge.")
    return " ".join(told)


def step_facts(found: StepControl, run: Run, walked: Walked, rows: Rows) -> dict[str, Any]:
    """What goes into a JSON file beside the table; plain values."""
    facts, per = found.facts, found.facts["load"]["si"]
    fallback = facts["fallback"]
    return {
        **made_of(facts, run),
        "hysteresis_rpm": facts["hysteresis_rpm"],
        "fallback": {"step": fallback["number"], "label": fallback["label"]},
        "never_held": [
            {"step": one["number"], "label": one["label"], "why": one["does_not_clear"]}
            for one in facts["steps"]
            if one["does_not_clear"]
        ],
        "clearance_not_checked": facts["unknown_clearances"],
        "limits": [_limit(one, per) for one in facts["limits"]],
        "limit_cells": f"[rpm, {facts['load']['unit']}]",
        "table_alone_passes_limits_before_the_next": {
            way: _cells(cells, per) for way, cells in facts["not_allowed_beyond"].items()
        },
        "air_ratio": {
            "part_load": facts["part_load_lambda"],
            "full_load": facts["full_load_lambda"],
        },
        "given_up_share": _lines(found, "given_up", rows),
        "as_good": _lines(found, "as_good", rows),
        "supported_by": _lines(found, "support", rows),
        "order_of_these": "that of values",
        "proof": {**asdict(walked), "holds": walked.holds},
        "cautions": [
            "An estimate, not a clearance check: turn the engine over by hand at every step.",
            "Correct the fuel before load: the air changes with the cam.",
            "Spark made for one step is wrong for another: switch its table with the cam.",
        ],
    }


def _limit(one: dict[str, Any], per: float) -> dict[str, Any]:
    name, value = one["limit"], one["value"]
    unit = {"residual": "share of the charge by mass", "knock": "index", "vacuum": "kPa"}
    if name == "vacuum":
        value = round(value / 1e3, 6)
    told = {"limit": name, "value": value, "unit": unit.get(name, "")}
    return told | {which: _cells(one[which], per) for which in ("binds", "not_kept")}


def _cells(places: list[list[float]], per: float) -> list[list[float]]:
    return [[speed, round(load / per, 6)] for speed, load in places]


def _lines(found: StepControl, column: str, rows: Rows) -> list[list[Any]]:
    """One column of the cells, in the order of the table's own rows."""
    wide = found.cells.pivot(index="load", columns="speed_rpm", values=column).to_numpy()
    by, way = rows.split()
    lines = wide if by == "load" else wide.T
    lines = lines[::-1] if way == "falling" else lines
    return [[_plain(x) for x in line] for line in lines]


def _plain(value: Any) -> Any:
    if isinstance(value, str):
        return value
    return round(float(value), 5) if value == value else None

"""A map of steps as a page: which cam to hold where, where it switches, what that brings."""

from __future__ import annotations

import math
from collections.abc import Sequence

import pandas as pd

from breathe.about import About
from breathe.engine.quantities import System
from breathe.study.control.step_answer import StepControl
from breathe.view import cautions
from breathe.view.best import ROAD_LAW, outside
from breathe.view.console import Grid, Item, Piece
from breathe.view.control import (
    SUPPORT,
    column,
    given_up_grid,
    grid,
    last_words,
    notices_told,
    saved_grid,
    shown_grid,
)
from breathe.view.control_equal import equal_torque
from breathe.view.marks import MARK
from breathe.view.step_found import step_findings

_NEAR_RPM = 0.5


def step_page(
    found: StepControl,
    rows: pd.DataFrame,
    about: About,
    system: System = "metric",
    names: Sequence[str] = (),
) -> list[Piece]:
    """The page of one map of steps.

    Parameters
    ----------
    found : StepControl
    rows : DataFrame
        All cases that were run, SI.
    about : About
    system : 'metric' or 'imperial'
    names : sequence of str
        Further tables, of `control.SHOWN`.
    """
    page = [*_head(found, about, system), "", *notices_told(found.notices, about)]
    page += [_steps(found, about), "", _map(found), ""]
    if len(found.cells) > 1:
        page += [
            given_up_grid(found, "to switch less often"),
            "",
            _as_good(found),
            "",
            saved_grid(found, about),
            "",
        ]
    if len(found.switches):
        page += [_switches(found), ""]
    for name in names:
        if name != "saved":
            page += [shown_grid(found, name, system), ""]
    if len(found.equal):
        page += [*equal_torque(found, system), ""]
    page += ["What was found"]
    page += [Item(text, indent=2) for text in step_findings(found, about, system)]
    page += [""]
    return [*page, *last_words(rows, about, system, _cautions(found))]


def _cautions(found: StepControl) -> list[str]:
    unknown = [*found.facts["unknown_clearances"], "head to wall of the pocket, sideways"]
    return [
        f"NOT CHECKED: {', '.join(unknown)}. {cautions.HAND_TURN}",
        cautions.FAILED_SWITCH,
        cautions.LEAN,
        cautions.KNOCK,
        cautions.VACUUM,
        ROAD_LAW,
    ]


def _head(found: StepControl, about: About, system: System) -> list[Piece]:
    facts = found.facts
    loads, speeds = found.table().values.shape
    return [
        f"{about.engine}: control map of {len(facts['steps'])} steps, {speeds} "
        f"speed{'s' * (speeds > 1)} x {loads} load{'s' * (loads > 1)}, outside air "
        f"{outside(about, system)}",
        Item(
            f"Full load: most torque, air ratio {facts['full_load_lambda']:.2f}. Below: least fuel "
            f"for the torque asked, with the throttle, air ratio {facts['part_load_lambda']:.2f} "
            "(assumed). Spark at best torque, later where knock asks it."
        ),
    ]


def _steps(found: StepControl, about: About) -> Grid:
    """The steps, in their order."""
    notes = {note.label: note for note in about.settings}
    rows = []
    for one in found.facts["steps"]:
        note = notes.get(one["label"])
        marked = f"{one['label']}{MARK}" if one["does_not_clear"] else one["label"]
        rows.append(
            (
                f"{one['number']}",
                marked,
                _degrees(note.intake_duration_deg if note else None),
                _degrees(note.exhaust_duration_deg if note else None),
                f"{one['cells']}",
                note.how if note else "",
            )
        )
    return Grid(
        title="Steps; duration intake and exhaust, deg crank above 0.1 mm, lash taken off; cells "
        "that "
        f"hold each{f'; {MARK} does not clear, never held' if _failing(found) else ''}",
        header=("no.", "step", "intake", "exhaust", "cells", "how"),
        rows=tuple(rows),
        left=frozenset({1, 5}),
        folds=frozenset({5}),
    )


def _failing(found: StepControl) -> bool:
    return any(one["does_not_clear"] for one in found.facts["steps"])


def _degrees(value: float | None) -> str:
    return "-" if value is None else f"{value:.0f}"


def _map(found: StepControl) -> Grid:
    labels, support = column(found, "label"), column(found, "support")
    texts = [
        [f"{label}{SUPPORT[word]}" for label, word in zip(line, words, strict=True)]
        for line, words in zip(labels, support, strict=True)
    ]
    marks = {
        "?": "? no run supports it: held from the nearest load that is trusted",
        "^": "^ above full load: holds the step of most torque",
    }
    used = {SUPPORT[word] for words in support for word in words}
    load = found.facts["load"]
    return grid(
        found,
        texts,
        "; ".join(
            [
                f"Step to hold, at and above each speed and load; load: {load['name']}, "
                f"{load['unit']}",
                *(told for mark, told in marks.items() if mark in used),
            ]
        ),
    )


def _as_good(found: StepControl) -> Grid:
    numbers = {one["label"]: one["number"] for one in found.facts["steps"]}
    texts = [
        ["+".join(str(numbers[x]) for x in cell.split(", ") if x) or "." for cell in line]
        for line in column(found, "as_good")
    ]
    return grid(
        found,
        texts,
        f"Other steps as good as the best to {found.facts['tie'] * 100:g} %, by number; . none",
    )


def _switches(found: StepControl) -> Grid:
    labels = {one["number"]: one["label"] for one in found.facts["steps"]}
    load = found.facts["load"]
    rows = [
        (
            f"{row['load'] / load['si']:g}",
            labels[row["first"]],
            labels[row["then"]],
            f"{row['up_rpm']:.0f}",
            f"{row['down_rpm']:.0f}",
            "limit" if row["limited"] else _rpm(row["equal_rpm"]),
            _between(row["tied_from_rpm"], row["tied_to_rpm"]),
            _felt(row["felt_up"]),
            _felt(row["felt_down"]),
        )
        for row in found.switches.iloc[::-1].to_dict("records")
    ]
    limit = ""
    if found.switches["limited"].any():
        limit = "; limit: a limit sets the switch instead"
    return Grid(
        title="Switches along each row, rpm: speed rising and falling; where both steps are as "
        f"good (straight lines between cells{limit}), and to {found.facts['tie'] * 100:g} %; "
        "torque felt at the switch, %, the throttle where it stood",
        header=(
            load["unit"], "from", "to", "rising", "falling", "equal", "tie", "felt up",
            "felt down",
        ),
        rows=tuple(rows),
        left=frozenset({1, 2}),
    )  # fmt: skip


def _rpm(value: float) -> str:
    return f"{value:.0f}" if math.isfinite(value) else "-"


def _between(low: float, high: float) -> str:
    known = math.isfinite(low) and math.isfinite(high) and high - low > _NEAR_RPM
    return f"{low:.0f}-{high:.0f}" if known else "-"


def _felt(share: float) -> str:
    return f"{share * 100:+.1f}" if math.isfinite(share) else "-"

"""A finished map of steps as tables and facts: kept with a run, printed without the engine."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
import pandas as pd

from breathe.study.control.answer import Control, check_facts
from breathe.study.control.cases import MOST_DETAILED
from breathe.study.control.equal_torque import cell_figures, side_by_side
from breathe.study.control.gear_change import Change, course
from breathe.study.control.limit_facts import running_limits
from breathe.study.control.map_file import Table
from breathe.study.control.step_file import Allowed, Line, StepTable, changes_along
from breathe.study.control.step_map import StepMap, seldom
from breathe.study.control.step_switch import Span, Switch, kept_spans, reading_moves, switches_of
from breathe.study.crossings import NUMERICAL_ERROR
from breathe.study.fingerprint import fingerprint

_MORE = (0.01, 0.02, 0.05)
"""Shares that might be given up in a cell to switch less often."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StepControl(Control):
    """A control map whose cells are numbers of steps. Tables in SI, units in the column names.

    ``start`` and ``change`` are empty.
    """

    switches: pd.DataFrame
    """One row a switch, row by row, speed rising: the fields of `step_switch.Switch`."""

    def step_table(self) -> StepTable:
        """As it goes to a file; units of the file."""
        per = self.facts["load"]["si"]
        return StepTable(
            table=self.table(),
            labels=tuple(one["label"] for one in self.facts["steps"]),
            switches=tuple(
                Line(
                    round(float(row["load"]) / per, 6),
                    int(row["first"]),
                    int(row["then"]),
                    float(row["up_rpm"]),
                    float(row["down_rpm"]),
                )
                for row in self.switches.to_dict("records")
            ),
        )

    def allowed(self) -> Allowed:
        """For each row of loads, rising: where each step may be held, by its number."""
        return [
            {int(number): [(low, high) for low, high in spans] for number, spans in row.items()}
            for row in self.facts["allowed"]
        ]


def step_answer_of(
    found: StepMap, change: Change | None = None, notices: Sequence[str] = ()
) -> StepControl:
    """A finished map as it is kept.

    Parameters
    ----------
    found : StepMap
    change : Change, optional
        A gear change to count the switches of.
    notices : sequence of str
        What was understood and done on the way.
    """
    question, switches = found.question, switches_of(found)
    facts: dict[str, Any] = {
        "shown": {"name": "number of the step", "unit": ""},
        "load": {**asdict(question.scale), "name": question.scale.name},
        "moves": "steps",
        "step": 1,
        "steps": _steps(found),
        "standard": question.standard.label,
        "give_up": question.give_up,
        "hysteresis_rpm": question.hysteresis_rpm,
        "tie": NUMERICAL_ERROR,
        "part_load_lambda": question.part_load_lambda,
        "full_load_lambda": found.engine.fuel.lambda_full_load,
        "limits": running_limits(question.limits, found.cells),
        "vacuum": asdict(question.vacuum) if question.vacuum else None,
        "unknown_clearances": list(question.unknown_clearances),
        "fallback": _fallback(found),
        "allowed": allowed_of(found, switches),
        "not_allowed_beyond": _not_allowed_beyond(found),
        "reading_moves": _reading_moves(found),
        "seldom": _seldom(found),
        "checks": check_facts(found.checks, found.cells),
        "model_runs": len(found.keys),
        # The gaps decide which steps are held, which no cycle knows.
        "engine_fingerprint": fingerprint(found.engine, found.engine.mechanics),
        "data_fingerprint": fingerprint(*found.keys),
        "gear_change": None,
    }
    few = found.held.size <= MOST_DETAILED
    made = StepControl(
        cells=_cells(found),
        equal=side_by_side(found.engine, found.cells, found.at_speeds, found.slower)
        if few
        else pd.DataFrame(),
        start=pd.DataFrame(),
        change=pd.DataFrame(),
        facts=facts,
        notices=tuple(notices),
        switches=pd.DataFrame([_plain(one) for one in switches]),
    )
    if change is not None:
        facts["gear_change"] = _gear_change(made.step_table(), change)
    return made


def _plain(one: Switch) -> dict[str, Any]:
    row = asdict(one)
    low, high = row.pop("tied_rpm")
    return {**row, "tied_from_rpm": low, "tied_to_rpm": high}


def _steps(found: StepMap) -> list[dict[str, Any]]:
    question = found.question
    cells = found.numbers
    return [
        {
            "number": n,
            "label": one.label,
            "does_not_clear": question.does_not_clear.get(one.label, ""),
            "cells": int(np.sum(cells == n)),
            "alone": _alone(found, question.numbers.index(n)) if n in question.numbers else None,
        }
        for n, one in enumerate(question.steps, 1)
    ]


def _alone(found: StepMap, step: int) -> dict[str, Any]:
    """What a step gives up if it is held everywhere, over part load and each speed's full load."""
    own = [c for line in found.cells for c in line if c.kind == "part load"]
    for column in zip(*found.cells, strict=True):
        own += [c for c in column if "full" in c.kind][:1]
    known = [cell for cell in own if math.isfinite(cell.loss[step])]
    told: dict[str, Any] = {
        "cells": len(known),
        "not_known": len(own) - len(known),
        "not_allowed": sum(not cell.allowed[step] for cell in known),
        "mean": float(np.mean([cell.loss[step] for cell in known])) if known else math.nan,
    }
    if known:
        worst = max(known, key=lambda cell: float(cell.loss[step]))
        told |= {
            "worst": float(worst.loss[step]),
            "speed_rpm": worst.speed_rpm,
            "load": worst.load,
        }
    return told


def _cells(found: StepMap) -> pd.DataFrame:
    """One row a cell; without figures where a cell only holds what its neighbour wants."""
    checks = {(c.row, c.column): c for c in found.checks}
    labels = [one.label for one in found.question.held]
    rows = []
    for i, line in enumerate(found.cells):
        for j, cell in enumerate(line):
            k, check = int(found.held[i, j]), checks.get((i, j))
            figures = cell_figures(
                found.engine,
                cell,
                cell.figures_at(float(k)),
                check,
                given_up=found.given_up(i, j),
                against_standard=found.against_standard(i, j),
            )
            rows.append(
                {
                    "speed_rpm": cell.speed_rpm,
                    "load": cell.load,
                    "kind": cell.kind,
                    "support": _support(found, i, j, check.settled if check else False),
                    "setting": int(found.numbers[i, j]),
                    "label": labels[k],
                    "wanted": labels[cell.best],
                    "as_good": ", ".join(labels[n] for n in found.as_good(i, j)),
                    "allowed": ", ".join(labels[n] for n in np.flatnonzero(cell.allowed)),
                    **figures,
                    "held_by": ", ".join(cell.bound),
                    "not_kept": ", ".join(cell.broken),
                }
            )
    return pd.DataFrame(rows)


def _support(found: StepMap, i: int, j: int, settled: bool) -> str:
    kind = found.cells[i][j].kind
    if kind in ("too light", "above full load"):
        return kind
    return "run" if settled else "not settled"


def allowed_of(found: StepMap, switches: Sequence[Switch]) -> list[dict[str, list[Span]]]:
    """For each row: speeds at which each step keeps its limits, by its number.

    Where neither of two steps is known to, between cells that differ, each may be held up to the
    switch between them: at the cells themselves they keep the limits.
    """
    rows: list[dict[str, list[Span]]] = []
    for i, line in enumerate(found.cells):
        row = {
            str(number): kept_spans(found, i, k) for k, number in enumerate(found.question.numbers)
        }
        for one in switches:
            if one.load == line[0].load and not one.proven:
                row[str(one.first)].append((one.below_rpm, one.down_rpm))
                row[str(one.then)].append((one.up_rpm, one.above_rpm))
        rows.append(row)
    return rows


def _not_allowed_beyond(found: StepMap) -> dict[str, list[list[float]]]:
    """Cells whose step the next cell up in speed, or in load, does not allow."""
    told: dict[str, list[list[float]]] = {"speed": [], "load": []}
    for i, line in enumerate(found.cells):
        for j, cell in enumerate(line):
            step, place = int(found.held[i, j]), [cell.speed_rpm, cell.load]
            if j + 1 < len(line) and not line[j + 1].allowed[step]:
                told["speed"].append(place)
            if i + 1 < len(found.cells) and not found.cells[i + 1][j].allowed[step]:
                told["load"].append(place)
    return told


def _reading_moves(found: StepMap) -> dict[str, float] | None:
    worst = reading_moves(found)
    if worst is None:
        return None
    away, i, j = worst
    cell = found.cells[i][j]
    return {"away": away, "speed_rpm": cell.speed_rpm, "load": cell.load}


def _seldom(found: StepMap) -> list[dict[str, float]]:
    """Switches along speed left as more may be given up in a cell, and the mean given up."""
    told = []
    for give_up in (found.question.give_up, *(x for x in _MORE if x > found.question.give_up)):
        held = seldom(found.cells, give_up)
        lost = [
            cell.loss[k]
            for line, row in zip(found.cells, held, strict=True)
            for cell, k in zip(line, row, strict=True)
        ]
        switches = int((np.diff(held, axis=1) != 0).sum())
        told.append({"give_up": give_up, "switches": switches, "mean": float(np.mean(lost))})
    return told


def _fallback(found: StepMap) -> dict[str, Any] | None:
    """Full-load torque that the step without power costs, and how it burns lightly."""
    label = found.question.fallback
    if label is None:
        return None
    number = found.question.number(label)
    k = found.question.numbers.index(number)
    lost = [1.0 - float(at.full["torque_Nm"][k] / np.nanmax(at.full["torque_Nm"]))
            for at in found.at_speeds]  # fmt: skip
    known = [x if math.isfinite(x) else -math.inf for x in lost]
    worst = int(np.argmax(known))
    lightest = found.cells[0]
    residual = np.array([float(cell.figures["residual_fraction"][k]) for cell in lightest])
    told: dict[str, Any] = {
        "label": label,
        "number": number,
        "speed_rpm": [at.speed_rpm for at in found.at_speeds],
        "torque_lost": [x if math.isfinite(x) else None for x in lost],
        "worst_lost": lost[worst] if math.isfinite(lost[worst]) else None,
        "worst_speed_rpm": found.at_speeds[worst].speed_rpm,
        "residual_most": None,
        "residual_speed_rpm": None,
    }
    if np.isfinite(residual).any():
        most = int(np.nanargmax(residual))
        told |= {
            "residual_most": float(residual[most]),
            "residual_speed_rpm": lightest[most].speed_rpm,
        }
    return told


def _gear_change(steps: StepTable, change: Change) -> dict[str, Any]:
    """How often the step changes from before a gear change until after it, and on its rows alone.

    Driven at full load, the pedal lifted while the gear is open, so the row changes twice too.
    """
    table: Table = steps.table
    _, speed, load = course(change, table.loads[0], table.loads[-1])
    speeds = [float(x) for x in speed]
    return {
        **asdict(change),
        "changes": changes_along(steps, speeds, [float(x) for x in load]),
        "changes_over_speed": changes_along(steps, speeds, [table.loads[-1]] * len(speeds)),
    }

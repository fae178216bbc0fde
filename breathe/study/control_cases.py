"""The cases a control map rests on: full load, throttled sweeps, and its own cells run."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from breathe.engine.parts import Engine, Floats, Operating, Setting
from breathe.errors import BreatheError
from breathe.study.cells import LIGHTEST_BMEP_PA, AtSpeed, Cell, bmep_of, torque_of
from breathe.study.choose import setting_named
from breathe.study.compare import Row
from breathe.study.control_asked import Question, node_places, setting_at
from breathe.study.evaluate import Point, alone
from breathe.study.gear import Gear
from breathe.study.part_load import FIGURES, Evaluate, swept, usable_row, with_fuel

MISSED = 0.01
"""Share of the torque asked for that a checked cell may miss before its opening is put right."""


class Cases:
    """What runs the points of one engine, and which cases a map came to rest on."""

    def __init__(self, engine: Engine, evaluate: Evaluate) -> None:
        self.engine = engine
        self.keys: dict[str, None] = {}
        """Keys of all cases asked for, each once, in order."""
        self._evaluate = evaluate

    def __call__(self, points: Sequence[Point]) -> list[Row]:
        rows = self._evaluate(points)
        self.keys |= dict.fromkeys(alone(self.engine, point).key for point in points)
        return rows


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """A cell of the finished map, run."""

    row: int
    column: int
    torque_asked_Nm: float
    torque_Nm: float
    fuel_asked_kg_per_J: float
    """As read off the curves."""
    fuel_kg_per_J: float
    settled: bool

    @property
    def torque_off(self) -> float:
        return self.torque_Nm / self.torque_asked_Nm - 1.0

    @property
    def fuel_off(self) -> float:
        return self.fuel_kg_per_J / self.fuel_asked_kg_per_J - 1.0


def at_speeds_of(run: Cases, gear: Gear, question: Question) -> tuple[AtSpeed, ...]:
    places = node_places(question.limits)
    settings = [setting_at(gear, question, float(x)) for x in places]
    standard = setting_named(run.engine, run.engine.standard)
    # Labels tell sweeps apart; the standard may well be called like one of the others.
    standard = replace(standard, label=f"{standard.label} standard")
    full = _full_load(run, [*settings, standard], question.speeds_rpm)
    _ask_if_above(run.engine, question, full)
    lightest = LIGHTEST_BMEP_PA
    if question.load_axis == "bmep":
        lightest = max(lightest, min(question.loads))
    found = swept(
        run.engine,
        run,
        [*settings, standard],
        question.speeds_rpm,
        torque_of(run.engine, lightest),
        lambda_=question.part_load_lambda,
    )
    at_speeds: list[AtSpeed] = []
    for speed in question.speeds_rpm:
        columns = {
            name: np.array([row[name] if row else math.nan for row in full[speed]])
            for name in FIGURES
        }
        sweeps = tuple(found[setting.label, speed] for setting in settings)
        if (
            not any(len(s.log_opening) > 1 for s in sweeps)
            or not np.isfinite(columns["torque_Nm"][:-1]).any()
        ):
            raise BreatheError(f"{speed:.0f} rpm: no case settles and makes torque; leave it out")
        at_speeds.append(
            AtSpeed(
                speed_rpm=speed,
                places_deg=places,
                sweeps=sweeps,
                full={name: values[:-1] for name, values in columns.items()},
                standard=found[standard.label, speed],
                standard_full_Nm=float(columns["torque_Nm"][-1]),
            )
        )
    return tuple(at_speeds)


def _full_load(
    run: Cases, settings: Sequence[Setting], speeds_rpm: Sequence[float]
) -> Mapping[float, list[dict[str, float] | None]]:
    """Figures of every setting with the throttle open, by speed; None where of no use."""
    points = [Point(s, Operating(speed_rpm=n)) for n in speeds_rpm for s in settings]
    rows = iter(run(points))
    return {n: [_figures(next(rows)) for _ in settings] for n in speeds_rpm}


def _figures(row: Row) -> dict[str, float] | None:
    return with_fuel(row) if usable_row(row) else None


def _ask_if_above(
    engine: Engine, question: Question, full: Mapping[float, list[dict[str, float] | None]]
) -> None:
    """Refuse loads that are all above what any speed gives."""
    if question.load_axis != "bmep":
        return
    most = {
        speed: max((row["torque_Nm"] for row in rows if row), default=0.0)
        for speed, rows in full.items()
    }
    speed = max(most, key=lambda n: most[n])
    highest = bmep_of(engine, most[speed])
    if min(question.loads) > highest * 1.001:
        scale = question.scale
        asked = ", ".join(scale.shown(x) for x in question.loads)
        raise BreatheError(
            f"load: found {asked}; above this engine's full load, which is "
            f"{highest / scale.si:.3g} {scale.unit} of BMEP at {speed:.0f} rpm, most of the speeds "
            "asked for"
        )


def checked(
    run: Cases,
    gear: Gear,
    question: Question,
    at_speeds: Sequence[AtSpeed],
    cells: Sequence[Sequence[Cell]],
    values: Floats,
) -> tuple[Check, ...]:
    """Every cell that has a torque of its own, run at its setting.

    Where the torque asked is missed, the opening is put right once and run again.
    """
    places = [
        (i, j)
        for i, line in enumerate(cells)
        for j, cell in enumerate(line)
        if cell.kind in ("part load", "full load")
    ]
    openings = {
        place: min(cells[place[0]][place[1]].figure_at("log_opening", float(values[place])), 0.0)
        for place in places
    }
    checks = _run_cells(run, gear, question, cells, values, openings)
    again = {
        (c.row, c.column): _put_right(at_speeds[c.column], c, openings[c.row, c.column], values)
        for c in checks
        if cells[c.row][c.column].kind == "part load" and not abs(c.torque_off) <= MISSED
    }
    better = {(c.row, c.column): c for c in _run_cells(run, gear, question, cells, values, again)}
    return tuple(better.get((c.row, c.column), c) for c in checks)


def _put_right(at: AtSpeed, check: Check, log_opening: float, values: Floats) -> float:
    """The opening that should give the torque, by the slope of the nearest sweep."""
    x = float(values[check.row, check.column])
    slope = at.sweeps[int(np.argmin(np.abs(at.places_deg - x)))].slope_at(log_opening)
    if slope <= 0.0 or not math.isfinite(check.torque_Nm):
        return log_opening
    step = (check.torque_asked_Nm - check.torque_Nm) / slope
    return min(log_opening + float(np.clip(step, -0.3, 0.3)), 0.0)


def _run_cells(
    run: Cases,
    gear: Gear,
    question: Question,
    cells: Sequence[Sequence[Cell]],
    values: Floats,
    openings: Mapping[tuple[int, int], float],
) -> list[Check]:
    points = [
        Point(
            setting_at(gear, question, float(values[place])),
            _operating(question, cells[place[0]][place[1]], opening),
        )
        for place, opening in openings.items()
    ]
    checks = []
    for (i, j), row in zip(openings, run(points), strict=True):
        cell, x = cells[i][j], float(values[i, j])
        torque = cell.figure_at("torque_Nm", x)
        power = torque * cell.speed_rpm * math.pi / 30
        checks.append(
            Check(
                row=i,
                column=j,
                torque_asked_Nm=torque,
                torque_Nm=row["torque_Nm"],
                fuel_asked_kg_per_J=cell.figure_at("fuel_kg_per_s", x) / power,
                fuel_kg_per_J=row["bsfc_kg_per_J"],
                settled=usable_row(row),
            )
        )
    return checks


def _operating(question: Question, cell: Cell, log_opening: float) -> Operating:
    if cell.kind == "full load":
        return Operating(speed_rpm=cell.speed_rpm)
    return Operating(
        speed_rpm=cell.speed_rpm,
        throttle=math.exp(log_opening),
        lambda_=question.part_load_lambda,
    )

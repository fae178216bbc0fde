"""The cases a control map rests on: full load, throttled sweeps, and its own cells run."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from breathe.engine.parts import Engine, Floats, Operating, Setting
from breathe.errors import BreatheError
from breathe.study.choose import setting_named
from breathe.study.compare import Row
from breathe.study.control.asked import Question, node_places, setting_at
from breathe.study.control.burn import burning_slower, slower_fuel
from breathe.study.control.cells import LIGHTEST_BMEP_PA, AtSpeed, Cell, bmep_of, torque_of
from breathe.study.control.equal_torque import CellAsked, compared_sweeps
from breathe.study.control.map_axes import LoadScale
from breathe.study.control.part_load import FIGURES, Evaluate, Sweep, swept, usable_row, with_fuel
from breathe.study.evaluate import Point, alone
from breathe.study.gear import Gear

MOST_DETAILED = 4
"""Cells up to which a map is told setting by setting at equal torque."""
MISSED = 0.01
"""Share of the torque asked for that a checked cell may miss before its opening is put right."""
_PUT_RIGHT = 2
"""Times that is tried."""


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


class Asked(Protocol):
    """What a map is asked for over speed and load, however its settings are made."""

    @property
    def speeds_rpm(self) -> tuple[float, ...]: ...
    @property
    def scale(self) -> LoadScale: ...
    @property
    def loads(self) -> tuple[float, ...]: ...
    @property
    def part_load_lambda(self) -> float: ...


def at_speeds_of(run: Cases, gear: Gear, question: Question) -> tuple[AtSpeed, ...]:
    """All that a map along one axis rests on, by speed."""
    places = node_places(question.limits)
    settings = [setting_at(gear, question, float(x)) for x in places]
    standard = setting_named(run.engine, run.engine.standard)
    # Labels tell sweeps apart; the standard may well be called like one of the others.
    standard = replace(standard, label=f"{standard.label} standard")
    return run_settings(run, question, settings, places, standard)


def run_settings(
    run: Cases, question: Asked, settings: Sequence[Setting], places: Floats, standard: Setting
) -> tuple[AtSpeed, ...]:
    """Full load and throttled sweeps of settings and of the standard, by speed.

    Parameters
    ----------
    run : Cases
    question : Asked
    settings : (n,) sequence of Setting
    places : (n,) float
        Where they stand along the axis; their numbers where there is none.
    standard : Setting
        One of the settings itself, or one of another label.

    Raises
    ------
    BreatheError
        Loads above full load at every speed; a speed at which no case is of use.
    """
    full = _full_load(run, [*settings, standard], question.speeds_rpm)
    ask_if_above(run.engine, question, full)
    lightest = LIGHTEST_BMEP_PA
    if question.scale.axis == "bmep":
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


def ask_if_above(
    engine: Engine, question: Asked, full: Mapping[float, list[dict[str, float] | None]]
) -> None:
    """Refuse loads that are all above what any speed gives.

    Raises
    ------
    BreatheError
        They are.
    """
    if question.scale.axis != "bmep":
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
    question: Asked,
    cells: Sequence[Sequence[Cell]],
    values: Floats,
    setting_of: Callable[[int, int], Setting],
    sweep_near: Callable[[int, int], Sweep],
) -> tuple[Check, ...]:
    """Every cell that has a torque of its own, run at its setting.

    Where the torque asked is missed, the opening is put right and run again, by the slope of the
    sweep and then by that of the two runs.

    Parameters
    ----------
    run : Cases
    question : Asked
    cells : (m, n) sequence of Cell
    values : (m, n) float
        The map along the cells' axis.
    setting_of, sweep_near : callable
        Of a row and a column: the setting the map holds there, and the sweep run nearest to it.
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
    checks = {
        (c.row, c.column): c for c in _run_cells(run, question, cells, values, setting_of, openings)
    }
    slopes = {place: sweep_near(*place).slope_at(u) for place, u in openings.items()}
    for _ in range(_PUT_RIGHT):
        again = {
            place: _put_right(slopes[place], c, openings[place])
            for place, c in checks.items()
            if cells[place[0]][place[1]].kind == "part load" and not abs(c.torque_off) <= MISSED
        }
        for c in _run_cells(run, question, cells, values, setting_of, again):
            place = c.row, c.column
            moved = again[place] - openings[place]
            if moved and math.isfinite(c.torque_Nm):
                slopes[place] = (c.torque_Nm - checks[place].torque_Nm) / moved
            checks[place], openings[place] = c, again[place]
    return tuple(checks.values())


def _put_right(slope: float, check: Check, log_opening: float) -> float:
    """The opening that should give the torque, by the slope of torque over it [Nm]."""
    if not slope > 0.0 or not math.isfinite(check.torque_Nm):
        return log_opening
    step = (check.torque_asked_Nm - check.torque_Nm) / slope
    return min(log_opening + float(np.clip(step, -0.3, 0.3)), 0.0)


def _run_cells(
    run: Cases,
    question: Asked,
    cells: Sequence[Sequence[Cell]],
    values: Floats,
    setting_of: Callable[[int, int], Setting],
    openings: Mapping[tuple[int, int], float],
) -> list[Check]:
    points = [
        Point(
            setting_of(*place),
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


def _operating(question: Asked, cell: Cell, log_opening: float) -> Operating:
    if cell.kind == "full load":
        return Operating(speed_rpm=cell.speed_rpm)
    return Operating(
        speed_rpm=cell.speed_rpm,
        throttle=math.exp(log_opening),
        lambda_=question.part_load_lambda,
    )


def fuel_burning_slower(
    run: Cases,
    evaluate_slower: Evaluate | None,
    part_load_lambda: float,
    at_speeds: Sequence[AtSpeed],
    cells: Sequence[Sequence[CellAsked]],
) -> dict[tuple[float, float], list[float]]:
    """Fuel of each setting at equal torque with a charge that burns slower.

    Parameters
    ----------
    run : Cases
        Of the engine as it is; told of the cases that are run.
    evaluate_slower : callable or None
        Rows of points of `burn.burning_slower`.
    part_load_lambda : float
    at_speeds : (n,) sequence of AtSpeed
    cells : (m, n) sequences of CellAsked

    Returns
    -------
    dict
        By speed and load of a part-load cell: fuel [kg/s] at its torque of the standard and of
        every setting. Empty for a map of many cells, or without ``evaluate_slower``.
    """
    if evaluate_slower is None or len(cells) * len(at_speeds) > MOST_DETAILED:
        return {}
    ask = Cases(burning_slower(run.engine), evaluate_slower)
    found = {
        (cell.speed_rpm, cell.load): slower_fuel(
            ask, compared_sweeps(at), cell.torque_Nm, part_load_lambda
        )
        for line in cells
        for cell, at in zip(line, at_speeds, strict=True)
        if cell.kind == "part load"
    }
    run.keys |= ask.keys
    return found

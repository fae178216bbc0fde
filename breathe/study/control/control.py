"""The map an actuator follows: a setting for every speed and load, inside limits, smoothed, in
whole steps."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from breathe.engine.parts import Engine, Floats
from breathe.study.control.asked import Question, setting_at
from breathe.study.control.cases import (
    Cases,
    Check,
    at_speeds_of,
    checked,
    fuel_burning_slower,
)
from breathe.study.control.cells import AtSpeed, Cell, cell_at, curve, fine_places, path
from breathe.study.control.map_file import bilinear
from breathe.study.control.part_load import Evaluate
from breathe.study.control.smooth import in_steps, smoothed
from breathe.study.crossings import NUMERICAL_ERROR
from breathe.study.gear import Axis, Gear


@dataclass(frozen=True, slots=True, kw_only=True)
class ControlMap:
    """The finished map. Arrays are (m, n): loads rising down, speeds rising across."""

    engine: Engine
    gear: Gear
    question: Question
    at_speeds: tuple[AtSpeed, ...]
    cells: tuple[tuple[Cell, ...], ...]
    smooth_deg: Floats
    """Before rounding."""
    values_deg: Floats
    """What the file holds: along the axis."""
    checks: tuple[Check, ...]
    slower: Mapping[tuple[float, float], list[float]]
    """By speed and load of a cell: fuel [kg/s] at its torque of the standard and of every setting
    run, were burning slower; empty for a map of many cells."""
    followed: bool
    """Whether the steps over speed could be held within what the actuator follows."""
    followed_over_load: bool
    """The same over load, where that was asked."""
    keys: tuple[str, ...]
    """Of the model runs it rests on, in the order asked for."""

    @property
    def axis(self) -> Axis:
        return self.gear.axes[self.question.axis]

    @property
    def given_up(self) -> Floats:
        """Share of torque (full load) or fuel given up by smoothing and rounding [-]."""
        return self._each(lambda cell, x: max(cell.loss_at(x), 0.0))

    @property
    def flat_deg(self) -> Floats:
        """Degrees either way that give up less than a tie."""
        return self._each(lambda cell, _: cell.flat_deg(NUMERICAL_ERROR))

    @property
    def cell_range_deg(self) -> tuple[Floats, Floats]:
        return self._each(lambda c, _: c.range_deg()[0]), self._each(lambda c, _: c.range_deg()[1])

    def figure(self, name: str) -> Floats:
        """A figure of `part_load.FIGURES` at the map's settings."""
        return self._each(lambda cell, x: cell.figure_at(name, x))

    def against_standard(self) -> Floats:
        """Share of fuel saved (part load) or torque gained (full load) over the standard [-]."""
        found = np.full(self.values_deg.shape, math.nan)
        for i, line in enumerate(self.cells):
            for j, cell in enumerate(line):
                at, x = self.at_speeds[j], float(self.values_deg[i, j])
                if "full" in cell.kind:
                    found[i, j] = cell.figure_at("torque_Nm", x) / at.standard_full_Nm - 1.0
                    continue
                standard = at.standard.at_torque(cell.torque_Nm)
                if standard is not None:
                    fuel = cell.figure_at("fuel_kg_per_s", x)
                    found[i, j] = 1.0 - fuel / standard["fuel_kg_per_s"]
        return found

    def full_torque(self, speed_rpm: Floats, degrees: Floats) -> Floats:
        """Full-load torque [Nm] at speeds and places along the axis, arrays of one shape; held at
        the ends."""
        fine = fine_places(self.question.limits)
        curves = [curve(at.places_deg, at.full["torque_Nm"])(fine) for at in self.at_speeds]
        return bilinear(
            [at.speed_rpm for at in self.at_speeds], fine, np.array(curves), speed_rpm, degrees
        )

    def _each(self, figure: Callable[[Cell, float], float]) -> Floats:
        return np.array(
            [
                [figure(cell, float(x)) for cell, x in zip(line, xs, strict=True)]
                for line, xs in zip(self.cells, self.values_deg, strict=True)
            ]
        )

    def support(self) -> list[list[str]]:
        """What each cell rests on: 'measured', 'run', 'not settled', 'too light' (held from the
        lightest load that is trusted), 'above full load'."""
        measured = {(one.speed_rpm, one.load) for one in self.question.anchors}
        run = {(c.row, c.column): c.settled for c in self.checks}
        words: list[list[str]] = []
        for i, line in enumerate(self.cells):
            words.append([])
            for j, cell in enumerate(line):
                if (cell.speed_rpm, cell.load) in measured:
                    words[-1].append("measured")
                elif cell.kind in ("too light", "above full load"):
                    words[-1].append(cell.kind)
                else:
                    words[-1].append("run" if run.get((i, j)) else "not settled")
        return words


def control_map(
    engine: Engine,
    evaluate: Evaluate,
    gear: Gear,
    question: Question,
    evaluate_slower: Evaluate | None = None,
) -> ControlMap:
    """Work the map out.

    Parameters
    ----------
    engine : Engine
    evaluate : callable
        Rows of points of the engine, such as an `evaluate.Evaluator`.
    gear : Gear
    question : Question
    evaluate_slower : callable, optional
        The same of `burn.burning_slower`, for the band of savings in a map of few cells.

    Raises
    ------
    BreatheError
        A load above full load at every speed, limits that leave nothing, a speed of no use.
    """
    run = Cases(engine, evaluate)
    at_speeds = at_speeds_of(run, gear, question)
    by_gauge = question.load_axis != "bmep"
    ways = [path(engine, at, question.limits) if by_gauge else None for at in at_speeds]
    cells = tuple(
        tuple(
            cell_at(engine, at, question.limits, question.load_axis, load, way)
            for at, way in zip(at_speeds, ways, strict=True)
        )
        for load in question.loads
    )
    smooth = smoothed(question, cells)
    values = in_steps(question, cells, smooth.degrees)
    checks = checked(
        run,
        question,
        cells,
        values,
        lambda i, j: setting_at(gear, question, float(values[i, j])),
        lambda i, j: at_speeds[j].sweep_near(float(values[i, j])),
    )
    slower = fuel_burning_slower(run, evaluate_slower, question.part_load_lambda, at_speeds, cells)
    return ControlMap(
        engine=engine,
        gear=gear,
        question=question,
        at_speeds=at_speeds,
        cells=cells,
        smooth_deg=smooth.degrees,
        values_deg=values,
        checks=checks,
        slower=slower,
        followed=smooth.over_speed,
        followed_over_load=smooth.over_load,
        keys=tuple(run.keys),
    )

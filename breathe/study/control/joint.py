"""Maps of several actuators that belong together: found together, proved together.

Each cell's best place is sought over all axes at once. Then the maps are made one after another:
the first with the others free, each next where the finished ones stand, and what smoothing gives
up is counted for the finished combination.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from breathe.engine.parts import Engine, Floats
from breathe.study.control.cases import Cases, Check, checked
from breathe.study.control.cells import (
    AtSpeed,
    Cell,
    asked_of,
    path_through,
    path_torques,
)
from breathe.study.control.control import ControlMap
from breathe.study.control.joint_asked import JointQuestion
from breathe.study.control.joint_cases import Seen
from breathe.study.control.joint_cells import Cells, JointCell, JointSpeed, along, joint_cell
from breathe.study.control.part_load import Evaluate
from breathe.study.control.smooth import Smoothed, in_steps, smoothed


@dataclass(frozen=True, slots=True, kw_only=True)
class JointMap:
    """Finished maps, one an axis, of the same speeds and loads."""

    engine: Engine
    asked: JointQuestion
    """Held to the box that was taken."""
    tables: tuple[ControlMap, ...]
    """(k,); the cells of each are cut along its axis where the other maps stand."""
    speeds: tuple[JointSpeed, ...]
    cells: Cells
    alone: Floats
    """(k, m, n) share of fuel or torque more that each actuator alone would give up, the others
    standing at zero or as near as their ranges let them; nan in cells that are held from others.
    """
    boxes_tried: int

    @property
    def values_deg(self) -> Floats:
        """(k, m, n) what the maps hold."""
        return np.array([table.values_deg for table in self.tables])

    def full_torque(self, speed_rpm: Floats, places: Floats) -> Floats:
        """Full-load torque [Nm] at speeds (m,) and places (m, k), by straight lines over speed."""
        known = np.array([at.speed_rpm for at in self.speeds])
        torque = np.stack([at.full_at(places)[:, 0] for at in self.speeds], axis=1)
        shares = np.array([np.interp(speed_rpm, known, unit) for unit in np.eye(len(known))])
        return np.asarray(np.sum(torque * shares.T, axis=1))


def joint_map(engine: Engine, evaluate: Evaluate, asked: JointQuestion) -> JointMap:
    """Work the maps out.

    Parameters
    ----------
    engine : Engine
    evaluate : callable
        Rows of points of the engine, such as an `evaluate.Evaluator`.
    asked : JointQuestion

    Raises
    ------
    BreatheError
        A load above full load at every speed, limits that leave nothing, a speed at which too few
        cases are of use.
    """
    run = Cases(engine, evaluate)
    seen = Seen(run, asked)
    seen.look()
    tried = len(asked.boxes)
    asked = _box_of_most_gain(engine, asked, seen)
    seen.look_closer(asked, _cells(engine, asked, seen.speeds(asked)))
    speeds = seen.speeds(asked)
    cells = _cells(engine, asked, speeds)
    values, smooth = _one_after_another(engine, asked, cells)
    cut = _cut(engine, asked, cells, values)
    checks = checked(
        run,
        asked.common,
        cut[0],
        values[0],
        lambda i, j: asked.setting(values[:, i, j].tolist()),
        lambda i, j: speeds[j].sweep_by(values[:, i, j].tolist()),
    )
    tables = _tables(engine, asked, speeds, cut, values, smooth, checks, tuple(run.keys))
    return JointMap(
        engine=engine,
        asked=asked,
        tables=tables,
        speeds=speeds,
        cells=cells,
        alone=_alone(engine, asked, cells),
        boxes_tried=tried,
    )


def _tables(
    engine: Engine,
    asked: JointQuestion,
    speeds: Sequence[JointSpeed],
    cut: Sequence[tuple[tuple[Cell, ...], ...]],
    values: Floats,
    smooth: Sequence[Smoothed],
    checks: tuple[Check, ...],
    keys: tuple[str, ...],
) -> tuple[ControlMap, ...]:
    """Each finished map as one of its own axis."""
    return tuple(
        ControlMap(
            engine=engine,
            gear=asked.gear,
            question=question,
            at_speeds=tuple(
                _line_at_full_load(at, asked, values, n, j) for j, at in enumerate(speeds)
            ),
            cells=cut[n],
            smooth_deg=smooth[n].degrees,
            values_deg=values[n],
            checks=checks,
            slower={},
            followed=smooth[n].over_speed,
            followed_over_load=smooth[n].over_load,
            keys=keys,
        )
        for n, question in enumerate(asked.questions)
    )


def _cells(engine: Engine, asked: JointQuestion, speeds: Sequence[JointSpeed]) -> Cells:
    """(m, n) cells over all axes."""
    question = asked.common
    columns = []
    for at in speeds:
        way = None
        if question.load_axis != "bmep":
            torques = path_torques(engine, at)
            some = [joint_cell(engine, asked, at, 0.0, "part load", float(t)) for t in torques]
            best = [cell.read(np.array([cell.best]))[0] for cell in some]
            way = path_through(torques, [{k: float(v[0]) for k, v in one.items()} for one in best])
        kinds = [asked_of(engine, at, question.load_axis, load, way) for load in question.loads]
        columns.append(
            [
                joint_cell(engine, asked, at, load, kind, torque)
                for load, (kind, torque) in zip(question.loads, kinds, strict=True)
            ]
        )
    return tuple(zip(*columns, strict=True))


def _box_of_most_gain(engine: Engine, asked: JointQuestion, seen: Seen) -> JointQuestion:
    """Held to the box whose cells burn least and pull most, in the mean of those that all have."""
    held = [asked.held_to(box) for box in asked.boxes]
    if len(held) == 1:
        return held[0]
    tried = [_cells(engine, one, seen.speeds(one)) for one in held]
    kinds = [[[cell.kind for cell in line] for line in cells] for cells in tried]
    common = np.all([np.array(kind) == np.array(kinds[0]) for kind in kinds], axis=0)
    merit = [
        float(np.mean([[_merit(cell) for cell in line] for line in cells], where=common))
        if common.any()
        else 0.0
        for cells in tried
    ]
    return held[int(np.argmin(merit))]


def _merit(cell: JointCell) -> float:
    """Logarithm of the fuel burnt, or of the torque with its sign turned: the less the better."""
    if "full" in cell.kind:
        return -math.log(-cell.cost * cell.torque_Nm)
    return math.log(cell.cost * cell.fuel_kg_per_s)


def _one_after_another(
    engine: Engine, asked: JointQuestion, cells: Cells
) -> tuple[Floats, list[Smoothed]]:
    """The maps (k, m, n), each in whole steps, and how each was smoothed.

    Each may use up its part of what may be given up, and what those before it have left.
    """
    count = len(asked.questions)
    shape = len(cells), len(cells[0])
    values: list[Floats] = []
    found: list[Smoothed] = []
    for n, question in enumerate(asked.questions):
        part = replace(question, give_up=question.give_up * (n + 1) / count)
        cut = [
            [
                along(engine, asked, cells[i][j], n, _held(values, i, j, count))
                for j in range(shape[1])
            ]
            for i in range(shape[0])
        ]
        smooth = smoothed(part, cut)
        found.append(smooth)
        values.append(in_steps(part, cut, smooth.degrees))
    return np.array(values), found


def _held(values: Sequence[Floats], i: int, j: int, count: int) -> list[float | None]:
    """Where finished maps stand in a cell; None for those to come."""
    return [float(values[n][i, j]) if n < len(values) else None for n in range(count)]


def _cut(
    engine: Engine, asked: JointQuestion, cells: Cells, values: Floats
) -> list[tuple[tuple[Cell, ...], ...]]:
    """(k, m, n) cells along each axis where the other maps stand."""
    return [
        tuple(
            tuple(
                along(engine, asked, cell, n, [float(x) for x in values[:, i, j]])
                for j, cell in enumerate(line)
            )
            for i, line in enumerate(cells)
        )
        for n in range(len(asked.questions))
    ]


def _alone(engine: Engine, asked: JointQuestion, cells: Cells) -> Floats:
    """As `JointMap.alone`."""
    zero = [min(max(0.0, low), high) for low, high in asked.safe_deg]
    lost = np.full((len(asked.questions), len(cells), len(cells[0])), math.nan)
    for n in range(len(asked.questions)):
        for i, line in enumerate(cells):
            for j, cell in enumerate(line):
                if cell.kind != "too light":
                    own = along(engine, asked, cell, n, zero)
                    lost[n, i, j] = max(own.loss[own.best], 0.0)
    return lost


def _line_at_full_load(
    at: JointSpeed, asked: JointQuestion, values: Floats, axis: int, column: int
) -> AtSpeed:
    """Full load along one axis, the others where the row of most load holds them."""
    line = asked.fine(axis)
    places = np.tile(values[:, -1, column], (len(line), 1))
    places[:, axis] = line
    return AtSpeed(
        speed_rpm=at.speed_rpm,
        places_deg=line,
        sweeps=at.sweeps,
        full=_columns(at, places),
        standard=at.standard,
        standard_full_Nm=at.standard_full_Nm,
    )


def _columns(at: JointSpeed, places: Floats) -> dict[str, Floats]:
    return dict(zip(at.full, at.full_at(places).T, strict=True))

"""Which of a few steps to hold in each cell of speed and load, inside limits, switching seldom.

At full load the step with most torque, below it the one that burns least fuel for the torque asked.
Steps do not blend: nothing is read between them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from breathe.engine.parts import Engine, Floats
from breathe.errors import BreatheError
from breathe.study.control.cases import (
    Cases,
    Check,
    checked,
    fuel_burning_slower,
    run_settings,
)
from breathe.study.control.cells import (
    AtSpeed,
    Cell,
    Kind,
    Path,
    asked_of,
    cheapest,
    path_through,
    path_torques,
)
from breathe.study.control.limits import Limits
from breathe.study.control.part_load import FIGURES, Evaluate
from breathe.study.control.step_asked import StepQuestion
from breathe.study.crossings import NUMERICAL_ERROR, tied

Places = NDArray[np.int64]
_MOST_PASSES = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class StepMap:
    """The finished map. Arrays are (m, n): loads rising down, speeds rising across.

    Steps are counted by their place among those that clear, from 0; cells stand over these places.
    """

    engine: Engine
    question: StepQuestion
    at_speeds: tuple[AtSpeed, ...]
    cells: tuple[tuple[Cell, ...], ...]
    held: Places
    checks: tuple[Check, ...]
    slower: Mapping[tuple[float, float], Sequence[float]]
    """As in `control.ControlMap`."""
    keys: tuple[str, ...]

    @property
    def numbers(self) -> Places:
        """What the file holds: step 1 is the first of the engine file."""
        return np.array(self.question.numbers)[self.held]

    def given_up(self, i: int, j: int) -> float:
        """Share of torque (full load) or fuel given up to switch less often [-]."""
        return max(float(self.cells[i][j].loss[self.held[i, j]]), 0.0)

    def as_good(self, i: int, j: int) -> list[int]:
        """Places of the other steps that a cell allows and that tie with its best."""
        cell, own = self.cells[i][j], int(self.held[i, j])
        return [
            k
            for k in range(len(cell.loss))
            if k != own and cell.allowed[k] and tied(1.0 + cell.loss[k], 1.0)
        ]

    def against_standard(self, i: int, j: int) -> float:
        """Share of fuel saved (part load) or torque gained (full load) over the standard [-]."""
        cell, at, k = self.cells[i][j], self.at_speeds[j], int(self.held[i, j])
        if "full" in cell.kind:
            return float(cell.figures["torque_Nm"][k]) / at.standard_full_Nm - 1.0
        standard = at.standard.at_torque(cell.torque_Nm)
        if standard is None:
            return math.nan
        return 1.0 - float(cell.figures["fuel_kg_per_s"][k]) / standard["fuel_kg_per_s"]


def step_map(
    engine: Engine,
    evaluate: Evaluate,
    question: StepQuestion,
    evaluate_slower: Evaluate | None = None,
) -> StepMap:
    """Work the map out.

    Parameters
    ----------
    engine : Engine
    evaluate : callable
        Rows of points of the engine, such as an `evaluate.Evaluator`.
    question : StepQuestion
    evaluate_slower : callable, optional
        The same of `burn.burning_slower`, for the band of savings in a map of few cells.

    Raises
    ------
    BreatheError
        A load above full load at every speed; a speed or a cell at which no case is of use.
    """
    run = Cases(engine, evaluate)
    places = np.arange(len(question.held), dtype=float)
    at_speeds = run_settings(run, question, question.held, places, question.standard)
    by_gauge = question.scale.axis != "bmep"
    ways = [_path(engine, at, question.limits) if by_gauge else None for at in at_speeds]
    cells = tuple(
        tuple(_cell_at(engine, at, question, load, way) for at, way in zip(at_speeds, ways,
              strict=True))
        for load in question.loads
    )  # fmt: skip
    held = seldom(cells, question.give_up)
    checks = checked(
        run,
        question,
        cells,
        held.astype(float),
        lambda i, j: question.held[held[i, j]],
        lambda i, j: at_speeds[j].sweeps[held[i, j]],
    )
    slower = fuel_burning_slower(run, evaluate_slower, question.part_load_lambda, at_speeds, cells)
    return StepMap(
        engine=engine,
        question=question,
        at_speeds=at_speeds,
        cells=cells,
        held=held,
        checks=checks,
        slower=slower,
        keys=tuple(run.keys),
    )


def _cell_at(
    engine: Engine, at: AtSpeed, question: StepQuestion, load: float, way: Path | None
) -> Cell:
    kind, torque = asked_of(engine, at, question.scale.axis, load, way)
    return step_cell(engine, at, question.limits, load, kind, torque)


def step_cell(
    engine: Engine, at: AtSpeed, limits: Limits, load: float, kind: Kind, torque_Nm: float
) -> Cell:
    """What one cell wants: a `cells.Cell` over the places of the steps.

    Parameters
    ----------
    engine : Engine
    at : AtSpeed
        Its sweeps and figures are those of the steps, in their order.
    limits : Limits
    load : float
        On the load axis, SI.
    kind : Kind
    torque_Nm : float
        What is asked; not used at full load.

    Raises
    ------
    BreatheError
        No step is known to give the torque.
    """
    if "full" in kind:
        figures: Mapping[str, Floats] = at.full
        torque_Nm = float(np.nanmax(figures["torque_Nm"]))
        cost = -figures["torque_Nm"] / torque_Nm
    else:
        nothing = dict.fromkeys(FIGURES, math.nan)
        rows = [sweep.at_torque(torque_Nm) or nothing for sweep in at.sweeps]
        figures = {name: np.array([row[name] for row in rows]) for name in FIGURES}
        fuel = figures["fuel_kg_per_s"]
        if not np.isfinite(fuel).any():
            raise BreatheError(
                f"{at.speed_rpm:.0f} rpm: no step has cases enough round {torque_Nm:.3g} Nm to "
                "tell its fuel; leave this speed or the loads round it out"
            )
        cost = fuel / float(np.nanmin(fuel))
    choice = cheapest(engine, limits, torque_Nm, figures, cost)
    known = np.isfinite(cost)
    return Cell(
        speed_rpm=at.speed_rpm,
        load=load,
        kind=kind,
        torque_Nm=torque_Nm,
        degrees=np.arange(len(cost), dtype=float),
        loss=np.where(known, choice.cost - choice.cost[choice.best], math.nan),
        figures=figures,
        allowed=choice.allowed,
        best=choice.best,
        bound=choice.bound,
        broken=choice.broken,
    )


def _path(engine: Engine, at: AtSpeed, limits: Limits) -> Path:
    """What the best steps of one speed ask of manifold and throttle, as `cells.path`."""
    torques = path_torques(engine, at)
    cells = [step_cell(engine, at, limits, 0.0, "part load", float(t)) for t in torques]
    return path_through(torques, [cell.figures_at(cell.best_deg) for cell in cells])


def seldom(cells: Sequence[Sequence[Cell]], give_up: float = NUMERICAL_ERROR) -> Places:
    """The step of each cell: among those allowed that give up no more than ``give_up``, the ones
    with which neighbours differ least often.

    Row by row, high load first, the row of fewest changes is taken: over speed, and against the
    rows above and below as they then stand; among equals that which gives up least, then the
    lower step. Repeated until nothing changes; every pass lowers changes or what is given up.

    Parameters
    ----------
    cells : (m, n) sequence of Cell
        Over the places of the steps.
    give_up : float
        Share of torque or fuel [-].

    Returns
    -------
    (m, n) int
        Places of the steps.

    Examples
    --------
    >>> from types import SimpleNamespace as Of
    >>> sure = Of(loss=np.array([0.0, 0.1]), allowed=np.array([True, True]), best=0)
    >>> tie = Of(loss=np.array([0.004, 0.0]), allowed=np.array([True, True]), best=1)
    >>> seldom([[sure, tie, sure]]).tolist()
    [[0, 0, 0]]
    """
    held = np.array([[cell.best for cell in line] for line in cells], dtype=np.int64)
    may = [[_candidates(cell, give_up) for cell in line] for line in cells]
    for _ in range(_MOST_PASSES):
        before = held.copy()
        for i in range(len(cells) - 1, -1, -1):
            beside = [held[k] for k in (i - 1, i + 1) if 0 <= k < len(cells)]
            held[i] = _row(cells[i], may[i], beside)
        if np.array_equal(held, before):
            break
    return held


def _candidates(cell: Cell, give_up: float) -> list[int]:
    return [
        k
        for k in range(len(cell.loss))
        if k == cell.best or (cell.allowed[k] and cell.loss[k] <= give_up)
    ]


def _row(
    cells: Sequence[Cell], may: Sequence[Sequence[int]], beside: Sequence[Places]
) -> list[int]:
    """The row of fewest changes, then of least given up, then of the lowest steps."""
    ways: dict[int, tuple[int, float, list[int]]] = {}
    for j, cell in enumerate(cells):
        reached = {}
        for k in may[j]:
            changes = sum(int(row[j]) != k for row in beside)
            loss = max(float(cell.loss[k]), 0.0)
            options = [
                (n + changes + (last != k), lost + loss, [*path, k])
                for last, (n, lost, path) in ways.items()
            ]
            reached[k] = min(options) if options else (changes, loss, [k])
        ways = reached
    return min(ways.values())[2]

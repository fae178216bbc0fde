"""Cycle after cycle until the cycle repeats, and how well it did."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from breathe.cycle import march
from breathe.cycle.cylinder import fill_volume
from breathe.cycle.layout import Model
from breathe.cycle.march import State, march_cycle
from breathe.cycle.phasing import Phasing
from breathe.cycle.start import cold_start
from breathe.engine.parts import Burn
from breathe.gas.pipe import stored


@dataclass(frozen=True, slots=True)
class Settling:
    """How far the cycle repeats."""

    settled: bool
    cycles: int
    change: float
    """How far trapped mass, work, residual share of the charge, gas stored in the pipes and
    temperature of the airboxes may still be from repeating, as a share: the last cycle's change,
    or more if changes die slowly."""
    mass_closure: float
    """Mass that came in, less went out, less is stored, over trapped mass, last cycle [-]."""
    energy_closure: float
    """The same of energy over the heat of the fuel trapped [-]."""
    alive: bool = True
    """False if the state ceased to be numbers, which leaves no figures."""


class _Books(NamedTuple):
    mass: float
    energy: float


def settle(
    model: Model,
    burn: Burn,
    *,
    start: State | None = None,
    tolerance: float = 1e-3,
    limit: int = 60,
) -> tuple[State, Settling]:
    """March ``model`` until it repeats within ``tolerance``, at most ``limit`` cycles.

    Parameters
    ----------
    model : Model
    burn : Burn
        Tells the phasing: fixed CA50, or best torque retarded until the autoignition index is 1.
    start : State, optional
        A settled state of a neighbouring case of the same engine; it is copied, not changed.
    tolerance : float
        Largest distance from repeating that counts as settled, see `distance_left` [-].

    Returns
    -------
    State, Settling
    """
    wanted = burn.ca50_best_deg if burn.ca50_deg is None else burn.ca50_deg
    state = cold_start(model, wanted) if start is None else carried_over(start, model)
    if burn.ca50_deg is not None or start is None:
        state.clock[1] = wanted
    before = fingerprint(model, state)
    moves: list[NDArray[np.float64]] = []
    means: list[NDArray[np.float64]] = []
    change = np.inf
    cycles, phasing = 0, Phasing(burn, float(state.clock[1]))
    while cycles < limit:
        books = _stock(model, state)
        alive = march_cycle(model, state)
        cycles += 1
        after = fingerprint(model, state)
        if not alive or not np.all(np.isfinite(after)):
            return state, Settling(False, cycles, np.inf, np.nan, np.nan, alive=False)
        moves.append(after - before)
        change = distance_left(moves)
        before = after
        settled = change < tolerance and phasing.settled(state)
        if settled:
            break
        state.clock[1] = phasing.next(state)
        means.append(state.chamber_mean[:, 1].copy())
        if len(means) >= 4 and _jump_airboxes(model, state, means):
            means.clear()
            moves.clear()
    mass, energy = _closure(model, state, books)
    return state, Settling(settled, cycles, change, mass, energy)


def distance_left(moves: list[NDArray[np.float64]]) -> float:
    """How far the cycle may still be from repeating, from the ``moves`` of the cycles so far.

    Each move holds the change of every part of the `fingerprint`. A part whose changes shrink by a
    ratio r each cycle has r / (1 - r) of its last one to go: a small change alone proves little, as
    an airbox that warms up slowly moves little in each of many cycles.
    """
    if len(moves) < 4:
        return np.inf
    last = np.abs(moves[-1])
    # Over two cycles, as the changes of a tuned engine alternate between large and small.
    ratio = np.sqrt(last / np.maximum(np.abs(moves[-3]), 1e-300))
    ratio = np.minimum(ratio, 0.95)
    return float(np.max(np.maximum(last, last * ratio / (1.0 - ratio))))


def _jump_airboxes(model: Model, state: State, means: list[NDArray[np.float64]]) -> bool:
    """Take slowly warming airboxes to the temperature they are heading for; whether any was.

    ``means`` are their temperatures cycle by cycle [K]. Three of them tell the ratio by which the
    changes shrink, and so their sum (Aitken's extrapolation). It only shortens the way: what counts
    as settled is still that the marched cycle repeats.
    """
    first, second = means[-2] - means[-3], means[-1] - means[-2]
    jumped = False
    for i in np.flatnonzero(model.chamber_hot == 0.0):
        if abs(second[i]) < 1e-4 * means[-1][i] or not 0.6 < second[i] / first[i] < 0.97:
            continue
        ratio = second[i] / first[i]
        jump = float(np.clip(second[i] * ratio / (1.0 - ratio), -25.0, 25.0))
        v, content = len(model.fires) + int(i), state.content
        fill_volume(
            content, v, float(content.pressure[v]), float(content.temperature[v]) + jump,
            float(content.burned[v] / content.mass[v]), float(model.chamber_volume[i]),
            model.charge,
        )  # fmt: skip
        jumped = True
    return jumped


def fingerprint(model: Model, state: State) -> NDArray[np.float64]:
    """What has to repeat, each scaled so that a change of 1 is the whole of it."""
    work = state.tally[:, [march.WORK_CLOSED, march.WORK_GAS_EXCHANGE]].sum(axis=1)
    trapped = np.maximum(state.shut.closed_mass, 1e-12)
    full = 1e6 * model.swept  # about the work of a full-load cycle, 10 bar
    mass, _, _ = stored(state.flow, model.grid)
    pipes = np.log([max(mass, 1e-12)])
    # An airbox holds many cycles' air and warms slowly: it tells what filling does not yet.
    cold = state.chamber_mean[model.chamber_hot == 0.0, 1]
    airboxes = np.log(np.maximum(cold, 1.0))
    return np.concatenate(
        [np.log(trapped), work / full, state.shut.closed_burned / trapped, pipes, airboxes]
    )


def carried_over(start: State, model: Model) -> State:
    """A copy of a neighbour's state; it belongs to crank angle 0 as every settled state does."""
    if len(start.flow.density) != len(model.grid.volume):
        raise ValueError("a state can only be carried over between cases of the same pipes")
    copied: dict[str, Any] = {
        name: part.copy()
        if isinstance(part, np.ndarray)
        else type(part)(*(array.copy() for array in part))
        for name, part in start._asdict().items()
    }
    return State(**copied)


def _stock(model: Model, state: State) -> _Books:
    """Mass and energy inside the engine."""
    mass, energy, _ = stored(state.flow, model.grid)
    inside = len(model.fires) + len(model.chamber_volume)
    return _Books(
        mass + float(np.sum(state.content.mass[:inside])),
        energy + float(np.sum(state.content.energy[:inside])),
    )


def _closure(model: Model, state: State, before: _Books) -> tuple[float, float]:
    now, books, tally = _stock(model, state), state.books, state.tally
    mass = now.mass - before.mass + books[march.OUTSIDE_MASS]
    work = np.sum(tally[:, [march.WORK_CLOSED, march.WORK_GAS_EXCHANGE]])
    energy = now.energy - before.energy + books[march.OUTSIDE_ENERGY] + work
    energy += np.sum(tally[:, march.WALL_LOSS])
    energy -= books[march.PIPE_HEAT] + books[march.CHAMBER_HEAT]
    trapped = max(float(np.sum(state.shut.closed_mass)), 1e-12)
    heat = max(trapped * model.charge.fuel_fraction * model.charge.fuel_heat, 1e-12)
    return float(mass / trapped), float(energy / heat)

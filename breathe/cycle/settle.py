"""Cycle after cycle until the cycle repeats, and how well it did."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from breathe.cycle import march
from breathe.cycle.layout import Model
from breathe.cycle.march import State, march_cycle
from breathe.cycle.start import cold_start
from breathe.engine.parts import Burn
from breathe.gas.pipe import stored

KNOCK_PER_DEGREE = 0.065
"""Fall of the autoignition index for each degree of later burning near its limit: 1.69 to 1.24 over
6 degrees at 2000 rpm in a sweep of this cycle (computed). It only sets how fast CA50 is found."""
LATEST_CA50_DEG = 40.0
"""Later than this, knock is not avoided by retarding but by less compression."""


@dataclass(frozen=True, slots=True)
class Settling:
    """How far the cycle repeats."""

    settled: bool
    cycles: int
    change: float
    """Largest relative change over the last cycle of trapped mass, work, residual share of the
    charge and gas stored in the pipes [-]."""
    mass_closure: float
    """Mass that came in, less went out, less is stored, over trapped mass, last cycle [-]."""
    energy_closure: float
    """The same of energy over the heat of the fuel trapped [-]."""


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
        Largest change from cycle to cycle that counts as repeating [-].

    Returns
    -------
    State, Settling
    """
    wanted = burn.ca50_best_deg if burn.ca50_deg is None else burn.ca50_deg
    state = cold_start(model, wanted) if start is None else carried_over(start, model)
    if burn.ca50_deg is not None or start is None:
        state.clock[1] = wanted
    before = fingerprint(model, state)
    change = np.inf
    cycles, moved = 0, np.inf
    while cycles < limit:
        books = _stock(model, state)
        alive = march_cycle(model, state)
        cycles += 1
        if not alive:
            return state, Settling(False, cycles, np.inf, np.nan, np.nan)
        after = fingerprint(model, state)
        change = float(np.max(np.abs(after - before)))
        before = after
        if change < tolerance and moved < 0.25 and cycles >= 3:
            break
        moved = _retard(state, burn)
    settled = change < tolerance and moved < 0.25
    mass, energy = _closure(model, state, books)
    return state, Settling(settled, cycles, change, mass, energy)


def fingerprint(model: Model, state: State) -> NDArray[np.float64]:
    """What has to repeat, each scaled so that a change of 1 is the whole of it."""
    work = state.tally[:, [march.WORK_CLOSED, march.WORK_GAS_EXCHANGE]].sum(axis=1)
    trapped = np.maximum(state.shut.closed_mass, 1e-12)
    full = 1e6 * model.swept  # about the work of a full-load cycle, 10 bar
    mass, _, _ = stored(state.flow, model.grid)
    pipes = np.log([max(mass, 1e-12)])
    return np.concatenate([np.log(trapped), work / full, state.shut.closed_burned / trapped, pipes])


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


def _retard(state: State, burn: Burn) -> float:
    """Move CA50 towards best torque or the knock limit; returns by how much [deg].

    The index is that of a burn timed a cycle or two ago, so only part of the way is gone at once.
    """
    if burn.ca50_deg is not None:
        return 0.0
    now = float(state.clock[1])
    worst = float(np.max(state.shut.knock_last))
    move = float(np.clip(0.4 * (worst - 1.0) / KNOCK_PER_DEGREE, -4.0, 4.0))
    wanted = float(np.clip(now + move, burn.ca50_best_deg, LATEST_CA50_DEG))
    state.clock[1] = wanted
    return abs(wanted - now)


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

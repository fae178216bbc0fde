"""Pipes through which gas goes the wrong way, and exhaust that comes back."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from breathe.cycle.layout import Model, Piece, joined_runs
from breathe.cycle.march import State
from breathe.engine.parts import Engine

WRONG_WAY = 0.05
"""Net flow against its direction over all that moved, from which a pipe counts as reversed [-]."""
BLOWN_BACK = 0.25
"""Exhaust that returns through the valve over exhaust that left, from which it is told [-]: up to
0.18 was seen in the supplied engines at part load (computed)."""

Run = Sequence[Piece]


def reversed_pipes(engine: Engine, state: State) -> list[str]:
    """Pipes through which the mean flow of the cycle goes against their direction.

    On the intake side that is away from the outside, on the exhaust side towards it; a pipe between
    two places equally far from the outside has no direction.
    """
    runs = joined_runs(engine)
    steps = _steps_from_outside(engine, runs)
    found = []
    for i, run in enumerate(runs):
        at_start, at_end = state.end_trace[2 * i, 1], state.end_trace[2 * i + 1, 1]
        net = float(at_end.mean() - at_start.mean())
        moved = float(np.abs(at_end).mean() + np.abs(at_start).mean())
        away = steps.get(run[-1].end.node, 0) - steps.get(run[0].start.node, 0)
        direction = away if run[0].pipe.side == "intake" else -away
        if direction * net < 0.0 and abs(net) > WRONG_WAY * moved:
            found.append(_name(run))
    return found


def blown_back(engine: Engine, model: Model, state: State) -> list[str]:
    """Exhaust pipes out of which much of the exhaust returns to its cylinder."""
    found = []
    for k, valve in enumerate(model.ends.valve):
        if valve >= 0 and valve % 2 == 1:
            back = state.end_trace[k, 1]
            if np.maximum(back, 0.0).sum() > BLOWN_BACK * np.maximum(-back, 0.0).sum():
                run = joined_runs(engine)[k // 2]
                found.append(run[0 if k % 2 == 0 else -1].pipe.name)
    return found


def _steps_from_outside(engine: Engine, runs: Sequence[Run]) -> dict[str, int]:
    """How many runs of pipe lie between the outside and each place."""
    steps = {outside.name: 0 for outside in engine.outsides}
    links = [(run[0].start.node, run[-1].end.node) for run in runs]
    for distance in range(1, len(runs) + 1):
        last = {node for node, found in steps.items() if found == distance - 1}
        for one, other in links:
            for here, there in ((one, other), (other, one)):
                if here in last:
                    steps.setdefault(there, distance)
    return steps


def _name(run: Run) -> str:
    names = [piece.pipe.name for piece in run]
    return names[0] if len(names) == 1 else f"{names[0]} to {names[-1]}"

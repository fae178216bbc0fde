"""What must be said of a cycle beside its figures."""

from __future__ import annotations

import math

import numpy as np

from breathe.cycle import march
from breathe.cycle.burn import LONGEST_10_90_DEG
from breathe.cycle.layout import Model
from breathe.cycle.march import State
from breathe.cycle.phasing import LATEST_CA50_DEG
from breathe.cycle.reversal import BLOWN_BACK, blown_back, reversed_pipes
from breathe.cycle.settle import Settling
from breathe.engine.parts import Engine

ROUGH_RESIDUAL = 0.25
"""Residual share by mass above which an engine runs roughly (common practice, no source)."""


def remarks(engine: Engine, model: Model, state: State, settling: Settling, residual: float) -> str:
    """Sentences without capital or stop, joined by semicolons; empty if all is as it should be."""
    told = [*_settling(settling), *_flow(engine, model, state), *_burning(model, state, residual)]
    return "; ".join(told)


def _settling(settling: Settling) -> list[str]:
    if settling.settled:
        return []
    told = f"{settling.change:.2%} a cycle" if math.isfinite(settling.change) else "too few"
    return [f"not settled in {settling.cycles} cycles ({told})"]


def _flow(engine: Engine, model: Model, state: State) -> list[str]:
    told = []
    if np.any(state.tally[:, march.PEAK_MACH] >= 1.0):
        told.append("intake valve chokes")
    wrong, back = reversed_pipes(engine, state), blown_back(engine, model, state)
    if wrong:
        told.append(f"gas flows the wrong way through {_named(wrong)}, mean of the cycle")
    if back:
        told.append(
            f"more than {BLOWN_BACK * 100:.0f} % of the exhaust returns out of {_named(back)}"
        )
    return told


def _named(pipes: list[str]) -> str:
    """The first few by name, the rest by number."""
    names = ", ".join(f'"{name}"' for name in pipes[:3])
    return names if len(pipes) <= 3 else f"{names} and {len(pipes) - 3} more"


def _burning(model: Model, state: State, residual: float) -> list[str]:
    told = []
    if residual > ROUGH_RESIDUAL:
        told.append(f"residual above {ROUGH_RESIDUAL * 100:.0f} %: rough running")
    if np.any(state.shut.burn_10_90 >= LONGEST_10_90_DEG):
        told.append(
            "charge too diluted to burn: misfire likely (shown as if it burned for "
            f"{LONGEST_10_90_DEG:.0f} deg)"
        )
    if np.any(state.shut.burn_start <= model.timing.intake_closes - 720.0):
        told.append(
            "intake valve is still open when burning should begin: it begins at its closing"
        )
    if state.clock[1] >= LATEST_CA50_DEG:
        told.append("knock not avoided by retarding")
    return told

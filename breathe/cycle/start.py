"""A first guess of everything in a model, from which marching settles fast."""

from __future__ import annotations

from breathe.cycle.burn import full_duration
from breathe.cycle.cylinder import fill_volume, hold_outside
from breathe.cycle.layout import Model
from breathe.cycle.march import State, empty_state
from breathe.cycle.piston import volume
from breathe.gas.pipe import fill

HOT_K = 1100.0
"""Exhaust gas at full load (common practice, no source); only the first guess."""
INTAKE_K = 340.0
"""Charge at intake closing, warmed by walls and residual (common practice, no source)."""
BURNED = 0.97
"""Burned share of exhaust gas in the first guess [-]."""


def cold_start(model: Model, ca50_deg: float) -> State:
    """Gas at rest at crank angle 0: intake fresh, exhaust hot and burned, cylinders mid-cycle.

    Cylinders between intake closing and firing hold a polytropically compressed charge, so that
    the one that fires first does.
    """
    state = empty_state(model)
    charge, cylinders = model.charge, len(model.fires)
    pressure, temperature = float(model.outside[0, 0]), float(model.outside[0, 1])
    state.clock[1] = ca50_deg
    for run in range(len(model.grid.first)):
        gas = (HOT_K, BURNED) if model.run_hot[run] else (temperature, 0.0)
        for cell in range(model.grid.first[run] - 1, model.grid.last[run] + 2):
            fill(state.flow, charge, cell, pressure, gas[0], 0.0, gas[1])
    _still_ends(state, model)
    for c, fires in enumerate(model.fires):
        _fill_cylinder(model, state, c, (720.0 - float(fires)) % 720.0, pressure)
    for i, size in enumerate(model.chamber_volume):
        gas = (HOT_K, BURNED) if model.chamber_hot[i] else (temperature, 0.0)
        fill_volume(state.content, cylinders + i, pressure, gas[0], gas[1], float(size), charge)
    first_outside = cylinders + len(model.chamber_volume)
    for i, (p, t, fraction) in enumerate(model.outside):
        hold_outside(state.content, state.reservoirs, first_outside + i, p, t, fraction, charge)
    return state


def _still_ends(state: State, model: Model) -> None:
    """Pipe ends as if closed, so that the first slopes are flat."""
    cells = model.ends.cell
    state.passed.pressure[:] = state.flow.pressure[cells]
    state.passed.temperature[:] = state.flow.temperature[cells]
    state.passed.fraction[:] = state.flow.fraction[cells]


def _fill_cylinder(model: Model, state: State, c: int, angle: float, pressure: float) -> None:
    size = float(volume(model.crank, angle))
    shut = model.timing.intake_closes
    closed = float(volume(model.crank, shut))
    if angle == 0.0 or angle >= shut:
        # Compressed since intake closing; at firing TDC itself the burn has not begun here.
        ratio = closed / size
        state_now = (0.95 * pressure * ratio**1.32, INTAKE_K * ratio**0.32, 0.05)
    elif angle < model.timing.exhaust_opens:
        state_now = (6.0 * pressure, 1900.0, BURNED)
    elif angle < 360.0:
        state_now = (1.2 * pressure, HOT_K, BURNED)
    else:
        state_now = (pressure, INTAKE_K, 0.06)
    fill_volume(state.content, c, *state_now, size, model.charge)
    memory = state.shut
    memory.pressure[c], memory.temperature[c] = 0.95 * pressure, INTAKE_K
    memory.volume[c] = closed
    if angle == 0.0 or angle >= shut:
        burning = model.burning
        length = full_duration(burning.duration_10_90, burning.shape, burning.order)
        memory.burn_duration[c] = length
        # From here on, so that a cylinder at firing TDC still burns its whole charge.
        memory.burn_start[c] = 0.0 if angle == 0.0 else state.clock[1] - 0.5 * length

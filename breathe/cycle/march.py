"""The whole engine through one cycle: a row of named steps, each one equation or loop elsewhere."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from breathe.cycle.burn import (
    FLAME_POINT_DEG,
    REFERENCE_LAMBDA,
    REFERENCE_POINT,
    REFERENCE_RESIDUAL,
    burn_duration,
    flame_point,
    full_duration,
    start_of_burn,
)
from breathe.cycle.cylinder import (
    Content,
    Shut,
    advance_chamber,
    advance_cylinder,
    chamber_ahead,
    cylinder_ahead,
    empty_content,
    empty_shut,
    grow_knock,
)
from breathe.cycle.flame import laminar_flame_speed
from breathe.cycle.layout import Model
from breathe.cycle.piston import volume
from breathe.gas.ends import (
    EndFlow,
    Reservoirs,
    empty_end_flow,
    empty_reservoirs,
    end_fluxes,
    set_ghosts,
)
from breathe.gas.mixture import blend_u_cv, burned_mole_fraction
from breathe.gas.pipe import (
    Flow,
    advance,
    empty_flow,
    face_states,
    fastest_signal,
    hllc_fluxes,
    recover,
    wall_heat,
    wall_rates,
)
from breathe.gas.steps import cross_steps, push_steps
from breathe.kernel import inner, kernel

Floats = NDArray[np.float64]

TRACE_STEPS = 720
"""Traces hold one value a crank degree."""

LAST_DEGREES = 40.0
"""Port pressure is averaged over so many degrees before intake closing."""

# Columns of `State.tally`, per cylinder.
WORK_CLOSED, WORK_GAS_EXCHANGE, WALL_LOSS, INTAKE, INTAKE_FRESH, PUSHED_BACK = range(6)
EXHAUST, EXHAUST_FRESH, EXHAUST_ENERGY, PEAK_PRESSURE, PEAK_MACH, PORT_BEFORE_CLOSING = range(6, 12)
CHOKED = 12  # crank degrees, summed over the intake pipes of the cylinder
TALLIES = 13
# Entries of `State.books`.
OUTSIDE_MASS, OUTSIDE_ENERGY, PIPE_HEAT, CHAMBER_HEAT, STEPS = range(5)
BOOKS = 5


class State(NamedTuple):
    """Everything that changes while a model marches."""

    flow: Flow
    passed: EndFlow
    reservoirs: Reservoirs
    content: Content
    shut: Shut
    share: Floats  # (2, n_end) openings over pipe area at this moment: out, in
    response: Floats  # (n_chamber,) area * sound speed / volume, summed over pipes [1/s]
    clock: Floats  # (2,) crank angle [deg]; CA50 of this cycle [deg]
    tally: Floats  # (n_cylinder, TALLIES) sums over the cycle
    books: Floats  # (BOOKS,) sums over the cycle, whole engine
    chamber_mean: Floats  # (n_chamber, 2) pressure [Pa] and temperature [K], mean of the cycle
    cylinder_trace: Floats  # (n_cylinder, 4, 720) Pa, K, kg, burned fraction
    end_trace: Floats  # (n_end, 3, 720) Pa, kg/s out of the pipe, m/s


def empty_state(model: Model) -> State:
    """A state with room for ``model``, all zero."""
    cylinders, ends = len(model.fires), len(model.ends.cell)
    chambers = len(model.chamber_volume)
    volumes = cylinders + chambers + len(model.outside)
    return State(
        flow=empty_flow(len(model.grid.volume)),
        passed=empty_end_flow(ends),
        reservoirs=empty_reservoirs(volumes),
        content=empty_content(volumes),
        shut=empty_shut(cylinders),
        share=np.zeros((2, ends)),
        response=np.zeros(chambers),
        clock=np.zeros(2),
        tally=np.zeros((cylinders, TALLIES)),
        books=np.zeros(BOOKS),
        chamber_mean=np.zeros((chambers, 2)),
        cylinder_trace=np.zeros((cylinders, 4, TRACE_STEPS)),
        end_trace=np.zeros((ends, 3, TRACE_STEPS)),
    )


@kernel
def own_angle(angle, fires):
    """Crank angle of one cylinder from its own firing TDC [deg], 0 to 720."""
    local = angle - fires
    return local + 720.0 if local < 0.0 else local


@kernel
def opening_at(table, angle):
    """Effective area [m2] at a crank angle [deg], linear between the points of its table."""
    count = len(table)
    place = angle * (count / 720.0)
    i = math.floor(place)
    weight = place - i
    return table[i % count] * (1.0 - weight) + table[(i + 1) % count] * weight


@inner
def set_openings(model, state, angle):
    """Opening of every pipe end at a crank ``angle`` [deg], over pipe area."""
    ends, opening = model.ends, model.opening
    for k in range(len(ends.cell)):
        valve = ends.valve[k]
        if valve >= 0:
            local = own_angle(angle, model.fires[valve // 2]) % 720.0
            per_area = 1.0 / ends.area[k]
            # Leaving the pipe is into the cylinder: forward at an intake, reverse at an exhaust.
            into, out_of = (0, 1) if valve % 2 == 0 else (3, 2)
            state.share[0, k] = min(1.0, opening_at(opening[into], local) * per_area)
            state.share[1, k] = min(1.0, opening_at(opening[out_of], local) * per_area)
        else:
            scale = 1.0 + model.throttled[k] * (model.throttle - 1.0)
            state.share[0, k] = ends.out_share[k] * scale
            state.share[1, k] = ends.in_share[k] * scale


@inner
def time_step(model, state, angle):
    """Length of the next step [deg]: waves, small junctions, the cap, and the end of the cycle."""
    rate = 6.0 * model.speed_rpm
    quickest = fastest_signal(state.flow, model.grid) / model.courant
    for c in range(len(state.response)):
        # A volume may not empty through its pipes within a step; 0.7 keeps it accurate.
        quickest = max(quickest, state.response[c] / 0.7)
    step = min(model.step_deg, rate / quickest)
    remaining = 720.0 - angle
    if remaining <= step:
        return remaining
    return 0.5 * remaining if remaining < 2.0 * step else step


@inner
def chamber_response(model, state):
    """How fast each chamber evens out through its pipes [1/s]."""
    cylinders = len(model.fires)
    state.response[:] = 0.0
    for k in range(len(model.ends.cell)):
        c = model.ends.reservoir[k] - cylinders
        if 0 <= c < len(state.response):
            v = cylinders + c
            # R T = p V / m.
            thermal = state.content.pressure[v] * model.chamber_volume[c] / state.content.mass[v]
            gamma = 1.0 + thermal / (state.content.temperature[v] * state.content.capacity[v])
            sound = math.sqrt(gamma * thermal)
            state.response[c] += model.ends.area[k] * sound / model.chamber_volume[c]


@inner
def volumes_ahead(model, state, angle, step_deg, step):
    """State of all volumes half a step ahead."""
    cylinders = len(model.fires)
    for c in range(cylinders):
        local = own_angle(angle, model.fires[c])
        cylinder_ahead(state.content, state.shut, c, local, step_deg, step, model, state.reservoirs)
    for i in range(len(model.chamber_volume)):
        chamber_ahead(
            state.content, cylinders + i, model.chamber_volume[i], state.response[i], step,
            state.reservoirs, model.charge,
        )  # fmt: skip


@inner
def collect_flows(model, state):
    """Net inflow of every volume from what passed its pipe ends."""
    content, passed = state.content, state.passed
    content.mass_rate[:] = 0.0
    content.energy_rate[:] = 0.0
    content.burned_rate[:] = 0.0
    for k in range(len(model.ends.cell)):
        v = model.ends.reservoir[k]
        content.mass_rate[v] += passed.mass[k]
        content.energy_rate[v] += passed.enthalpy[k]
        content.burned_rate[v] += passed.burned[k]


@inner
def close_cylinder(model, state, c, angle):
    """At intake closing: remember the charge, and settle how long and when it will burn."""
    shut, content = state.shut, state.content
    size = volume(model.crank, angle)
    shut.pressure[c] = content.pressure[c]
    shut.temperature[c] = content.temperature[c]
    shut.volume[c] = size
    shut.closed_mass[c] = content.mass[c]
    shut.closed_burned[c] = content.burned[c]
    shut.end_gas[c] = content.temperature[c]
    shut.last_pressure[c] = content.pressure[c]
    shut.knock_last[c] = shut.knock[c]
    shut.knock[c] = 0.0
    burning = model.burning
    residual = burned_mole_fraction(content.burned[c] / content.mass[c], model.charge)
    ratio = size / volume(model.crank, FLAME_POINT_DEG)
    point = flame_point(content.pressure[c], content.temperature[c], ratio)
    speed = laminar_flame_speed(
        point.temperature_K, point.pressure_Pa, burning.equivalence, residual
    )
    reference = laminar_flame_speed(
        REFERENCE_POINT.temperature_K, REFERENCE_POINT.pressure_Pa, 1.0 / REFERENCE_LAMBDA,
        REFERENCE_RESIDUAL,
    )  # fmt: skip
    length = burn_duration(
        burning.duration_10_90, model.speed_rpm, burning.speed_exponent, speed, reference
    )
    whole = full_duration(length.duration_10_90_deg, burning.shape, burning.order)
    shut.burn_10_90[c] = length.duration_10_90_deg
    shut.burn_duration[c] = whole
    start = start_of_burn(state.clock[1], whole, burning.shape, burning.order)
    # Nothing is lit while the intake valve is open.
    shut.burn_start[c] = max(start, angle - 720.0)


@inner
def advance_volumes(model, state, angle, step_deg, step):
    """All volumes on by one step, with work, walls and knock tallied."""
    cylinders, tally = len(model.fires), state.tally
    for c in range(cylinders):
        local = own_angle(angle, model.fires[c])
        work = advance_cylinder(
            state.content, state.shut, c, local, step_deg, step, model, state.reservoirs
        )
        middle = local + 0.5 * step_deg
        exchange = 180.0 <= middle < 540.0
        tally[c, WORK_GAS_EXCHANGE if exchange else WORK_CLOSED] += work
        tally[c, WALL_LOSS] += step * state.content.wall_loss[c]
        tally[c, PEAK_PRESSURE] = max(tally[c, PEAK_PRESSURE], state.content.pressure[c])
        if local < model.timing.intake_closes <= local + step_deg:
            close_cylinder(model, state, c, model.timing.intake_closes)
        else:
            grow_knock(state.shut, c, local, state.reservoirs.pressure[c], step, model)
    for i in range(len(model.chamber_volume)):
        v = cylinders + i
        advance_chamber(
            state.content, v, model.chamber_volume[i], model.chamber_wall[i],
            model.chamber_wall_K[i], step, model.charge,
        )  # fmt: skip
        state.books[CHAMBER_HEAT] -= step * state.content.wall_loss[v]
        state.chamber_mean[i, 0] += state.content.pressure[v] * (step_deg / 720.0)
        state.chamber_mean[i, 1] += state.content.temperature[v] * (step_deg / 720.0)


@inner
def tally_valves(model, state, angle, step):
    """What passed the valves, and how hard the intake was driven, in the step around ``angle``."""
    ends, passed, tally = model.ends, state.passed, state.tally
    for k in range(len(ends.cell)):
        valve = ends.valve[k]
        if valve < 0:
            continue
        c = valve // 2
        mass, fresh = step * passed.mass[k], step * (passed.mass[k] - passed.burned[k])
        if valve % 2 == 0:
            local = own_angle(angle, model.fires[c]) % 720.0
            tally[c, INTAKE] += mass
            tally[c, INTAKE_FRESH] += fresh
            if mass < 0.0 and local > 540.0:
                tally[c, PUSHED_BACK] -= mass
            if passed.mass[k] > 0.0:
                opening = state.share[0, k] * ends.area[k]
                speed = throat_mach(model, state, k, opening)
                tally[c, PEAK_MACH] = max(tally[c, PEAK_MACH], speed)
                if speed >= 1.0:
                    tally[c, CHOKED] += step * 6.0 * model.speed_rpm
            before = model.timing.intake_closes - local
            if 0.0 <= before < LAST_DEGREES:
                tally[c, PORT_BEFORE_CLOSING] += passed.pressure[k] * step
        else:
            tally[c, EXHAUST] -= mass
            tally[c, EXHAUST_FRESH] -= fresh
            tally[c, EXHAUST_ENERGY] -= step * passed.enthalpy[k]


@inner
def throat_mach(model, state, k, opening):
    """Mach number in the intake valve's effective opening [-], isentropic; 1 when choked."""
    passed = state.passed
    _, cv = blend_u_cv(passed.temperature[k], passed.fraction[k], model.charge)
    constant = model.charge.fresh_R
    gamma = 1.0 + constant / cv
    mach = abs(passed.velocity[k]) / math.sqrt(gamma * constant * passed.temperature[k])
    still = passed.pressure[k] * (1.0 + 0.5 * (gamma - 1.0) * mach * mach) ** (
        gamma / (gamma - 1.0)
    )
    ratio = still / state.reservoirs.pressure[model.ends.reservoir[k]]
    if ratio <= 1.0 or opening <= 0.0:
        return 0.0
    squared = 2.0 / (gamma - 1.0) * (ratio ** ((gamma - 1.0) / gamma) - 1.0)
    return min(1.0, math.sqrt(squared))


@inner
def keep_books(model, state, step):
    """What crossed to the outside and came through pipe walls in one step."""
    first_outside = len(model.fires) + len(model.chamber_volume)
    for k in range(len(model.ends.cell)):
        if model.ends.reservoir[k] >= first_outside:
            state.books[OUTSIDE_MASS] += step * state.passed.mass[k]
            state.books[OUTSIDE_ENERGY] += step * state.passed.enthalpy[k]
    state.books[PIPE_HEAT] += step * wall_heat(state.flow, model.grid)
    state.books[STEPS] += 1.0


@inner
def trace(model, state, angle, step_deg):
    """Write the traces for every whole degree this step ends on or passes."""
    content = state.content
    first, last = math.ceil(angle - 1e-9), math.ceil(angle + step_deg - 1e-9)
    for degree in range(first, last):
        for c in range(len(model.fires)):
            state.cylinder_trace[c, 0, degree] = content.pressure[c]
            state.cylinder_trace[c, 1, degree] = content.temperature[c]
            state.cylinder_trace[c, 2, degree] = content.mass[c]
            state.cylinder_trace[c, 3, degree] = content.burned[c] / content.mass[c]
        for k in range(len(model.ends.cell)):
            state.end_trace[k, 0, degree] = state.passed.pressure[k]
            state.end_trace[k, 1, degree] = state.passed.mass[k]
            state.end_trace[k, 2, degree] = state.passed.velocity[k]


@kernel
def march_cycle(model, state):
    """March all pipes and volumes through 720 degrees, from and to crank angle 0.

    Returns
    -------
    bool
        False if the state ceased to be a number.
    """
    state.tally[:] = 0.0
    state.books[:] = 0.0
    state.chamber_mean[:] = 0.0
    flow, grid, charge = state.flow, model.grid, model.charge
    angle = 0.0
    per_degree = 1.0 / (6.0 * model.speed_rpm)
    while angle < 720.0:
        recover(flow, grid, charge)
        wall_rates(flow, grid)
        chamber_response(model, state)
        step_deg = time_step(model, state, angle)
        if not step_deg > 1e-7 and angle + 1e-6 < 720.0:
            return False
        step = step_deg * per_degree
        set_openings(model, state, angle + 0.5 * step_deg)
        volumes_ahead(model, state, angle, step_deg, step)
        set_ghosts(flow, model.ends, state.passed)
        face_states(flow, grid, charge, step)
        cross_steps(flow, grid)
        hllc_fluxes(flow)
        end_fluxes(
            flow, model.ends, state.reservoirs, state.share[0], state.share[1], charge,
            state.passed,
        )  # fmt: skip
        trace(model, state, angle, step_deg)
        keep_books(model, state, step)
        collect_flows(model, state)
        advance(flow, grid, step)
        push_steps(flow, grid, step)
        advance_volumes(model, state, angle, step_deg, step)
        tally_valves(model, state, angle + 0.5 * step_deg, step)
        angle += step_deg
        if 720.0 - angle < 1e-9:
            angle = 720.0
    state.clock[0] = 0.0
    return math.isfinite(state.content.mass[0]) and math.isfinite(state.content.energy[0])

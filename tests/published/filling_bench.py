"""One inlet stroke as a bench: a cylinder fills through one side's valves, with or without a pipe.

Everything that computes is the program's own: slider-crank, pipe, pipe end, nozzle, cylinder step.
Only the set-up is simple, so that a second hand can repeat it: ideal gas, no heat, no friction, a
half-cosine lift with dwell from TDC, the cylinder set to a stated state at every TDC.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from breathe.cycle.cylinder import ahead, empty_content, fill_volume, find_state, hold_outside
from breathe.cycle.piston import SliderCrank, slider_crank, volume, volume_slope
from breathe.engine.parts import Cylinder
from breathe.gas.burned_table import BurnedTable
from breathe.gas.ends import Ends, empty_end_flow, empty_reservoirs, end_fluxes, set_ghosts
from breathe.gas.mixture import Charge
from breathe.gas.nozzle import mass_flow
from breathe.gas.pipe import (
    Grid,
    advance,
    empty_flow,
    face_states,
    fastest_signal,
    fill,
    hllc_fluxes,
    recover,
)
from breathe.kernel import allocating

Floats = NDArray[np.float64]

FLOW_COEFFICIENT = 0.65
THROAT_SHARE = 0.85
"""Effective area: 0.65 * min(pi D lift, 0.85 pi D^2 / 4) for each valve."""
COURANT = 0.8
STEP_DEG = 0.25
TOLERANCE = 1e-6
"""Relative change of the trapped mass from cycle to cycle that counts as settled."""
CYCLES_MAX = 60


@dataclass(frozen=True)
class Filling:
    """What one settled inlet stroke gave."""

    volumetric_efficiency: float
    """(mass at closing - clearance mass at the start) / (plenum density * swept volume) [-]."""
    pressure_at_closing: float
    """[Pa]"""
    residual_fraction: float
    """Gas of the clearance at the start over all gas at closing, by mass [-]."""
    flow_loss: float
    """Plenum pressure less cylinder pressure, mean over swept volume from TDC to BDC [Pa]."""
    cycles: int
    """1 without a pipe, where nothing is kept from one cycle to the next."""


@dataclass(frozen=True)
class Bench:
    crank: SliderCrank
    lift_area: Floats  # effective area [m2] at arange(n) * 720 / n degrees after TDC
    closing_deg: float
    speed_rpm: float
    plenum: tuple[float, float]  # Pa, K
    clearance: tuple[float, float]  # Pa, K
    gas: Charge
    gamma: float


def filling_bench(
    *,
    bore: float,
    stroke: float,
    rod: float,
    compression_ratio: float,
    valve_count: int,
    valve_diameter: float,
    max_lift: float,
    flank: float,
    dwell: float,
    speed: float,
    pipe_length: float | None = None,
    pipe_bore: float | None = None,
    plenum_pressure: float = 1e5,
    exhaust_pressure: float = 1e5,
    inlet_temperature: float = 310.0,
    residual_temperature: float = 1100.0,
    gas_constant: float = 287.0,
    gamma: float = 1.38,
    cells: int = 80,
) -> Filling:
    """Fill one cylinder once (no pipe) or until the cycle repeats (pipe).

    SI, but ``flank`` and ``dwell`` in crank degrees and ``speed`` in rpm. Opening at TDC,
    half-cosine rise over ``flank``, dwell, half-cosine fall over ``flank``. At every TDC the
    cylinder holds its clearance volume at ``exhaust_pressure`` and ``residual_temperature``.
    Without a pipe, gas pushed back is lost; with one, the pipe keeps its state.
    """
    cylinder = Cylinder(
        bore_m=bore, stroke_m=stroke, rod_m=rod, compression_ratio=compression_ratio
    )

    def area(angle_deg: Floats) -> Floats:
        curtain = math.pi * valve_diameter * max_lift * half_cosine(angle_deg, flank, dwell)
        throat = THROAT_SHARE * math.pi / 4 * valve_diameter**2
        return valve_count * FLOW_COEFFICIENT * np.minimum(curtain, throat)

    polynomial = np.zeros((2, 7))
    polynomial[:, 0] = gamma * gas_constant / (gamma - 1)
    unread = BurnedTable(np.zeros((39, 12, 8)))
    gas = Charge(
        polynomial, polynomial.copy(), gas_constant, gas_constant, unread,
        1.0, 0.0, 0.0, 0.0, 0.0, 1.0, 1.0,
    )  # fmt: skip
    bench = Bench(
        slider_crank(cylinder),
        area(np.arange(14400) * (720.0 / 14400)),
        2 * flank + dwell,
        float(speed),
        (plenum_pressure, inlet_temperature),
        (exhaust_pressure, residual_temperature),
        gas,
        gamma,
    )
    if pipe_length is None or pipe_bore is None:
        return _at_the_valve(bench)
    return _with_pipe(bench, pipe_length, pipe_bore, cells)


def half_cosine(angle_deg: Floats, flank: float, dwell: float) -> Floats:
    """Share of full lift [-]: fixed flanks, added dwell."""
    rise = np.clip(angle_deg / flank, 0.0, 1.0)
    fall = np.clip((2 * flank + dwell - angle_deg) / flank, 0.0, 1.0)
    return 0.5 * (1 - np.cos(np.pi * np.minimum(rise, fall)))


def _filling(bench: Bench, mass: float, pressure: float, share: float, loss: float, cycles: int):
    (plenum_p, plenum_t), R = bench.plenum, bench.gas.fresh_R
    density = plenum_p / (R * plenum_t)
    swept = volume(bench.crank, 180.0) - bench.crank.clearance_m3
    start = _start_mass(bench)
    return Filling((mass - start) / (density * swept), pressure, share, loss / swept, cycles)


def _start_mass(bench: Bench) -> float:
    pressure, temperature = bench.clearance
    return pressure * bench.crank.clearance_m3 / (bench.gas.fresh_R * temperature)


def _at_the_valve(bench: Bench) -> Filling:
    """No pipe: plenum right at the valve, by a stiff library integrator."""
    crank, gamma, R = bench.crank, bench.gamma, bench.gas.fresh_R
    plenum_p, plenum_t = bench.plenum
    cv, cp = R / (gamma - 1), gamma * R / (gamma - 1)
    per_second = 6.0 * bench.speed_rpm
    angles = np.arange(len(bench.lift_area)) * (720.0 / len(bench.lift_area))
    start = _start_mass(bench)

    def rates(angle: float, y: Floats) -> list[float]:
        mass, energy, old, _ = y
        size, growth = volume(crank, angle), volume_slope(crank, angle)
        temperature = energy / (mass * cv)
        pressure = mass * R * temperature / size
        opening = float(np.interp(angle, angles, bench.lift_area))
        if pressure <= plenum_p:
            flow = mass_flow(opening, plenum_p, plenum_t, pressure, R, gamma)
            heat, lost = flow * cp * plenum_t, 0.0
        else:
            flow = -mass_flow(opening, pressure, temperature, plenum_p, R, gamma)
            heat, lost = flow * cp * temperature, flow * old / mass
        loss = (plenum_p - pressure) * growth if angle < 180.0 else 0.0
        return [
            flow / per_second,
            heat / per_second - pressure * growth,
            lost / per_second,
            loss,
        ]

    y0 = [start, start * cv * bench.clearance[1], start, 0.0]
    scale = np.array([start, y0[1], start, 1e5 * crank.clearance_m3])
    # A step never longer than a degree: the valve opens where nothing else moves.
    run = solve_ivp(
        rates, (0.0, bench.closing_deg), y0, method="LSODA", rtol=1e-8, atol=1e-9 * scale,
        max_step=1.0,
    )  # fmt: skip
    assert run.success, run.message
    mass, energy, old, loss = run.y[:, -1]
    pressure = (gamma - 1) * energy / volume(crank, bench.closing_deg)
    return _filling(bench, mass, pressure, old / mass, loss, 1)


def _with_pipe(bench: Bench, length: float, bore: float, cells: int) -> Filling:
    grid, ends = _pipe(length, bore, cells)
    flow, passed, reservoirs = empty_flow(cells + 2), empty_end_flow(2), empty_reservoirs(2)
    content = empty_content(2)
    plenum_p, plenum_t = bench.plenum
    for cell in range(cells + 2):
        fill(flow, bench.gas, cell, plenum_p, plenum_t, 0.0, 0.0)
    passed.pressure[:] = plenum_p
    passed.temperature[:] = plenum_t
    hold_outside(content, reservoirs, 1, plenum_p, plenum_t, 0.0, bench.gas)
    mass, cycles, answer = 0.0, 0, np.zeros(4)
    while cycles < CYCLES_MAX:
        fill_volume(content, 0, *bench.clearance, 1.0, bench.crank.clearance_m3, bench.gas)
        content.mass_rate[0] = content.energy_rate[0] = content.burned_rate[0] = 0.0
        stroke(
            flow, grid, ends, content, reservoirs, passed, bench.crank, bench.lift_area,
            bench.closing_deg, bench.speed_rpm, plenum_p, bench.gas, answer,
        )  # fmt: skip
        cycles += 1
        if abs(answer[0] - mass) < TOLERANCE * mass:
            break
        mass = float(answer[0])
    return _filling(bench, *(float(x) for x in answer), cycles)


def _pipe(length: float, bore: float, cells: int) -> tuple[Grid, Ends]:
    section, dx = math.pi / 4 * bore**2, length / cells
    full = np.ones(cells + 2)
    area = np.full(cells + 3, section)
    area[0] = area[-1] = 0.0
    grid = Grid(
        first=np.array([1]), last=np.array([cells]), volume=full * section * dx,
        per_length=full / dx, per_volume=full / (section * dx), area=area,
        per_diameter=full / bore, roughness=0 * full, wall_temperature=300 * full,
        friction_multiplier=0 * full, heat_multiplier=0 * full, widening=0 * full,
        step_face=np.zeros(0, dtype=np.int64), step_ratio=np.zeros(0),
    )  # fmt: skip
    ends = Ends(
        cell=np.array([1, cells]), ghost=np.array([0, cells + 1]), face=np.array([1, cells + 1]),
        outward=np.array([-1.0, 1.0]), area=np.array([section, section]),
        reservoir=np.array([1, 0]), valve=np.array([-1, 0]),
        out_share=np.array([1.0, 0.0]), in_share=np.array([1.0, 0.0]),
    )  # fmt: skip
    return grid, ends


@allocating
def stroke(  # type: ignore[no-untyped-def]
    flow, grid, ends, content, reservoirs, passed, crank, lift_area, closing, speed, plenum_p, gas,
    answer,
):  # fmt: skip
    """One cycle from TDC; ``answer`` gets mass, pressure and old-gas share at closing, and loss."""
    angle, loss, closed = 0.0, 0.0, False
    share = np.ones((2, 2))
    while angle < 720.0:
        recover(flow, grid, gas)
        step_deg = min(STEP_DEG, COURANT * 6.0 * speed / fastest_signal(flow, grid))
        target = 720.0 if closed else closing
        step_deg = min(step_deg, target - angle)
        step = step_deg / (6.0 * speed)
        middle = angle + 0.5 * step_deg
        place = middle * len(lift_area) / 720.0
        i = int(place)
        opening = lift_area[i] + (place - i) * (lift_area[(i + 1) % len(lift_area)] - lift_area[i])
        share[:, 1] = min(1.0, opening / ends.area[1])
        size, half = volume(crank, angle), volume(crank, middle)
        mass = content.mass[0] + 0.5 * step * content.mass_rate[0]
        burned = content.burned[0] + 0.5 * step * content.burned_rate[0]
        energy = content.energy[0] + 0.5 * step * content.energy_rate[0]
        energy -= content.pressure[0] * (half - size)
        ahead(content, 0, mass, burned, energy, half, size, reservoirs, gas)
        set_ghosts(flow, ends, passed)
        face_states(flow, grid, gas, step)
        hllc_fluxes(flow)
        end_fluxes(flow, ends, reservoirs, share[0], share[1], gas, passed)
        advance(flow, grid, step)
        after = volume(crank, angle + step_deg)
        content.mass_rate[0] = passed.mass[1]
        content.energy_rate[0] = passed.enthalpy[1]
        content.burned_rate[0] = passed.burned[1]
        content.mass[0] += step * content.mass_rate[0]
        content.burned[0] += step * content.burned_rate[0]
        content.energy[0] += step * content.energy_rate[0]
        content.energy[0] -= reservoirs.pressure[0] * (after - size)
        find_state(content, 0, after, gas)
        if middle < 180.0:
            loss += (plenum_p - reservoirs.pressure[0]) * (after - size)
        angle += step_deg
        if not closed and angle >= closing - 1e-9:
            closed = True
            answer[0], answer[1] = content.mass[0], content.pressure[0]
            answer[2] = content.burned[0] / content.mass[0]
        if 720.0 - angle < 1e-9:
            break
    answer[3] = loss

"""Rates of change of one cylinder between two plenums that never change.

Unknowns are mass, temperature and burned mass in the cylinder; one zone; burned gas in equilibrium
(or frozen, for comparison). Valves pass quasi-steady isentropic flow either way. Gas pushed back
into the intake is lost to the plenum, or, with ``returns``, waits in a buffer at the valve and is
drawn in first. The march through a cycle is in `plenums`.

What kernels read is kept in `Segment`, numbers only, and few arrays are handed from kernel to
kernel: each is counted in and out of every call, which took longer than the equations.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from breathe.cycle.burn import wiebe, wiebe_slope
from breathe.cycle.piston import SliderCrank, bore_area, liner_area, motion
from breathe.cycle.plenum_gas import Gas, cylinder_gas, temperature_from_h, temperature_rate
from breathe.cycle.rosenbrock import Array
from breathe.cycle.walls import (
    MOTORED_EXPONENT,
    Walls,
    heat_flow,
    motored_pressure,
    woschni,
    woschni_speed,
)
from breathe.gas.mixture import Charge, blend_u_cv, gas_constant
from breathe.gas.nozzle import mass_flow
from breathe.kernel import inlined, kernel

# Unknowns, in the order in which they start to feed back into the rates: temperature always, burned
# mass in the fire, mass while a valve is open, the buffer only with ``returns``.
TEMPERATURE, BURNED, MASS = 0, 1, 2
BUFFER, BUFFER_ENTHALPY, BUFFER_BURNED = 3, 4, 5
WORK, MASS_IN, ENTHALPY_IN, FRESH_IN, MASS_OUT, ENTHALPY_OUT, HEAT = 6, 7, 8, 9, 10, 11, 12
UNKNOWNS = 13

BUFFER_SHARE = 1e-3
"""Plenum gas mixed into the buffer as it empties, over the mass of a filled cylinder [-]: makes the
change from pushed-back to plenum gas smooth."""


class Reservoir(NamedTuple):
    """Gas at rest in a plenum; make it with `reservoir`."""

    pressure_Pa: float
    temperature_K: float
    burned_fraction: float
    R: float
    gamma: float
    enthalpy: float
    """[J/kg]"""


def reservoir(
    pressure_Pa: float, temperature_K: float, burned_fraction: float, charge: Charge
) -> Reservoir:
    """Gas of a plenum: fresh charge (0) or frozen burned gas (1) or a blend by mass."""
    u, cv = blend_u_cv(float(temperature_K), float(burned_fraction), charge)
    R = float(gas_constant(float(burned_fraction), charge))
    gamma, h = (cv + R) / cv, u + R * temperature_K
    return Reservoir(
        float(pressure_Pa), float(temperature_K), float(burned_fraction), R, float(gamma), float(h)
    )


class ValveAreas(NamedTuple):
    """Effective areas of all valves of one side."""

    opens_deg: float
    """0..720 from firing top dead centre."""
    closes_deg: float
    """May exceed 720, so that closes > opens."""
    forward: Array
    """(n,) [m2] at crank angles ``arange(n) * 720 / n``: in at the intake, out at the exhaust."""
    reverse: Array
    """(n,) [m2] the other way."""


class Fire(NamedTuple):
    """The Wiebe burn; a start after intake closing, from firing top dead centre."""

    start_deg: float
    duration_deg: float
    a: float
    m: float
    completeness: float


class PlenumCase(NamedTuple):
    """Everything that decides one cycle between plenums."""

    crank: SliderCrank
    speed_rpm: float
    charge: Charge
    intake: Reservoir
    exhaust: Reservoir
    intake_valve: ValveAreas
    exhaust_valve: ValveAreas
    fire: Fire
    walls: Walls
    heat_multiplier: float = 1.0
    """Wall heat over Woschni's; 0 is adiabatic."""
    frozen: bool = False
    """Burned gas keeps the composition it has cold."""
    returns: bool = False
    """Gas pushed back into the intake is drawn in first."""


class Segment(NamedTuple):
    """What holds between two events, numbers only."""

    crank: SliderCrank
    seconds_per_degree: float
    piston_speed: float
    intake: Reservoir
    exhaust: Reservoir
    buffer_trace_kg: float
    """Plenum gas in the buffer, see `BUFFER_SHARE`."""
    fire: Fire
    """Its start counted like the angle of the march."""
    burns: bool
    walls: Walls
    heat_multiplier: float
    swirl_factor: float
    fire_factor: float
    swept_m3: float
    shut_Pa: float
    shut_K: float
    shut_m3: float
    """State at intake closing."""
    frozen: bool
    returns: bool
    intake_moves: bool
    exhaust_moves: bool
    step_max_deg: float
    core: int
    """How many unknowns feed back."""


# Rows of the areas (4, n).
INTAKE_IN, INTAKE_BACK, EXHAUST_OUT, EXHAUST_BACK = 0, 1, 2, 3


@inlined
def area_at(areas: Array, row: int, angle_deg: float) -> float:
    """Area at a crank angle by linear interpolation; the table repeats every 720 degrees."""
    n = areas.shape[1]
    place = angle_deg * (n / 720.0)
    cell = math.floor(place)
    i = int(cell) % n
    j = i + 1 if i + 1 < n else 0
    return areas[row, i] + (place - cell) * (areas[row, j] - areas[row, i])


@inlined
def swept_volume(crank: SliderCrank) -> float:
    """Nominal swept volume [m3], bore area times twice the crank radius."""
    return math.pi / 2 * crank.bore_m**2 * crank.crank_m


@kernel
def buffered(segment: Segment, charge: Charge, work: Array, row: int) -> Reservoir:
    """The gas waiting at the intake valve, with a little plenum gas so that it never runs out."""
    plenum, trace = segment.intake, segment.buffer_trace_kg
    total = work[row, BUFFER] + trace
    h = (work[row, BUFFER_ENTHALPY] + trace * plenum.enthalpy) / total
    x = (work[row, BUFFER_BURNED] + trace * plenum.burned_fraction) / total
    T = temperature_from_h(h, x, charge, plenum.temperature_K)
    _, cv = blend_u_cv(T, x, charge)
    R = gas_constant(x, charge)
    return Reservoir(plenum.pressure_Pa, T, x, R, (cv + R) / cv, h)


class Through(NamedTuple):
    """What passes a valve, positive into the cylinder."""

    mass: float
    """[kg]"""
    enthalpy: float
    """[J]"""
    burned: float
    """[kg]"""


@inlined
def through(
    area: float, seconds: float, T: float, x: float, gas: Gas, source: Reservoir
) -> Through:
    """What passes the valves of one side in a time, by the pressures either side.

    ``area`` is the effective area [m2] of the direction that the pressures give.
    """
    p, p_source = gas.pressure, source.pressure_Pa
    if p < p_source:
        flow = mass_flow(area, p_source, source.temperature_K, p, source.R, source.gamma)
        flow *= seconds
        return Through(flow, flow * source.enthalpy, flow * source.burned_fraction)
    flow = -mass_flow(area, p, T, p_source, gas.R, 1.0 + gas.R / gas.u_T) * seconds
    return Through(flow, flow * (gas.u + gas.R * T), flow * x)


@inlined
def wall_heat(segment: Segment, T: float, p: float, V: float, travel_m: float) -> float:
    """Heat from gas to walls [W], Woschni."""
    rise = p - motored_pressure(segment.shut_Pa, segment.shut_m3, V, MOTORED_EXPONENT)
    speed = woschni_speed(
        segment.piston_speed,
        segment.swirl_factor,
        segment.fire_factor,
        segment.swept_m3,
        segment.shut_K,
        segment.shut_Pa,
        segment.shut_m3,
        rise,
    )
    coefficient = segment.heat_multiplier * woschni(segment.crank.bore_m, p, T, speed)
    return heat_flow(segment.walls, coefficient, T, liner_area(segment.crank, travel_m))


@inlined
def burn_rate(fire: Fire, angle: float, fresh_kg: float) -> float:
    """Mass burned per crank degree [kg/deg]."""
    share = (angle - fire.start_deg) / fire.duration_deg
    left = 1.0 - fire.completeness * wiebe(share, fire.a, fire.m)
    slope = fire.completeness * wiebe_slope(share, fire.a, fire.m) / fire.duration_deg
    return fresh_kg * slope / max(left, 1e-9)


@inlined
def move_buffer(segment: Segment, work: Array, row: int, out: int, flow: Through) -> None:
    """Change of the buffer under the intake flow."""
    if flow.mass > 0.0:
        share = flow.mass / (work[row, BUFFER] + segment.buffer_trace_kg)
        for k in range(BUFFER, BUFFER_BURNED + 1):
            work[out, k] = -share * work[row, k]
    else:
        work[out, BUFFER] = -flow.mass
        work[out, BUFFER_ENTHALPY] = -flow.enthalpy
        work[out, BUFFER_BURNED] = -flow.burned


@kernel
def rates(
    segment: Segment,
    charge: Charge,
    areas: Array,
    angle: float,
    work: Array,
    row: int,
    out: int,
) -> None:
    """Rates of all unknowns per crank degree: from row ``row`` of the work array into ``out``."""
    crank, mass, T = segment.crank, work[row, MASS], work[row, TEMPERATURE]
    x, seconds = work[row, BURNED] / mass, segment.seconds_per_degree
    depth, slope = motion(crank, angle)
    V, dV = crank.clearance_m3 + bore_area(crank) * depth, bore_area(crank) * slope
    gas = cylinder_gas(charge, segment.frozen, mass, T, x, V)
    for k in range(work.shape[1]):
        work[out, k] = 0.0
    inlet, outlet, burning = Through(0.0, 0.0, 0.0), Through(0.0, 0.0, 0.0), 0.0
    if segment.intake_moves:
        source = segment.intake
        if segment.returns:
            source = buffered(segment, charge, work, row)
        way = INTAKE_IN if gas.pressure < source.pressure_Pa else INTAKE_BACK
        inlet = through(area_at(areas, way, angle), seconds, T, x, gas, source)
        if segment.returns:
            move_buffer(segment, work, row, out, inlet)
    if segment.exhaust_moves:
        way = EXHAUST_BACK if gas.pressure < segment.exhaust.pressure_Pa else EXHAUST_OUT
        outlet = through(area_at(areas, way, angle), seconds, T, x, gas, segment.exhaust)
    if segment.burns:
        burning = burn_rate(segment.fire, angle, mass * (1.0 - x))
    heat = wall_heat(segment, T, gas.pressure, V, depth) * seconds
    mass_rate = inlet.mass + outlet.mass
    burned_rate = inlet.burned + outlet.burned + burning
    x_rate = (burned_rate - x * mass_rate) / mass
    heating = inlet.enthalpy + outlet.enthalpy - heat - gas.pressure * dV - gas.u * mass_rate
    work[out, TEMPERATURE] = temperature_rate(gas, mass, T, heating, mass_rate, x_rate, dV / V)
    work[out, MASS], work[out, BURNED] = mass_rate, burned_rate
    work[out, WORK], work[out, HEAT] = gas.pressure * dV, heat
    work[out, MASS_IN], work[out, ENTHALPY_IN] = inlet.mass, inlet.enthalpy
    work[out, FRESH_IN] = inlet.mass - inlet.burned
    work[out, MASS_OUT], work[out, ENTHALPY_OUT] = -outlet.mass, -outlet.enthalpy

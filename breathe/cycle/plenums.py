"""One cylinder between two plenums that never change: the cycle without pipes, settled.

The nozzle law has an infinite slope at equal pressures, so explicit fixed steps are silently wrong
at low speed: hence a stiff method with step control, restarted wherever a valve starts or stops
moving and the fire starts or ends. Cycles are counted from intake closing.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from breathe.cycle.piston import bottom_deg, mean_speed, volume
from breathe.cycle.plenum_rates import (
    BUFFER,
    BUFFER_ENTHALPY,
    BUFFER_SHARE,
    BURNED,
    ENTHALPY_IN,
    ENTHALPY_OUT,
    FRESH_IN,
    HEAT,
    MASS,
    MASS_IN,
    MASS_OUT,
    TEMPERATURE,
    UNKNOWNS,
    WORK,
    Fire,
    Gas,
    PlenumCase,
    Reservoir,
    Segment,
    ValveAreas,
    cylinder_gas,
    reservoir,
    swept_volume,
)
from breathe.cycle.plenum_steps import integrate
from breathe.cycle.rosenbrock import ALLOWED, Array, Y, workspace
from breathe.cycle.walls import COMBUSTION, COMPRESSION, SCAVENGING, Walls
from breathe.kernel import allocating, kernel

__all__ = [
    "Fire",
    "PlenumCase",
    "PlenumCycle",
    "Reservoir",
    "ValveAreas",
    "Walls",
    "reservoir",
    "run_plenums",
]

STEPS_MAX = 4000
"""Most steps in one segment between events."""
FIRST_STEP_DEG = 0.5
EXCHANGE_STEP_DEG = 4.0
"""Longest step while a valve is open: a longer one can pass over a reversal of the flow unseen and
be 0.1 % off in volumetric efficiency [deg]."""


class PlenumCycle(NamedTuple):
    """One settled cycle. Mean effective pressures are work over swept volume [Pa]."""

    volumetric_efficiency: float
    """Fresh charge through the intake valve, less what flows back, over swept volume at plenum
    density [-]."""
    imep_gross: float
    """Compression and expansion strokes."""
    imep_net: float
    """All four strokes."""
    pmep: float
    """Exhaust and intake strokes: negative costs work."""
    peak_pressure: float
    """[Pa]"""
    peak_pressure_deg: float
    """Crank degrees from firing top dead centre."""
    residual: float
    """Burned mass fraction at intake closing, back-flow included [-]."""
    trapped_mass: float
    """At intake closing [kg]."""
    heat: float
    """To the walls in a cycle [J]."""
    mass_closure: float
    """Mass in less mass out less change of content, over trapped mass [-]."""
    energy_closure: float
    """The same for energy, over the work of the compression and expansion strokes [-]."""
    change: float
    """Largest relative change of the state at intake closing from the cycle before [-]."""
    cycles: int
    settled: bool
    failed: bool
    """The integration could not go on; the figures above are NaN."""
    steps: int
    """In the last cycle."""
    steps_total: int


@kernel
def watch_peak(peak: Array, pressure: float, angle: float) -> None:
    """Take one more point; the peak is the top of the parabola through three.

    ``peak`` (6,): highest pressure and its angle, last point and the one before, each so too.
    """
    p2, a2, p1, a1 = peak[2], peak[3], peak[4], peak[5]
    if p2 > pressure and p2 >= p1 and p2 > peak[0] and a2 > a1:
        # Divided differences over unequal steps.
        rise, fall = (p2 - p1) / (a2 - a1), (pressure - p2) / (angle - a2)
        bend = (fall - rise) / (angle - a1)
        top = 0.5 * (a1 + a2) - 0.5 * rise / bend
        peak[0] = p1 + (top - a1) * rise + (top - a1) * (top - a2) * bend
        peak[1] = top
    peak[4], peak[5], peak[2], peak[3] = p2, a2, pressure, angle


@kernel
def unwrapped(angle: float, begin: float) -> float:
    """The angle's place in the cycle from ``begin`` to ``begin`` + 720."""
    return begin + (angle - begin) % 720.0


@allocating
def events(case: PlenumCase) -> Array:
    """Angles (rising) at which rates change character, from intake closing to the next one."""
    begin = case.intake_valve.closes_deg
    bottom = bottom_deg(case.crank)
    fire = unwrapped(case.fire.start_deg, begin)
    marks = np.array(
        [
            begin,
            fire,
            fire + case.fire.duration_deg,
            unwrapped(case.exhaust_valve.opens_deg, begin),
            unwrapped(case.exhaust_valve.closes_deg, begin),
            unwrapped(case.intake_valve.opens_deg, begin),
            unwrapped(bottom, begin),
            unwrapped(360.0, begin),
            unwrapped(360.0 + bottom, begin),
            begin + 720.0,
        ]
    )
    return np.sort(marks)


@kernel
def inside(angle: float, opens: float, closes: float) -> bool:
    """Whether a valve event covers an angle, both taken round the cycle."""
    return (angle - opens) % 720.0 < closes - opens


@kernel
def segment_between(
    case: PlenumCase, shut_Pa: float, shut_K: float, begin: float, end: float
) -> Segment:
    """What holds between two neighbouring events."""
    middle = 0.5 * (begin + end)
    intake, exhaust, crank, fire = case.intake_valve, case.exhaust_valve, case.crank, case.fire
    fire_start = unwrapped(fire.start_deg, intake.closes_deg)
    blowdown = unwrapped(exhaust.opens_deg, intake.closes_deg)
    burns = fire_start < middle < fire_start + fire.duration_deg
    intake_moves = inside(middle, intake.opens_deg, intake.closes_deg)
    exhaust_moves = inside(middle, exhaust.opens_deg, exhaust.closes_deg)
    swirl = COMPRESSION if middle < blowdown else SCAVENGING
    heating = COMBUSTION if fire_start < middle < blowdown else 0.0
    core = 3 if intake_moves or exhaust_moves else (2 if burns else 1)
    if intake_moves and case.returns:
        core = 6
    density = case.intake.pressure_Pa / (case.intake.R * case.intake.temperature_K)
    return Segment(
        crank,
        1.0 / (6.0 * case.speed_rpm),
        mean_speed(crank, case.speed_rpm),
        case.intake,
        case.exhaust,
        BUFFER_SHARE * density * swept_volume(crank),
        Fire(fire_start, fire.duration_deg, fire.a, fire.m, fire.completeness),
        burns,
        case.walls,
        case.heat_multiplier,
        swirl,
        heating,
        swept_volume(crank),
        shut_Pa,
        shut_K,
        volume(crank, intake.closes_deg),
        case.frozen,
        case.returns,
        intake_moves,
        exhaust_moves,
        EXCHANGE_STEP_DEG if intake_moves or exhaust_moves else 720.0,
        core,
    )


@kernel
def content(case: PlenumCase, angle: float, y: Array) -> Gas:
    """Pressure and properties of what is in the cylinder."""
    x, V = y[BURNED] / y[MASS], volume(case.crank, angle)
    return cylinder_gas(case.charge, case.frozen, y[MASS], y[TEMPERATURE], x, V)


@allocating
def first_state(case: PlenumCase) -> Array:
    """A guess at intake closing: plenum gas, warmed a little, some residual."""
    y = np.zeros(UNKNOWNS)
    V = volume(case.crank, case.intake_valve.closes_deg)
    y[TEMPERATURE] = case.intake.temperature_K + 40.0
    y[MASS] = case.intake.pressure_Pa * V / (case.intake.R * y[TEMPERATURE])
    y[BURNED] = 0.04 * y[MASS]
    return y


@kernel
def set_allowed(work: Array, relative: float) -> None:
    """Absolute error allowed in a step, from the size of each unknown's exchange in a cycle."""
    y = work[Y]
    work[ALLOWED, :] = 0.1 * relative * y[MASS]
    work[ALLOWED, TEMPERATURE] = 0.1 * relative * y[TEMPERATURE]
    energy = 1e6 * y[MASS]  # [J], about the heat of the charge
    for k in (BUFFER_ENTHALPY, WORK, ENTHALPY_IN, ENTHALPY_OUT, HEAT):
        work[ALLOWED, k] = 0.1 * relative * energy


class March(NamedTuple):
    """What one cycle took and gave."""

    through: bool
    steps: int
    pumping: float
    """Work of the exhaust and intake strokes [J]."""


@allocating
def march(
    case: PlenumCase,
    areas: Array,
    work: Array,
    trail: Array,
    peak: Array,
    begin: float,
    end: float,
    relative: float,
) -> March:
    """From one angle to another, event by event; the unknowns in ``work`` change in place.

    ``begin`` is intake closing or later; the state there stands for the one at intake closing.
    """
    marks, bottom, y = events(case), bottom_deg(case.crank), work[Y]
    shut_Pa, shut_K = content(case, begin, y).pressure, y[TEMPERATURE]
    set_allowed(work, relative)
    steps, pumping, h, here = 0, 0.0, FIRST_STEP_DEG, begin
    for k in range(marks.shape[0]):
        until = min(marks[k], end)
        if until <= here:
            continue
        segment = segment_between(case, shut_Pa, shut_K, here, until)
        before, h = y[WORK], min(h, FIRST_STEP_DEG)
        progress = integrate(segment, case.charge, areas, work, trail, here, until, h, relative)
        steps += progress.steps
        if not progress.done:
            return March(False, steps, pumping)
        shut = not (segment.intake_moves or segment.exhaust_moves)
        for i in range(progress.steps if shut else 0):
            watch_peak(peak, content(case, trail[i, 0], trail[i, 1:]).pressure, trail[i, 0])
        if inside(0.5 * (here + until), bottom, 360.0 + bottom):
            pumping += y[WORK] - before
        here = until
    return March(True, steps, pumping)


@allocating
def settle(
    case: PlenumCase,
    areas: Array,
    work: Array,
    trail: Array,
    relative: float,
    cycle_tolerance: float,
    cycles_max: int,
) -> PlenumCycle:
    """Cycle after cycle until the state at intake closing repeats."""
    y, begin, peak = work[Y], case.intake_valve.closes_deg, np.zeros(6)
    y[:] = first_state(case)
    start, total, change, cycles, energy = y.copy(), 0, math.inf, 0, 0.0
    last = March(True, 0, 0.0)
    while last.through and cycles < cycles_max and not change <= cycle_tolerance:
        y[WORK:] = 0.0
        start[:] = y
        peak[:] = 0.0
        energy = y[MASS] * content(case, begin, y).u
        last = march(case, areas, work, trail, peak, begin, begin + 720.0, relative)
        cycles += 1
        total += last.steps
        moved = np.abs(y - start)
        change = max(moved[MASS], moved[BURNED], moved[BUFFER]) / start[MASS]
        change = max(change, moved[TEMPERATURE] / start[TEMPERATURE])
    swept = swept_volume(case.crank)
    density = case.intake.pressure_Pa / (case.intake.R * case.intake.temperature_K)
    gained = y[MASS] * content(case, begin, y).u - energy
    lost = y[ENTHALPY_IN] - y[ENTHALPY_OUT] - y[HEAT] - y[WORK] - gained
    mass_lost = y[MASS_IN] - y[MASS_OUT] - (y[MASS] - start[MASS])
    gross = y[WORK] - last.pumping
    settled, failed = last.through and change <= cycle_tolerance, not last.through
    return PlenumCycle(
        volumetric_efficiency=y[FRESH_IN] / (density * swept),
        imep_gross=gross / swept,
        imep_net=y[WORK] / swept,
        pmep=last.pumping / swept,
        peak_pressure=peak[0],
        peak_pressure_deg=(peak[1] + 360.0) % 720.0 - 360.0,
        residual=y[BURNED] / y[MASS],
        trapped_mass=y[MASS],
        heat=y[HEAT],
        mass_closure=mass_lost / y[MASS],
        energy_closure=lost / abs(gross),
        change=change,
        cycles=cycles,
        settled=settled,
        failed=failed,
        steps=last.steps,
        steps_total=total,
    )


def arrays(case: PlenumCase) -> tuple[Array, Array, Array]:
    """Effective areas (4, n), work array and trail for a march of ``case``."""
    intake, exhaust = case.intake_valve, case.exhaust_valve
    areas = np.stack([intake.forward, intake.reverse, exhaust.forward, exhaust.reverse])
    return areas, workspace(UNKNOWNS), np.empty((STEPS_MAX, 1 + UNKNOWNS))


def run_plenums(
    case: PlenumCase,
    relative_tolerance: float = 1e-4,
    cycle_tolerance: float = 1e-3,
    cycles_max: int = 60,
) -> PlenumCycle:
    """Run a case until it repeats.

    Parameters
    ----------
    case : PlenumCase
    relative_tolerance : float
        Error allowed in one step of the integration [-].
    cycle_tolerance : float
        Largest relative change of mass, temperature and burned fraction at intake closing from one
        cycle to the next [-]; at least about ten times ``relative_tolerance``, below that it is
        integration noise.
    cycles_max : int
        Cycles after which the case is given up as not settled.

    Returns
    -------
    PlenumCycle
        Of the last cycle; look at ``settled`` and ``failed``.

    Raises
    ------
    ValueError
        If the burn starts before the intake valve closes.
    """
    begin = case.intake_valve.closes_deg
    start = float(unwrapped(case.fire.start_deg, begin))
    if case.fire.completeness > 0.0 and start > begin + 540.0:
        raise ValueError(
            f"fire.start_deg: found {case.fire.start_deg:g}, before the intake valve closes at "
            f"{begin - 720:g}; expected a start after it"
        )
    areas, work, trail = arrays(case)
    cycle = settle(case, areas, work, trail, relative_tolerance, cycle_tolerance, cycles_max)
    if cycle.failed:
        return PlenumCycle._make(math.nan if isinstance(v, float) else v for v in cycle)
    return cycle

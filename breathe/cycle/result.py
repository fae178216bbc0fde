"""One settled cycle in the quantities a tuner asks for, SI."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, field, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from breathe.cycle import march
from breathe.cycle.burn import wiebe_point
from breathe.cycle.compression import effective_compression_ratio
from breathe.cycle.friction import chen_flynn
from breathe.cycle.layout import Model, Resolution, model
from breathe.cycle.march import State
from breathe.cycle.piston import volume
from breathe.cycle.remarks import remarks
from breathe.cycle.settle import Settling, settle
from breathe.engine.parts import Case, Operating, Setting
from breathe.gas.mixture import blend_u_cv

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Cycle:
    """Figures of one cycle; ``trace`` holds its course over crank angle when kept."""

    setting: str
    speed_rpm: float
    throttle: float
    torque_Nm: float
    power_W: float
    bmep_Pa: float
    imep_net_Pa: float
    pmep_Pa: float
    """Work of the gas-exchange strokes over displacement: negative costs torque."""
    fmep_Pa: float
    volumetric_efficiency_ambient: float
    """Dry air through the intake valves over ambient air density times displacement [-]."""
    volumetric_efficiency_plenum: float
    """The same over the density where the intake pipes begin (plenum, or ambient without one)."""
    air_kg_per_cycle: float
    """Dry air for the whole engine."""
    trapped_air_ratio: float
    """Fresh charge kept at intake closing over fresh charge drawn in [-]."""
    residual_fraction: float
    """Exhaust gas in the trapped charge, by mass [-]."""
    intake_mach_peak: float
    """Largest Mach number in the intake valve's effective opening, 1 when choked [-]."""
    choked_deg: float
    """Crank degrees for which the intake valve chokes, in the cylinder where it is longest."""
    pressure_at_ivc_Pa: float
    port_pressure_before_ivc_Pa: float
    """Mean at the intake valve over the last 40 degrees before it closes."""
    manifold_pressure_Pa: float
    """Mean behind the throttle: in the plenum cylinder 1 breathes from, or at its intake valve
    where every cylinder has a throttle of its own."""
    effective_compression_ratio: float
    """From the closing of the intake valve at `valvetrain.timing.SEAT_HEIGHT_M`."""
    pushed_back_fraction: float
    """Charge pushed back between BDC and intake closing over charge trapped [-]."""
    peak_pressure_Pa: float
    ca50_deg: float
    burn_10_90_deg: float
    knock_index: float
    bsfc_kg_per_J: float
    exhaust_temperature_K: float
    """Mass-mean stagnation temperature behind the exhaust valve."""
    settled: bool
    cycles: int
    settling_residual: float
    mass_closure: float
    energy_closure: float
    remark: str = ""
    trace: Traces | None = field(default=None, repr=False)

    def row(self) -> dict[str, float | str | bool]:
        """The figures without the traces, by name."""
        figures = asdict(self)
        del figures["trace"]
        return figures


@dataclass(frozen=True, slots=True, kw_only=True)
class Traces:
    """The cycle over crank angle, one value a degree from 0 (firing TDC of cylinder 1)."""

    angle_deg: Floats
    """(720,)"""
    volume_m3: Floats
    """(720,) of cylinder 1"""
    cylinder_pressure_Pa: Floats
    """(n_cylinder, 720)"""
    cylinder_temperature_K: Floats
    cylinder_mass_kg: Floats
    burned_fraction: Floats
    intake_flow_kg_per_s: Floats
    """(n_cylinder, 720) into the cylinder"""
    exhaust_flow_kg_per_s: Floats
    """(n_cylinder, 720) out of the cylinder"""
    intake_port_pressure_Pa: Floats
    exhaust_port_pressure_Pa: Floats


def simulate(
    case: Case,
    *,
    start: State | None = None,
    resolution: Resolution | None = None,
    tolerance: float = 1e-3,
    limit: int = 60,
    traces: bool = False,
) -> tuple[Cycle, State]:
    """March a case until it repeats.

    Parameters
    ----------
    case : Case
    start : State, optional
        Settled state of a neighbouring case of the same engine.
    resolution : Resolution, optional
    tolerance : float
        Largest change from cycle to cycle that counts as settled [-].
    limit : int
        Most cycles to march.
    traces : bool
        Keep the course over crank angle.

    Returns
    -------
    Cycle, State
        Figures, and the state to start a neighbour from.
    """
    flat = model(case, resolution)
    state, settling = settle(flat, case.engine.burn, start=start, tolerance=tolerance, limit=limit)
    if not settling.alive:
        why = "the computation broke down, so there are no figures"
        return without_figures(case.setting, case.operating, why, settling.cycles), state
    return cycle(case, flat, state, settling, traces=traces), state


def cycle(
    case: Case, flat: Model, state: State, settling: Settling, *, traces: bool = False
) -> Cycle:
    """Figures of the last cycle marched; means over the cylinders unless said."""
    engine, tally = case.engine, state.tally.mean(axis=0)
    swept, speed = flat.swept, flat.speed_rpm
    displacement = swept * engine.cylinder_count
    closed, exchange = tally[march.WORK_CLOSED] / swept, tally[march.WORK_GAS_EXCHANGE] / swept
    peak = float(tally[march.PEAK_PRESSURE])
    fmep = chen_flynn(engine.friction, peak, flat.piston_speed)
    bmep = closed + exchange - fmep
    fresh = tally[march.INTAKE_FRESH]
    air = fresh * flat.charge.air_fraction
    trapped, burned = state.shut.closed_mass.mean(), state.shut.closed_burned.mean()
    residual = burned / trapped / engine.burn.completeness
    fuel = fresh * flat.charge.fuel_fraction
    ambient = dry_density(engine.air.pressure_Pa, engine.air.temperature_K, case)
    return Cycle(
        setting=case.setting.label,
        speed_rpm=speed,
        throttle=flat.throttle,
        torque_Nm=float(bmep * displacement / (4 * math.pi)),
        power_W=float(bmep * displacement * speed / 120.0),
        bmep_Pa=float(bmep),
        imep_net_Pa=float(closed + exchange),
        pmep_Pa=float(exchange),
        fmep_Pa=float(fmep),
        volumetric_efficiency_ambient=float(air / (ambient * swept)),
        volumetric_efficiency_plenum=float(air / (plenum_density(case, flat, state) * swept)),
        air_kg_per_cycle=float(air * engine.cylinder_count),
        trapped_air_ratio=float(trapped * (1.0 - residual) / fresh) if fresh > 0 else math.nan,
        residual_fraction=float(residual),
        intake_mach_peak=float(tally[march.PEAK_MACH]),
        choked_deg=choked_deg(flat, state),
        pressure_at_ivc_Pa=float(state.shut.pressure.mean()),
        port_pressure_before_ivc_Pa=float(
            tally[march.PORT_BEFORE_CLOSING] * 6.0 * speed / march.LAST_DEGREES
        ),
        manifold_pressure_Pa=manifold_pressure(flat, state),
        effective_compression_ratio=effective_compression_ratio(engine.cylinder, case.intake),
        pushed_back_fraction=float(tally[march.PUSHED_BACK] / trapped),
        peak_pressure_Pa=peak,
        ca50_deg=half_burned_deg(flat, state),
        burn_10_90_deg=float(state.shut.burn_10_90.mean()),
        knock_index=float(state.shut.knock_last.max()),
        bsfc_kg_per_J=float(fuel / (bmep * swept)) if bmep > 0 else math.nan,
        exhaust_temperature_K=exhaust_temperature(flat, state),
        settled=settling.settled,
        cycles=settling.cycles,
        settling_residual=settling.change,
        mass_closure=settling.mass_closure,
        energy_closure=settling.energy_closure,
        remark=remarks(engine, flat, state, settling, residual),
        trace=_traces(flat, state) if traces else None,
    )


def without_figures(setting: Setting, operating: Operating, why: str, cycles: int = 0) -> Cycle:
    """A case that could not be computed: every figure NaN, not settled, ``why`` as its remark."""
    known: dict[str, Any] = {
        "setting": setting.label,
        "speed_rpm": operating.speed_rpm,
        "throttle": operating.throttle,
        "settled": False,
        "cycles": cycles,
        "remark": why,
        "trace": None,
    }
    return Cycle(**{f.name: math.nan for f in fields(Cycle)} | known)


def dry_density(pressure_Pa: float, temperature_K: float, case: Case) -> float:
    """Density of dry air in moist air [kg/m3]: its partial pressure over R T."""
    ratio = case.engine.air.humidity_kg_per_kg * 28.966 / 18.015
    return pressure_Pa / (1.0 + ratio) / (287.045 * temperature_K)


def plenum_density(case: Case, flat: Model, state: State) -> float:
    """Dry-air density where cylinder 1's intake pipe begins [kg/m3], mean over the cycle."""
    chamber = _chamber_at(flat, _first_intake_pipe(flat)[1])
    if chamber is not None:
        pressure, temperature = state.chamber_mean[chamber]
        return dry_density(float(pressure), float(temperature), case)
    return dry_density(case.engine.air.pressure_Pa, case.engine.air.temperature_K, case)


def manifold_pressure(flat: Model, state: State) -> float:
    """Mean over the cycle of what a gauge behind cylinder 1's throttle reads [Pa]."""
    at_valve, far = _first_intake_pipe(flat)
    chamber = _chamber_at(flat, far)
    if chamber is not None and not flat.throttled[far]:
        return float(state.chamber_mean[chamber, 0])
    return float(state.end_trace[at_valve, 0].mean())


def _first_intake_pipe(flat: Model) -> tuple[int, int]:
    """Ends of the pipe to cylinder 1's intake valve: the one at the valve and the far one."""
    at_valve = int(np.flatnonzero(flat.ends.valve == 0)[0])
    return at_valve, at_valve + 1 if at_valve % 2 == 0 else at_valve - 1


def _chamber_at(flat: Model, end: int) -> int | None:
    """The chamber that a pipe end opens into, if it is one."""
    chamber = int(flat.ends.reservoir[end]) - len(flat.fires)
    if flat.ends.valve[end] < 0 and 0 <= chamber < len(flat.chamber_volume):
        return chamber
    return None


def choked_deg(flat: Model, state: State) -> float:
    """Crank degrees of choked intake flow: mean over a cylinder's pipes, most of the cylinders."""
    pipes = np.count_nonzero(flat.ends.valve == 0)
    return float(state.tally[:, march.CHOKED].max() / pipes)


def half_burned_deg(flat: Model, state: State) -> float:
    """Where half the charge has burned [deg after firing TDC], mean over the cylinders."""
    half = wiebe_point(0.5, flat.burning.shape, flat.burning.order)
    return float(np.mean(state.shut.burn_start + half * state.shut.burn_duration))


def exhaust_temperature(flat: Model, state: State) -> float:
    """Temperature [K] with the mean enthalpy of what left through the exhaust valves."""
    mass = float(state.tally[:, march.EXHAUST].sum())
    if mass <= 0:
        return math.nan
    wanted = float(state.tally[:, march.EXHAUST_ENERGY].sum()) / mass
    share = 1.0 - float(state.tally[:, march.EXHAUST_FRESH].sum()) / mass
    constant = flat.charge.fresh_R + share * (flat.charge.burned_R - flat.charge.fresh_R)
    temperature = 1000.0
    for _ in range(20):
        energy, cv = blend_u_cv(temperature, share, flat.charge)
        temperature += (wanted - energy - constant * temperature) / (cv + constant)
    return float(temperature)


def _traces(flat: Model, state: State) -> Traces:
    valve, end = flat.ends.valve, state.end_trace
    # Ends in the order of their cylinders; a side with several pipes a cylinder is summed.
    cylinders = range(len(flat.fires))
    intake = [np.flatnonzero(valve == 2 * c) for c in cylinders]
    exhaust = [np.flatnonzero(valve == 2 * c + 1) for c in cylinders]
    angle = np.arange(720.0)
    return Traces(
        angle_deg=angle,
        volume_m3=np.array([volume(flat.crank, float(a)) for a in angle]),
        cylinder_pressure_Pa=state.cylinder_trace[:, 0].copy(),
        cylinder_temperature_K=state.cylinder_trace[:, 1].copy(),
        cylinder_mass_kg=state.cylinder_trace[:, 2].copy(),
        burned_fraction=state.cylinder_trace[:, 3].copy(),
        intake_flow_kg_per_s=np.array([end[k, 1].sum(axis=0) for k in intake]),
        exhaust_flow_kg_per_s=np.array([-end[k, 1].sum(axis=0) for k in exhaust]),
        intake_port_pressure_Pa=np.array([end[k, 0].mean(axis=0) for k in intake]),
        exhaust_port_pressure_Pa=np.array([end[k, 0].mean(axis=0) for k in exhaust]),
    )

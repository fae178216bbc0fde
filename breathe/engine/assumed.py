"""What is taken where the user gave nothing: by class of engine, each value noted with its source.

The class table and the defaults are common practice without a source unless a line says otherwise.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from breathe.engine.findings import COMMON_PRACTICE, Findings
from breathe.engine.parts import Air, Burn, Cylinder, Friction, Fuel, Side
from breathe.engine.quantities import written

THROTTLE_COEFFICIENT = 0.85
"""Open area left by a wide-open plate and its shaft (common practice, no source)."""
CARBURETTOR_COEFFICIENT = 0.65
"""The same behind a venturi of 0.8 of the bore: 1 / 0.85^2 heads of the plate and 0.4 of the
venturi's own, 0.4 / 0.8^4, make 2.36 heads, and 1 / sqrt(2.36) of the area (common practice, no
source)."""


INLET_SPEED, SPORT_INLET_SPEED = 55.0, 40.0
"""Mean air speed before an air filter at peak power [m/s]: 1.3 heads of 0.9 of it are 1.9 and 1.0
kPa, what clean filters with their ducts have (common practice, no source)."""
EXHAUST_SPEED, SPORT_EXHAUST_SPEED = 120.0, 90.0
"""Mean gas speed in the pipes of a silencer at peak power [m/s] (common practice, no source)."""
FRONT_PIPE_M, TAILPIPE_M = 1.5, 0.6


@dataclass(frozen=True, slots=True, kw_only=True)
class EngineClass:
    """Typical figures of a class of spark-ignition engines without supercharging."""

    name: str
    rod_over_stroke: float
    compression_ratio: float
    intake_valves: int
    intake_valve_over_bore: float
    exhaust_over_intake_valve: float
    lift_over_diameter: float
    intake_duration_deg: float
    """Seat duration, at 0.10 mm."""
    exhaust_duration_deg: float
    lobe_separation_cam_deg: float
    peak_power_rpm: float
    burn_10_90_deg: float
    intake_lash_m: float
    exhaust_lash_m: float
    individual_runners: bool
    """Each cylinder breathes through its own throttle; else they share one and a plenum."""
    plenum_over_displacement: float = 1.2
    intake_m: float = 0.0
    """Valve to plenum or mouth; 0 is tuned to the speed of peak power."""
    primary_m: float = 0.0
    """Branch of a cast exhaust manifold; 0 is a tuned tube."""
    inlet_speed: float = 0.0
    """Mean air speed at peak power [m/s], sizes the inlet before an air filter; 0: no filter."""
    exhaust_speed: float = 0.0
    """The same for the gas in the pipes of a silencer; 0: no silencer."""
    front_pipe_m: float = 0.0
    tailpipe_m: float = 0.0
    throttle_coefficient: float = THROTTLE_COEFFICIENT
    throttle_reason: str = "open area left by a wide-open plate and its shaft"
    heated: Mapping[str, float] = field(default_factory=dict)
    """Pipe walls that differ from the usual [K], by side and role, such as "intake port"."""
    wall_K: tuple[float, float, float] = (473.15, 503.15, 423.15)
    """Head, piston and liner, mean over the cycle at full load."""
    wall_reason: str = "mean over the cycle at full load"
    wall_source: str = COMMON_PRACTICE

    @property
    def air_filter(self) -> bool:
        return self.inlet_speed > 0

    @property
    def silencer(self) -> bool:
        return self.exhaust_speed > 0


def _of(name: str, ratios: tuple[float, ...], cam: tuple[float, ...], **rest: Any) -> EngineClass:
    rod, compression, valve, lift = ratios
    intake, exhaust, separation, power = cam
    return EngineClass(
        name=name,
        rod_over_stroke=rod,
        compression_ratio=compression,
        intake_valve_over_bore=valve,
        lift_over_diameter=lift,
        intake_duration_deg=intake,
        exhaust_duration_deg=exhaust,
        lobe_separation_cam_deg=separation,
        peak_power_rpm=power,
        **rest,
    )


_CARBURETTOR: dict[str, Any] = {
    "throttle_coefficient": CARBURETTOR_COEFFICIENT,
    "throttle_reason": "carburettor: a venturi of 0.8 of the bore and a wide-open plate",
}
_AIR_COOLED: dict[str, Any] = {
    "heated": {"intake port": 403.15, "exhaust port": 573.15},
    "wall_K": (503.15, 523.15, 443.15),
    "wall_reason": "air-cooled, mean over the cycle at full load",
    "wall_source": (
        "heads 200-260 and barrels 130-180 degC: B. Pinkel, Heat-Transfer Processes in Air-Cooled "
        "Engine Cylinders, NACA Report 612, 1938 (from memory)"
    ),
}
# Burn: a pent roof with a central plug burns faster than a two-valve chamber (common practice).
_TWO_VALVE: dict[str, Any] = {
    "intake_valves": 1,
    "exhaust_over_intake_valve": 0.82,
    "burn_10_90_deg": 30.0,
    "intake_lash_m": 0.25e-3,
    "exhaust_lash_m": 0.30e-3,
}
_FOUR_VALVE: dict[str, Any] = {
    "intake_valves": 2,
    "exhaust_over_intake_valve": 0.86,
    "burn_10_90_deg": 22.0,
    "intake_lash_m": 0.20e-3,
    "exhaust_lash_m": 0.25e-3,
}

# Rod/stroke, compression, intake valve/bore, lift/d; seat durations, separation, peak-power rpm.
CLASS_TABLE: Mapping[str, EngineClass] = {
    c.name: c
    for c in (
        _of(
            "utility 2V",
            (1.70, 8.5, 0.42, 0.22),
            (220, 220, 108, 3600),
            **_TWO_VALVE,
            individual_runners=True,
            **_CARBURETTOR,
            **_AIR_COOLED,
            intake_m=0.15,
            primary_m=0.10,
            inlet_speed=INLET_SPEED,
            exhaust_speed=EXHAUST_SPEED,
            front_pipe_m=0.30,
            tailpipe_m=0.06,
        ),
        _of(
            "road 2V pushrod",
            (1.70, 9.0, 0.47, 0.25),
            (248, 252, 111, 5200),
            **_TWO_VALVE,
            individual_runners=False,
            **_CARBURETTOR,
            heated={"intake runner": 363.15},
            intake_m=0.25,
            plenum_over_displacement=0.3,
            primary_m=0.30,
            inlet_speed=INLET_SPEED,
            exhaust_speed=EXHAUST_SPEED,
            front_pipe_m=FRONT_PIPE_M,
            tailpipe_m=TAILPIPE_M,
        ),
        _of(
            "road 4V",
            (1.65, 10.5, 0.39, 0.27),
            (240, 240, 112, 6200),
            **_FOUR_VALVE,
            individual_runners=False,
            primary_m=0.35,
            inlet_speed=INLET_SPEED,
            exhaust_speed=EXHAUST_SPEED,
            front_pipe_m=FRONT_PIPE_M,
            tailpipe_m=TAILPIPE_M,
        ),
        _of(
            "fast road 4V",
            (1.65, 11.0, 0.40, 0.30),
            (268, 264, 108, 7000),
            **_FOUR_VALVE,
            individual_runners=False,
            inlet_speed=SPORT_INLET_SPEED,
            exhaust_speed=SPORT_EXHAUST_SPEED,
            front_pipe_m=FRONT_PIPE_M,
            tailpipe_m=TAILPIPE_M,
        ),
        _of(
            "race 4V",
            (1.70, 12.5, 0.41, 0.34),
            (300, 296, 104, 8200),
            **_FOUR_VALVE,
            individual_runners=True,
        ),
        _of(
            "motorcycle 4V",
            (1.80, 12.0, 0.39, 0.28),
            (264, 256, 106, 10500),
            **_FOUR_VALVE,
            individual_runners=True,
            inlet_speed=SPORT_INLET_SPEED,
            exhaust_speed=SPORT_EXHAUST_SPEED,
            front_pipe_m=0.50,
            tailpipe_m=0.30,
        ),
    )
}

FIRING_ORDERS: Mapping[int, tuple[int, ...]] = {
    3: (1, 2, 3),
    4: (1, 3, 4, 2),
    5: (1, 2, 4, 5, 3),
    6: (1, 5, 3, 6, 2, 4),
    8: (1, 3, 6, 2, 7, 8, 4, 5),
}
"""Evenly spaced orders; of an eight on a cross-plane crank, cylinders 1 to 4 on one bank."""

LIMIT_OVER_PEAK_POWER = 1.10
HIGHEST_PISTON_SPEED = 25.0
"""Mean piston speed [m/s] an assumed limit does not pass; the upper end of racing practice."""

OUTSIDE_AIR = "outside air"


def handy(value: float, step: float) -> float:
    """A guess as people write one: a whole number of steps, at least one.

    Examples
    --------
    >>> round(handy(0.9078, 0.01), 6)
    0.91
    """
    return max(round(value / step), 1) * step


@dataclass(frozen=True, slots=True)
class Filled:
    """One table of the file whose missing keys are filled in and noted."""

    values: Mapping[str, Any]
    table: str
    findings: Findings

    def take(
        self,
        key: str,
        default: float,
        dimension: str,
        reason: str,
        source: str = COMMON_PRACTICE,
        *,
        digits: int = 4,
        step: float = 0.0,
    ) -> float:
        """The given value of ``key``, or ``default`` (SI) to a whole ``step``, noted as assumed."""
        if key in self.values:
            return float(self.values[key])
        if step:
            default = handy(default, step)
        number = f"{default:.{digits}g}"
        value = written(default, dimension, digits=digits) if dimension else number
        self.findings.assume(f"{self.table}.{key}", value, reason, source)
        return default

    def take_text(self, key: str, default: str, reason: str, source: str = COMMON_PRACTICE) -> str:
        """The given text of ``key``, or ``default``, noted as assumed."""
        if key in self.values:
            return str(self.values[key])
        self.findings.assume(f"{self.table}.{key}", default, reason, source)
        return default


def choose_class(values: Mapping[str, Any], findings: Findings) -> EngineClass:
    """The class the file names, or the likeliest by valves and size, noted as assumed."""
    engine = values["engine"]
    if "class" in engine:
        return CLASS_TABLE[engine["class"]]
    name, reason = _likely_class(engine, values.get("intake", {}).get("valve", {}))
    findings.assume("engine.class", name, reason)
    return CLASS_TABLE[name]


def _likely_class(engine: Mapping[str, Any], valve: Mapping[str, Any]) -> tuple[str, str]:
    bore, stroke = engine["bore"], engine["stroke"]
    count = valve.get("count")
    head = valve.get("head_diameter", 0.0) / bore
    if count == 1 or (count is None and head > 0.43):
        reason = "one intake valve" if count == 1 else "intake valve over 0.43 of the bore"
        litres = 785.4 * bore**2 * stroke
        if engine["cylinders"] == 1 and litres < 0.45:
            return "utility 2V", f"{reason}, a single below 450 cc"
        return "road 2V pushrod", reason
    if engine["cylinders"] <= 2 and stroke / bore < 0.82:
        return "motorcycle 4V", "few cylinders and a stroke below 0.82 of the bore"
    return "road 4V", "two intake valves" if count else "no valves given; the commonest"


def fill_cylinder(values: Mapping[str, Any], kind: EngineClass, findings: Findings) -> Cylinder:
    """The cylinder, with what its engine class adds."""
    engine = Filled(values["engine"], "engine", findings)
    walls = Filled(values.get("walls", {}), "walls", findings)
    of_class = f"typical of {kind.name}"
    bore, stroke = values["engine"]["bore"], values["engine"]["stroke"]
    head, piston, liner = kind.wall_K
    warm = kind.wall_reason
    return Cylinder(
        bore_m=bore,
        stroke_m=stroke,
        rod_m=engine.take(
            "rod",
            kind.rod_over_stroke * stroke,
            "length",
            f"rod/stroke {kind.rod_over_stroke:g}, {of_class}",
            step=1e-3,
        ),
        compression_ratio=engine.take("compression_ratio", kind.compression_ratio, "", of_class),
        pin_offset_m=values["engine"].get("pin_offset", 0.0),
        head_wall_K=walls.take("head", head, "temperature", warm, kind.wall_source),
        piston_wall_K=walls.take("piston", piston, "temperature", warm, kind.wall_source),
        liner_wall_K=walls.take("liner", liner, "temperature", warm, kind.wall_source),
    )


def fill_speed_limit(values: Mapping[str, Any], kind: EngineClass, findings: Findings) -> float:
    """Highest engine speed [rpm]."""
    engine = Filled(values["engine"], "engine", findings)
    by_piston = HIGHEST_PISTON_SPEED * 30.0 / values["engine"]["stroke"]
    by_power = LIMIT_OVER_PEAK_POWER * kind.peak_power_rpm
    limit = handy(min(by_power, by_piston), 100.0)
    what = f"10 % above the {kind.peak_power_rpm:.0f} rpm of peak power of {kind.name}"
    if by_piston < by_power:
        what = f"mean piston speed {HIGHEST_PISTON_SPEED:g} m/s"
    return engine.take("speed_limit", limit, "speed", what)


def firing_order(values: Mapping[str, Any], findings: Findings) -> tuple[int, ...]:
    """Cylinder numbers in the order they fire."""
    engine = values["engine"]
    count = engine["cylinders"]
    if "firing_order" in engine:
        return tuple(engine["firing_order"])
    order = FIRING_ORDERS.get(count, tuple(range(1, count + 1)))
    if count > 2:
        shown = "-".join(str(n) for n in order)
        findings.assume("engine.firing_order", shown, f"even firing of {count} cylinders")
    return order


def fill_air(values: Mapping[str, Any], findings: Findings) -> Air:
    """The day."""
    from breathe.engine.atmosphere import humidity_ratio, standard_pressure

    given = values.get("air", {})
    air = Filled(given, "air", findings)
    day = "the reference day of engine test standards, rounded"
    temperature = air.take("temperature", 298.15, "temperature", day, digits=3)
    if "altitude" in given and "pressure" not in given:
        pressure = standard_pressure(given["altitude"])
    else:
        pressure = air.take("pressure", 101_325.0, "barometer", "standard air at sea level")
    humidity = air.take("relative_humidity", 0.0, "share", "dry air")
    return Air(
        pressure_Pa=pressure,
        temperature_K=temperature,
        humidity_kg_per_kg=humidity_ratio(humidity, temperature, pressure),
    )


def fill_fuel(values: Mapping[str, Any], findings: Findings) -> Fuel:
    """Fuel and mixture at full load."""
    fuel = Filled(values.get("fuel", {}), "fuel", findings)
    return Fuel(
        name=fuel.take_text("name", "gasoline", "spark ignition unless said"),
        lambda_full_load=fuel.take("lambda", 0.88, "", "full-load mixture between 0.80 and 0.95"),
        octane=fuel.take("octane", 95.0, "", "research octane number of common pump fuel"),
    )


def fill_burn(values: Mapping[str, Any], kind: EngineClass, findings: Findings) -> Burn:
    """How fast and when the charge burns."""
    given = values.get("burn", {})
    burn = Filled(given, "burn", findings)
    head = "two-valve" if kind.intake_valves == 1 else "four-valve pent-roof"
    if "half_burned_best" in given:
        best = given["half_burned_best"].after_deg
    else:
        best = Burn().ca50_best_deg
        findings.assume(
            "burn.half_burned_best",
            f"{best:g} ATDC",
            "best torque comes with half burned 5 to 11 degrees after TDC",
            "J. B. Heywood, Internal Combustion Engine Fundamentals, 1988, ch. 9 (from memory)",
        )
    return Burn(
        duration_10_90_deg=burn.take(
            "duration_10_90", kind.burn_10_90_deg, "angle", f"{head} chamber at 2000 rpm, full load"
        ),
        ca50_deg=given["half_burned"].after_deg if "half_burned" in given else None,
        ca50_best_deg=best,
        completeness=burn.take("completeness", 0.97, "", "share of the charge that burns"),
    )


def fill_friction(values: Mapping[str, Any], findings: Findings) -> Friction:
    """Friction mean effective pressure without pumping."""
    friction = Filled(values.get("friction", {}), "friction", findings)
    usual = Friction()
    reason = "usual set; friction models agree within 20 %"
    source = "form of S. K. Chen and P. F. Flynn, SAE 650733, 1965 (from memory); set: " + (
        COMMON_PRACTICE
    )
    return Friction(
        constant_Pa=friction.take(
            "constant", usual.constant_Pa, "pressure difference", reason, source
        ),
        per_peak_pressure=friction.take(
            "per_peak_pressure", usual.per_peak_pressure, "", reason, source
        ),
        per_piston_speed=friction.take(
            "per_piston_speed", usual.per_piston_speed, "friction per speed", reason, source
        ),
        per_piston_speed_squared=friction.take(
            "per_piston_speed_squared",
            usual.per_piston_speed_squared,
            "friction per speed squared",
            reason,
            source,
        ),
    )


def lash_of(kind: EngineClass, side: Side) -> float:
    """Running valve clearance of a class [m], at the valve."""
    return kind.intake_lash_m if side == "intake" else kind.exhaust_lash_m

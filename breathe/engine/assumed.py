"""What is taken where the user gave nothing: by class of engine, each value noted with its source.

The class table and the defaults are common practice without a source unless a line says otherwise.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from breathe.engine.findings import COMMON_PRACTICE, Findings
from breathe.engine.parts import Air, Burn, Cylinder, Friction, Fuel, Side
from breathe.engine.quantities import written


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
    """Each cylinder breathes outside air through its own throttle; else they share a plenum."""


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
        ),
        _of(
            "road 2V pushrod",
            (1.70, 9.0, 0.47, 0.25),
            (248, 252, 111, 5200),
            **_TWO_VALVE,
            individual_runners=False,
        ),
        _of(
            "road 4V",
            (1.65, 10.5, 0.39, 0.27),
            (240, 240, 112, 6200),
            **_FOUR_VALVE,
            individual_runners=False,
        ),
        _of(
            "fast road 4V",
            (1.65, 11.0, 0.40, 0.30),
            (268, 264, 108, 7000),
            **_FOUR_VALVE,
            individual_runners=False,
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
        ),
    )
}

FIRING_ORDERS: Mapping[int, tuple[int, ...]] = {
    3: (1, 2, 3),
    4: (1, 3, 4, 2),
    5: (1, 2, 4, 5, 3),
    6: (1, 5, 3, 6, 2, 4),
    8: (1, 8, 4, 3, 6, 5, 7, 2),
}
"""The usual order for each number of cylinders."""

LIMIT_OVER_PEAK_POWER = 1.10
HIGHEST_PISTON_SPEED = 25.0
"""Mean piston speed [m/s] an assumed limit does not pass; the upper end of racing practice."""

OUTSIDE_AIR = "outside air"


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
    ) -> float:
        """The given value of ``key``, or ``default`` (SI), noted as assumed."""
        if key in self.values:
            return float(self.values[key])
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
    warm = "mean over the cycle at full load"
    return Cylinder(
        bore_m=bore,
        stroke_m=stroke,
        rod_m=engine.take(
            "rod",
            kind.rod_over_stroke * stroke,
            "length",
            f"rod/stroke {kind.rod_over_stroke:g}, {of_class}",
        ),
        compression_ratio=engine.take("compression_ratio", kind.compression_ratio, "", of_class),
        pin_offset_m=values["engine"].get("pin_offset", 0.0),
        head_wall_K=walls.take("head", 470.0, "temperature", warm, digits=3),
        piston_wall_K=walls.take("piston", 500.0, "temperature", warm, digits=3),
        liner_wall_K=walls.take("liner", 420.0, "temperature", warm, digits=3),
    )


def fill_speed_limit(values: Mapping[str, Any], kind: EngineClass, findings: Findings) -> float:
    """Highest engine speed [rpm]."""
    engine = Filled(values["engine"], "engine", findings)
    by_piston = HIGHEST_PISTON_SPEED * 30.0 / values["engine"]["stroke"]
    by_power = LIMIT_OVER_PEAK_POWER * kind.peak_power_rpm
    limit = 50.0 * round(min(by_power, by_piston) / 50.0)
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
        findings.assume("engine.firing_order", shown, f"usual for {count} cylinders")
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

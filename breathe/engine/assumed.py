"""What is taken where the user gave nothing: by class of engine, each value noted with its source.

The defaults are common practice without a source unless a line says otherwise.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from breathe.engine.engine_classes import CLASS_TABLE, EngineClass
from breathe.engine.findings import COMMON_PRACTICE, Findings
from breathe.engine.parts import Air, Burn, Cylinder, Friction, Fuel, Side
from breathe.engine.quantities import written

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
        **_burn_shape(burn),
    )


def _burn_shape(burn: Filled) -> dict[str, float]:
    """Wiebe's two numbers and how the duration grows with speed."""
    usual = Burn()
    wiebe = "shape of the burn, 1 - exp(-a y^(m + 1)) at share y of its duration"
    source = "J. B. Heywood, Internal Combustion Engine Fundamentals, 1988, ch. 9 (from memory)"
    return {
        "wiebe_a": burn.take("wiebe_a", usual.wiebe_a, "", f"{wiebe}; ends at 99.9 %", source),
        "wiebe_m": burn.take("wiebe_m", usual.wiebe_m, "", wiebe, source),
        "speed_exponent": burn.take(
            "speed_exponent", usual.speed_exponent, "",
            "duration goes with speed to this power; least certain, 0.15 to 0.33",
            "S. D. Hires, R. J. Tabaczynski and J. M. Novak, SAE 780232, 1978 (from memory)",
        ),
    }  # fmt: skip


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

"""Typical figures of classes of engine, taken where the user gave nothing.

The table and the defaults are common practice without a source unless a line says otherwise.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from breathe.engine.findings import COMMON_PRACTICE

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

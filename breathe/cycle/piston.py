"""What kernels need of the slider-crank: piston travel, cylinder volume, surfaces.

Crank angle is counted from the true top dead centre, where the volume is smallest; the geometry and
its formula are in `valvetrain.crank`. With an offset pin bottom dead centre is not at 180 degrees
but at `bottom_deg`.

Everything here is a kernel or makes what kernels read.
"""

from __future__ import annotations

import math

from breathe.kernel import kernel
from breathe.valvetrain import crank as geometry
from breathe.valvetrain.crank import SliderCrank, slider_crank

__all__ = [
    "SliderCrank",
    "bore_area",
    "bottom_deg",
    "liner_area",
    "mean_speed",
    "motion",
    "slider_crank",
    "travel",
    "travel_slope",
    "volume",
    "volume_slope",
]

motion = kernel(geometry.motion)
"""Piston distance from top dead centre and its slope, compiled; see `valvetrain.crank.motion`."""


@kernel
def bottom_deg(crank: SliderCrank) -> float:
    """Bottom dead centre, in crank degrees after top dead centre (180 without offset)."""
    lag = math.asin(crank.offset_m / (crank.rod_m - crank.crank_m)) - crank.tdc_rad
    return 180.0 + math.degrees(lag)


@kernel
def travel(crank: SliderCrank, angle_deg: float) -> float:
    """Piston distance from top dead centre [m]; see `motion`."""
    return motion(crank, angle_deg)[0]


@kernel
def travel_slope(crank: SliderCrank, angle_deg: float) -> float:
    """Derivative of `travel` [m/deg]."""
    return motion(crank, angle_deg)[1]


@kernel
def bore_area(crank: SliderCrank) -> float:
    """Cross-section of the bore [m2]."""
    return math.pi / 4 * crank.bore_m**2


@kernel
def volume(crank: SliderCrank, angle_deg: float) -> float:
    """Cylinder volume [m3]."""
    return crank.clearance_m3 + bore_area(crank) * travel(crank, angle_deg)


@kernel
def volume_slope(crank: SliderCrank, angle_deg: float) -> float:
    """Change of volume with crank angle [m3/deg]."""
    return bore_area(crank) * travel_slope(crank, angle_deg)


@kernel
def liner_area(crank: SliderCrank, travel_m: float) -> float:
    """Liner surface the gas sees [m2]: the band swept so far, below a chamber in the head."""
    return math.pi * crank.bore_m * travel_m


@kernel
def mean_speed(crank: SliderCrank, speed_rpm: float) -> float:
    """Mean piston speed [m/s] at a crank speed [rev/min]."""
    return 4 * crank.crank_m * speed_rpm / 60

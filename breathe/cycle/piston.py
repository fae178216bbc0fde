"""Slider-crank with pin offset: piston travel, cylinder volume, surfaces.

Crank angle is counted from the true top dead centre, where the volume is smallest. With an offset
pin that is not where the crank pin stands at the top: the crank itself is then ``tdc_rad`` past its
top (positive offset). A degree wheel set with a piston stop or a dial reads exactly this angle.
Bottom dead centre then is not at 180 degrees but at `bottom_deg`.

Everything here is a kernel or makes what kernels read.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from breathe.engine.parts import Cylinder
from breathe.kernel import kernel


class SliderCrank(NamedTuple):
    """One cylinder's geometry as kernels read it; make it with `slider_crank`."""

    bore_m: float
    crank_m: float
    """Crank radius, half the nominal stroke."""
    rod_m: float
    offset_m: float
    """Pin offset; positive moves top dead centre after crank top."""
    clearance_m3: float
    """Smallest volume."""
    top_m: float
    """Pin height above the crank axis at top dead centre."""
    tdc_rad: float
    """Angle of the crank past its own top at top dead centre."""


def slider_crank(cylinder: Cylinder) -> SliderCrank:
    """Geometry of ``cylinder`` in the form kernels read.

    The crank radius is half of ``stroke_m``. With an offset pin the piston travels a little further
    than that stroke; the clearance is taken from the true travel, so that largest over smallest
    volume is the compression ratio exactly.
    """
    crank, rod, offset = cylinder.stroke_m / 2, cylinder.rod_m, cylinder.pin_offset_m
    top = math.sqrt((rod + crank) ** 2 - offset**2)
    bottom = math.sqrt((rod - crank) ** 2 - offset**2)
    swept = math.pi / 4 * cylinder.bore_m**2 * (top - bottom)
    return SliderCrank(
        bore_m=cylinder.bore_m,
        crank_m=crank,
        rod_m=rod,
        offset_m=offset,
        clearance_m3=swept / (cylinder.compression_ratio - 1),
        top_m=top,
        tdc_rad=math.asin(offset / (rod + crank)),
    )


@kernel
def bottom_deg(crank: SliderCrank) -> float:
    """Bottom dead centre, in crank degrees after top dead centre (180 without offset)."""
    lag = math.asin(crank.offset_m / (crank.rod_m - crank.crank_m)) - crank.tdc_rad
    return 180.0 + math.degrees(lag)


@kernel
def motion(crank: SliderCrank, angle_deg: float) -> tuple[float, float]:
    """Piston distance from top dead centre [m] and its slope [m/deg] at a crank angle [deg].

    ``x = top - R cos(a) - sqrt(L^2 - (R sin(a) - e)^2)`` with ``a`` counted from crank top
    (plane geometry).
    """
    a = math.radians(angle_deg) + crank.tdc_rad
    sine, cosine = math.sin(a), math.cos(a)
    across = crank.crank_m * sine - crank.offset_m
    upright = math.sqrt(crank.rod_m**2 - across**2)
    slope = crank.crank_m * (sine + cosine * across / upright) * (math.pi / 180)
    return crank.top_m - crank.crank_m * cosine - upright, slope


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

"""Slider-crank with pin offset: where the piston stands, for floats and arrays.

Crank angle is counted from the true top dead centre. With an offset pin that is not where the crank
pin stands at the top: the crank itself is then ``tdc_rad`` past its top (positive offset). A degree
wheel set with a piston stop or a dial reads exactly this angle.

Plain functions: `cycle.piston` compiles `motion` for its kernels, so it keeps to numpy's own.
"""

from __future__ import annotations

import math
from typing import NamedTuple, TypeVar

import numpy as np

from breathe.engine.parts import Cylinder, Floats

Angle = TypeVar("Angle", float, Floats)


class SliderCrank(NamedTuple):
    """One cylinder's geometry; make it with `slider_crank`."""

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
    """Geometry of ``cylinder``.

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


def motion(crank: SliderCrank, angle_deg: Angle) -> tuple[Angle, Angle]:
    """Piston distance from top dead centre [m] and its slope [m/deg] at a crank angle [deg].

    ``x = top - R cos(a) - sqrt(L^2 - (R sin(a) - e)^2)`` with ``a`` counted from crank top
    (plane geometry).
    """
    a = angle_deg * (math.pi / 180) + crank.tdc_rad
    sine, cosine = np.sin(a), np.cos(a)
    across = crank.crank_m * sine - crank.offset_m
    upright = np.sqrt(crank.rod_m**2 - across**2)
    slope = crank.crank_m * (sine + cosine * across / upright) * (math.pi / 180)
    return crank.top_m - crank.crank_m * cosine - upright, slope

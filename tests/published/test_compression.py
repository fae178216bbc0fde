"""Effective compression ratio against the slider-crank written out, and figures made outside."""

from __future__ import annotations

import math

import numpy as np
import pytest

from breathe.cycle.compression import compression_from, effective_compression_ratio
from breathe.engine.parts import Cam, Cylinder, Sleeve
from breathe.valvetrain.dwell import event
from breathe.valvetrain.lobe import lobe_from_card

SQUARE = Cylinder(bore_m=0.086, stroke_m=0.086, rod_m=0.145, compression_ratio=10.5)
LONG_STROKE = Cylinder(bore_m=0.08026, stroke_m=0.089, rod_m=0.165, compression_ratio=9.0)


def written_out(cylinder: Cylinder, after_bdc: float) -> float:
    """Without pin offset: J. B. Heywood, 1988, eqs. 2.4, 2.5 (from memory)."""
    crank, rod = cylinder.stroke_m / 2, cylinder.rod_m
    theta = math.radians(180 + after_bdc)
    pin = crank * math.cos(theta) + math.sqrt(rod**2 - (crank * math.sin(theta)) ** 2)
    return 1 + (crank + rod - pin) / cylinder.stroke_m * (cylinder.compression_ratio - 1)


@pytest.mark.parametrize("cylinder", [SQUARE, LONG_STROKE])
def test_ratio_from_any_closing_angle_is_that_of_the_formula(cylinder):
    for after_bdc in np.arange(-180.0, 181.0, 20.0):
        found = compression_from(cylinder, 540.0 + after_bdc)
        assert found == pytest.approx(written_out(cylinder, after_bdc), rel=1e-9)


# S6: the invented sleeve cam E1v (228 deg at 0.10 mm, 92 ATDC, opening held, 5 deg a mm), which
# closes 38 to 86 ABDC at 0.1 mm: recomputed from the slider-crank, two decimals.
@pytest.mark.parametrize(
    ("travel_mm", "wanted"), [(2.4, 9.76), (4.8, 9.22), (7.2, 8.54), (9.6, 7.72), (12.0, 6.80)]
)
def test_s6_sleeve_settings(travel_mm, wanted):
    lobe, _ = lobe_from_card(228, 0.10e-3, 9.5e-3, second=(198, 1.0e-3))
    sleeve = Sleeve(travel_max_m=0.012, crank_deg_per_m=5000.0, closing_share=1.0)
    cam = Cam(lobe=lobe, centreline_deg=92.0, lash_m=0.0, sleeve=sleeve)
    lift = event(cam, travel_m=travel_mm * 1e-3, side="intake")
    assert effective_compression_ratio(SQUARE, lift) == pytest.approx(wanted, abs=0.005)


# S2: closing 60 ABDC (recomputed).
def test_s2_long_stroke():
    assert compression_from(LONG_STROKE, 600.0) == pytest.approx(7.41, abs=0.005)

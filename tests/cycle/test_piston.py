"""Slider-crank: properties over many geometries. Published rows are in tests/published."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from breathe.cycle.piston import (
    SliderCrank,
    bottom_deg,
    liner_area,
    mean_speed,
    slider_crank,
    travel,
    travel_slope,
    volume,
    volume_slope,
)
from breathe.engine.parts import Cylinder

ANGLES = st.floats(-360.0, 720.0)


@st.composite
def cranks(draw: st.DrawFn) -> SliderCrank:
    stroke = draw(st.floats(0.03, 0.12))
    return slider_crank(
        Cylinder(
            bore_m=draw(st.floats(0.04, 0.12)),
            stroke_m=stroke,
            rod_m=stroke * draw(st.floats(1.3, 2.5)),
            compression_ratio=draw(st.floats(6.0, 16.0)),
            pin_offset_m=stroke * draw(st.floats(-0.1, 0.1)),
        )
    )


@given(cranks(), ANGLES)
def test_zero_degrees_is_the_smallest_volume(crank: SliderCrank, angle: float) -> None:
    assert travel(crank, 0.0) == pytest.approx(0.0, abs=1e-15)
    assert travel(crank, angle) >= -1e-15
    assert travel_slope(crank, 0.0) == pytest.approx(0.0, abs=1e-15)


@given(cranks(), ANGLES)
def test_bottom_is_the_largest_volume_and_gives_the_compression_ratio(
    crank: SliderCrank, angle: float
) -> None:
    bottom = volume(crank, bottom_deg(crank))
    assert volume(crank, angle) <= bottom * (1 + 1e-12)
    assert volume_slope(crank, bottom_deg(crank)) == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("offset", [0.0, 0.002, -0.002])
def test_largest_over_smallest_volume_is_the_compression_ratio(offset: float) -> None:
    cylinder = Cylinder(
        bore_m=0.07, stroke_m=0.06, rod_m=0.1, compression_ratio=11.5, pin_offset_m=offset
    )
    crank = slider_crank(cylinder)
    assert volume(crank, bottom_deg(crank)) / volume(crank, 0.0) == pytest.approx(11.5, rel=1e-12)


@given(cranks(), ANGLES)
def test_volume_slope_is_the_derivative_of_volume(crank: SliderCrank, angle: float) -> None:
    h = 1e-3
    difference = (volume(crank, angle + h) - volume(crank, angle - h)) / (2 * h)
    scale = volume(crank, bottom_deg(crank)) * math.pi / 180
    assert volume_slope(crank, angle) == pytest.approx(difference, abs=1e-7 * scale)


@given(cranks(), ANGLES)
def test_travel_repeats_every_turn(crank: SliderCrank, angle: float) -> None:
    assert travel(crank, angle + 360.0) == pytest.approx(travel(crank, angle), abs=1e-12)


def test_liner_and_mean_speed() -> None:
    crank = slider_crank(Cylinder(bore_m=0.1, stroke_m=0.09, rod_m=0.15, compression_ratio=10.0))
    assert liner_area(crank, 0.09) == pytest.approx(math.pi * 0.1 * 0.09)
    assert mean_speed(crank, 6000.0) == pytest.approx(18.0)

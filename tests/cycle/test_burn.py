"""Burn shape, phasing and duration: properties."""

from __future__ import annotations

import itertools
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from breathe.cycle.burn import (
    LONGEST_10_90_DEG,
    REFERENCE_POINT,
    REFERENCE_SHUT_K,
    REFERENCE_SHUT_PA,
    REFERENCE_VOLUME_RATIO,
    burn_duration,
    flame_point,
    full_duration,
    start_of_burn,
    unburned_share_left,
    wiebe,
    wiebe_point,
    wiebe_slope,
)

SHAPES = st.tuples(st.floats(3.0, 10.0), st.floats(0.5, 5.0))


@given(SHAPES)
def test_nothing_burned_before_and_all_after(shape: tuple[float, float]) -> None:
    assert wiebe(-0.1, *shape) == wiebe(0.0, *shape) == 0.0
    assert wiebe(1.0, *shape) == wiebe(1.5, *shape) == 1.0
    assert wiebe(1.0 - 1e-9, *shape) == pytest.approx(1.0, abs=1e-6)


@given(SHAPES, st.floats(0.001, 0.999))
def test_point_is_the_inverse(shape: tuple[float, float], share: float) -> None:
    assert wiebe(wiebe_point(share, *shape), *shape) == pytest.approx(share, rel=1e-9)


@given(SHAPES, st.floats(0.01, 0.99))
def test_slope_is_the_derivative(shape: tuple[float, float], y: float) -> None:
    h = 1e-6
    difference = (wiebe(y + h, *shape) - wiebe(y - h, *shape)) / (2 * h)
    assert wiebe_slope(y, *shape) == pytest.approx(difference, abs=1e-6)


@given(SHAPES, st.floats(10.0, 40.0), st.floats(-10.0, 30.0))
def test_conversions_meet_the_curve(
    shape: tuple[float, float], ten_ninety: float, ca50: float
) -> None:
    duration = full_duration(ten_ninety, *shape)
    start = start_of_burn(ca50, duration, *shape)
    assert wiebe((ca50 - start) / duration, *shape) == pytest.approx(0.5)
    low, high = (wiebe_point(s, *shape) * duration for s in (0.1, 0.9))
    assert high - low == pytest.approx(ten_ninety)


@given(st.floats(0.0, 1.0), st.lists(st.floats(-30.0, 40.0), min_size=2, max_size=9))
def test_steps_multiply_to_the_whole_whatever_their_size(
    completeness: float, angles: list[float]
) -> None:
    angles = [-31.0, *sorted(angles), 41.0]
    left = 1.0
    for a, b in itertools.pairwise(angles):
        left *= unburned_share_left(a, b, -22.0, 50.0, 6.908, 2.0, completeness)
    assert left == pytest.approx(1.0 - completeness, abs=1e-12)


def test_nothing_burns_after_the_end() -> None:
    assert unburned_share_left(30.0, 60.0, -22.0, 50.0, 6.908, 2.0) == 1.0
    assert unburned_share_left(-40.0, -30.0, -22.0, 50.0, 6.908, 2.0) == 1.0


def test_duration_is_the_reference_at_the_reference() -> None:
    assert burn_duration(24.0, 2000.0, 1 / 3, 0.7, 0.7) == (24.0, False)


@given(st.floats(0.3, 0.9), st.floats(500.0, 15000.0))
def test_slower_flame_and_higher_speed_burn_longer(flame: float, speed: float) -> None:
    base = burn_duration(24.0, speed, 1 / 3, flame, 0.7)
    assert burn_duration(24.0, speed, 1 / 3, 0.9 * flame, 0.7)[0] >= base[0]
    assert burn_duration(24.0, 1.1 * speed, 1 / 3, flame, 0.7)[0] >= base[0]


@pytest.mark.parametrize("flame", [0.0, -0.1, 0.02, math.nan])
def test_a_charge_that_hardly_burns_is_long_finite_and_marked(flame: float) -> None:
    assert burn_duration(24.0, 2000.0, 1 / 3, flame, 0.7) == (LONGEST_10_90_DEG, True)


def test_cap_is_continuous() -> None:
    just = 0.7 * (LONGEST_10_90_DEG / 24.0) ** -1.5
    above = burn_duration(24.0, 2000.0, 1 / 3, just * 1.0001, 0.7)
    assert not above.capped
    assert above.duration_10_90_deg == pytest.approx(LONGEST_10_90_DEG, rel=1e-3)


def test_reference_point_is_made_by_the_same_rule() -> None:
    point = flame_point(REFERENCE_SHUT_PA, REFERENCE_SHUT_K, REFERENCE_VOLUME_RATIO)
    assert point == pytest.approx(REFERENCE_POINT)

"""Stretches and crossings against lines and curves whose crossings are known exactly."""

from __future__ import annotations

import doctest
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from breathe.study import crossings as module
from breathe.study.crossings import crossings, stretches, tied

SPEEDS = np.arange(1500.0, 7501.0, 500.0)
values = st.lists(st.floats(20.0, 300.0), min_size=13, max_size=13).map(np.array)
ties = st.floats(0.0, 0.05)


def test_straight_lines_cross_where_algebra_says():
    a, b = 100 + 0.01 * SPEEDS, 132 + 0.002 * SPEEDS  # equal at 4000 rpm
    found = crossings(SPEEDS, a, b, 0.0)
    assert [c.speed_rpm for c in found] == pytest.approx([4000.0])
    assert found[0].starts
    # On a grid point the band is a quarter of the 500 rpm step each way.
    assert (found[0].low_rpm, found[0].high_rpm) == pytest.approx((3875.0, 4125.0))


def test_band_is_where_the_difference_is_below_the_error():
    b = np.full_like(SPEEDS, 100.0)
    a = 100 + (SPEEDS - 4000) * 0.001  # 1 % in 1000 rpm
    (found,) = crossings(SPEEDS, a, b, 0.005)
    # |a - b| = 0.005 max(a, b): at 4000 - 500 exactly, and at 4000 + 500 / 0.995.
    assert found.low_rpm == pytest.approx(3500.0)
    assert found.high_rpm == pytest.approx(4000 + 500 / 0.995, abs=0.5)


def test_all_crossings_of_a_wave_are_found():
    b = np.full_like(SPEEDS, 150.0)
    a = b + 10 * np.cos(np.pi * (SPEEDS - 1500) / 1500)  # zero at 2250, 3750, 5250, 6750
    found = crossings(SPEEDS, a, b, 0.0)
    assert [c.speed_rpm for c in found] == pytest.approx([2250, 3750, 5250, 6750])
    assert [c.starts for c in found] == [False, True, False, True]


def test_touching_without_crossing_is_no_crossing():
    a = np.array([103.0, 100.0, 103.0])
    assert crossings([1000, 2000, 3000], a, np.full(3, 100.0), 0.005) == []
    verdicts = [s.verdict for s in stretches([1000, 2000, 3000], a, np.full(3, 100.0), 0.005)]
    assert verdicts == ["helps", "same", "helps"]


def test_extreme_is_taken_at_a_speed_that_was_run():
    a = np.array([95.0, 99.0, 108.0, 104.0])
    found = stretches([1000, 2000, 3000, 4000], a, np.full(4, 100.0), 0.005)
    assert [s.verdict for s in found] == ["hurts", "helps"]
    hurts, helps = found
    assert (hurts.extreme, hurts.extreme_rpm) == pytest.approx((-0.05, 1000.0))
    assert (helps.extreme, helps.extreme_rpm) == pytest.approx((0.08, 3000.0))


def test_unknown_points_are_bridged():
    a = [95.0, np.nan, 105.0]
    (found,) = crossings([1000, 2000, 3000], a, [100.0] * 3, 0.0)
    assert found.speed_rpm == pytest.approx(2000.0)
    assert stretches([1000, 2000], [np.nan, np.nan], [1.0, 1.0], 0.0) == []


def test_single_speed():
    assert [s.verdict for s in stretches([3000], [101.0], [100.0], 0.005)] == ["helps"]
    assert crossings([3000], [101.0], [100.0], 0.005) == []


def test_doubled_speed_is_refused():
    with pytest.raises(ValueError, match="once"):
        stretches([1000, 1000], [1, 2], [1, 2], 0.0)


@given(values, values, ties)
def test_exchanging_the_curves_exchanges_help_and_hurt(a, b, tie):
    swap = {"helps": "hurts", "hurts": "helps", "same": "same"}
    one, other = stretches(SPEEDS, a, b, tie), stretches(SPEEDS, b, a, tie)
    assert [swap[s.verdict] for s in one] == [s.verdict for s in other]
    assert [c.speed_rpm for c in crossings(SPEEDS, a, b, tie)] == pytest.approx(
        [c.speed_rpm for c in crossings(SPEEDS, b, a, tie)]
    )


@given(values, values, ties)
def test_each_speed_is_in_one_stretch_whose_verdict_is_its_own(a, b, tie):
    found = stretches(SPEEDS, a, b, tie)
    for left, right in pairwise(found):
        assert left.end_rpm < right.start_rpm
        assert left.verdict != right.verdict
    for speed, one, other in zip(SPEEDS, a, b, strict=True):
        (own,) = [s for s in found if s.start_rpm <= speed <= s.end_rpm]
        level = abs(one - other) <= tie * max(one, other)
        assert own.verdict == ("same" if level else "helps" if one > other else "hurts")


@given(values, values, ties)
def test_a_crossing_lies_between_the_speeds_that_decide(a, b, tie):
    for crossing in crossings(SPEEDS, a, b, tie):
        below, above = (
            int(np.flatnonzero(speed == SPEEDS)[0])
            for speed in (crossing.below_rpm, crossing.above_rpm)
        )
        assert crossing.below_rpm <= crossing.low_rpm <= crossing.speed_rpm
        assert crossing.speed_rpm <= crossing.high_rpm <= crossing.above_rpm
        assert (a > b)[above] == crossing.starts and (a < b)[below] == crossing.starts
        assert tied(a, b, tie)[below + 1 : above].all()
        assert not tied(a, b, tie)[[below, above]].any()


def test_a_band_that_fills_the_way_is_wide():
    b = np.full(5, 100.0)
    steep = np.array([90.0, 95.0, 105.0, 110.0, 115.0])
    flat = np.array([98.0, 99.3, 100.3, 100.4, 101.0])
    speeds = [1000, 2000, 3000, 4000, 5000]
    assert [c.wide for c in crossings(speeds, steep, b, 0.005)] == [False]
    assert [c.wide for c in crossings(speeds, flat, b, 0.005)] == [True]


@given(values, values)
def test_number_of_crossings_has_the_parity_of_the_ends(a, b):
    ends = np.sign((a - b)[[0, -1]])
    if np.all(ends != 0):
        assert len(crossings(SPEEDS, a, b, 0.0)) % 2 == (ends[0] != ends[1])


@given(values, values, ties, st.floats(0.1, 10.0))
def test_units_of_torque_do_not_matter(a, b, tie, factor):
    one = crossings(SPEEDS, a, b, tie)
    other = crossings(SPEEDS, a * factor, b * factor, tie)
    for left, right in zip(one, other, strict=True):
        assert left.low_rpm <= left.speed_rpm <= left.high_rpm
        assert left.speed_rpm == pytest.approx(right.speed_rpm, rel=1e-6)


def test_examples_in_the_docstrings():
    assert doctest.testmod(module).failed == 0

"""Axis points in order, what a load axis measures, and which points to keep."""

from __future__ import annotations

import numpy as np
import pytest

from breathe.errors import BreatheError
from breathe.study.control.map_axes import best_points, fitted, load_scale, rising

S11 = (
    800,
    1200,
    1600,
    2000,
    2500,
    3000,
    3500,
    4000,
    4500,
    5000,
    5500,
    6000,
    6500,
    7000,
    7500,
    8000,
)


@pytest.mark.parametrize(
    ("points", "told"),
    [
        ((1000, 3000, 2000), "--speeds: position 3: found 2000 after 3000"),
        ((1000, 2000, 2000), "--speeds: position 3: found 2000 again"),
        ((), "--speeds: found no axis point"),
    ],
)
def test_a_position_out_of_order_is_named(points, told):
    with pytest.raises(BreatheError, match=told):
        rising(points, "--speeds")


def test_twenty_points_where_sixteen_fit_get_the_best_sixteen():
    extra = (5250, 5750, 6250, 6750)
    twenty = tuple(sorted((*S11, *extra)))
    with pytest.raises(BreatheError, match="20 points, and 16 fit") as told:
        fitted(twenty, 16, "--speeds")
    offered = [float(x) for x in str(told.value).split("best are ")[1].split(",")]
    assert len(offered) == 16
    assert offered[0] == 800 and offered[-1] == 8000


def test_a_point_on_a_straight_line_is_missed_least():
    points = [1000.0, 2000.0, 3000.0, 4000.0, 5000.0]
    bent_at_4000 = np.array([[240.0, 244.0, 248.0, 252.0, 280.0]])
    assert best_points(points, 3, bent_at_4000) == [0, 3, 4]


def test_loads_in_percent_above_105_are_kilopascals():
    scale = load_scale("load %")
    with pytest.raises(BreatheError, match=r"found 120 on an axis in %.*kPa\?"):
        scale.checked((40.0, 80.0, 120.0), "--loads")
    assert scale.checked((40.0, 100.0), "--loads") == (0.4, 1.0)


@pytest.mark.parametrize(
    ("text", "axis", "si"),
    [
        ("map kPa", "map", 1e3),
        ("kPa \\ rpm", "map", 1e3),
        ("bmep bar", "bmep", 1e5),
        ("TPS %", "throttle", 0.01),
        ("MAP inHg", "map", 3386.389),
    ],
)
def test_words_of_a_load_axis(text, axis, si):
    found = load_scale(text)
    assert (found.axis, found.si) == (axis, pytest.approx(si))


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("bar", "bar of what"),
        ("idle", "idle is outside what is trusted"),
        ("egr %", "exhaust gas recirculation is outside what is trusted"),
        ("air charge", "expected"),
    ],
)
def test_what_cannot_be_meant_is_asked_about(text, told):
    with pytest.raises(BreatheError, match=told):
        load_scale(text)


def test_a_pressure_no_manifold_has_is_refused():
    with pytest.raises(BreatheError, match="found 2 kPa"):
        load_scale("map kPa").checked((2.0, 50.0), "--loads")

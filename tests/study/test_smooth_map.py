"""The smoothest map between limits."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize

from breathe.study.control.smooth_map import (
    Anchor,
    Wanted,
    least_squares_within,
    quantised,
    smoothest,
    steepest,
    stretch_near,
    weights_at,
)

SPEEDS = np.array([1000.0, 2000.0, 3000.0, 4500.0, 6000.0])
LOADS = np.array([40.0, 60.0, 100.0])


def wanted(best: np.ndarray, slack: float, anchors: tuple[Anchor, ...] = ()) -> Wanted:
    return Wanted(
        speeds_rpm=SPEEDS,
        loads=LOADS,
        best=best,
        low=best - slack,
        high=best + slack,
        anchors=anchors,
    )


@given(st.integers(0, 10_000))
@settings(max_examples=20)
def test_least_squares_within_is_the_least(seed):
    rng = np.random.default_rng(seed)
    matrix, right = rng.normal(size=(6, 3)), rng.normal(size=6)
    sides, inside = rng.normal(size=(5, 3)), rng.normal(size=3)
    ends = sides @ inside - rng.uniform(0, 1, 5)  # there is a way
    found = least_squares_within(matrix, right, sides, ends)
    assert found is not None and np.all(sides @ found >= ends - 1e-7)
    rival = minimize(
        lambda x: np.sum((matrix @ x - right) ** 2),
        inside,
        constraints={"type": "ineq", "fun": lambda x: sides @ x - ends},
        method="SLSQP",
        options={"ftol": 1e-12},
    )
    assert np.sum((matrix @ found - right) ** 2) <= rival.fun + 1e-6


def test_contradictory_limits_have_no_answer():
    sides = np.array([[1.0], [-1.0]])
    assert least_squares_within(np.eye(1), np.zeros(1), sides, np.array([1.0, 1.0])) is None


def bending(map_deg: np.ndarray) -> float:
    """Squares of how far each inner cell lies off the line of its two neighbours, both ways."""
    total = 0.0
    for lines, axis in ((map_deg, SPEEDS), (map_deg.T, LOADS)):
        for line in lines:
            for k in range(1, len(axis) - 1):
                ends = [k - 1, k + 1]
                total += (line[k] - np.interp(axis[k], axis[ends], line[ends])) ** 2
    return total


@given(st.integers(0, 10_000), st.floats(1.0, 15.0))
@settings(max_examples=20)
def test_every_cell_stays_content_and_the_map_bends_less(seed, slack):
    best = np.random.default_rng(seed).uniform(0, 60, (3, 5))
    found = smoothest(wanted(best, slack))
    assert found is not None
    assert np.all(np.abs(found - best) <= slack + 1e-9)
    assert bending(found) <= bending(best) + 1e-6


def test_a_plane_is_left_alone():
    plane = 0.01 * SPEEDS[None, :] - 0.2 * LOADS[:, None]
    assert smoothest(wanted(plane, 5.0)) == pytest.approx(plane, abs=1e-6)


def test_steps_over_speed_stay_within_what_the_actuator_follows():
    best = np.tile([0.0, 0.0, 40.0, 40.0, 40.0], (3, 1))
    loose, held = smoothest(wanted(best, 16.0)), smoothest(wanted(best, 16.0), 0.0085)
    assert loose is not None and held is not None
    assert np.max(np.abs(np.diff(held)) / np.diff(SPEEDS)) <= 0.0085 + 1e-9
    assert np.max(np.abs(np.diff(loose)) / np.diff(SPEEDS)) > 0.0085
    assert smoothest(wanted(best, 1.0), 0.0085) is None


@pytest.mark.parametrize("anchor", [Anchor(2000.0, 60.0, 33.0), Anchor(2600.0, 83.0, 33.0)])
def test_a_measured_setting_is_met_on_the_grid_and_between(anchor):
    want = wanted(np.full((3, 5), 25.0), 20.0, (anchor,))
    found = smoothest(want)
    assert found is not None
    assert weights_at(want, anchor) @ found.ravel() == pytest.approx(33.0, abs=0.01)


@given(
    st.lists(st.floats(0.0, 60.0), min_size=1, max_size=20),
    st.sampled_from([0.1, 0.25, 0.5, 1.0]),
    st.floats(0.0, 20.0),
    st.floats(30.0, 60.0),
)
def test_whole_steps_never_leave_the_range(values, step, low, high):
    zero = 228.3
    found = quantised(np.array(values), step, low, high, zero)
    assert np.all(found >= low - 1e-9) and np.all(found <= high + 1e-9)
    shown = (found + zero) / step
    assert shown == pytest.approx(np.round(shown), abs=1e-6)


def test_a_range_without_a_whole_step_is_refused():
    with pytest.raises(ValueError, match="no whole step of 1"):
        quantised(np.array([0.5]), 1.0, 0.3, 0.7)


def test_the_nearest_stretch_of_contentment_is_taken():
    degrees = np.arange(0.0, 10.0)
    content = np.array([1, 1, 0, 0, 0, 0, 1, 1, 1, 0], dtype=bool)
    assert stretch_near(degrees, content, 5.0) == (6.0, 8.0, 6.0)
    assert stretch_near(degrees, content, 0.4) == (0.0, 1.0, 0.4)


def test_the_steepest_step_is_placed():
    values = np.array([[0.0, 0.0, 10.0, 10.0, 10.0]] * 3)
    step = steepest(values, list(SPEEDS), list(LOADS), 1)
    assert step.per_unit == pytest.approx(0.01)
    assert (step.from_[0], step.to[0]) == (2000.0, 3000.0)


def test_steps_over_load_are_held():
    best = np.array([[60.0, 0.0, 60.0, 0.0, 60.0]] * 2 + [[0.0] * 5])
    found = smoothest(wanted(best, 60.0), steepest_deg_per_load=0.5, rounding_deg=0.5)
    assert found is not None
    steps = np.abs(np.diff(found, axis=0))
    assert np.all(steps[0] <= 0.5 * 20.0 - 0.5 + 1e-6) and np.all(steps[1] <= 19.5 + 1e-6)
    none = smoothest(wanted(best, 10.0), steepest_deg_per_load=0.5)
    assert none is None  # 60 to 0 within 10 either way, over 40 kPa at half a degree for each

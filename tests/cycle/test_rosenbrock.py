"""The Rosenbrock method: its typed-in table, its order, its behaviour on stiff rates."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from breathe.cycle.rosenbrock import (
    ALLOWED,
    ALPHA,
    GAMMA,
    JACOBIAN,
    MATRIX,
    MOVED,
    NEW,
    RATE,
    SLOPE,
    SLOPE_WEIGHT,
    STAGE,
    WEIGHT,
    A,
    C,
    K,
    Y,
    decompose,
    difference,
    error_norm,
    finish_step,
    next_stride,
    nudge_unknown,
    solve,
    solve_stage,
    stage_argument,
    start_step,
    step_factor,
    workspace,
)


def classic_form() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """alpha, full gamma and weights b of the textbook form, from the transformed table.

    With U = G k: C = I/gamma - G^-1, A = alpha G^-1, m = b G^-1 (Hairer & Wanner IV.7).
    """
    full = np.linalg.inv(np.eye(4) / GAMMA - np.array(C))
    return np.array(A) @ full, full, np.array(WEIGHT) @ full


def test_row_sums_are_the_stage_times() -> None:
    alpha, full, _ = classic_form()
    np.testing.assert_allclose(alpha.sum(axis=1), ALPHA, atol=1e-14)
    np.testing.assert_allclose(full.sum(axis=1), SLOPE_WEIGHT, atol=1e-14)


def order_conditions(b: np.ndarray) -> list[float]:
    """Left sides minus right sides up to order three, Rosenbrock with exact Jacobian.

    Hairer & Wanner IV.7, eq. 7.15 (from memory): trees 1, 21, 31, 32 with beta = alpha + gamma.
    """
    alpha, full, _ = classic_form()
    beta = alpha + full
    return [
        b.sum() - 1,
        b @ beta.sum(axis=1) - 1 / 2,
        b @ alpha.sum(axis=1) ** 2 - 1 / 3,
        b @ beta @ beta.sum(axis=1) - 1 / 6,
    ]


def test_weights_meet_the_four_conditions_of_order_three() -> None:
    np.testing.assert_allclose(order_conditions(classic_form()[2]), 0.0, atol=1e-14)


def test_embedded_weights_meet_order_two_and_not_three() -> None:
    embedded = np.array(WEIGHT) - np.array([0, 0, 0, 1])
    first, second, *third = order_conditions(embedded @ classic_form()[1])
    assert (first, second) == pytest.approx((0, 0), abs=1e-14)
    assert max(abs(x) for x in third) > 1e-2


def test_stiffly_accurate() -> None:
    """The last stage's argument plus its K is the result: infinitely stiff parts are damped."""
    alpha, full, b = classic_form()
    np.testing.assert_allclose((alpha + full)[3], b, atol=1e-14)


def wave(stiffness: float, t: float, y: np.ndarray) -> tuple[float, float]:
    """Prothero & Robinson's problem with a quadrature behind it; y0 = cos t solves it."""
    return -stiffness * (y[0] - math.cos(t)) * (1 + 0.3 * y[0]) - math.sin(t), y[0] ** 2


def step(stiffness: float, work: np.ndarray, t: float, h: float) -> None:
    """One step of `wave`, by the kernels in the order in which a user calls them."""
    work[RATE] = wave(stiffness, t, work[Y])
    kept = work[Y, 0]
    nudge = nudge_unknown(work, 0)
    work[MOVED] = wave(stiffness, t, work[Y])
    work[Y, 0] = kept
    difference(work, JACOBIAN, nudge)
    work[MOVED] = wave(stiffness, t + 1e-4 * h, work[Y])
    difference(work, SLOPE, 1e-4 * h)
    start_step(work, 1, h)
    for index in range(4):
        stage_argument(work, index)
        work[MOVED] = wave(stiffness, t + ALPHA[index] * h, work[STAGE])
        solve_stage(work, index, MOVED, 1, h)
    finish_step(work)


def run(stiffness: float, t: float, end: float, y0: float, relative: float) -> tuple:
    """Adaptive run of `wave`: unknowns at the end, and accepted steps."""
    work = workspace(2)
    work[ALLOWED] = 1e-2 * relative
    work[Y] = y0, 0.0
    h, steps = 0.01 * (end - t), 0
    while t < end and steps < 20000:
        stride = next_stride(end - t, h)
        step(stiffness, work, t, stride)
        error = error_norm(work, relative)
        h = stride * step_factor(error)
        if error <= 1.0:
            steps += 1
            t = end if stride == end - t else t + stride
            work[Y] = work[NEW]
    return work[Y].copy(), steps


def one_step_error(h: float) -> np.ndarray:
    start = math.cos(0.3) + 0.2
    fine, _ = run(2.0, 0.3, 0.3 + h, start, 1e-12)
    work = workspace(2)
    work[ALLOWED] = 1e-9
    work[Y] = start, 0.0
    step(2.0, work, 0.3, h)
    return np.abs(work[NEW] - fine)


def test_local_error_is_of_fourth_order() -> None:
    coarse, fine = one_step_error(0.025), one_step_error(0.0125)
    assert np.log2(coarse / fine) == pytest.approx([4.0, 4.0], abs=0.4)


@pytest.mark.parametrize("stiffness", [1.0, 1e3, 1e6])
def test_adaptive_run_meets_the_exact_solution_whatever_the_stiffness(stiffness: float) -> None:
    found, steps = run(stiffness, 0.0, 5.0, 1.0, 1e-6)
    assert found == pytest.approx([math.cos(5.0), 2.5 + math.sin(10.0) / 4], abs=2e-5)
    # An explicit method needs stiffness * 5 / 2.5 steps: 2000 and 2 million.
    assert steps < 1000


def test_a_step_that_leaves_the_numbers_is_not_accepted() -> None:
    work = workspace(2)
    work[ALLOWED] = 1e-6
    work[K + 3] = math.nan
    assert not error_norm(work, 1e-4) <= 1.0
    assert step_factor(math.nan) < 1.0
    assert step_factor(math.inf) < 1.0


@pytest.mark.parametrize("core", [1, 3, 6])
def test_linear_solution(core: int) -> None:
    rng = np.random.default_rng(core)
    matrix = rng.normal(size=(core, core)) + 5 * np.eye(core)
    right = rng.normal(size=core)
    work = workspace(8)
    work[MATRIX : MATRIX + core, :core] = matrix
    work[STAGE, :core] = right
    decompose(work, core)
    solve(work, STAGE, core)
    np.testing.assert_allclose(matrix @ work[STAGE, :core], right, rtol=1e-12, atol=1e-13)


@given(st.floats(1e-6, 100.0), st.floats(1e-6, 100.0))
def test_last_two_steps_share_what_is_left(left: float, h: float) -> None:
    stride = next_stride(left, h)
    assert 0 < stride <= left
    assert stride <= h
    assert stride == left or left - stride >= 0.5 * stride

"""Sudden steps in bore: balances of the two laws, and no state that stops a run."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from breathe.gas.pipe import Grid, empty_flow
from breathe.gas.steps import choking_mach, contracted, cross_steps, jet, push_steps

gammas = st.floats(1.2, 1.4)
ratios = st.floats(1.002, 40.0)


def balances(state, area: float, gamma: float) -> tuple[float, float, float]:
    """Mass flow, pressure plus momentum flow, stagnation enthalpy."""
    rho, u, p = state
    heat = gamma / (gamma - 1) * p / rho + 0.5 * u * u
    return rho * u * area, (p + rho * u * u) * area, heat


def mach(state, gamma: float) -> float:
    rho, u, p = state
    return abs(u) / math.sqrt(gamma * p / rho)


@pytest.mark.parametrize(("ratio", "expected"), [(1.33984, 0.5), (2.96352, 0.2), (5.82183, 0.1)])
def test_choking_mach_is_that_of_the_isentropic_table(ratio, expected):
    # NACA Report 1135 (1953), table I, A/A* at gamma 1.4 (from memory).
    assert choking_mach(1.4, ratio) == pytest.approx(expected, abs=2e-5)


@given(gammas, ratios, st.floats(0.0, 0.98), st.sampled_from([-1.0, 1.0]))
def test_contraction_keeps_mass_heat_and_entropy(gamma, ratio, share, sign):
    p, rho = 1e5, 1.2
    u = sign * share * choking_mach(gamma, ratio) * math.sqrt(gamma * p / rho)
    found = contracted(rho, u, p, gamma, ratio)
    wide, narrow = balances((rho, u, p), ratio, gamma), balances(found, 1.0, gamma)
    assert narrow[0] == pytest.approx(wide[0], rel=1e-9)
    assert narrow[2] == pytest.approx(wide[2], rel=1e-7)
    assert found[2] / found[0] ** gamma == pytest.approx(p / rho**gamma, rel=1e-9)
    assert mach(found, gamma) < 1.0


@given(gammas, ratios, st.floats(0.01, 0.98))
def test_jet_keeps_mass_momentum_and_heat(gamma, ratio, mach_narrow):
    # The state downstream is found from the jet by the same three balances, in closed form.
    p, rho = 1e5, 1.2
    u = mach_narrow * math.sqrt(gamma * p / rho)
    flow, _, heat = balances((rho, u, p), 1.0, gamma)
    momentum = p * ratio + rho * u * u  # jet pressure on the whole shoulder
    per_heat = gamma / (gamma - 1)
    b, a = per_heat * momentum, (0.5 - per_heat) * flow
    u_wide = 2 * heat * flow / (b + math.sqrt(b * b + 4 * a * heat * flow))
    rho_wide = flow / (u_wide * ratio)
    p_wide = (momentum - flow * u_wide) / ratio
    found = jet(rho_wide, u_wide, p_wide, gamma, ratio)
    assert found == pytest.approx((rho, u, p), rel=1e-6)


def one_face(ratio: float) -> Grid:
    two, narrow = np.ones(2), 1e-3
    return Grid(
        first=np.array([0]), last=np.array([1]), volume=two, per_length=two, per_volume=two,
        area=np.array([narrow, narrow, narrow]), widening=0 * two, step_face=np.array([1]),
        step_ratio=np.array([ratio]), per_diameter=two, roughness=0 * two,
        wall_temperature=300 * two, friction_multiplier=0 * two, heat_multiplier=0 * two,
    )  # fmt: skip


# Mach number, temperature [K], pressure [Pa]
violent = st.tuples(st.floats(-2.5, 2.5), st.floats(200.0, 2500.0), st.floats(2e3, 3e6))


@given(ratios, st.booleans(), gammas, violent, violent)
def test_no_pair_of_states_stops_a_run(ratio, wide_left, gamma, left, right):
    flow, grid = empty_flow(2), one_face(ratio if wide_left else 1 / ratio)
    for side, (m, T, p) in zip((flow.left, flow.right), (left, right), strict=True):
        rho, sound = p / (287.0 * T), math.sqrt(gamma * 287.0 * T)
        energy = p / (gamma - 1) + 0.5 * rho * (m * sound) ** 2
        side[:, 1] = rho, m * sound, p, energy, sound, 0.0
    cross_steps(flow, grid)
    push_steps(flow, grid, 1e-5)
    found = flow.left[:, 1] if wide_left else flow.right[:, 1]
    assert np.all(np.isfinite(found))
    assert found[0] > 0
    assert found[2] > 0
    assert abs(found[1]) <= found[4] * (1 + 1e-6)
    # Heat content fits pressure: the energy carried over belongs to the state carried over.
    inner = found[3] - 0.5 * found[0] * found[1] ** 2
    assert inner == pytest.approx(found[2] / (gamma - 1), rel=1e-3)
    assert np.all(np.isfinite(flow.momentum))


def test_without_flow_both_sides_of_a_step_are_one_gas():
    flow, grid = empty_flow(2), one_face(3.0)
    state = np.array([1.2, 0.0, 1e5, 2.5e5, math.sqrt(1.4e5 / 1.2), 0.3])
    flow.left[:, 1] = flow.right[:, 1] = state
    cross_steps(flow, grid)
    np.testing.assert_allclose(flow.left[:, 1], state, rtol=1e-14)
    # Pressure on a shoulder of twice the narrow area, against the wide cell on the left.
    np.testing.assert_allclose(flow.push, [-1e5 * 2e-3, 0.0], rtol=1e-12)

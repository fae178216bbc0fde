from __future__ import annotations

import sys

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from breathe.gas.nozzle import critical_ratio, flow_function, mass_flow, two_way_flow

gammas = st.floats(1.2, 1.67)
ratios = st.floats(0.0, 1.0)
pressures = st.floats(2e4, 2e7)
temperatures = st.floats(250.0, 3000.0)


@given(gammas, st.floats(1e-7, 1e-3))
def test_flow_function_meets_its_plateau_with_zero_slope(gamma, step):
    edge = critical_ratio(gamma)
    plateau = flow_function(edge, gamma)
    assert flow_function(edge - step, gamma) == plateau
    # Second order in the step: continuous value and slope. 3 covers half the curvature.
    assert 0 <= plateau - flow_function(edge + step, gamma) <= 3 * step**2 + 1e-15


@given(gammas, ratios, ratios)
def test_flow_falls_as_back_pressure_rises(gamma, one, other):
    low, high = sorted((one, other))
    assert flow_function(low, gamma) >= flow_function(high, gamma) * (1 - 1e-14)


@given(gammas)
def test_the_plateau_is_the_maximum_of_the_subsonic_formula(gamma):
    def subsonic(r):
        drop = r ** (2 / gamma) - r ** ((gamma + 1) / gamma)
        return (2 * gamma / (gamma - 1) * drop) ** 0.5

    edge = critical_ratio(gamma)
    assert flow_function(0.0, gamma) == pytest.approx(subsonic(edge), rel=1e-12)
    assert subsonic(edge) >= max(subsonic(edge * 1.001), subsonic(edge * 0.999))


@given(gammas, st.floats(1e-12, 1e-6))
def test_small_drops_follow_bernoulli(gamma, drop):
    # sqrt(2 (1 - r)) to first order; 1 - r itself holds 1e-16 / drop.
    ratio = 1 - drop
    expected = (2 * (1 - ratio)) ** 0.5
    assert flow_function(ratio, gamma) == pytest.approx(expected, rel=2e-6)


def test_no_flow_at_equal_or_adverse_pressure():
    assert flow_function(1.0, 1.4) == 0.0
    assert flow_function(1.7, 1.4) == 0.0


@given(pressures, temperatures, gammas, pressures, temperatures, gammas)
def test_two_way_flow_is_antisymmetric(p_a, T_a, g_a, p_b, T_b, g_b):
    a, b = (p_a, T_a, 287.0, g_a), (p_b, T_b, 290.0, g_b)
    assert two_way_flow(3e-4, 2e-4, *a, *b) == -two_way_flow(2e-4, 3e-4, *b, *a)


@given(pressures, st.floats(-1e-6, 1e-6))
@example(38970.0, -1.5130899162416644e-12)
def test_two_way_flow_is_continuous_through_reversal(p, offset):
    p_b = p * (1 + offset)
    flow = two_way_flow(1e-4, 1e-4, p, 300.0, 287.0, 1.4, p_b, 900.0, 287.0, 1.3)
    # The offset as rounded, and what rounding the ratio of the pressures may add to it.
    apart = abs(p_b - p) / p + sys.float_info.epsilon
    bound = 1e-4 * p / (287.0 * 300.0) ** 0.5 * (2 * apart) ** 0.5
    assert abs(flow) <= bound * (1 + 1e-5)
    assert flow * offset <= 0


@pytest.mark.parametrize(("p_b", "area"), [(0.5e5, 3e-4), (2e5, 2e-4)])
def test_two_way_flow_uses_the_area_and_gas_of_its_direction(p_b, area):
    a, b = (1e5, 300.0, 287.0, 1.4), (p_b, 900.0, 292.0, 1.3)
    up, down = (a, b) if p_b < 1e5 else (b, a)
    found = abs(two_way_flow(3e-4, 2e-4, *a, *b))
    expected = mass_flow(area, up[0], up[1], down[0], up[2], up[3])
    assert found == pytest.approx(expected, rel=1e-14)

from __future__ import annotations

import itertools
import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from breathe.gas.riemann import sample, star_state, vacuum_opens, wave_speeds

G = 1.4
densities = st.floats(0.05, 20.0)
velocities = st.floats(-5.0, 5.0)
pressures = st.floats(0.01, 500.0)
states = st.tuples(densities, velocities, pressures)


def fluxes(rho, u, p, speed):
    """Mass, momentum and energy through a front that moves with ``speed``."""
    energy = p / (G - 1) + 0.5 * rho * u**2
    w = u - speed
    return rho * w, rho * u * w + p, energy * w + p * u


@given(states, states)
def test_jump_conditions_hold_across_shocks_and_contact(left, right):
    assume(not vacuum_opens(*left, *right, G))
    star = star_state(*left, *right, G)
    w = wave_speeds(*left, *right, G)
    sides = [
        (left, star.density_left, w.left_head),
        ((right[0], right[1], right[2]), star.density_right, w.right_head),
    ]
    for outer, density, speed in sides:
        if star.pressure > outer[2] * (1 + 1e-9):
            ahead = fluxes(*outer, speed)
            behind = fluxes(density, star.velocity, star.pressure, speed)
            scale = [abs(outer[0] * (outer[1] - speed))]
            scale.append(scale[0] * (abs(outer[1]) + abs(speed)) + star.pressure)
            scale.append(scale[1] * (abs(outer[1]) + abs(speed) + abs(star.velocity)) + 1e-3)
            for a, b, s in zip(ahead, behind, scale, strict=True):
                assert a == pytest.approx(b, abs=1e-8 * s)


@given(states, states)
def test_entropy_and_invariants_hold_across_fans(left, right):
    assume(not vacuum_opens(*left, *right, G))
    star = star_state(*left, *right, G)
    for (rho, u, p), density, sign in (
        (left, star.density_left, 1),
        (right, star.density_right, -1),
    ):
        if star.pressure < p:
            a, a_star = math.sqrt(G * p / rho), math.sqrt(G * star.pressure / density)
            assert star.pressure / density**G == pytest.approx(p / rho**G, rel=1e-10)
            before = sign * u + 2 * a / (G - 1)
            after = sign * star.velocity + 2 * a_star / (G - 1)
            assert after == pytest.approx(before, abs=1e-9 * (abs(u) + 5 * a))


@given(states, states, st.floats(-30, 30))
def test_mirror_symmetry(left, right, speed):
    mirrored = [(rho, -u, p) for rho, u, p in (right, left)]
    rho, u, p = sample(speed, *left, *right, G)
    rho_m, u_m, p_m = sample(-speed, *mirrored[0], *mirrored[1], G)
    star = star_state(*left, *right, G)
    assume(abs(speed - star.velocity) > 1e-9)  # the contact belongs to one side only
    assert (rho_m, p_m) == pytest.approx((rho, p), rel=1e-7, abs=1e-12)
    assert u_m == pytest.approx(-u, rel=1e-7, abs=1e-7)


@given(states, states)
def test_waves_come_in_order(left, right):
    w = wave_speeds(*left, *right, G)
    slack = 1e-9 * (1 + max(abs(s) for s in w))
    assert all(b >= a - slack for a, b in itertools.pairwise(w))


@given(states)
def test_equal_states_stay(state):
    star = star_state(*state, *state, G)
    rho, u, p = state
    assert star.pressure == pytest.approx(p, rel=1e-12)
    assert star.velocity == pytest.approx(u, rel=1e-9, abs=1e-9)
    assert star.density_left == pytest.approx(rho, rel=1e-12)


def test_a_vacuum_opens_between_parting_gases():
    left, right = (1.0, -10.0, 0.4), (1.0, 10.0, 0.4)
    star = star_state(*left, *right, G)
    assert star == (0.0, 0.0, 0.0, 0.0)
    w = wave_speeds(*left, *right, G)
    front = -10 + 5 * math.sqrt(1.4 * 0.4)
    assert (w.left_tail, w.right_tail) == pytest.approx((front, -front))
    assert sample(0.3, *left, *right, G) == pytest.approx((0.0, 0.3, 0.0))
    # Gas ends at the front with no density left and the front's own speed.
    edge = sample(front - 1e-6, *left, *right, G)
    assert edge.density < 1e-20
    assert edge.velocity == pytest.approx(front, abs=1e-5)


def test_almost_a_vacuum_is_solved():
    # Just short of parting for good: 2 * 5 * a = 7.48331 against 7.48.
    star = star_state(1.0, -3.74, 0.4, 1.0, 3.74, 0.4, G)
    x = 1 - 3.74 / (5 * math.sqrt(1.4 * 0.4))
    assert star.pressure == pytest.approx(0.4 * x**7, rel=1e-9)

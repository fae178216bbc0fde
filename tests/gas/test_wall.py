from __future__ import annotations

import math

import numpy as np
import pipe_rig
import pytest
from hypothesis import given
from hypothesis import strategies as st

from breathe.gas import pipe
from breathe.gas.wall import air_viscosity, friction_factor, stanton_number

roughnesses = st.floats(0.0, 0.05)
reynolds = st.floats(0.0, 1e7)


@given(reynolds, roughnesses)
def test_friction_is_at_least_laminar_and_finite(re, k):
    f = friction_factor(re, k)
    assert math.isfinite(f)
    assert f >= 64.0 / max(re, 1.0)


@given(st.floats(1.0, 1e7), roughnesses)
def test_friction_is_continuous(re, k):
    # Steepest is laminar: a relative step in Re changes f by no more than that step.
    assert friction_factor(re * 1.001, k) == pytest.approx(friction_factor(re, k), rel=1.001e-3)


@given(st.floats(1.0, 1e7), roughnesses)
def test_friction_falls_with_reynolds_and_rises_with_roughness(re, k):
    assert friction_factor(re * 1.01, k) <= friction_factor(re, k)
    assert friction_factor(re, k + 0.001) >= friction_factor(re, k)


def test_drag_vanishes_without_flow():
    assert friction_factor(0.0, 0.0) * 0.0**2 == 0.0
    assert math.isfinite(friction_factor(0.0, 0.0))


def test_laminar_meets_turbulent_below_the_usual_transition():
    meeting = (64 / (0.11 * 68**0.25)) ** (4 / 3)
    assert 1000 < meeting < 2300
    assert friction_factor(meeting, 0.0) == pytest.approx(64 / meeting, rel=1e-12)


@given(st.floats(1e-3, 0.1), st.floats(0.5, 1.0))
def test_stanton_is_proportional_to_friction(f, prandtl):
    assert stanton_number(2 * f, prandtl) == pytest.approx(2 * stanton_number(f, prandtl))
    assert stanton_number(f, 1.0) == pytest.approx(f / 8)  # Reynolds' analogy


# F. P. Incropera, D. P. DeWitt, Fundamentals of Heat and Mass Transfer, table A.4, air
# (from memory), viscosity in 1e-7 Pa s.
@pytest.mark.parametrize(
    ("temperature", "viscosity"),
    [(250, 159.6), (300, 184.6), (500, 270.1), (800, 369.8), (1200, 473.0)],
)
def test_viscosity_of_air_against_a_table(temperature, viscosity):
    # 2.5 %: what the docstring claims.
    assert air_viscosity(temperature) * 1e7 == pytest.approx(viscosity, rel=0.025)


def test_viscosity_rises_with_temperature():
    temperatures = np.linspace(200, 2000, 50)
    values = [air_viscosity(t) for t in temperatures]
    assert np.all(np.diff(values) > 0)


@pytest.mark.parametrize("velocity", [0.0, 0.02, 3.0, 80.0])
def test_the_pipe_loop_applies_these_rates(velocity):
    duct = pipe_rig.straight(1.0, 1e-3, 4, friction=1.3, heat=1.7, roughness=5e-5, wall_K=400.0)
    rig = pipe_rig.Rig([duct], pipe_rig.ideal_gas())
    rig.fill(0, 1e5, 320.0, velocity)
    pipe.recover(rig.flow, rig.grid, rig.charge)
    pipe.wall_rates(rig.flow, rig.grid)
    diameter, density, cp = math.sqrt(4e-3 / math.pi), rig.flow.density[2], 1004.675
    reynolds = density * velocity * diameter / air_viscosity(320.0)
    factor = friction_factor(reynolds, 5e-5 / diameter)
    drag = 1.3 * factor * velocity / (2 * diameter)
    stanton = stanton_number(factor, pipe.PRANDTL)
    heating = 1.7 * stanton * velocity * cp * 4 / diameter * (400.0 - 320.0)
    assert rig.flow.friction_rate[2] == pytest.approx(drag, rel=1e-9)
    assert rig.flow.heating[2] == pytest.approx(heating, rel=1e-9)

"""Contact force, reserve and separation: scaling, energy, and vibration against an integrator."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from breathe.engine.mechanics import Spring, Train
from breathe.engine.parts import Cam, Sleeve
from breathe.valvetrain.dwell import lift_curve
from breathe.valvetrain.laws import LAWS
from breathe.valvetrain.loads import (
    contact_force_N,
    contact_force_springy_N,
    inertia_force_N,
    is_open,
    moving_mass_kg,
    natural_frequency_Hz,
    reserve,
    residual_vibration_m,
    separation,
    vibration_m,
)
from breathe.valvetrain.lobe import lobe_from_card, lobe_from_law
from breathe.valvetrain.motion import Motion, motion_of

CARD, _ = lobe_from_card(228, 0.1e-3, 9.5e-3, second=(198, 1.0e-3))
SLEEVE = Sleeve(travel_max_m=0.012, crank_deg_per_m=5000.0, closing_share=0.5)
CAM = Cam(lobe=CARD, centreline_deg=110.0, lash_m=0.0, sleeve=SLEEVE)
SMOOTH = replace(CAM, lobe=lobe_from_law(9.5e-3, 130, LAWS["4-5-6-7"]))
SPRING = Spring(seat_load_N=250.0, installed_height_m=0.034, rate_N_per_m=32e3)
TRAIN = Train(moving_mass_kg=0.095)
speeds, lashes = st.floats(500, 12000), st.sampled_from([0.0, 0.1e-3, 0.3e-3])


def moving(cam: Cam = CAM, travel_m: float = 0.004) -> Motion:
    return motion_of(lift_curve(cam, travel_m=travel_m, side="intake"))


@given(speed=speeds, factor=st.floats(1.01, 3))
def test_inertia_grows_with_the_square_of_speed(speed, factor):
    found = moving()
    a, b = (inertia_force_N(found, 0.095, n) for n in (speed, factor * speed))
    assert b == pytest.approx(factor**2 * a)


@given(speed=speeds, lash=lashes, seat=st.floats(50, 800), mass=st.floats(0.02, 0.3))
def test_reserve_and_separation_tell_the_same(speed, lash, seat, mass):
    found = moving()
    spring, train = replace(SPRING, seat_load_N=seat), Train(moving_mass_kg=mass)
    at = separation(found, spring, train, lash)
    left = reserve(found, spring, train, speed, lash)
    assert left.share == pytest.approx((at.speed_rpm / speed) ** 2 - 1)
    # Least force is negative exactly when the speed is beyond separation.
    if abs(left.share) > 1e-9:
        assert (left.least_contact_N < 0) == (speed > at.speed_rpm)
    at_limit = reserve(found, spring, train, at.speed_rpm, lash)
    assert at_limit.least_contact_N == pytest.approx(0.0, abs=1e-6)
    assert at_limit.at_deg == pytest.approx(at.at_deg)


def test_what_raises_and_lowers_the_separation_speed():
    found = moving()
    at = separation(found, SPRING, TRAIN).speed_rpm
    heavy = replace(SPRING, mass_kg=0.045)
    assert moving_mass_kg(TRAIN, heavy) == pytest.approx(0.110)
    slower = separation(found, heavy, TRAIN).speed_rpm
    assert slower == pytest.approx(at * math.sqrt(0.095 / 0.110))
    assert separation(found, replace(SPRING, seat_load_N=300), TRAIN).speed_rpm > at
    # Lash compresses the spring less.
    assert separation(found, SPRING, TRAIN, 0.3e-3).speed_rpm < at


def test_a_lobe_that_never_slows_the_valve_never_loses_it():
    found = moving()
    rising = replace(found, acceleration_m_per_deg2=np.abs(found.acceleration_m_per_deg2))
    at = separation(rising, SPRING, TRAIN)
    assert at.speed_rpm == math.inf
    assert math.isnan(at.at_deg)
    assert reserve(rising, SPRING, TRAIN, 9000).share == math.inf


@given(speed=speeds, lash=lashes)
def test_a_seated_valve_asks_nothing_of_the_lobe(speed, lash):
    found = moving()
    force = contact_force_N(found, SPRING, TRAIN, speed, lash)
    assert np.all(force[~is_open(found, lash)] == 0.0)
    dwell = (found.lift_m >= 9.5e-3 * (1 - 1e-12)) & (found.acceleration_m_per_deg2 == 0)
    assert force[dwell] == pytest.approx(250 + 32e3 * (9.5e-3 - lash))


def test_lash_that_eats_the_lift_is_refused():
    with pytest.raises(ValueError, match=r"found 10\.00 mm against 9\.50 mm of lift"):
        reserve(moving(), SPRING, TRAIN, 6000, 0.010)


@pytest.mark.parametrize("lash", [0.0, 0.2e-3])
@pytest.mark.parametrize("natural", [300.0, 900.0])
def test_vibration_against_a_general_integrator(natural, lash):
    found, speed = moving(SMOOTH), 7000.0
    per_s = 6.0 * speed
    start = int(np.argmax(is_open(found, lash))) if lash else 0
    seconds = (found.angle_deg - found.angle_deg[start]) / per_s
    pull = found.acceleration_m_per_deg2 * per_s**2
    turn = 2 * math.pi * natural
    at, place = np.unique(seconds[start:], return_inverse=True)
    wanted = solve_ivp(
        lambda t, z: [z[1], -(turn**2) * z[0] - np.interp(t, seconds, pull)],
        (0.0, seconds[-1]),
        [0.0, -found.velocity_m_per_deg[start] * per_s if lash else 0.0],
        t_eval=at,
        rtol=1e-8,
        atol=1e-12,
        max_step=2e-5,
    ).y[0][place]
    stray = vibration_m(found, natural, speed, lash)
    lifted = is_open(found, lash)[start:]
    assert stray[start:][lifted] == pytest.approx(wanted[lifted], abs=2e-3 * np.abs(wanted).max())
    assert np.all(stray[~is_open(found, lash)] == 0.0)


@given(speed=st.floats(3000, 9000), natural=st.floats(200, 2000))
def test_residual_vibration_is_what_swings_on_the_dwell(speed, natural):
    found = moving(SMOOTH, 0.012)
    on_dwell, after = residual_vibration_m(found, natural, speed)
    stray = vibration_m(found, natural, speed)
    first = int(np.argmax(found.lift_m >= found.lift_m.max() * (1 - 1e-12)))
    level = np.flatnonzero(found.lift_m >= found.lift_m.max() * (1 - 1e-12))
    assert np.abs(stray[level]).max() <= on_dwell * (1 + 1e-9)
    assert abs(stray[first]) <= on_dwell * (1 + 1e-9)
    assert after >= 0.0


def test_a_very_stiff_train_is_a_rigid_one():
    found = moving(SMOOTH)
    rigid = contact_force_N(found, SPRING, TRAIN, 7000)
    worst = []
    for stiffness in (1e7, 1e8, 1e9):
        springy = replace(TRAIN, stiffness_N_per_m=stiffness)
        worst.append(np.abs(contact_force_springy_N(found, SPRING, springy, 7000) - rigid).max())
    assert worst[0] > 3 * worst[1] > 9 * worst[2]
    assert worst[-1] < 0.02 * np.abs(rigid).max()


def test_stiffness_is_needed_for_vibration():
    assert natural_frequency_Hz(TRAIN, SPRING) is None
    springy = replace(TRAIN, stiffness_N_per_m=5e6)
    wanted = math.sqrt((5e6 + 32e3) / 0.095) / (2 * math.pi)
    assert natural_frequency_Hz(springy, SPRING) == pytest.approx(wanted)
    with pytest.raises(ValueError, match="train stiffness: found none"):
        contact_force_springy_N(moving(), SPRING, TRAIN, 6000)

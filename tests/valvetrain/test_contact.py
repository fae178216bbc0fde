"""Follower contact: limits that tie the round face to the flat one, loads, and edges."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from breathe.engine.mechanics import Follower, Spring, Train
from breathe.engine.parts import Cam, Sleeve
from breathe.valvetrain.contact import (
    contact_geometry,
    contact_modulus_Pa,
    contact_pressure_Pa,
    entrainment_zeros_deg,
    face_radius_needed_m,
    hertz_pressure_Pa,
    touching_length_m,
)
from breathe.valvetrain.dwell import lift_curve
from breathe.valvetrain.laws import LAWS
from breathe.valvetrain.loads import contact_force_N
from breathe.valvetrain.lobe import lobe_from_card, lobe_from_law
from breathe.valvetrain.motion import motion_of

CARD, _ = lobe_from_card(264, 0.1e-3, 9.5e-3, second=(232, 1.0e-3))
SLEEVE = Sleeve(travel_max_m=0.012, crank_deg_per_m=5000.0, closing_share=0.5)
CAM = Cam(lobe=CARD, centreline_deg=110.0, lash_m=0.0, sleeve=SLEEVE)
SPRING = Spring(seat_load_N=250.0, installed_height_m=0.034, rate_N_per_m=32e3)
TRAIN = Train(moving_mass_kg=0.095)
FLAT = Follower(
    kind="bucket", base_circle_radius_m=0.017, contact_width_m=0.012, face_diameter_m=0.033
)
PAD = Follower(
    kind="finger", base_circle_radius_m=0.017, contact_width_m=0.012, face_radius_m=0.020
)
ROLLER = Follower(
    kind="roller", base_circle_radius_m=0.017, contact_width_m=0.012, roller_radius_m=0.009
)


def moving(travel_m: float = 0.004):
    return motion_of(lift_curve(CAM, travel_m=travel_m, side="intake"))


@pytest.mark.parametrize("ratio", [1.0, 1.5])
def test_a_pad_of_very_large_radius_is_a_flat_face(ratio):
    found = moving()
    flat = contact_geometry(found, replace(FLAT, rocker_ratio=ratio))
    wide = contact_geometry(found, replace(PAD, face_radius_m=1e4, rocker_ratio=ratio))
    for name in ("offset_m", "lobe_radius_m", "entrainment_m_per_rad"):
        assert getattr(wide, name) == pytest.approx(getattr(flat, name), abs=1e-6), name


@pytest.mark.parametrize("follower", [FLAT, PAD, ROLLER])
@given(travel=st.floats(1e-4, 0.012))
def test_the_dwell_is_an_arc_about_the_cams_axis(follower, travel):
    found = moving(travel)
    geometry = contact_geometry(found, follower)
    top = (found.lift_m >= 9.5e-3 * (1 - 1e-12)) & (found.acceleration_m_per_deg2 == 0)
    assert geometry.lobe_radius_m[top] == pytest.approx(0.0265)
    assert geometry.offset_m[top] == pytest.approx(0.0, abs=1e-12)
    # A roller rolls with the arc; a face that slides carries half as much oil.
    carried = 0.0265 if follower is ROLLER else 0.0265 / 2
    assert geometry.entrainment_m_per_rad[top] == pytest.approx(carried)


@pytest.mark.parametrize("follower", [FLAT, PAD, ROLLER])
@given(travel=st.floats(1e-4, 0.012))
def test_flank_contact_is_the_same_at_every_travel(follower, travel):
    worst = []
    for at in (0.0, travel):
        found = moving(at)
        geometry = contact_geometry(found, follower)
        force = contact_force_N(found, SPRING, TRAIN, 6000)
        pressure = contact_pressure_Pa(geometry, follower, force)
        flank = found.acceleration_m_per_deg2 != 0.0
        worst.append(
            [
                face_radius_needed_m(geometry),
                geometry.pressure_angle_deg.max(),
                pressure[flank].max(),
                np.abs(geometry.lobe_radius_m[flank]).min(),
            ]
        )
    assert worst[1] == pytest.approx(worst[0], rel=1e-6)


def test_a_card_nose_loses_its_film_twice_and_four_times_with_dwell():
    sharp = replace(FLAT, base_circle_radius_m=0.013)
    assert len(entrainment_zeros_deg(contact_geometry(moving(0.0), sharp))) == 2
    zeros = entrainment_zeros_deg(contact_geometry(moving(0.004), sharp))
    assert len(zeros) == 4
    assert zeros + zeros[::-1] == pytest.approx(2 * 470, abs=1e-6)
    assert zeros[1:3] == pytest.approx([460, 480], abs=1e-6)


@pytest.mark.parametrize("follower", [replace(PAD, offset_m=0.002), ROLLER])
def test_entrainment_is_how_fast_the_contact_runs_over_both_surfaces(follower):
    # A lobe without kinks of acceleration, since the slope of the pressure angle is numerical.
    smooth = replace(CAM, lobe=lobe_from_law(9.5e-3, 150, LAWS["5-6-7-8-9"]))
    opening = slice(1, 1199, 2)  # one sample of each join, up to before the nose
    geometry = contact_geometry(motion_of(lift_curve(smooth, side="intake")), follower)
    turn = np.gradient(
        np.radians(geometry.pressure_angle_deg[opening]),
        geometry.angle_deg[opening] * np.pi / 360,
    )
    over_lobe = geometry.lobe_radius_m[opening] * (1 - turn)
    wanted = over_lobe if follower is ROLLER else (over_lobe + 0.020 * turn) / 2
    found = geometry.entrainment_m_per_rad[opening]
    # Where the lobe is nearly flat its huge radius multiplies the slope's error.
    clear = np.abs(geometry.lobe_radius_m[opening]) < 0.2
    assert clear.sum() > 200
    assert found[clear][2:-2] == pytest.approx(wanted[clear][2:-2], abs=2e-5)


@given(force=st.floats(1, 5000), k=st.floats(0.1, 10))
def test_pressure_grows_with_the_root_of_force(force, k):
    modulus = contact_modulus_Pa(207e9, 0.3, 207e9, 0.3)
    one = hertz_pressure_Pa(force, 0.012, 0.010, modulus)
    assert hertz_pressure_Pa(k * force, 0.012, 0.010, modulus) == pytest.approx(k**0.5 * one)
    assert hertz_pressure_Pa(force, 0.012, k * 0.010, modulus) == pytest.approx(one / k**0.5)


def test_pressure_over_the_event():
    found = moving()
    force = contact_force_N(found, SPRING, TRAIN, 1000, 0.2e-3)
    geometry = contact_geometry(found, ROLLER)
    pressure = contact_pressure_Pa(geometry, ROLLER, force)
    assert np.all(pressure[force <= 0] == 0.0)
    nose = int(np.flatnonzero(found.angle_deg < 460)[-1])
    radius = 1 / (1 / geometry.lobe_radius_m[nose] + 1 / 0.009)
    modulus = contact_modulus_Pa(207e9, 0.3, 207e9, 0.3)
    normal = force[nose] / np.cos(np.radians(geometry.pressure_angle_deg[nose]))
    assert pressure[nose] == pytest.approx(hertz_pressure_Pa(normal, 0.012, radius, modulus))
    # A rocker presses the lobe harder than the valve's spring presses the rocker.
    levered = replace(FLAT, rocker_ratio=1.5, base_circle_radius_m=0.030)
    geometry = contact_geometry(found, levered)
    there = contact_pressure_Pa(geometry, levered, force)[nose]
    lever = force[nose] * 1.5
    wanted = hertz_pressure_Pa(lever, 0.012, geometry.lobe_radius_m[nose], modulus)
    assert there == pytest.approx(wanted)


def test_a_small_tappet_runs_off_its_edge():
    found = moving()
    geometry = contact_geometry(found, FLAT)
    reach = face_radius_needed_m(geometry)
    wide = replace(FLAT, face_diameter_m=2 * float(np.hypot(reach, 0.0061)))
    assert touching_length_m(geometry, wide) == pytest.approx(0.012)
    narrow = replace(FLAT, face_diameter_m=2 * reach - 1e-3)
    assert touching_length_m(geometry, narrow).min() == 0.0
    force = contact_force_N(found, SPRING, TRAIN, 1000)
    assert np.isinf(contact_pressure_Pa(geometry, narrow, force)).any()
    assert np.isfinite(contact_pressure_Pa(geometry, wide, force)).all()


def test_an_undercut_lobe_is_flagged():
    found = moving()
    small = replace(FLAT, base_circle_radius_m=0.008)
    geometry = contact_geometry(found, small)
    assert geometry.undercut.any()
    assert np.all(geometry.lobe_radius_m[geometry.undercut] <= 0)
    huge = replace(ROLLER, base_circle_radius_m=0.008, roller_radius_m=0.060)
    assert contact_geometry(found, huge).undercut.any()
    assert not contact_geometry(found, ROLLER).undercut.any()

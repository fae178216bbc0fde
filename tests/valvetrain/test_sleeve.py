"""The sleeve: energy of an event, friction, and play."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from breathe.engine.mechanics import SleeveParts, Spring, Train
from breathe.engine.parts import Cam, Sleeve
from breathe.valvetrain.dwell import lift_curve
from breathe.valvetrain.loads import contact_force_N
from breathe.valvetrain.lobe import lobe_from_card
from breathe.valvetrain.motion import full_lift_span, motion_of
from breathe.valvetrain.sleeve import (
    axial_force_holding_N,
    axial_force_N,
    axial_force_pushing_N,
    cam_torque_Nm,
    duration_play_deg,
    is_self_holding,
    lead_m,
    torque_range_Nm,
    wind_up_crank_deg,
)

CARD, _ = lobe_from_card(264, 0.1e-3, 9.5e-3, second=(232, 1.0e-3))
SLEEVE = Sleeve(travel_max_m=0.012, crank_deg_per_m=5000.0, closing_share=0.5)
CAM = Cam(lobe=CARD, centreline_deg=110.0, lash_m=0.0, sleeve=SLEEVE)
SPRING = Spring(seat_load_N=250.0, installed_height_m=0.034, rate_N_per_m=32e3)
leads, radii, frictions = st.floats(0.05, 0.5), st.floats(0.005, 0.02), st.floats(0, 0.4)


# Work of the torque up to full lift is the spring's: at rest there, the mass holds none.
@given(speed=st.floats(500, 9000), travel=st.floats(0, 0.012))
def test_torque_does_the_springs_work_and_gets_it_back(speed, travel):
    curve = lift_curve(CAM, travel_m=travel, side="intake")
    found = motion_of(curve)
    force = contact_force_N(found, SPRING, Train(moving_mass_kg=0.095), speed)
    torque = cam_torque_Nm(found, force)
    work = np.append(
        0.0, np.cumsum((torque[1:] + torque[:-1]) / 2 * np.diff(found.angle_deg) * np.pi / 360)
    )
    stored = 250 * 9.5e-3 + 32e3 * 9.5e-3**2 / 2
    at_full = work[np.searchsorted(found.angle_deg, full_lift_span(curve)[0])]
    assert at_full == pytest.approx(stored, rel=1e-3)
    assert work[-1] == pytest.approx(0.0, abs=1e-3 * stored)
    least, most = torque_range_Nm(torque)
    assert least == pytest.approx(-most, rel=1e-6)


@given(lead=leads, radius=radii, friction=frictions, torque=st.floats(0.1, 50))
def test_friction_hinders_both_ways(lead, radius, friction, torque):
    assume(friction * 2 * np.pi * radius / lead < 0.9)
    smooth = axial_force_N(torque, lead)
    push = axial_force_pushing_N(torque, lead, radius, friction)
    hold = axial_force_holding_N(torque, lead, radius, friction)
    assert push >= smooth * (1 - 1e-12)
    assert hold <= smooth * (1 + 1e-12)
    if abs(hold) > 1e-9 * smooth:
        assert is_self_holding(lead, radius, friction) == (hold < 0)
    assert axial_force_pushing_N(torque, lead, radius, 0.0) == pytest.approx(smooth)


def test_a_helix_that_jams_is_refused():
    with pytest.raises(ValueError, match=r"jams with a friction of 0\.4; expected .* below 0\.32"):
        axial_force_pushing_N(10, 0.020, 0.010, 0.4)


def test_play_adds_up_and_needs_its_radius():
    assert duration_play_deg(SleeveParts(), 5000) is None
    assert lead_m(SLEEVE) == pytest.approx(0.144)
    both = SleeveParts(axial_play_m=1e-4, circumferential_play_m=5e-5, helix_radius_m=0.010)
    assert duration_play_deg(both, 5000) == pytest.approx(0.5 + 2 * np.degrees(0.005))
    with pytest.raises(ValueError, match="without a helix radius"):
        duration_play_deg(SleeveParts(circumferential_play_m=5e-5), 5000)


@given(bore=st.floats(0.001, 0.015), torque=st.floats(1, 50))
def test_a_bored_shaft_twists_more(bore, torque):
    solid = wind_up_crank_deg(torque, 0.1, 0.016)
    bored = wind_up_crank_deg(torque, 0.1, 0.016, bore)
    assert bored > solid
    assert bored * (1 - (bore / 0.016) ** 4) == pytest.approx(solid)

"""The sleeve's mechanics and the room along the shaft against values from outside the project.

Lead 211.765 mm a cam turn: 25 mm of travel for 85 crank deg (common practice, no source).
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from breathe.engine.mechanics import ShaftRoom, SleeveParts
from breathe.engine.parts import Sleeve
from breathe.valvetrain.dwell import crank_deg_per_m
from breathe.valvetrain.motion import Motion
from breathe.valvetrain.room import (
    added_room_deg,
    longest_duration_deg,
    room_sum,
    travel_room_m,
    travel_until_unseated_m,
)
from breathe.valvetrain.sleeve import (
    axial_force_holding_N,
    axial_force_N,
    axial_force_pushing_N,
    axial_play_deg,
    cam_torque_Nm,
    circumferential_play_deg,
    duration_play_deg,
    flank_pressure_Pa,
    helix_angle_deg,
    is_self_holding,
    lead_for,
    lead_m,
    wind_up_crank_deg,
)

LEAD = 0.025 * 720 / 85


def sleeve(deg_per_mm: float) -> Sleeve:
    return Sleeve(travel_max_m=0.050, crank_deg_per_m=deg_per_mm * 1e3, closing_share=0.5)


# C-1 (common practice, no source): 3.4 crank or 1.7 cam deg per mm, 0.294118 mm per crank deg,
# lead 211.765 mm; with one inch for the travel 3.346457 and 215.153.
def test_c1_lead_and_slope():
    assert lead_for(85, 0.025) * 1e3 == pytest.approx(211.765, abs=5e-4)
    assert lead_for(85, 0.0254) * 1e3 == pytest.approx(215.153, abs=5e-4)
    assert crank_deg_per_m(LEAD) / 1e3 == pytest.approx(3.4, rel=1e-12)
    assert 1e3 / crank_deg_per_m(LEAD) == pytest.approx(0.294118, abs=5e-7)
    assert crank_deg_per_m(lead_for(85, 0.0254)) / 1e3 == pytest.approx(3.346457, abs=5e-7)
    assert lead_m(sleeve(3.4)) == pytest.approx(LEAD, rel=1e-12)


# B-10a (recomputed): angle of the helix from the axis, radius mm.
@pytest.mark.parametrize(
    ("radius", "angle"),
    [(8, 13.353), (10, 16.526), (12, 19.598), (15, 23.992), (18, 28.105), (20, 30.685)],
)
def test_b10a_helix_angle(radius, angle):
    assert helix_angle_deg(LEAD, radius * 1e-3) == pytest.approx(angle, abs=5e-4)


# B-10b, B-10c: the power screw of machine-design texts (from memory; recomputed), 10 N m, 10 mm.
def test_b10b_axial_force_without_friction():
    assert axial_force_N(10, LEAD) == pytest.approx(296.71, abs=5e-3)


@pytest.mark.parametrize(
    ("friction", "push", "hold"),
    [(0.05, 351.9, 243.1), (0.10, 408.8, 191.0), (0.15, 467.5, 140.5), (0.20, 528.0, 91.3)],
)
def test_b10c_axial_force_with_friction(friction, push, hold):
    assert axial_force_pushing_N(10, LEAD, 0.010, friction) == pytest.approx(push, abs=0.05)
    assert axial_force_holding_N(10, LEAD, 0.010, friction) == pytest.approx(hold, abs=0.05)
    assert not is_self_holding(LEAD, 0.010, friction)


# B-10d: it holds by itself from a friction of 0.2967 on.
def test_b10d_self_holding():
    assert is_self_holding(LEAD, 0.010, 0.2968)
    assert not is_self_holding(LEAD, 0.010, 0.2966)
    assert axial_force_holding_N(10, LEAD, 0.010, 0.2967) == pytest.approx(0.0, abs=0.1)


# B-10e to B-10g (recomputed); sliding splines usually carry 7 to 14 MPa (from memory).
def test_b10efg_wind_up_play_and_pressure():
    assert wind_up_crank_deg(20, 0.100, 0.016) == pytest.approx(0.449, abs=5e-4)
    assert wind_up_crank_deg(20, 0.100, 0.016) / 2 == pytest.approx(0.2246, abs=5e-5)
    assert circumferential_play_deg(0.05e-3, 0.010) == pytest.approx(0.573, abs=5e-4)
    assert circumferential_play_deg(0.05e-3, 0.010) / 2 == pytest.approx(0.2865, abs=5e-5)
    assert axial_play_deg(0.1e-3, crank_deg_per_m(LEAD)) == pytest.approx(0.34, abs=1e-12)
    assert flank_pressure_Pa(20, 0.010, 6, 0.002, 0.020) / 1e6 == pytest.approx(8.33, abs=5e-3)


# B-10, last line: 800 N at 12 mm per cam radian is 9.6 N m, and it turns over on the other flank.
def test_b10_cam_torque():
    slope = np.array([0.012, -0.012]) * math.pi / 360
    both = Motion(
        angle_deg=np.array([400.0, 540.0]),
        lift_m=np.full(2, 0.005),
        velocity_m_per_deg=slope,
        acceleration_m_per_deg2=np.zeros(2),
        jerk_m_per_deg3=np.zeros(2),
    )
    assert cam_torque_Nm(both, np.full(2, 800.0)) == pytest.approx([9.6, -9.6], rel=1e-12)


# C-3 (common practice, no source): 100 to 150 crank deg at that lead is 29.41 to 44.12 mm, with the
# inch 29.88 to 44.82, 0.386 to 0.579 of a 3 in bore; 25 mm is the same share of 43 to 65 mm.
def test_c3_travel_for_the_range_in_a_three_inch_bore():
    travel = [
        lead / 720 * 1e3 * added for lead in (LEAD, lead_for(85, 0.0254)) for added in (100, 150)
    ]
    assert travel == pytest.approx([29.41, 44.12, 29.88, 44.82], abs=5e-3)
    shares = np.array(travel[:2]) / 76.2
    assert shares == pytest.approx([0.386, 0.579], abs=5e-4)
    assert 25 / shares == pytest.approx([65, 43], abs=0.5)


# C-5 (common practice, no source): one lobe with a helical flank under a plain follower, 12 mm per
# cam radian, would tilt by 0.356 mm per mm, 19.6 deg: the same sum as a helix at that radius.
def test_c5_a_sliding_helical_flank_would_tilt():
    tilt = helix_angle_deg(LEAD, 0.012)
    assert tilt == pytest.approx(19.6, abs=0.05)
    assert math.tan(math.radians(tilt)) == pytest.approx(0.356, abs=5e-4)


# C, consistency (common practice, no source): cylinder pitch 1.10 to 1.20 of 76.2 mm, printed as 84
# to 91 mm, 20 mm of bearing, 14 mm lobes. Travel mm; crank deg as printed, to 1 deg.
ROOMS = [
    (84.0, 1, False, 50.0, 170.0),
    (91.0, 1, False, 57.0, 194.0),
    (84.0, 2, True, 36.0, 122.0),
    (91.0, 2, True, 43.0, 146.0),
    (84.0, 2, False, 18.0, 61.0),
    (91.0, 2, False, 21.5, 73.0),
]


@pytest.mark.parametrize(("pitch", "lobes", "shared", "travel", "added"), ROOMS)
def test_c_room_along_the_shaft(pitch, lobes, shared, travel, added):
    room = ShaftRoom(
        between_bearings_m=(pitch - 20) * 1e-3,
        lobes=lobes,
        fixed_per_lobe_m=0.014,
        shared_sleeve=shared,
    )
    assert travel_room_m(room) * 1e3 == pytest.approx(travel, rel=1e-12)
    assert added_room_deg(room, sleeve(3.4)) == pytest.approx(added, abs=0.5)


# C: own sleeves need a lead of 130 to 155 mm for 100 deg, 86 to 103 mm for 150 deg.
def test_c_lead_that_own_sleeves_would_need():
    found = [lead_for(added, travel) * 1e3 for added in (100, 150) for travel in (0.018, 0.0215)]
    assert found == pytest.approx([130, 155, 86, 103], abs=0.5)


# S8, arithmetic on the invented engine: 38.0 mm between bearing faces, two lobes of 13.4 mm, each
# with its own sleeve: 5.6 mm, which is 28 deg at 5.0 deg/mm or 42 at 7.5; 0.10 mm of backlash is
# 0.5 or 0.75 deg.
@pytest.mark.parametrize(("slope", "added", "backlash"), [(5.0, 28.0, 0.5), (7.5, 42.0, 0.75)])
def test_s8_room_and_backlash(slope, added, backlash):
    room = ShaftRoom(between_bearings_m=0.038, lobes=2, fixed_per_lobe_m=0.0134)
    assert travel_room_m(room) * 1e3 == pytest.approx(5.6, rel=1e-12)
    assert added_room_deg(room, sleeve(slope)) == pytest.approx(added, rel=1e-12)
    parts = SleeveParts(axial_play_m=0.10e-3)
    assert duration_play_deg(parts, slope * 1e3) == pytest.approx(backlash, rel=1e-12)


# S8: room negative shows the sum that made it so.
def test_s8_negative_room_shows_its_sum():
    room = ShaftRoom(between_bearings_m=0.026, lobes=2, fixed_per_lobe_m=0.0134)
    assert travel_room_m(room) * 1e3 == pytest.approx(-0.4, rel=1e-9)
    assert room_sum(room) == (
        "26.0 mm between bearing faces less 2 lobes x 13.4 mm fixed leaves -0.8 mm, "
        "for 2 sleeves -0.4 mm each"
    )


# 405 crank deg from first to last lift leave the valve shut for 157.5 cam deg; 65 more leave it
# 125: no conflict (C). It stops where 180 crank deg are left (common practice, no source).
def test_c_duration_that_no_longer_seats():
    assert longest_duration_deg() == 540.0
    assert travel_until_unseated_m(405, sleeve(3.4)) * 3400 == pytest.approx(135.0)
    assert travel_until_unseated_m(405, sleeve(3.4)) * 3400 > 65

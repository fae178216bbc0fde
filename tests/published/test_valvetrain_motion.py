"""Follower motion, train vibration, seating and the facts of the dwell sleeve, from outside.

Cam degrees where a name says cam; speeds are the engine's, twice the cam's.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.interpolate import CubicSpline, PPoly

from breathe.engine.mechanics import Spring, Train
from breathe.engine.parts import Cam, Lobe, Sleeve
from breathe.valvetrain.dwell import event, lift_curve, open_span
from breathe.valvetrain.laws import LAWS
from breathe.valvetrain.lift import lobe_from_table
from breathe.valvetrain.loads import residual_vibration_m, separation
from breathe.valvetrain.lobe import Ramp, lobe_from_law
from breathe.valvetrain.motion import (
    acceleration_steps,
    motion_of,
    peaks,
    per_cam_deg,
    per_cam_rad,
    per_second,
    seat_velocities_m_per_s,
)
from breathe.valvetrain.timing import card_overlap_deg, duration_deg

PI = math.pi


def sleeve_cam(lobe: Lobe, slope: float = 3400.0, share: float = 0.5) -> Cam:
    sleeve = Sleeve(travel_max_m=0.060, crank_deg_per_m=slope, closing_share=share)
    return Cam(lobe=lobe, centreline_deg=110, lash_m=0.0, sleeve=sleeve)


def ramped_lobe(ramp_mm_per_cam_deg: float = 0.020) -> Lobe:
    """B-7g: ramp to 0.260 mm, 2 cam deg of it blend, then a quintic of 9.7 mm; 76 cam deg."""
    velocity = ramp_mm_per_cam_deg * 0.5e-3
    ramp = Ramp(height_m=0.260e-3, velocity_m_per_deg=velocity, blend_deg=4.0)
    return lobe_from_law(9.96e-3, 152.0, LAWS["3-4-5"], ramp=ramp)


# B-1, common to all eight laws: s(b/2) = h/2 (standard; from memory).
@pytest.mark.parametrize("name", LAWS)
def test_b1_laws_are_at_half_lift_half_way(name):
    assert LAWS[name].displacement(0.5) == pytest.approx(0.5, abs=1e-12)


# B-1, H. A. Rothbart (ed.), Cam Design Handbook, 2004, p. 53 (read): the cycloid in a rise-return
# lobe without dwell has a sudden change at the peak. Its jerk there is 4 pi^2 h/b^3, then minus
# that, while acceleration is 0.
def test_b1_cycloid_without_dwell_changes_suddenly_at_the_peak():
    lobe = lobe_from_law(0.010, 120, LAWS["cycloidal"])
    found = motion_of(lift_curve(sleeve_cam(lobe), side="intake"))
    nose = np.flatnonzero(np.diff(found.angle_deg) == 0)
    nose = int(nose[np.argmax(found.lift_m[nose])])
    jerk = found.jerk_m_per_deg3[[nose, nose + 1]] * 120.0**3 / 0.010
    assert jerk == pytest.approx([4 * PI**2, -4 * PI**2], rel=1e-3)
    assert found.acceleration_m_per_deg2[nose] * 120.0**2 / 0.010 == pytest.approx(0, abs=1e-3)


# B-1i, B-1j (recomputed): 10 mm in 60 cam deg at 3000 cam rpm; 1 mm/deg2 is 3282.80635 mm/rad2.
EXAMPLE = [
    ("cycloidal", 6.0000, 5654.9, 0.33333, 0.0174533),
    ("3-4-5", 5.6250, 5196.2, 0.31250, 0.0160375),
    ("modified sine", 5.2788, 4975.2, 0.29327, 0.0153554),
    ("modified trapezoid", 6.0000, 4399.3, 0.33333, 0.0135781),
]


@pytest.mark.parametrize(("name", "m_s", "m_s2", "mm_deg", "mm_deg2"), EXAMPLE)
def test_b1i_peaks_of_a_lobe_in_three_units(name, m_s, m_s2, mm_deg, mm_deg2):
    lobe = lobe_from_law(0.010, 120.0, LAWS[name])
    found = peaks(motion_of(lift_curve(sleeve_cam(lobe), side="intake")))
    v, a = found.opening_velocity_m_per_deg, found.acceleration_m_per_deg2
    # 5e-5: nodes a quarter of a crank degree apart.
    assert per_cam_deg(v, 1) * 1e3 == pytest.approx(mm_deg, rel=5e-5)
    assert per_cam_deg(a, 2) * 1e3 == pytest.approx(mm_deg2, rel=5e-5)
    assert per_second(v, 1, 6000) == pytest.approx(m_s, rel=5e-5)
    assert per_second(a, 2, 6000) == pytest.approx(m_s2, rel=5e-5)


def test_b1j_units():
    per_crank = 1e-3 / 4  # 1 mm per cam degree squared
    assert per_cam_rad(per_crank, 2) * 1e3 == pytest.approx(3282.80635, rel=1e-8)
    assert per_cam_rad(1e-3 / 2, 1) * 1e3 == pytest.approx(57.29578, rel=1e-7)
    assert per_second(0.01 * per_crank, 2, 6000) == pytest.approx(3240.0, rel=1e-12)


def rise_and_dwell(rise: PPoly, full: float) -> PPoly:
    """A rise followed by as long a dwell."""
    level = np.zeros((rise.c.shape[0], 1))
    level[-1] = full
    end = rise.x[-1]
    return PPoly(np.append(rise.c, level, axis=1), np.append(rise.x, 2 * end - rise.x[0]))


# B-2a: residual after a cycloidal rise, n = rise time over period: |sin pi n| / (pi n |1 - n^2|)
# (from memory; agrees with an integrated equation of motion).
@pytest.mark.parametrize(
    ("n", "wanted"),
    [(0.5, 0.848826), (1, 0.5), (1.5, 0.169765), (2.5, 0.0242522), (3, 0), (3.5, 0.00808406)],
)
def test_b2a_residual_vibration_after_a_cycloidal_rise(n, wanted):
    x = np.linspace(0.0, 1.0, 4001)
    rise = CubicSpline(120 * x, 0.010 * LAWS["cycloidal"].displacement(x), bc_type="clamped")
    seconds = 120 / (6 * 5000)
    left, _ = residual_vibration_m(motion_of(rise_and_dwell(rise, 0.010)), n / seconds, 5000)
    assert left / 0.010 == pytest.approx(wanted, abs=1e-6)


# B-2b: W. M. Dudley, 1948; D. A. Stoddart, 1953 (from memory; recomputed). A lobe of
# y + y''/w0^2, y the 4-5-6-7 rise, leaves no vibration at n = 3, and 9.2e-5 h with 10 % more.
def test_b2b_polydyne_rise_is_still_at_its_design_speed():
    width, full, n = 1200.0, 0.010, 3.0
    powers = np.array([-20, 70, -84, 35, 0, 0, 0, 0.0]) * full
    y = PPoly((powers / width ** np.arange(7, -1, -1))[:, None], [0.0, width])
    turn = 2 * PI * n / width
    lobe = y.c.copy()
    lobe[2:] += y.derivative(2).c / turn**2
    found = motion_of(rise_and_dwell(PPoly(lobe, y.x), full))
    seconds = width / (6 * 5000)
    at_design, _ = residual_vibration_m(found, n / seconds, 5000)
    stiffer, _ = residual_vibration_m(found, 1.1 * n / seconds, 5000)
    # 1e-7: acceleration taken straight between samples 1/2400 of the rise apart.
    assert at_design / full == pytest.approx(0.0, abs=1e-7)
    assert stiffer / full == pytest.approx(9.2e-5, abs=0.05e-5)


# B-7a: seating at the ramp's velocity, 0.02 mm per cam deg at 6000 and 8000 rpm (recomputed).
@pytest.mark.parametrize(("speed", "wanted"), [(6000, 0.360), (8000, 0.480)])
@pytest.mark.parametrize("travel_mm", [0.0, 12.5])
def test_b7a_seating_velocity_is_the_ramps(speed, wanted, travel_mm):
    curve = lift_curve(sleeve_cam(ramped_lobe()), travel_m=travel_mm * 1e-3, side="intake")
    leaves, meets = seat_velocities_m_per_s(curve, 0.15e-3, speed, "intake")
    assert (leaves, meets) == pytest.approx((wanted, wanted), rel=1e-6)


# B-7b: 0.1 mm of lash on a ramp of 0.02 mm per cam deg moves each event 10 crank deg (recomputed).
def test_b7b_lash_on_the_ramp_moves_the_events():
    curve = lift_curve(sleeve_cam(ramped_lobe()), side="intake")
    tight, loose = open_span(curve, 0.10e-3, "intake"), open_span(curve, 0.20e-3, "intake")
    assert np.subtract(loose, tight) == pytest.approx([10.0, -10.0], abs=1e-3)


# C-1: 25 mm for 85 crank deg (common practice, no source): 3.4 crank, 1.7 cam deg per mm, lead
# 211.765 mm. Durations at every checking lift grow by that, and by nothing else.
@pytest.mark.parametrize("name", [*LAWS, "ramp"])
@pytest.mark.parametrize("share", [0.0, 0.5, 1.0])
def test_c1_durations_are_base_plus_slope_times_travel(name, share):
    lobe = ramped_lobe() if name == "ramp" else lobe_from_law(0.010, 130.0, LAWS[name])
    cam = sleeve_cam(lobe, share=share)
    for checking_mm in (0.1524, 0.5, 1.0, 1.27):
        base = duration_deg(event(cam, side="intake"), checking_mm * 1e-3)
        for travel_mm in (5.0, 12.5, 25.0):
            found = duration_deg(
                event(cam, travel_m=travel_mm * 1e-3, side="intake"), checking_mm * 1e-3
            )
            assert found == pytest.approx(base + 3.4 * travel_mm, abs=0.05)


def values(found) -> list[float]:
    return [
        found.opening_velocity_m_per_deg,
        found.closing_velocity_m_per_deg,
        found.acceleration_m_per_deg2,
        found.deceleration_m_per_deg2,
        found.jerk_m_per_deg3,
    ]


# C-4: flank motion and quasi-static separation speed are the same at every travel (the trade's
# statement of this cam; no source).
@pytest.mark.parametrize("name", [*LAWS, "ramp"])
def test_c4_peaks_and_separation_speed_do_not_depend_on_travel(name):
    lobe = ramped_lobe() if name == "ramp" else lobe_from_law(0.010, 130.0, LAWS[name])
    spring = Spring(seat_load_N=250.0, installed_height_m=0.034, rate_N_per_m=32e3)
    train = Train(moving_mass_kg=0.095)
    rows = []
    for dwell_cam_deg in (0, 10, 20, 30, 42.5):
        travel = 2 * dwell_cam_deg / 3400.0
        found = motion_of(lift_curve(sleeve_cam(lobe), travel_m=travel, side="intake"))
        rows.append([*values(peaks(found)), separation(found, spring, train).speed_rpm])
    for row in rows[1:]:
        assert row == pytest.approx(rows[0], rel=1e-9)


# C-4: 0.014871 mm per cam deg2 at dwell 0 to 42.5 cam deg, which is a 10 mm cycloid in 65 cam deg,
# 2 pi h / b^2 (recomputed).
@pytest.mark.parametrize("dwell_cam_deg", [0, 10, 20, 30, 42.5])
def test_c4_peak_acceleration_of_the_cycloidal_flank(dwell_cam_deg):
    cam = sleeve_cam(lobe_from_law(0.010, 130.0, LAWS["cycloidal"]))
    found = peaks(motion_of(lift_curve(cam, travel_m=2 * dwell_cam_deg / 3400, side="intake")))
    for peak in (found.acceleration_m_per_deg2, found.deceleration_m_per_deg2):
        assert per_cam_deg(peak, 2) * 1e3 == pytest.approx(0.014871, abs=1e-6)


# C-4: each flank must be a full dwell-rise-dwell law, or acceleration jumps at the dwell: the
# simple harmonic has pi^2/2 h/b^2 there, the cycloid nothing.
def test_c4_only_a_flank_without_acceleration_at_the_nose_meets_dwell_smoothly():
    jumps = {}
    for name in ("cycloidal", "simple harmonic"):
        cam = sleeve_cam(lobe_from_law(0.010, 130.0, LAWS[name]))
        found = acceleration_steps(motion_of(lift_curve(cam, travel_m=0.010, side="intake")))
        jumps[name] = [s.after_m_per_deg2 - s.before_m_per_deg2 for s in found]
    unit = 0.010 / 130.0**2
    assert jumps["cycloidal"] == []
    step = PI**2 / 2 * unit
    assert jumps["simple harmonic"] == pytest.approx([step, step, -step, -step], rel=1e-4)


# C, measured lobes: peaks independent of travel within 0.5 %.
@pytest.mark.parametrize("average_deg", [0.0, 20.0])
def test_c4_holds_for_a_measured_lobe(average_deg):
    known = lift_curve(sleeve_cam(ramped_lobe()), side="intake")
    angle = np.arange(known.x[0] - 30, known.x[-1] + 30, 5.0)
    noise = np.random.default_rng(7).normal(0, 0.01e-3, len(angle))
    lobe = lobe_from_table(angle, np.nan_to_num(known(angle)) + noise, made_from="test").lobe
    rows = [
        values(
            peaks(motion_of(lift_curve(sleeve_cam(lobe), travel_m=t, side="intake"), average_deg))
        )
        for t in (0.0, 0.004, 0.025)
    ]
    for row in rows[1:]:
        assert row == pytest.approx(rows[0], rel=1e-9)


def lift_where_345_are_left(lobe: Lobe, first_lift_deg: float) -> float:
    """Checking lift [mm] at which a lobe drawn out to a first-lift duration counts as 345 deg."""
    curve = lift_curve(sleeve_cam(lobe), side="intake")
    lost = (first_lift_deg - 345.0) / 2
    return float(curve(curve.x[0] + lost)) * 1e3


# C-2: a bit over 400 crank deg from first lift counts as about 345 (common practice, no source).
# On a 0.02 mm per cam deg ramp that is a lift of 0.255, 0.280, 0.309 mm for 400, 405, 410; ramps of
# 0.015 and 0.025 span 0.19 to 0.41 mm; a 10 mm cycloid in 65 cam deg 0.57 (400) to 0.73 mm (405).
def test_c2_effective_duration_is_counted_near_the_top_of_the_ramp():
    at = [lift_where_345_are_left(ramped_lobe(0.020), total) for total in (400, 405, 410)]
    assert at == pytest.approx([0.255, 0.280, 0.309], abs=5e-4)
    assert lift_where_345_are_left(ramped_lobe(0.015), 400) == pytest.approx(0.19, abs=0.005)
    assert lift_where_345_are_left(ramped_lobe(0.025), 410) == pytest.approx(0.41, abs=0.005)
    cycloid = lobe_from_law(0.010, 130.0, LAWS["cycloidal"])
    at = [lift_where_345_are_left(cycloid, total) for total in (400, 405)]
    assert at == pytest.approx([0.57, 0.73], abs=0.005)


# C-2: 'neither 1 mm (about 284) nor 0.050 in (about 277)': these are the ramped lobe's 199.2 and
# 191.5 plus the sleeve's 85, a first-lift duration of 389, not 400 (recomputed).
def test_c2_other_checking_lifts_are_far_from_345():
    lift = event(sleeve_cam(ramped_lobe()), travel_m=0.025, side="intake")
    assert duration_deg(lift) == pytest.approx(389.0, abs=1e-6)
    assert duration_deg(lift, 1.0e-3) == pytest.approx(284, abs=0.5)
    assert duration_deg(lift, 1.27e-3) == pytest.approx(277, abs=0.6)


# C, consistency: 345 - 85 = 260 effective at zero travel; at 110 separation the overlap runs from
# 40 to 125 (arithmetic). 405 crank deg leave 157.5 cam deg shut, 65 more leave 125.
def test_c_overlap_and_base_circle_along_the_travel():
    assert card_overlap_deg(260, 260, 110) == 40
    assert card_overlap_deg(345, 345, 110) == 125
    curve = lift_curve(sleeve_cam(ramped_lobe()), travel_m=101 / 3400, side="intake")
    assert curve.x[-1] - curve.x[0] == pytest.approx(405.0)
    assert (720 - (curve.x[-1] - curve.x[0])) / 2 == pytest.approx(157.5)
    curve = lift_curve(sleeve_cam(ramped_lobe()), travel_m=166 / 3400, side="intake")
    assert (720 - (curve.x[-1] - curve.x[0])) / 2 == pytest.approx(125.0)

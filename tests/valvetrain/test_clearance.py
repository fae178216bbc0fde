"""Clearance: what must hold for any valve, piston and table."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from breathe.engine.mechanics import PistonGap, Tolerances, ValvePair
from breathe.engine.parts import Cam, Cylinder
from breathe.valvetrain.clearance import (
    ValveMotion,
    piston_gap_m,
    piston_room,
    piston_tolerances,
    smallest_piston_gap,
    smallest_valve_gap,
    valve_gap_m,
    valve_tolerances,
)
from breathe.valvetrain.crank import motion, slider_crank
from breathe.valvetrain.dwell import lift_curve
from breathe.valvetrain.laws import LAWS
from breathe.valvetrain.lobe import lobe_from_law

CYLINDER = Cylinder(bore_m=0.086, stroke_m=0.086, rod_m=0.145, compression_ratio=10.0)
ONE_READING = PistonGap(angle_deg=np.array([0.0]), gap_m=np.array([4.4e-3]), valve_angle_deg=15.0)


def valve(side="intake", centreline=105.0, lash=0.0, late=0.0, half=130.0) -> ValveMotion:
    cam = Cam(
        lobe=lobe_from_law(9.5e-3, half, LAWS["cycloidal"]), centreline_deg=centreline, lash_m=lash
    )
    return ValveMotion(curve=lift_curve(cam, side=side), lash_m=lash, late_deg=late)


@settings(max_examples=40, deadline=None)
@given(
    centreline=st.floats(95, 120),
    lash=st.floats(0, 0.4e-3),
    late=st.floats(-10, 10),
    lean=st.floats(0, 40),
    gap=st.floats(1e-3, 8e-3),
    offset=st.floats(-2e-3, 2e-3),
)
def test_nothing_in_the_whole_cycle_is_tighter(centreline, lash, late, lean, gap, offset):
    cylinder = dataclasses.replace(CYLINDER, pin_offset_m=offset)
    reading = PistonGap(angle_deg=np.array([0.0]), gap_m=np.array([gap]), valve_angle_deg=lean)
    room = piston_room(cylinder, reading)
    moved = valve(centreline=centreline, lash=lash, late=late)
    found = smallest_piston_gap(moved, room)
    everywhere = piston_gap_m(moved, room, np.arange(0.0, 720.0, 0.01))
    assert found.gap_m <= everywhere.min() + 1e-9
    # 0.005 deg off a smooth minimum, or a corner of first lift.
    assert found.gap_m == pytest.approx(everywhere.min(), abs=2e-6)
    at = piston_gap_m(moved, room, np.array([found.angle_deg]))[0]
    assert at == pytest.approx(found.gap_m, abs=1e-9)


def test_a_valve_that_opens_late_is_nearest_on_its_seat():
    found = smallest_piston_gap(valve(centreline=150.0), piston_room(CYLINDER, ONE_READING))
    assert found.gap_m == pytest.approx(4.4e-3, abs=1e-9)
    assert found.where in ("TDC", "TDC (firing)")


def test_lift_wraps_around_the_cycle():
    moved = valve("exhaust", 250.0)  # opens before firing TDC
    angle = np.arange(0.0, 720.0, 0.5)
    assert moved.lift_m(angle) == pytest.approx(moved.lift_m(angle + 720.0), abs=1e-12)
    assert moved.lift_m(np.array([110.0]))[0] == pytest.approx(9.5e-3)


def test_late_moves_and_lash_lowers():
    plain, late, lashed = valve(), valve(late=3.0), valve(lash=0.2e-3)
    angle = np.arange(300.0, 600.0, 1.0)
    assert late.lift_m(angle + 3.0) == pytest.approx(plain.lift_m(angle), abs=1e-12)
    lower = np.maximum(plain.lift_m(angle) - 0.2e-3, 0.0)
    assert lashed.lift_m(angle) == pytest.approx(lower, abs=1e-12)


# --- The table ----------


def table(offset=0.0, noise=0.0) -> PistonGap:
    """Readings every 5 degrees of the geometry of ``ONE_READING``, the wheel ``offset`` deg off."""
    angle = np.arange(-15.0, 16.0, 5.0)
    travel = motion(slider_crank(CYLINDER), angle + offset)[0]
    scatter = noise * np.array([1, -1, 1, -1, 1, -1, 1])
    gap = 4.4e-3 + travel * np.cos(np.radians(15)) + scatter
    return PistonGap(angle_deg=angle, gap_m=gap, valve_angle_deg=15.0)


def test_a_true_table_says_what_one_reading_says():
    one, many = (piston_room(CYLINDER, g) for g in (ONE_READING, table()))
    angle = np.arange(0.0, 720.0, 1.0)
    assert many.seated_m(angle) == pytest.approx(one.seated_m(angle), abs=1e-12)
    assert many.mismatch_m == pytest.approx(np.zeros(7), abs=1e-12)
    assert one.mismatch_m == pytest.approx([0.0])


def test_readings_are_kept_where_they_reach():
    readings = table(noise=0.05e-3)
    room = piston_room(CYLINDER, readings)
    for turn in (360.0, 720.0):  # the piston stands the same at both dead centres
        kept = room.seated_m(readings.angle_deg + turn)
        assert kept == pytest.approx(readings.gap_m, abs=1e-12)


def test_beyond_the_table_the_piston_moves_on_from_its_end():
    readings = table(offset=2.0)
    room = piston_room(CYLINDER, readings)
    crank = slider_crank(CYLINDER)
    gone = motion(crank, 40.0)[0] - motion(crank, 15.0)[0]
    expected = readings.gap_m[-1] + gone * np.cos(np.radians(15))
    assert room.seated_m(np.array([400.0]))[0] == pytest.approx(expected, abs=1e-12)


def test_a_wheel_off_tdc_shows_as_a_slope_of_the_mismatch():
    mismatch = piston_room(CYLINDER, table(offset=2.0)).mismatch_m
    assert np.all(np.diff(mismatch) > 0)
    # x'' a offset cos 15, x'' = R (1 + R/L) per rad^2: 43 (1.29655) 0.03491 0.2618 0.9659 mm.
    assert mismatch[-1] == pytest.approx(0.492e-3, rel=0.03)


def test_a_flat_crown_leaves_more_than_a_pocket():
    flat = dataclasses.replace(ONE_READING, floor="square to the bore")
    pocket_room, flat_room = (piston_room(CYLINDER, g) for g in (ONE_READING, flat))
    moved = valve()
    pocket, crown = (smallest_piston_gap(moved, room) for room in (pocket_room, flat_room))
    assert pocket.gap_m < crown.gap_m
    # Geometry: along the valve the piston gains x cos and x / cos.
    at = np.array([390.0])
    x = motion(slider_crank(CYLINDER), 30.0)[0]
    assert pocket_room.seated_m(at)[0] - 4.4e-3 == pytest.approx(x * np.cos(np.radians(15)))
    assert flat_room.seated_m(at)[0] - 4.4e-3 == pytest.approx(x / np.cos(np.radians(15)))


# --- Tolerances ----------


@pytest.mark.parametrize("side", ["intake", "exhaust"])
def test_early_hurts_the_intake_and_late_the_exhaust(side):
    tolerances = Tolerances(cam_timing_deg=2.0, chain_slack_deg=1.0)
    moved = valve(side, lash=0.2e-3)
    room = piston_room(CYLINDER, ONE_READING)
    cases = {c.label: c.tightest.gap_m for c in piston_tolerances(moved, room, tolerances)}
    assert list(cases) == [
        "as given", "no lash", "cam early", "cam early, no lash", "cam late", "cam late, no lash",
    ]  # fmt: skip
    worse, better = ("early", "late") if side == "intake" else ("late", "early")
    assert min(cases, key=cases.__getitem__) == f"cam {worse}, no lash"
    assert cases[f"cam {worse}"] < cases["as given"] < cases[f"cam {better}"]
    late = smallest_piston_gap(dataclasses.replace(moved, late_deg=3.0), room)
    assert cases["cam late"] == late.gap_m


def test_without_lash_there_is_no_case_of_its_own():
    cases = piston_tolerances(valve(), piston_room(CYLINDER, ONE_READING), Tolerances())
    assert [c.label for c in cases] == ["as given", "cam early", "cam late"]


# --- Valve to valve ----------

UPRIGHT = ValvePair(seat_centre_distance_m=40e-3, intake_angle_deg=0.0, exhaust_angle_deg=0.0)
HEADS = (34e-3, 30e-3)
LIFTS = np.array([0.0, 3e-3, 8e-3])


def test_upright_valves_keep_their_distance():
    # 40 - 17 - 15 = 8 mm sideways; 5 mm apart in lift adds as the hypotenuse.
    gaps = valve_gap_m(UPRIGHT, HEADS, LIFTS, np.array([0.0, 3e-3, 3e-3]))
    assert gaps * 1e3 == pytest.approx([8.0, 8.0, np.hypot(8, 5)])


def test_thick_edges_meet_first():
    thick = dataclasses.replace(UPRIGHT, edge_thickness_m=1.5e-3)
    gaps = valve_gap_m(thick, HEADS, LIFTS, np.array([0.0, 4e-3, 3e-3]))
    assert gaps * 1e3 == pytest.approx([8.0, 8.0, np.hypot(8, 3.5)])


def test_heads_that_overlap_touch():
    near = dataclasses.replace(UPRIGHT, seat_centre_distance_m=30e-3, edge_thickness_m=1e-3)
    gaps = valve_gap_m(near, HEADS, np.array([0.0, 0.5e-3, 5e-3]), np.zeros(3))
    # Shortest way out: 1 mm along the stems, then 0.5; at 5 mm one has passed the other by 4.
    assert gaps * 1e3 == pytest.approx([-1.0, -0.5, 4.0])


def test_leaning_valves_come_together_as_they_open():
    # Both lean 20 deg outwards: the inner edge of an intake head at lift s is at
    # x = s sin 20 + 17 cos 20, y = s cos 20 - 17 sin 20; the exhaust head mirrored (geometry).
    pair = ValvePair(seat_centre_distance_m=40e-3, intake_angle_deg=20.0, exhaust_angle_deg=20.0)
    lift = np.array([0.0, 2e-3, 5e-3])
    sine, cosine = np.sin(np.radians(20)), np.cos(np.radians(20))
    expected = 40e-3 - 2 * lift * sine - (17e-3 + 17e-3) * cosine
    found = valve_gap_m(pair, (34e-3, 34e-3), lift, lift)
    assert found == pytest.approx(expected, abs=1e-12)


@settings(max_examples=30, deadline=None)
@given(
    distance=st.floats(25e-3, 60e-3),
    lean=st.tuples(st.floats(-5, 35), st.floats(-5, 35)),
    thick=st.floats(0, 3e-3),
    lift=st.tuples(st.floats(0, 12e-3), st.floats(0, 12e-3)),
)
def test_the_pair_mirrored_is_the_same_pair(distance, lean, thick, lift):
    pair = ValvePair(
        seat_centre_distance_m=distance,
        intake_angle_deg=lean[0],
        exhaust_angle_deg=lean[1],
        edge_thickness_m=thick,
    )
    mirrored = dataclasses.replace(pair, intake_angle_deg=lean[1], exhaust_angle_deg=lean[0])
    one = valve_gap_m(pair, HEADS, np.array(lift[:1]), np.array(lift[1:]))
    other = valve_gap_m(mirrored, HEADS[::-1], np.array(lift[1:]), np.array(lift[:1]))
    assert one == pytest.approx(other, abs=1e-12)
    sampled = _sampled(pair, lift)
    if one[0] > 0:
        assert one[0] <= sampled + 1e-9
        assert one[0] == pytest.approx(sampled, abs=0.35e-3)  # points 0.34 mm apart
    else:
        assert sampled < 0.4e-3


def _sampled(pair: ValvePair, lift: tuple[float, float]) -> float:
    """Nearest two of many points on both rectangles, the plain way."""
    points = []
    for mirror, lean, size, up in (
        (1, pair.intake_angle_deg, HEADS[0], lift[0]),
        (-1, pair.exhaust_angle_deg, HEADS[1], lift[1]),
    ):
        a = np.radians(lean)
        along = np.linspace(-size / 2, size / 2, 100)
        deep = np.linspace(up - pair.edge_thickness_m, up, 10)
        x = np.add.outer(along * np.cos(a), deep * np.sin(a)).ravel()
        y = np.add.outer(-along * np.sin(a), deep * np.cos(a)).ravel()
        x = x if mirror == 1 else pair.seat_centre_distance_m - x
        points.append(np.column_stack([x, y]))
    apart = points[0][:, None, :] - points[1][None, :, :]
    return float(np.sqrt((apart**2).sum(axis=-1)).min())


def test_more_overlap_brings_the_valves_nearer():
    pair = ValvePair(seat_centre_distance_m=38e-3, intake_angle_deg=16, exhaust_angle_deg=16)
    one, other = valve("intake", lash=0.2e-3), valve("exhaust", lash=0.25e-3)
    found = smallest_valve_gap(pair, HEADS, one, other)
    angle = np.arange(0.0, 720.0, 0.05)
    everywhere = valve_gap_m(pair, HEADS, one.lift_m(angle), other.lift_m(angle))
    assert found.gap_m == pytest.approx(everywhere.min(), abs=1e-6)
    assert found.gap_m < everywhere.max()
    cases = {
        c.label: c.tightest.gap_m for c in valve_tolerances(pair, HEADS, one, other, Tolerances())
    }
    assert cases["as given"] == found.gap_m
    assert min(cases, key=cases.__getitem__) == "intake early, exhaust late, no lash"
    assert len(cases) == 8

"""The sleeve: what travel moves, what it leaves alone, and what is refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from breathe.engine.parts import Cam, Engine, Lobe, Operating, Setting, Sleeve
from breathe.valvetrain.dwell import (
    GRID,
    case,
    crank_deg_per_m,
    event,
    flank_splines,
    lift_curve,
    travel_for,
)
from breathe.valvetrain.laws import LAWS
from breathe.valvetrain.lobe import lobe_from_card, lobe_from_law
from breathe.valvetrain.timing import duration_deg, lift_area_m_deg, open_between, timing

CARD, _ = lobe_from_card(228, 0.1e-3, 9.5e-3, second=(198, 1.0e-3))
SLEEVE = Sleeve(travel_max_m=0.012, crank_deg_per_m=5000.0, closing_share=1.0)
CAM = Cam(lobe=CARD, centreline_deg=92.0, lash_m=0.0, sleeve=SLEEVE)
travels = st.floats(0.0, 0.012)
lashes = st.sampled_from([0.0, 0.05e-3, 0.25e-3])


@given(
    travel=travels, share=st.floats(0, 1), lash=lashes, side=st.sampled_from(["intake", "exhaust"])
)
def test_events_move_with_travel_by_their_share(travel, share, lash, side):
    cam = replace(CAM, lash_m=lash, sleeve=replace(SLEEVE, closing_share=share))
    still, moved = event(cam, side=side), event(cam, travel_m=travel, side=side)
    added = 5000.0 * travel
    assert moved.opens_deg - still.opens_deg == pytest.approx(-(1 - share) * added, abs=1e-6)
    assert moved.closes_deg - still.closes_deg == pytest.approx(share * added, abs=1e-6)
    for checking in (0.1e-3, 1e-3, 5e-3):
        grown = duration_deg(moved, checking) - duration_deg(still, checking)
        # Sampled curve: a checking lift is found between quarter-degree points.
        assert grown == pytest.approx(added, abs=0.002)
    assert lift_area_m_deg(moved) - lift_area_m_deg(still) == pytest.approx(
        moved.lift_m.max() * added, abs=1e-6
    )
    assert moved.lift_m.max() == pytest.approx(9.5e-3 - lash, rel=1e-6)


@given(travel=travels, lash=lashes)
def test_no_jitter_a_small_step_of_travel_makes_a_small_step_everywhere(travel, lash):
    cam = replace(CAM, lash_m=lash)
    step_m = 1e-8  # 5e-5 deg
    a, b = (event(cam, travel_m=t, side="intake") for t in (travel, min(travel + step_m, 0.012)))
    slope = lift_curve(cam, side="intake").derivative()
    steepest = np.abs(slope(np.linspace(slope.x[0], slope.x[-1], 9999))).max()
    assert np.abs(a.lift_m - b.lift_m).max() <= steepest * 5e-5 * 1.01
    assert b.closes_deg - a.closes_deg == pytest.approx(5e-5, abs=5.1e-5)


@given(shift=st.floats(-60, 60), travel=travels)
def test_a_phaser_moves_the_whole_curve(shift, travel):
    still = event(CAM, travel_m=travel, side="intake")
    moved = event(CAM, travel_m=travel, shift_deg=shift, side="intake")
    for checking in (0.0, 1e-3):
        a, b = open_between(still, checking), open_between(moved, checking)
        assert np.subtract(b, a) == pytest.approx([shift, shift], abs=0.002)


@given(stretch=st.floats(0.7, 1.5))
def test_stretch_scales_durations_and_lowers_acceleration_by_its_square(stretch):
    base, longer = event(CAM, side="intake"), event(CAM, stretch=stretch, side="intake")
    assert duration_deg(longer, 1e-3) == pytest.approx(
        stretch * duration_deg(base, 1e-3), abs=0.003
    )
    a, b = (
        np.abs(f[0].derivative(2)(f[0].x)).max()
        for f in (flank_splines(CARD), flank_splines(CARD, stretch))
    )
    assert b == pytest.approx(a / stretch**2, rel=1e-9)


def test_exhaust_nose_is_before_overlap_tdc_and_flanks_keep_their_order():
    lobe = lobe_from_law(0.010, 100, LAWS["cycloidal"], flank_closing_deg=140)
    cam = Cam(lobe=lobe, centreline_deg=110, lash_m=0)
    lift = event(cam, side="exhaust")
    assert (lift.opens_deg, lift.closes_deg) == pytest.approx((150, 390))
    assert lift.angle_deg[np.argmax(lift.lift_m)] == 250.0
    assert len(lift.lift_m) == GRID


def test_a_lift_across_firing_tdc_wraps():
    cam = replace(CAM, centreline_deg=330.0)
    lift = event(cam, side="intake")
    assert 0 <= lift.opens_deg < 720 < lift.closes_deg
    at = timing(lift, "intake", 1e-3)
    assert at.duration_deg == pytest.approx(198, abs=1e-3)
    assert at.centreline_deg == pytest.approx(330, abs=1e-3)


def test_a_kinked_or_sparse_table_never_gives_negative_lift():
    angle = np.array([-100.0, -60, -30, 0, 30, 60, 100])
    lobe = Lobe(angle_deg=angle, lift_m=np.array([0, 0, 5, 9, 5, 0, 0]) * 1e-3, made_from="rough")
    lift = event(Cam(lobe=lobe, centreline_deg=110, lash_m=0), side="intake").lift_m
    assert lift.min() == 0.0


def test_dwell_is_level_at_full_lift():
    curve = lift_curve(CAM, travel_m=0.0072, side="intake")
    inside = np.linspace(452.0, 488.0, 50)
    assert curve(inside) == pytest.approx(9.5e-3, abs=1e-15)
    assert np.all(curve([451.0, 489.0]) < 9.5e-3 - 1e-7)


@pytest.mark.parametrize(
    ("cam", "change", "words"),
    [
        # Travel for 310 deg from a base of 228 at 5 deg per mm: 16.4 mm.
        (CAM, {"travel_m": travel_for(SLEEVE, 310 - 228)}, "needs 16.4 mm, the sleeve has 12.0 mm"),
        (CAM, {"travel_m": -0.001}, "found a sleeve travel of -1.0 mm; expected 0 to 12.0 mm"),
        (replace(CAM, sleeve=None), {"travel_m": 0.002}, "needs 2.0 mm .* has no sleeve"),
        (replace(CAM, lash_m=9.6e-3), {}, "lash of 9.60 mm against 9.50 mm .* never opens"),
        (replace(CAM, lash_m=-1e-3), {}, "found a lash of -1 mm; expected 0 or more"),
        (CAM, {"stretch": 0.0}, "stretch of the lobe: found 0; expected above 0"),
        (CAM, {"stretch": 2.5}, "leaves the valve seated for .* expected at least 180 deg"),
        (CAM, {"stretch": 3.2}, "so the valve never seats"),
    ],
)
def test_what_cannot_be_is_refused_in_words(cam, change, words):
    with pytest.raises(ValueError, match=words):
        event(cam, side="intake", **change)


def test_travel_at_the_very_end_passes_despite_round_off():
    beyond = event(CAM, travel_m=0.012 * (1 + 1e-12), side="intake")
    assert beyond.closes_deg == pytest.approx(event(CAM, travel_m=0.012, side="intake").closes_deg)


def test_crank_deg_per_m_needs_a_lead():
    assert crank_deg_per_m(0.144) == pytest.approx(5000.0)
    with pytest.raises(ValueError, match="sleeve lead: found 0 mm per cam turn"):
        crank_deg_per_m(0.0)


def bare_engine(**cams: Cam) -> Engine:
    """An engine of which only the cams are read here."""
    engine = object.__new__(Engine)
    for name, cam in cams.items():
        object.__setattr__(engine, name, cam)
    return engine


def test_case_resolves_both_sides():
    exhaust = replace(CAM, sleeve=None, centreline_deg=110.0)
    engine = bare_engine(intake_cam=CAM, exhaust_cam=exhaust)
    swapped = replace(exhaust, lobe=lobe_from_card(264, 0.1e-3, 9e-3)[0])
    setting = Setting(
        label="mixed",
        intake_travel_m=0.0024,
        intake_shift_deg=-4.0,
        exhaust_cam=swapped,
        exhaust_stretch=1.1,
        exhaust_shift_deg=3.0,
    )
    made = case(engine, setting, Operating(speed_rpm=3000.0))
    assert timing(made.intake, "intake", 0.1e-3).closes == "34 ABDC"
    assert duration_deg(made.exhaust, 0.1e-3) == pytest.approx(1.1 * 264, abs=0.01)
    assert timing(made.exhaust, "exhaust", 0.1e-3).centreline_deg == pytest.approx(107, abs=0.01)
    with pytest.raises(ValueError, match=r"setting 'far': intake cam: needs 13.0 mm"):
        case(engine, Setting(label="far", intake_travel_m=0.013), Operating(speed_rpm=3000.0))

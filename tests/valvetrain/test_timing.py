"""Timing words and events from a lift event."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from breathe.engine.parts import Cam
from breathe.valvetrain.dwell import event, lift_curve
from breathe.valvetrain.laws import LAWS
from breathe.valvetrain.lobe import lobe_from_law
from breathe.valvetrain.timing import (
    card_centreline_deg,
    card_duration_deg,
    card_overlap_deg,
    in_words,
    lift_area_m_deg,
    lobe_separation_cam_deg,
    lobe_separation_for_overlap,
    open_between,
    overlap_deg,
    seat_timing,
    timing,
)

LOBE = lobe_from_law(0.010, 130, LAWS["modified sine"], flank_closing_deg=134)
halves = st.integers(-80, 180).map(lambda n: n / 2)


@pytest.mark.parametrize(
    ("angle", "centre", "words"),
    [
        (338, 360, "22 BTDC"),
        (602, 540, "62 ABDC"),
        (118, 180, "62 BBDC"),
        (382, 360, "22 ATDC"),
        (370, 360, "10 ATDC"),
        (359.7, 360, "TDC"),
        (540.2, 540, "BDC"),
        (700, 0, "20 BTDC"),
        (1092, 360, "12 ATDC"),
    ],
)
def test_angles_in_words(angle, centre, words):
    assert in_words(angle, centre) == words


def test_words_with_decimals():
    assert in_words(337.5, 360, digits=1) == "22.5 BTDC"


@given(
    centreline=st.floats(60, 160),
    lash=st.sampled_from([0.0, 0.1e-3, 0.3e-3]),
    checking=st.floats(0.05e-3, 9.5e-3),
)
def test_events_agree_with_the_curve_itself(centreline, lash, checking):
    cam = Cam(lobe=LOBE, centreline_deg=centreline, lash_m=lash)
    for side in ("intake", "exhaust"):
        curve = lift_curve(cam, side=side)
        wanted = curve.solve(checking + lash, extrapolate=False)
        found = open_between(event(cam, side=side), checking)
        assert found == pytest.approx([wanted.min(), wanted.max()], abs=0.002)


def test_area_agrees_with_the_integral_of_the_curve():
    cam = Cam(lobe=LOBE, centreline_deg=110, lash_m=0.0)
    curve = lift_curve(cam, side="intake")
    whole = curve.integrate(curve.x[0], curve.x[-1])
    assert lift_area_m_deg(event(cam, side="intake")) == pytest.approx(float(whole), rel=1e-8)


@given(opens=halves, closes=halves)
def test_card_and_event_agree(opens, closes):
    duration, centre = card_duration_deg(opens, closes), card_centreline_deg(opens, closes)
    lobe = lobe_from_law(0.009, duration / 2, LAWS["cycloidal"])
    at = timing(event(Cam(lobe=lobe, centreline_deg=centre, lash_m=0), side="intake"), "intake")
    assert at.opens_deg == pytest.approx(360 - opens)
    assert at.closes_deg == pytest.approx(540 + closes)
    assert at.centreline_deg == pytest.approx(centre)


@given(ivo=halves, ivc=halves, evo=halves, evc=halves)
def test_overlap_three_ways(ivo, ivc, evo, evc):
    intake, exhaust = card_duration_deg(ivo, ivc), card_duration_deg(evc, evo)
    icl, ecl = card_centreline_deg(ivo, ivc), card_centreline_deg(evc, evo)
    separation = lobe_separation_cam_deg(icl, ecl)
    from_card = card_overlap_deg(intake, exhaust, separation)
    assert from_card == pytest.approx(ivo + evc)
    assert lobe_separation_for_overlap(intake, exhaust, from_card) == pytest.approx(separation)
    law = LAWS["3-4-5"]
    sides = [
        event(Cam(lobe=lobe_from_law(0.009, d / 2, law), centreline_deg=c, lash_m=0), side=side)
        for d, c, side in ((intake, icl, "intake"), (exhaust, ecl, "exhaust"))
    ]
    assert overlap_deg(*sides) == pytest.approx(ivo + evc)


def test_a_checking_lift_above_full_lift_is_refused():
    lift = event(Cam(lobe=LOBE, centreline_deg=110, lash_m=0.2e-3), side="intake")
    with pytest.raises(ValueError, match=r"found 12.00 mm; expected between 0 and .* 9.80 mm"):
        timing(lift, "intake", 0.012)


def test_a_valve_that_hardly_lifts_counts_from_first_to_last_lift():
    small = Cam(lobe=lobe_from_law(5e-5, 130, LAWS["cycloidal"]), centreline_deg=110, lash_m=0.0)
    lift = event(small, side="intake")
    assert seat_timing(lift, "intake").duration_deg == pytest.approx(260.0)
    full = event(Cam(lobe=LOBE, centreline_deg=110, lash_m=0.0), side="intake")
    assert seat_timing(full, "intake") == timing(full, "intake", 1e-4)

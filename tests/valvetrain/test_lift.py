"""Measured lift: readings smoothed and questioned."""

from __future__ import annotations

import numpy as np
import pytest

from breathe.engine.parts import Cam
from breathe.valvetrain.dwell import event, flank_splines
from breathe.valvetrain.laws import LAWS
from breathe.valvetrain.lift import lobe_from_table
from breathe.valvetrain.lobe import Ramp, lobe_from_card, lobe_from_law
from breathe.valvetrain.timing import duration_deg, lift_area_m_deg, timing

RAMP = Ramp(height_m=0.26e-3, velocity_m_per_deg=0.01e-3, blend_deg=4.0)
KNOWN = {
    "card": lobe_from_card(264, 0.1e-3, 9.5e-3, second=(232, 1.0e-3))[0],
    "ramp": lobe_from_law(9.96e-3, 152, LAWS["3-4-5"], ramp=RAMP),
    "lopsided": lobe_from_law(9.5e-3, 125, LAWS["modified sine"], flank_closing_deg=140),
}


def true_lift(lobe, angle):
    opening, closing = flank_splines(lobe)
    lift = np.where(angle < 0, opening(np.minimum(angle, 0)), closing(np.maximum(angle, 0)))
    return np.where((angle < lobe.angle_deg[0]) | (angle > lobe.angle_deg[-1]), 0.0, lift)


def at_nose(lobe):
    return event(Cam(lobe=lobe, centreline_deg=110, lash_m=0), side="intake")


# Recipe: sample a known lobe every 5 crank deg, add 0.01 mm rms, recover duration at 1 mm within
# 0.5 crank deg and centreline within 0.3 (common practice, no source).
@pytest.mark.parametrize("name", ["card", "ramp"])
@pytest.mark.parametrize("seed", range(8))
def test_b9_recipe_noisy_five_degree_readings(name, seed):
    random = np.random.default_rng(seed)
    nose = 110 + random.uniform(-2.5, 2.5)
    angle = np.arange(-60.0, 281.0, 5.0)
    lift = true_lift(KNOWN[name], angle - nose) + random.normal(0, 0.01e-3, len(angle))
    found = lobe_from_table(angle, lift, made_from="test")
    truth, got = at_nose(KNOWN[name]), at_nose(found.lobe)
    assert duration_deg(got, 1e-3) == pytest.approx(duration_deg(truth, 1e-3), abs=0.5)
    off = timing(got, "intake", 1e-3).centreline_deg - 110
    assert found.nose_deg + off == pytest.approx(nose, abs=0.3)
    assert got.lift_m.max() == pytest.approx(truth.lift_m.max(), abs=0.03e-3)
    assert lift_area_m_deg(got) == pytest.approx(lift_area_m_deg(truth), rel=0.003)
    assert 0.002e-3 < found.residual_rms_m < 0.015e-3


@pytest.mark.parametrize("name", KNOWN)
@pytest.mark.parametrize("step", [1.0, 2.0, 5.0])
def test_clean_readings_pass_through(name, step):
    angle = np.arange(-200.0, 201.0, step)
    found = lobe_from_table(angle, true_lift(KNOWN[name], angle), made_from="test")
    truth, got = at_nose(KNOWN[name]), at_nose(found.lobe)
    assert duration_deg(got, 0.1e-3) == pytest.approx(duration_deg(truth, 0.1e-3), abs=0.4)
    for checking in (0.5e-3, 1e-3, 5e-3):
        assert duration_deg(got, checking) == pytest.approx(duration_deg(truth, checking), abs=0.05)
    assert np.abs(found.residual_m).max() < 0.01e-3
    assert lift_area_m_deg(got) == pytest.approx(lift_area_m_deg(truth), rel=5e-4)
    assert found.notes == ()


def test_flanks_end_level_at_the_base_and_at_the_peak():
    random = np.random.default_rng(3)
    angle = np.arange(-180.0, 181.0, 2.0)
    lift = true_lift(KNOWN["lopsided"], angle) + random.normal(0, 0.01e-3, len(angle))
    lobe = lobe_from_table(angle, lift, made_from="test").lobe
    assert lobe.lift_m[0] == lobe.lift_m[-1] == 0.0
    assert np.all(lobe.lift_m >= 0)
    opening, closing = flank_splines(lobe)
    for flank, nose in ((opening, opening.x[-1]), (closing, closing.x[0])):
        # A sleeve opens here: a spline forced level must not need a sudden bend to get there.
        bend = np.abs(flank.derivative(2)(np.linspace(nose - 4, nose + 4, 50)))
        assert np.nanmax(bend) < 0.01e-3


ANGLE = np.arange(-150.0, 151.0, 5.0)


@pytest.mark.parametrize(
    ("angle", "lift_factor", "words"),
    [
        (ANGLE, 25.4, "greatest lift of 241 mm.*Is the unit right"),
        (ANGLE * 3, 1.0, "angles over 900 deg crank"),
        (ANGLE[8:], 1.0, r"first reading is 1\.\d+ mm; expected readings down"),
        (ANGLE[:5], 1.0, "found 5 readings; expected at least 12"),
        (ANGLE[::-1], 1.0, "expected rising angles"),
    ],
)
def test_readings_that_make_no_lobe_are_refused(angle, lift_factor, words):
    lift = true_lift(KNOWN["card"], angle if angle[-1] < 400 else angle / 3)
    with pytest.raises(ValueError, match=words):
        lobe_from_table(angle, lift * lift_factor, made_from="test")


def test_a_wrong_zero_and_a_short_sheet_are_noted():
    lift = true_lift(KNOWN["card"], ANGLE)
    raised = lobe_from_table(ANGLE, lift + 0.08e-3, made_from="test")
    assert raised.notes == (
        "the base circle reads +0.080 mm: taken as zero; base circle run-out or wrong zero?",
    )
    assert raised.lobe.lift_m.max() == pytest.approx(9.5e-3, abs=2e-5)
    inside = np.abs(ANGLE) < 131
    short = lobe_from_table(ANGLE[inside], lift[inside], made_from="test")
    assert any("seat duration is a guess. Base circle run-out" in note for note in short.notes)
    assert duration_deg(at_nose(short.lobe), 1e-3) == pytest.approx(232, abs=0.3)


def test_many_readings_are_averaged_in_groups():
    angle = np.arange(-180.0, 180.0, 0.1)
    lift = true_lift(KNOWN["card"], angle) + np.random.default_rng(2).normal(0, 1e-5, len(angle))
    found = lobe_from_table(angle, lift, made_from="test")
    assert len(found.curve.at_deg) <= 500
    assert duration_deg(at_nose(found.lobe), 1e-3) == pytest.approx(232, abs=0.1)


@pytest.mark.parametrize(
    ("apart", "words"), [(200, "dip of .* on the closing flank"), (290, "found a second rise")]
)
def test_two_lobes_in_one_sheet_are_refused(apart, words):
    angle = np.arange(-150.0, 450.0, 4.0)
    both = true_lift(KNOWN["card"], angle) + 0.8 * true_lift(KNOWN["card"], angle - apart)
    with pytest.raises(ValueError, match=f"{words}.*wo lobes in one sheet"):
        lobe_from_table(angle, both, made_from="test")


def test_wild_scatter_is_refused():
    random = np.random.default_rng(5)
    angle = np.arange(-150.0, 151.0, 5.0)
    lift = true_lift(KNOWN["card"], angle) + random.normal(0, 0.3e-3, len(angle))
    with pytest.raises(ValueError, match="scatter by"):
        lobe_from_table(angle, lift, made_from="test")

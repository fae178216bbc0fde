"""The mechanical check from an engine file: the worked stories, verdicts, what is left unchecked.

Story figures are geometry and arithmetic on an invented engine, recomputed apart from this code.
"""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from breathe.engine.mechanics import PistonGap
from breathe.engine.read import read_engine
from breathe.errors import BreatheError
from breathe.study.checks.check import Check, check
from breathe.study.checks.clearance import does_not_clear, unknown_clearances
from breathe.study.checks.line import Line, gap_verdict, rank, worst_of
from breathe.valvetrain.crank import motion, slider_crank
from tests.story_engine import CENTRE_HELD, ENGINES, gap, one, write_story

SLEEVED = ("228°", "240°", "252°", "264°", "276°", "288°")


@pytest.fixture(scope="module")
def centre_held(tmp_path_factory) -> Check:
    return check(read_engine(write_story(tmp_path_factory.mktemp("story"), *CENTRE_HELD)))


# --- Clearance: opening held ----------


@pytest.mark.parametrize("label", SLEEVED)
def test_s9_one_gap_at_every_setting(story, label):
    line = gap(story, label)
    # 2.45 as printed; the lobe is fitted to a card's figures instead of the stated formula.
    assert line.value * 1e3 == pytest.approx(2.45, abs=0.01)
    assert float(line.where.split()[0]) == pytest.approx(6.5, abs=0.15)
    assert line.where.endswith("ATDC") and line.verdict == "clears"
    assert line.limit == 2.0e-3 and "0.080" in line.rule


def test_s9_cam_two_degrees_early(story):
    assert gap(story, "228°", "cam early").value * 1e3 == pytest.approx(2.24, abs=0.01)
    assert {line.case for line in story.about("valve to piston")} == {
        "as given",
        "cam early",
        "cam late",
    }


def test_s9_centreline_held_is_not_to_be_built(centre_held):
    short, long = gap(centre_held, "228°"), gap(centre_held, "288°")
    assert short.value * 1e3 == pytest.approx(4.04, abs=0.01) and short.verdict == "clears"
    assert long.value * 1e3 == pytest.approx(1.09, abs=0.01) and long.verdict == "too close"
    assert float(long.where.split()[0]) == pytest.approx(7.0, abs=0.5)
    told = does_not_clear(centre_held.engine, centre_held.settings)
    assert "288°" in told and "228°" not in told
    assert "too close: at least 2 mm" in told["288°"]


def test_valves_that_cross_touch(tmp_path):
    path = write_story(
        tmp_path, ('seat_centre_distance = "35 mm"', 'seat_centre_distance = "30 mm"')
    )
    found = check(read_engine(path))
    touching = [line for line in found.about("valve to valve") if line.verdict == "touches"]
    assert touching and all(line.value <= 0 for line in touching)
    assert found.worst.topic == "valve to valve"


def test_gaps_are_judged_as_they_are_shown():
    assert gap_verdict(1.996e-3, 2.0e-3) == "clears"
    assert gap_verdict(1.994e-3, 2.0e-3) == "too close"
    assert gap_verdict(0.004e-3, 2.0e-3) == "touches"
    assert gap_verdict(-1e-3, 2.0e-3) == "touches"


# --- A table of gaps against the piston's own motion ----------


def table_of_gaps(engine, late_deg: float, wrong_m: float = 0.0):
    """Readings of a wheel whose zero stands late, and one reading that is wrong."""
    angle = np.arange(-15.0, 16.0, 5.0)
    travel = motion(slider_crank(engine.cylinder), angle - late_deg)[0]
    gaps = 4.4e-3 + math.cos(math.radians(15)) * travel
    gaps[-1] += wrong_m
    intake = dataclasses.replace(
        engine.mechanics.intake,
        piston_gap=PistonGap(angle_deg=angle, gap_m=gaps, valve_angle_deg=15.0),
    )
    mechanics = dataclasses.replace(engine.mechanics, intake=intake)
    return dataclasses.replace(engine, mechanics=mechanics)


def test_a_wheel_set_wrong_is_asked_about(story):
    asked = check(table_of_gaps(story.engine, 3.0), ["228°"]).questions
    assert any("Is the wheel's zero 3." in text or "zero 2.9" in text for text in asked), asked


def test_a_wrong_reading_is_asked_about(story):
    asked = check(table_of_gaps(story.engine, 0.0, 1e-3), ["228°"]).questions
    assert any("+1.00 mm" in text and "angles right?" in text for text in asked), asked


def test_good_readings_are_not_asked_about(story):
    assert check(table_of_gaps(story.engine, 0.5), ["228°"]).questions == story.questions


# --- Springs ----------


@pytest.mark.parametrize("label", SLEEVED)
def test_s9_springs_are_the_same_at_every_setting(story, label):
    wanted = {"side": "intake", "setting": label}
    assert one(story, "spring", "load", **wanted).value == pytest.approx(554.0, abs=0.01)
    bind = one(story, "spring", "travel to coil bind", **wanted)
    assert bind.value * 1e3 == pytest.approx(3.0, abs=0.001) and bind.verdict == "clears"
    needed = one(story, "spring", "needed", case="limit", **wanted)
    assert needed.value == pytest.approx(534, abs=0.5)
    assert needed.limit == pytest.approx(554, abs=0.01)
    assert needed.verdict == "little reserve" and needed.where == "at the nose"
    leaves = one(story, "spring", "leaves the lobe", **wanted)
    assert leaves.value == pytest.approx(7640, abs=5)
    missed = one(story, "spring", "needed", case="over-speed", **wanted)
    assert missed.speed_rpm == pytest.approx(8250) and missed.verdict == "does not hold"


def test_s9_acceleration_jumps_only_where_dwell_meets_flank(story):
    jumps = [line for line in story.about("spring", "intake") if "jumps" in line.item]
    assert [line.setting for line in jumps] == list(SLEEVED[1:])
    # 534 N of 95 g.
    assert jumps[0].value == pytest.approx(534 / 0.095, rel=2e-3)


def test_a_spring_that_binds_touches(tmp_path):
    path = write_story(tmp_path, ('coil_bind = "21.5 mm"', 'coil_bind = "23.8 mm"'))
    found = check(read_engine(path), ["228°"])
    line = one(found, "spring", "travel to coil bind", side="intake", setting="228°")
    assert line.value == pytest.approx(0.7e-3, abs=1e-6) and line.verdict == "too close"
    told = does_not_clear(found.engine, found.settings)
    assert told["228°"].startswith("intake spring, travel to coil bind 0.70 mm at the nose")


def test_speed_limit_other_than_the_files(story):
    found = check(story.engine, ["228°"], speed_limit_rpm=6000.0)
    needed = one(found, "spring", "needed", case="limit", side="intake", setting="228°")
    # 534 N (6000/7500)^2
    assert needed.value == pytest.approx(534 * 0.64, abs=0.5) and needed.verdict == "holds"
    assert found.speeds.over_rpm == pytest.approx(6600)


def test_surge_harmonics_differ_between_settings(story):
    eighth = [
        line.value
        for line in story.about("surge", "intake")
        if line.item == "harmonic 8" and line.setting in SLEEVED
    ]
    assert len(eighth) == 6 and max(eighth) > 3 * min(eighth)
    cycles = one(story, "surge", "spring cycles", side="intake", setting="228°")
    # 500 Hz over 62.5 turns of the cam a second.
    assert cycles.value == pytest.approx(8.0) and cycles.verdict == "below usual"


# --- The contrast ----------


def test_the_sleeve_keeps_its_flanks_and_a_stretched_lobe_does_not(story):
    standard, longest = story.contrasts
    assert standard.duration_deg == pytest.approx(264, abs=0.1)
    assert longest.duration_deg == pytest.approx(288, abs=0.1)
    assert [way.label for way in standard.ways] == [
        "sleeve at 7.2 mm",
        "lobe stretched x 1.158",
        "std as it stands",
    ]
    for found in story.contrasts:
        sleeve, lobe = found.ways[:2]
        stretch = found.duration_deg / 228.0
        # Angles times s: acceleration over s^2, speed of separation times s.
        assert sleeve.deceleration_m_per_s2 / lobe.deceleration_m_per_s2 == pytest.approx(
            stretch**2, rel=1e-3
        )
        assert lobe.leaves_rpm / sleeve.leaves_rpm == pytest.approx(stretch, rel=1e-3)
        assert sleeve.area_m_deg > lobe.area_m_deg
        assert sleeve.gap.value < lobe.gap.value
    # Dwell adds full lift times its angle.
    base_area = longest.ways[0].area_m_deg - 9.5e-3 * 60
    assert standard.ways[0].area_m_deg - 9.5e-3 * 36 == pytest.approx(base_area, rel=1e-3)


def test_without_a_sleeve_there_is_no_contrast():
    found = check(read_engine(ENGINES / "road_four.toml"))
    assert found.contrasts == () and found.ends == ()


# --- What cannot be checked ----------


def test_an_engine_without_mechanics_is_not_checked():
    found = check(read_engine(ENGINES / "road_four.toml"))
    assert found.worst.verdict == "NOT CHECKED"
    items = {(line.side, line.item) for line in found.not_checked}
    assert {
        ("intake", "valve to piston"),
        ("exhaust", "spring surge"),
        (None, "valve to valve"),
    } <= items
    assert all(line.note.startswith("needs [") or "clay" in line.note for line in found.not_checked)
    assert set(unknown_clearances(found.engine)) == {
        "intake valve to piston",
        "exhaust valve to piston",
        "valve to valve",
    }
    assert does_not_clear(found.engine, found.settings) == {}


@pytest.mark.parametrize(
    ("removed", "item"),
    [
        ('coil_bind = "21.5 mm"       # 3.0 mm below the open spring\n', "coil bind"),
        ('moving_mass = "95 g"        # valve, retainer, locks and the finger\'s share, without '
         "the spring\n", "force needed, valve float"),
        ('axial_play = "0.10 mm"      # 0.5 deg of duration\n', "play as degrees of duration"),
        ('helix_radius = "10 mm"      # of the splines; from here on for the mechanical check '
         "alone\n", "force to move the sleeve, self-holding"),
    ],
)  # fmt: skip
def test_a_key_left_out_is_named(tmp_path, removed, item):
    found = check(read_engine(write_story(tmp_path, (removed, ""))), ["228°"])
    line = [one for one in found.not_checked if one.side == "intake" and one.item == item]
    assert len(line) == 1 and removed.split(" =")[0] in line[0].note


def test_a_made_up_nose_is_asked_about_and_a_measured_one_judged(tmp_path):
    small = 'base_circle_radius = "17 mm"', 'base_circle_radius = "5 mm"'
    flat = (
        'roller_radius = "9 mm"\nmaterials = "steel on steel" # follower on lobe',
        'materials = "steel on steel"',
    )
    path = write_story(tmp_path, small, flat)
    engine = read_engine(path)
    line = one(check(engine, ["228°"]), "contact", "sharpest", side="intake", setting="228°")
    assert line.verdict == "question" and "made up from the card" in line.note
    lobe = dataclasses.replace(engine.intake_cam.lobe, made_from="measured: lobe.csv")
    cam = dataclasses.replace(engine.intake_cam, lobe=lobe)
    measured = check(dataclasses.replace(engine, intake_cam=cam), ["228°"])
    line = one(measured, "contact", "sharpest", side="intake", setting="228°")
    assert line.verdict == "undercut" and "base circle radius of" in line.note
    pressed = one(measured, "contact", "pressure turned", side="intake", setting="228°")
    assert pressed.value is None and pressed.verdict == "undercut"


def test_a_line_that_runs_off_the_face_does_not_fit(tmp_path):
    bucket = (
        'kind = "finger"\nbase_circle_radius = "17 mm"\ncontact_width = "9 mm"      # along the '
        'shaft, where roller and lobe touch\nroller_radius = "9 mm"',
        'kind = "bucket"\nbase_circle_radius = "40 mm"\ncontact_width = "12 mm"\n'
        'face_diameter = "16 mm"',
    )
    found = check(read_engine(write_story(tmp_path, bucket)), ["228°"])
    wanted = {"side": "intake", "setting": "228°"}
    line = one(found, "contact", "line runs off middle", **wanted)
    # 8 mm of half face less 0.5 mm of edge.
    assert line.limit == pytest.approx(7.5e-3) and line.verdict == "does not fit"
    pressed = one(found, "contact", "pressure turned", **wanted)
    assert pressed.value is None and pressed.verdict == "does not fit"
    swept = max(abs(np.gradient(_lobe_lift(found), np.radians(0.05))))
    assert line.value == pytest.approx(swept, rel=5e-3)


def _lobe_lift(found: Check):
    """Lift at the lobe each 0.1 crank degree, of the engine's own intake cam."""
    lobe = found.engine.intake_cam.lobe
    angle = np.arange(lobe.angle_deg[0], lobe.angle_deg[-1], 0.1)
    ratio = found.engine.mechanics.intake.follower.rocker_ratio
    return np.interp(angle, lobe.angle_deg, lobe.lift_m) / ratio


def test_seating_of_a_card_lobe_is_a_question():
    found = check(read_engine(ENGINES / "road_four_sleeve.toml"), ["228°"])
    line = one(found, "seating", "seats", side="intake", setting="228°")
    assert line.verdict == "question" and any("lash ramp" in text for text in found.questions)


# --- Order of verdicts, faults of the caller ----------


def test_a_missed_shift_ranks_below_what_fails_every_day():
    daily = Line(topic="valve to piston", item="gap", verdict="too close")
    missed = Line(topic="spring", item="needed", verdict="does not hold", case="over-speed")
    little = Line(topic="spring", item="needed", verdict="little reserve")
    assert sorted([little, missed, daily], key=rank) == [daily, missed, little]
    assert worst_of([little, missed]) is missed and worst_of([]) is None


def test_wrong_calls_are_one_clear_error(story):
    with pytest.raises(BreatheError, match="has: 228°"):
        check(story.engine, ["nonsense"])
    with pytest.raises(BreatheError, match="speed in rpm"):
        check(story.engine, speed_limit_rpm=-1.0)


@pytest.mark.parametrize("path", sorted(ENGINES.glob("*.toml")), ids=lambda path: path.stem)
def test_every_line_of_the_supplied_engines_is_finite_and_told(path):
    found = check(read_engine(path))
    for line in found.lines:
        assert line.value is None or math.isfinite(line.value), line
        if line.verdict in ("clears", "too close", "touches", "fits", "does not fit", "usual"):
            assert line.limit is not None and line.rule, line


def test_a_sleeve_without_a_law_has_no_room_and_no_millimetres():
    engine = read_engine(ENGINES / "road_four_sleeve.toml")
    assert engine.intake_cam.sleeve is not None
    sleeve = dataclasses.replace(engine.intake_cam.sleeve, law_known=False)
    cam = dataclasses.replace(engine.intake_cam, sleeve=sleeve)
    found = check(dataclasses.replace(engine, intake_cam=cam), "264°")
    about = [line for line in found.lines if line.topic in ("sleeve", "room")]
    assert about and all(line.verdict == "NOT CHECKED" for line in about)
    assert found.ends and not any("mm" in label for label in found.ends)
    assert not any("mm" in way.label for one in found.contrasts for way in one.ways)

"""Sleeve, room along the shaft and the corners of travel and turn, from an engine file.

Story figures are geometry and arithmetic on an invented engine, recomputed apart from this code.
"""

from __future__ import annotations

import dataclasses
import math

import pytest

from breathe.engine.mechanics import ShaftRoom
from breathe.engine.parts import Phaser, Setting
from breathe.engine.read import read_engine
from breathe.study.checks.check import check, ends_of_travel
from tests.story_engine import ENGINES, gap, one, write_story


def test_s8_travel_and_duration_that_fit(story):
    line = one(story, "room", "travel the shaft allows", side="intake")
    assert line.value * 1e3 == pytest.approx(5.6) and line.verdict == "does not fit"
    assert "38.0 mm between bearing faces less 2 lobes x 13.4 mm" in line.rule
    added = one(story, "room", "duration it allows", side="intake")
    assert added.value == pytest.approx(228 + 28, abs=0.05)
    assert added.note.startswith("28 deg more")
    fitting = {
        line.setting for line in story.about("room") if line.setting and line.verdict == "fits"
    }
    assert fitting == {"228°", "240°", "252°"}
    assert one(story, "sleeve", "play", side="intake").value == pytest.approx(0.5)


def test_s8_a_steeper_law_adds_42_degrees_and_half_as_much_play_again(tmp_path):
    path = write_story(
        tmp_path,
        ('rate = "5.0 deg crank/mm"', 'rate = "7.5 deg crank/mm"'),
    )
    found = check(read_engine(path))
    assert one(found, "room", "duration it allows").note.startswith("42 deg more")
    assert one(found, "sleeve", "play").value == pytest.approx(0.75)


def test_room_that_is_negative_shows_the_sum(story):
    room = ShaftRoom(between_bearings_m=0.026, lobes=2, fixed_per_lobe_m=0.0134)
    intake = dataclasses.replace(story.engine.mechanics.intake, room=room)
    mechanics = dataclasses.replace(story.engine.mechanics, intake=intake)
    found = check(dataclasses.replace(story.engine, mechanics=mechanics))
    line = one(found, "room", "travel the shaft allows")
    assert line.verdict == "does not fit" and "leaves -0.8 mm" in line.rule
    assert not [one for one in found.lines if one.item == "duration it allows"]


def test_a_valve_that_hardly_seats_does_not_fit(story):
    sleeve = dataclasses.replace(story.engine.intake_cam.sleeve, travel_max_m=0.070)
    cam = dataclasses.replace(story.engine.intake_cam, sleeve=sleeve)
    found = check(dataclasses.replace(story.engine, intake_cam=cam))
    assert found.ends == ("70 mm",)
    line = one(found, "room", "cam as set")
    assert line.setting == "70 mm" and line.verdict == "does not fit" and "seated for" in line.note
    assert one(found, "room", "travel the seat allows").verdict == "does not fit"


def test_ends_of_travel_are_added_where_no_setting_stands(story):
    engine = story.engine
    assert ends_of_travel(engine, engine.settings) == ()
    some = ends_of_travel(engine, engine.settings[1:3])
    assert [(one.label, one.intake_travel_m) for one in some] == [("0 mm", 0.0), ("12 mm", 0.012)]
    assert check(engine, ["240°"]).ends == ("0 mm", "12 mm")
    moved = [Setting(label="late", intake_travel_m=0.012, intake_shift_deg=8.0)]
    assert len(ends_of_travel(engine, moved)) == 2


def test_every_corner_of_sleeve_and_phaser_is_checked(story):
    """A phaser must not clear at rest and touch when it turns."""
    cam = dataclasses.replace(
        story.engine.intake_cam, phaser=Phaser(earliest_deg=-20.0, latest_deg=10.0)
    )
    found = check(dataclasses.replace(story.engine, intake_cam=cam))
    assert found.ends == ("0mm/-20°", "0mm/+10°", "12mm/-20°", "12mm/+10°")
    turned = Setting(label="by hand", intake_travel_m=0.012, intake_shift_deg=-20.0)
    by_hand = gap(check(story.engine, [turned]), "by hand").value
    assert gap(found, "12mm/-20°").value == pytest.approx(by_hand, abs=1e-9)
    assert gap(found, "12mm/-20°").verdict in ("touches", "too close")
    # Opening held: 2.45 mm at every travel; 10 degrees later is farther off.
    assert gap(found, "12mm/+10°").value > gap(found, "288°").value
    assert found.worst.setting in ("0mm/-20°", "12mm/-20°")


def test_corners_of_four_axes(story):
    def both(cam):
        sleeve = story.engine.intake_cam.sleeve
        return dataclasses.replace(
            cam, sleeve=sleeve, phaser=Phaser(earliest_deg=-20.0, latest_deg=0.0)
        )

    engine = dataclasses.replace(
        story.engine,
        intake_cam=both(story.engine.intake_cam),
        exhaust_cam=both(story.engine.exhaust_cam),
    )
    ends = ends_of_travel(engine, engine.settings)
    # 16 corners, of which 228 and 288 degrees, not turned, are settings of the file.
    assert len(ends) == 14 and "12mm/12mm/-20/0°" in [one.label for one in ends]


def test_a_sleeve_holds_itself_with_friction_enough(tmp_path):
    steep = check(read_engine(ENGINES / "road_four_sleeve.toml"), ["228°"])
    line = one(steep, "sleeve", "friction")
    # tan of the helix: 2 pi 10 mm / 144 mm
    assert line.limit == pytest.approx(2 * math.pi * 10 / 144) and line.verdict == "told"
    path = write_story(tmp_path, ("friction = 0.10", "friction = 0.45"))
    assert one(check(read_engine(path), ["228°"]), "sleeve", "friction").verdict == "holds"

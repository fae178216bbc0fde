"""What of the valve gear moves."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from breathe.engine.parts import Phaser, Setting
from breathe.engine.read import read_engine
from breathe.study.gear import gear_of

ENGINES = Path(__file__).parents[2] / "engines"


def test_a_sleeve_is_an_axis_and_a_swapped_cam_a_step() -> None:
    engine = read_engine(ENGINES / "road_four_sleeve.toml")
    gear = gear_of(engine)
    (axis,) = gear.axes
    # 12.0 mm at 5.0 deg/mm.
    assert (axis.name, axis.low_deg) == ("intake dwell", 0.0)
    assert axis.high_deg == pytest.approx(60.0)
    assert [step.label for step in gear.steps] == ["std"]


def test_places_and_settings_are_inverse() -> None:
    engine = read_engine(ENGINES / "road_four_sleeve.toml")
    cam = replace(engine.intake_cam, phaser=Phaser(earliest_deg=-20.0, latest_deg=10.0))
    gear = gear_of(replace(engine, intake_cam=cam))
    assert [axis.name for axis in gear.axes] == ["intake dwell", "intake phase"]
    setting = gear.setting((24.0, -5.0))
    assert setting.intake_travel_m == pytest.approx(4.8e-3)
    assert gear.place(setting) == pytest.approx((24.0, -5.0))
    assert gear.place(gear.setting((90.0, -40.0))) == pytest.approx((60.0, -20.0))


def test_plain_cams_have_no_axes() -> None:
    gear = gear_of(read_engine(ENGINES / "road_four.toml"))
    assert gear.axes == ()
    assert gear.setting(()).label == "own"


def test_corners_pair_both_ends_of_every_axis() -> None:
    engine = read_engine(ENGINES / "road_four_sleeve.toml")
    cam = replace(engine.intake_cam, phaser=Phaser(earliest_deg=-20.0, latest_deg=10.0))
    corners = gear_of(replace(engine, intake_cam=cam)).corners()
    low, high = 0.0, pytest.approx(60.0)
    assert corners == [(low, -20.0), (low, 10.0), (high, -20.0), (high, 10.0)]
    assert gear_of(read_engine(ENGINES / "road_four.toml")).corners() == []


@pytest.mark.parametrize(("shift", "reached"), [(-20.0, True), (-20.5, False), (10.5, False)])
def test_a_turn_beyond_the_phaser_is_no_place_of_it(shift: float, reached: bool) -> None:
    engine = read_engine(ENGINES / "road_four_sleeve.toml")
    cam = replace(engine.intake_cam, phaser=Phaser(earliest_deg=-20.0, latest_deg=10.0))
    turned = Setting(label="turned", intake_shift_deg=shift)
    gear = gear_of(replace(engine, intake_cam=cam, settings=(*engine.settings, turned)))
    assert (gear.place(turned) is not None) == reached

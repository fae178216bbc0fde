"""Gain against range of travel, on invented responses."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from breathe.engine.parts import Engine
from breathe.engine.read import read_engine
from breathe.errors import BreatheError
from breathe.study.answer import Reach
from breathe.study.search.best import best
from breathe.study.search.ranges import knee_deg
from breathe.study.search.reach import reach
from tests.study.invented import Invented, flat, one_hump

ENGINES = Path(__file__).parents[2] / "engines"
SPEEDS = (2000.0, 3000.0, 4000.0, 5000.0, 6000.0)


@pytest.fixture(scope="module")
def engine() -> Engine:
    return read_engine(ENGINES / "road_four_sleeve.toml")


def asked(engine: Engine, torque=one_hump, **more) -> tuple[Reach, dict[str, Invented]]:
    """The answer, and the evaluators by the travel of the engine they stand for."""
    made: dict[str, Invented] = {}

    def evaluator(one: Engine) -> Invented:
        sleeve = one.intake_cam.sleeve
        travel = 0.0 if sleeve is None else sleeve.travel_max_m
        return made.setdefault(f"{travel:.4f}", Invented(torque, 5000.0))

    return reach(engine, SPEEDS, evaluators=evaluator, **more), made


def test_gain_grows_with_range_and_its_place_is_the_best(engine):
    found, _ = asked(engine)
    table = found.by_range
    assert list(table.range_deg) == [0, 12, 24, 36, 48, 60]
    assert (table.gain.diff().dropna() > -1e-6).all()
    # The best dwells are 10 to 50 degrees: a range of 24 stands in their middle, from 18 to 42.
    row = table[table.range_deg == 24].iloc[0]
    assert (row.low_deg, row.high_deg) == pytest.approx((18.0, 42.0), abs=1.0)
    # Off by 8 degrees at both ends: 0.018 x 64 x 2 / 5 Nm lost of 180, over 3.6 with no range.
    assert row.gain == pytest.approx((3.6 - 0.46) / 176.4, rel=0.02)
    assert row.travel_m == pytest.approx(4.8e-3)
    assert row.added_per_m == pytest.approx(row.added_per_12_deg / 2.4e-3)


def test_the_room_of_the_sleeve_engine(engine):
    # 38.0 mm between faces less twice 13.4 mm leaves 5.6 mm each: 28 degrees at 5.0 a mm, 42 at
    # 7.5; 0.10 mm of play is 0.5 or 0.75 degrees (worked out by hand).
    found, _ = asked(engine)
    row = found.by_axis.iloc[0]
    assert row.room_m == pytest.approx(5.6e-3)
    assert row.room_deg == pytest.approx(28.0) and row.play_deg == pytest.approx(0.5)
    assert row.steeper_law_deg_per_m == pytest.approx(7500.0)
    assert row.steeper_room_deg == pytest.approx(42.0)
    assert row.steeper_play_deg == pytest.approx(0.75)
    assert list(found.by_range.fits) == ["yes", "yes", "yes", "no", "no", "no"]
    assert row.inside_deg <= 28.0 and 0 < row.inside_gain < row.whole_gain
    # 36 degrees in 5.6 mm.
    needed = found.by_range[found.by_range.range_deg == 36].iloc[0]
    assert needed.law_to_fit_deg_per_m == pytest.approx(36 / 5.6e-3)
    assert needed.play_to_fit_deg == pytest.approx(0.1 * 36 / 5.6)


def test_a_longer_sleeve_is_asked_of_a_longer_engine_only_beyond_the_built_one(engine):
    found, made = asked(engine, up_to_deg=84.0)
    assert found.by_range.range_deg.iloc[-1] == 84 and found.built_deg == pytest.approx((60.0,))
    assert min(p.setting.intake_travel_m for p in made["0.0168"].points) > 12.0e-3
    assert max(p.setting.intake_travel_m for p in made["0.0120"].points) < 12.0e-3 * (1 + 1e-9)


def test_best_and_reach_ask_the_same(engine):
    _, made = asked(engine)
    ask = Invented(one_hump, 5000.0)
    best(engine, SPEEDS, evaluate=ask)
    theirs, ours = (
        {
            (p.setting.label, p.operating.speed_rpm)
            for p in one.points
            if p.setting.intake_shift_deg == 0.0
        }
        for one in (made["0.0120"], ask)
    )
    assert theirs == ours


def test_the_knee_is_the_last_range_that_pays():
    table = pd.DataFrame(
        {"range_deg": [0, 12, 24, 36, 48], "added_per_12_deg": [np.nan, 0.02, 0.004, 0.006, 0.001]}
    )
    assert knee_deg(table) == 36
    assert np.isnan(knee_deg(table.iloc[:4]))
    assert knee_deg(table.iloc[[0, 2, 4]]) == 0


def test_without_a_sleeve_one_is_imagined_in_degrees():
    fixed = read_engine(ENGINES / "road_four.toml")
    found, made = asked(fixed, up_to_deg=48.0)
    # What needs no travel is asked of the engine as it is, so that it is known from elsewhere.
    assert all(p.setting.intake_travel_m == 0 for p in made["0.0000"].points)
    assert found.built_deg == () and found.axes[0].deg_per_m == 0.0
    assert found.by_range.travel_m.isna().all() and set(found.by_range.fits) == {""}
    assert found.by_range.gain.iloc[-1] > 0.01


def test_no_gain_is_told_as_none(engine):
    found, _ = asked(engine, torque=flat)
    assert found.by_axis.whole_gain.iloc[0] < 0.005
    assert found.by_axis.knee_deg.iloc[0] == 0


def test_no_room_leaves_no_choice(engine):
    assert engine.mechanics is not None and engine.mechanics.intake.room is not None
    room = replace(engine.mechanics.intake.room, fixed_per_lobe_m=0.020)
    mechanics = replace(engine.mechanics, intake=replace(engine.mechanics.intake, room=room))
    found, _ = asked(replace(engine, mechanics=mechanics))
    row = found.by_axis.iloc[0]
    assert row.room_m == pytest.approx(-1.0e-3) and "leaves -2.0 mm" in row.room_sum
    assert set(found.by_range.fits) == {"no"}


def test_what_cannot_be_asked():
    with pytest.raises(BreatheError, match="nothing moves"):
        asked(read_engine(ENGINES / "road_four.toml"))
    with pytest.raises(BreatheError, match="hardly seated"):
        asked(read_engine(ENGINES / "road_four_sleeve.toml"), up_to_deg=400.0)


def test_an_answer_comes_back_from_its_text(engine):
    found, _ = asked(engine)
    again = Reach.from_json(found.to_json())
    assert again.axes == found.axes and again.speeds_rpm == found.speeds_rpm
    pd.testing.assert_frame_equal(again.by_range, found.by_range)
    pd.testing.assert_frame_equal(again.by_axis, found.by_axis)


def test_another_point_may_be_held_than_the_file_s(engine):
    seen: list[Engine] = []

    def evaluator(one: Engine) -> Invented:
        seen.append(one)
        return Invented(one_hump, 5000.0)

    found = reach(engine, SPEEDS, evaluators=evaluator, hold="centre")
    assert found.held == "centre"
    assert {one.intake_cam.sleeve.closing_share for one in seen if one.intake_cam.sleeve} == {0.5}
    assert engine.intake_cam.sleeve is not None and engine.intake_cam.sleeve.closing_share == 1.0
    assert reach(engine, SPEEDS, evaluators=evaluator).held == ""


def test_speeds_at_which_no_dwell_is_best_are_counted(engine):
    # The best dwells are 10 to 50 degrees; 25 less leaves two of five speeds below none.
    found, _ = asked(engine, torque=lambda dwell, turn, speed: one_hump(dwell + 25, turn, speed))
    assert found.by_axis.shortest_best.iloc[0] == 2
    assert asked(engine)[0].by_axis.shortest_best.iloc[0] == 0


def test_a_sleeve_without_a_law_is_told_in_degrees_alone(engine):
    assert engine.intake_cam.sleeve is not None
    sleeve = replace(engine.intake_cam.sleeve, law_known=False)
    found, _ = asked(replace(engine, intake_cam=replace(engine.intake_cam, sleeve=sleeve)))
    assert found.axes[0].deg_per_m == 0.0 and found.built_deg == (60.0,)
    assert found.by_range.travel_m.isna().all() and found.by_range.added_per_m.isna().all()
    assert set(found.by_range.fits) == {""} and "room_m" not in found.by_axis
    known, _ = asked(engine)
    assert list(found.by_range.gain) == pytest.approx(list(known.by_range.gain))

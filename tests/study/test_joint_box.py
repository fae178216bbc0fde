"""Ranges that clear together, on INVENTED room and on the gaps of an engine file."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from breathe.engine.parts import Phaser
from breathe.engine.read import read_engine
from breathe.study.checks.clear_range import spare_room
from breathe.study.control import joint_box
from breathe.study.control.joint_box import Box, clear_boxes, travel_box
from breathe.study.gear import Axis, Gear, gear_of
from tests.commands.conftest import SLEEVE

GEAR = Gear((Axis("intake", "dwell", 0.0, 60.0, 5e3), Axis("intake", "phase", -20.0, 20.0)), ())


class Leaning:
    """Room [m] that grows away from a line over dwell and turn, in place of the engine's."""

    def __init__(self, per_dwell: float, per_turn: float, at: float) -> None:
        self.per_dwell, self.per_turn, self.at = per_dwell, per_turn, at

    def __call__(self, engine, setting) -> tuple[float, str]:
        dwell, turn = setting.intake_travel_m * 5e3, setting.intake_shift_deg
        return (self.at - self.per_dwell * dwell - self.per_turn * turn) * 1e-4, "too close"


def corners(box: Box) -> list[tuple[float, ...]]:
    return list(itertools.product(*zip(box.low_deg, box.high_deg, strict=True)))


def test_the_whole_travel_where_all_of_it_clears(monkeypatch):
    monkeypatch.setattr(joint_box, "spare_room", Leaning(0.0, 0.0, 1.0))
    assert clear_boxes(None, GEAR) == [travel_box(GEAR)]


def test_one_side_is_found_to_a_tenth_of_a_degree(monkeypatch):
    # Clears from 7 degrees earlier on, whatever the dwell.
    monkeypatch.setattr(joint_box, "spare_room", Leaning(0.0, -1.0, 7.0))
    (box,) = clear_boxes(None, GEAR)
    assert (box.low_deg[0], box.high_deg) == (0.0, (60.0, 20.0))
    assert -7.0 <= box.low_deg[1] <= -6.9
    assert box.beyond == ("", "too close")


def test_a_slope_gives_more_of_one_for_less_of_the_other(monkeypatch):
    # Dwell and turn together may reach 30 degrees.
    monkeypatch.setattr(joint_box, "spare_room", Leaning(1.0, 1.0, 30.0))
    boxes = clear_boxes(None, GEAR)
    assert len(boxes) == 3
    for box in boxes:
        assert max(sum(corner) for corner in corners(box)) <= 30.0 + 1e-9
        assert sum(box.high_deg) == pytest.approx(30.0, abs=0.3)
    ends = [box.high_deg[0] for box in boxes]
    assert len({round(end) for end in ends}) == 3


def test_boxes_hold_what_they_must(monkeypatch):
    monkeypatch.setattr(joint_box, "spare_room", Leaning(1.0, 1.0, 30.0))
    boxes = clear_boxes(None, GEAR, [None, (18.0, 20.0)])
    assert boxes and all(box.high_deg[1] == 20.0 and box.low_deg[1] <= 18.0 for box in boxes)
    assert all(box.high_deg[0] == pytest.approx(10.0, abs=0.2) for box in boxes)
    assert clear_boxes(None, GEAR, [(40.0, 42.0), (18.0, 20.0)]) == []


@settings(max_examples=40, deadline=None)
@given(st.floats(-2, 2), st.floats(-2, 2), st.floats(5, 60))
def test_every_corner_of_every_box_clears(per_dwell, per_turn, at):
    room = Leaning(per_dwell, per_turn, at)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(joint_box, "spare_room", room)
        for box in clear_boxes(None, GEAR):
            assert all(room(None, GEAR.setting(corner))[0] >= 0.0 for corner in corners(box))


def test_no_box_where_nothing_clears(monkeypatch):
    monkeypatch.setattr(joint_box, "spare_room", Leaning(0.0, 0.0, -1.0))
    assert clear_boxes(None, GEAR) == []


@pytest.mark.slow
def test_every_pair_of_a_box_clears_on_the_engine():
    engine = read_engine(SLEEVE)
    cam = replace(engine.intake_cam, phaser=Phaser(earliest_deg=-12.0, latest_deg=12.0))
    engine = replace(engine, intake_cam=cam)
    gear = gear_of(engine)
    (box,) = clear_boxes(engine, gear)
    # The opening is held, so the turn alone decides: see the check of one axis.
    assert (box.low_deg[0], box.high_deg) == (0.0, (60.0, 12.0))
    assert -3.0 < box.low_deg[1] < -1.5
    rng = np.random.default_rng(3)
    for place in rng.uniform(box.low_deg, box.high_deg, (12, 2)):
        assert spare_room(engine, gear.setting(place))[0] >= 0.0
    beyond = (30.0, box.low_deg[1] - 0.3)
    assert spare_room(engine, gear.setting(beyond))[0] < 0.0

"""Maps of two actuators found together, on INVENTED figures whose best places are known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from breathe.engine.parts import Phaser
from breathe.engine.read import read_engine
from breathe.errors import BreatheError
from breathe.study.checks.clear_range import Clear
from breathe.study.control.asked import Question, shown_as
from breathe.study.control.control import control_map
from breathe.study.control.gear_change import Change
from breathe.study.control.joint import JointMap, joint_map
from breathe.study.control.joint_answer import JointControl, joint_answer
from breathe.study.control.joint_asked import (
    JointQuestion,
    Moved,
    boxes_that_serve,
    planned_runs,
    reach,
)
from breathe.study.control.joint_box import Box, travel_box
from breathe.study.control.limits import Limits
from breathe.study.control.map_axes import load_scale
from breathe.study.control.map_file import prove
from breathe.study.evaluate import Point
from breathe.study.gear import gear_of
from tests.commands.conftest import SLEEVE
from tests.study.invented_engine import InventedEngine, best_full_load_deg

BEST_TURN_DEG = 8.0
SPEEDS = (1500.0, 3000.0, 4500.0, 6000.0)
READ = read_engine(SLEEVE)
ENGINE = replace(
    READ,
    intake_cam=replace(READ.intake_cam, phaser=Phaser(earliest_deg=-20.0, latest_deg=20.0)),
    mechanics=None,
)
GEAR = gear_of(ENGINE)
MOVED = Moved(GEAR.axes, GEAR.steps, GEAR, (0, 1), (0.0, 0.0))


class Pair(InventedEngine):
    """Fills best at one dwell and one turn; with ``lean`` the best turn goes with the dwell."""

    def __init__(self, engine, lean: float = 0.0, **changed) -> None:
        super().__init__(engine, **changed)
        self.lean = lean

    def filled(self, point: Point) -> float:
        away = self.added_deg(point) - best_full_load_deg(point.operating.speed_rpm)
        turn = point.setting.intake_shift_deg - BEST_TURN_DEG - self.lean * away
        return super().filled(point) - (turn / 80.0) ** 2


def questions(axes: str = "bmep bar", loads=(1.0, 3.0, 6.0, 14.0), **changed) -> list[Question]:
    scale = load_scale(axes)
    found = []
    for n, axis in enumerate(GEAR.axes):
        shown = shown_as(ENGINE, axis)
        clear = Clear(low_deg=axis.low_deg, high_deg=axis.high_deg, checked=(), unknown=())
        one = Question(
            axis=n,
            speeds_rpm=SPEEDS,
            scale=scale,
            loads=scale.checked(loads, "loads"),
            limits=Limits(
                low_deg=axis.low_deg, high_deg=axis.high_deg, clear=clear, margin_deg=1.0
            ),
            shown=shown,
            durations=shown,
            step=0.5,
            slew_deg_per_s=200.0,
            hysteresis_deg=1.0,
        )
        found.append(replace(one, **changed))
    return found


def asked(boxes: tuple[Box, ...] = (), **changed) -> JointQuestion:
    whole = travel_box(MOVED)
    boxes = boxes or (whole,)
    return JointQuestion(
        gear=reach(MOVED, boxes),
        questions=tuple(questions(**changed)),
        whole=whole,
        boxes=boxes,
        checked=(),
        unknown=(),
    )


def mapped(question: JointQuestion, **engine) -> JointMap:
    return joint_map(ENGINE, Pair(ENGINE, **engine), question)


@pytest.fixture(scope="module")
def found() -> JointMap:
    return mapped(asked())


def test_full_load_has_the_most_torque_over_both_axes():
    exact = mapped(asked(give_up=1e-5))
    best = np.array([cell.best for cell in exact.cells[-1]])
    assert best[:, 0] == pytest.approx([best_full_load_deg(n) for n in SPEEDS], abs=1.0)
    assert best[:, 1] == pytest.approx(BEST_TURN_DEG, abs=1.0)
    assert np.abs(exact.values_deg[:, -1].T - best).max() <= 1.5


def test_part_load_is_where_it_fills_worst(found):
    # Least fuel with least filling: the corner farthest from the best filled place.
    first = [cell.best for cell in found.cells[0]]
    assert [place[1] for place in first] == pytest.approx([-20.0] * 4)
    fullest = np.array([best_full_load_deg(n) for n in SPEEDS])
    apart = np.abs([place[0] for place in first] - fullest)
    assert apart == pytest.approx(np.maximum(fullest, 60.0 - fullest), abs=1e-6)


def test_both_maps_give_up_no_more_than_one_may_and_cells_are_run(found):
    dwell, turn = found.tables
    assert dwell.given_up.max() <= 0.005 + 0.001  # and half a step
    # Both tables stand at the same places, so they tell the same loss.
    assert dwell.given_up == pytest.approx(turn.given_up, abs=2e-4)
    assert all(check.settled and abs(check.torque_off) < 0.03 for check in dwell.checks)
    assert max(abs(check.fuel_off) for check in dwell.checks) < 0.01
    # A step of dwell shown is round as duration.
    assert np.allclose((found.values_deg[0] + 228) * 2, np.round((found.values_deg[0] + 228) * 2))


def test_both_together_gain_over_each_alone(found):
    alone = {}
    for n in range(2):
        single = questions()[n]
        alone[n] = control_map(ENGINE, Pair(ENGINE), GEAR, replace(single, axis=n))
    for one in alone.values():
        for i, line in enumerate(found.cells[:3]):
            for j, cell in enumerate(line):
                fuel = (
                    found.tables[0]
                    .cells[i][j]
                    .figure_at("fuel_kg_per_s", float(found.values_deg[0, i, j]))
                )
                other = one.cells[i][j].figure_at("fuel_kg_per_s", float(one.values_deg[i, j]))
                assert fuel <= other * 1.006, (cell.load, cell.at.speed_rpm)
    # What the surfaces say of each alone is what its own map finds.
    own = np.array([[c.figures["fuel_kg_per_s"][c.best] for c in line] for line in
                    alone[0].cells[:3]])  # fmt: skip
    both = np.array([[c.cost * c.fuel_kg_per_s for c in line] for line in found.cells[:3]])
    assert found.alone[0, :3] == pytest.approx(own / both - 1.0, abs=0.003)


def test_a_ridge_that_leans_is_followed():
    leaning = mapped(asked(give_up=0.002), lean=0.5)
    full = [cell.figure_at("torque_Nm", x) for cell, x in
            zip(leaning.tables[0].cells[-1], leaning.values_deg[0, -1], strict=True)]  # fmt: skip
    most = [float(at.full["torque_Nm"].max()) for at in leaning.speeds]
    assert np.array(full) == pytest.approx(most, rel=0.004)


def test_limits_hold_at_the_finished_pairs():
    held = mapped(asked(), residual_per_deg=0.004)
    for table in held.tables:
        assert table.figure("residual_fraction").max() <= 0.25 + 2e-3
    free = mapped(asked())
    assert held.values_deg[0, 0, 0] < free.values_deg[0, 0, 0]


def test_a_gauge_axis_has_full_load_on_top():
    found = mapped(asked(axes="map kPa", loads=(20.0, 50.0, 70.0, 100.0)))
    assert [line[1].kind for line in found.cells] == [
        "too light", "part load", "part load", "full load",
    ]  # fmt: skip


def test_the_box_that_gains_most_is_taken_whatever_its_size():
    large = Box((0.0, -20.0), (60.0, 0.0), ("", "too late"))
    small = Box((0.0, 2.0), (60.0, 14.0), ("", "too early"))
    question = asked((large, small), loads=(12.0, 14.0))
    found = mapped(question)
    assert found.boxes_tried == 2
    # Only the small one holds the best turn of full load.
    assert found.asked.safe_deg == [(0.0, 60.0), (3.0, 13.0)]
    assert (found.values_deg[1] >= 3.0).all() and (found.values_deg[1] <= 13.0).all()


@settings(max_examples=8, deadline=None)
@given(st.tuples(st.floats(0, 25), st.floats(30, 60)), st.tuples(st.floats(-20, -4),
       st.floats(4, 20)))  # fmt: skip
def test_every_pair_looked_up_stays_in_the_box(dwell, turn):
    box = Box((dwell[0], turn[0]), (dwell[1], turn[1]), ("close", "close"))
    found = mapped(asked((box,), loads=(2.0, 14.0)))
    answer = joint_answer(found, (None, None))
    for n, name in enumerate(answer.actuators):
        part = answer.control(name)
        safe = sorted(part.facts["safe"])
        low, high = part.table("low").values, part.table("high").values
        proof = prove(part.table(), (safe[0], safe[1]), low, high)
        assert proof.holds
        zero = part.facts["shown"]["zero"]
        margin = 1.0 if box.high_deg[n] < found.asked.whole.high_deg[n] else 0.0
        assert proof.highest - zero <= box.high_deg[n] - margin + 1e-6
        margin = 1.0 if box.low_deg[n] > found.asked.whole.low_deg[n] else 0.0
        assert proof.lowest - zero >= box.low_deg[n] + margin - 1e-6


def test_runs_are_about_as_planned(found):
    keys = found.tables[0].keys
    assert len(keys) == len(set(keys))
    assert 0.7 * planned_runs(asked()) < len(keys) <= 1.2 * planned_runs(asked())


def test_the_answer_comes_back_from_its_text(found):
    change = Change(from_rpm=5500.0, to_rpm=4000.0, lasts_s=0.3)
    answer = joint_answer(found, (0.0, 0.0), change, ["told"])
    again = JointControl.from_json(answer.to_json())
    assert again.actuators == ("intake dwell", "intake phase")
    assert again.notices == ("told",)
    turn = again.control("intake phase")
    assert np.array_equal(turn.table().values, found.tables[1].values_deg)
    assert turn.facts["moves_with"] == ["intake dwell"]
    # Both are behind at once, so both tell the same loss.
    lost = [again.control(name).change["torque_lost"].to_numpy() for name in again.actuators]
    assert np.array_equal(lost[0], lost[1]) and lost[0].max() > 0.0
    joint = again.facts["joint"]
    assert joint["fallback"]["shown"] == [228.0, 0.0]
    assert 0.1 < joint["fallback"]["worst_lost"] < 0.3
    assert joint["alone"]["intake dwell"]["part load"]["cells"] == 12
    assert joint["alone"]["intake dwell"]["full load"]["cells"] == 4


def test_a_box_must_hold_the_fallback_and_leave_room():
    thin = Box((0.0, 1.0), (60.0, 2.5), ("", "close"))
    late = Box((0.0, 3.0), (60.0, 20.0), ("", "close"))
    early = Box((0.0, -9.0), (40.0, 5.0), ("close", "close"))
    question = asked((late, early, thin))
    assert boxes_that_serve(question.boxes, question, (None, None)) == (late, early)
    assert boxes_that_serve(question.boxes, question, (0.0, 0.0)) == (early,)
    with pytest.raises(BreatheError, match="hold the fallback"):
        boxes_that_serve(question.boxes, question, (0.0, -15.0))
    with pytest.raises(BreatheError, match="no ranges of these actuators"):
        boxes_that_serve((thin,), question, (None, None))


def test_what_does_not_move_stands():
    other = replace(
        ENGINE,
        exhaust_cam=replace(ENGINE.exhaust_cam, phaser=Phaser(earliest_deg=-10.0, latest_deg=10.0)),
    )
    gear = gear_of(other)
    moved = Moved((gear.axes[0], gear.axes[2]), gear.steps, gear, (0, 2), (0.0, 5.0, 0.0))
    setting = moved.within((0.0, -4.0), (30.0, 4.0)).setting((12.0, -3.0))
    assert (setting.intake_shift_deg, setting.exhaust_shift_deg) == (5.0, -3.0)
    assert setting.intake_travel_m == pytest.approx(2.4e-3)

"""Where the rest of the gear stands while a control map moves one axis of it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from breathe.commands.control_stand import stand_of, stands_told
from breathe.engine.parts import Engine, Phaser
from breathe.engine.read import read_engine
from breathe.errors import BreatheError
from breathe.study.checks.clear_range import clear_range
from breathe.study.control.asked import Question, setting_at, shown_as
from breathe.study.control.limits import Limits
from breathe.study.control.map_axes import load_scale
from breathe.study.gear import gear_of
from tests.commands.conftest import SLEEVE


@pytest.fixture(scope="module")
def engine() -> Engine:
    """Axes: intake dwell, intake phase, exhaust phase."""
    read = read_engine(SLEEVE)
    turns = Phaser(earliest_deg=-20.0, latest_deg=10.0)
    return replace(
        read,
        intake_cam=replace(read.intake_cam, phaser=turns),
        exhaust_cam=replace(read.exhaust_cam, phaser=turns),
    )


def test_what_is_not_named_stands_at_zero(engine):
    gear = gear_of(engine)
    assert stand_of(engine, gear, 0, ()) == (0.0, 0.0, 0.0)
    assert stand_of(engine, gear, 0, ["intake phase -8 deg"]) == (0.0, -8.0, 0.0)
    typed = ["exhaust phase = 5 deg", "intake dwell 240°"]
    # 240 degrees on the sleeve that begins at 228.
    assert stand_of(engine, gear, 1, typed) == pytest.approx((12.0, 0.0, 5.0))
    assert stand_of(engine, gear, 1, ["intake dwell 2.4 mm"]) == pytest.approx((12.0, 0.0, 0.0))


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("intake phase", "expected an axis and its place"),
        ("intake dwell 240 deg", "one of: intake phase, exhaust phase"),
        ("intake phase -30 deg", "the intake phase goes from -20 to 10 deg crank"),
        ("intake phase 2 mm", "a phaser has no travel"),
    ],
)
def test_a_place_that_cannot_be_is_refused(engine, text, told):
    with pytest.raises(BreatheError, match="--stand: found") as refusal:
        stand_of(engine, gear_of(engine), 0, [text])
    assert told in str(refusal.value)


def test_what_stands_is_told(engine):
    gear = gear_of(engine)
    (told,) = stands_told(engine, gear, 0, (0.0, -8.0, 0.0))
    assert told.startswith(
        "What stands, in every cell: the intake cam 8° earlier and the exhaust cam not turned. "
        "This map moves the intake dwell alone"
    )
    (told,) = stands_told(engine, gear, 1, (0.0, 0.0, 4.0))
    assert "the intake sleeve at 228°, its shortest and the exhaust cam 4° later" in told
    alone = replace(engine, intake_cam=replace(engine.intake_cam, phaser=None))
    alone = replace(alone, exhaust_cam=replace(engine.exhaust_cam, phaser=None))
    assert stands_told(alone, gear_of(alone), 0, (0.0,)) == []


def test_cells_are_run_and_cleared_where_the_rest_stands(engine):
    gear, stand = gear_of(engine), (0.0, -8.0, 3.0)
    shown = shown_as(engine, gear.axes[0])
    clear = clear_range(engine, gear, 0, stand)
    question = Question(
        axis=0,
        speeds_rpm=(2000.0,),
        scale=load_scale("bmep bar"),
        loads=(2e5,),
        limits=Limits(low_deg=0.0, high_deg=60.0, clear=clear),
        shown=shown,
        durations=shown,
        step=0.5,
        stand_deg=stand,
    )
    setting = setting_at(gear, question, 24.0)
    assert (setting.intake_shift_deg, setting.exhaust_shift_deg) == (-8.0, 3.0)
    assert setting.intake_travel_m == pytest.approx(4.8e-3)
    # With the opening held 8 degrees earlier no travel clears; at its own place all of it does.
    assert clear.high_deg < clear.low_deg
    own = clear_range(engine, gear, 0, (0.0, 0.0, 0.0))
    assert (own.low_deg, own.high_deg) == (0.0, pytest.approx(60.0))

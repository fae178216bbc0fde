"""Speeds run by default: round steps that end at the engine's limit or just below; settings asked
for by number."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from breathe.engine.parts import Engine, Phaser
from breathe.engine.read import read_engine
from breathe.errors import BreatheError
from breathe.study.choose import default_speeds, setting_named

ENGINE = read_engine(Path(__file__).parents[2] / "engines" / "single_400.toml")


@pytest.mark.parametrize(
    ("limit", "first", "last", "step"),
    [
        (3950.0, 750.0, 3750.0, 250.0),
        (6800.0, 1500.0, 6500.0, 500.0),
        (7500.0, 1500.0, 7500.0, 500.0),
        (10_000.0, 2000.0, 10_000.0, 500.0),
        (15_000.0, 3000.0, 15_000.0, 1000.0),
    ],
)
def test_round_steps_up_to_the_limit(limit, first, last, step):
    speeds = default_speeds(replace(ENGINE, speed_limit_rpm=limit))
    assert speeds[0] == first and speeds[-1] == last
    assert set(np.diff(speeds)) == {step}


@given(st.floats(400.0, 25_000.0))
def test_never_above_the_limit_nor_far_below(limit):
    speeds = default_speeds(replace(ENGINE, speed_limit_rpm=limit))
    assert speeds[0] > 0 and speeds[-1] <= limit * (1 + 1e-6)
    assert limit - speeds[-1] < 1000.0
    assert len(speeds) <= 30 and all(speed % 250.0 == 0 for speed in speeds)


def moving(*, exhaust_sleeve: bool) -> Engine:
    """The single with nothing that moves but its exhaust sleeve, or its intake phaser."""
    sleeve = ENGINE.intake_cam.sleeve
    turns = Phaser(earliest_deg=-20.0, latest_deg=10.0)
    return replace(
        ENGINE,
        intake_cam=replace(
            ENGINE.intake_cam, sleeve=None, phaser=None if exhaust_sleeve else turns
        ),
        exhaust_cam=replace(ENGINE.exhaust_cam, sleeve=sleeve if exhaust_sleeve else None),
        settings=ENGINE.settings[-1:],
    )


def test_a_number_is_a_turn_where_a_phaser_is_all_that_moves() -> None:
    engine = moving(exhaust_sleeve=False)
    early = setting_named(engine, "-10°")
    assert (early.label, early.intake_shift_deg) == ("-10°", -10.0)
    assert [setting_named(engine, text).label for text in ("4", "+4", "0")] == ["+4°", "+4°", "0°"]
    with pytest.raises(BreatheError, match="the intake turn goes from -20 to 10 deg crank"):
        setting_named(engine, "-30")


def test_a_number_is_a_duration_of_the_exhaust_where_only_its_sleeve_moves() -> None:
    engine = moving(exhaust_sleeve=True)
    # The exhaust card says 260 degrees, the sleeve adds 5 a millimetre.
    longer = setting_named(engine, "270")
    assert (longer.label, longer.exhaust_travel_m) == ("270°", pytest.approx(2e-3))
    with pytest.raises(BreatheError, match="the exhaust duration goes from 260 to 340 deg crank"):
        setting_named(engine, "250")

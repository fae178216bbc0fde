"""Speeds run by default: round steps that end at the engine's limit or just below."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from breathe.engine.read import read_engine
from breathe.study.choose import default_speeds

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

"""Friction: what the default set says of an ordinary engine, and how it moves."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from breathe.cycle.friction import chen_flynn
from breathe.engine.parts import Friction


def test_constant_alone_is_what_is_left_at_rest() -> None:
    assert chen_flynn(Friction(), 0.0, 0.0) == pytest.approx(0.4e5)


@given(st.floats(0.0, 120e5), st.floats(0.0, 30.0))
def test_each_coefficient_adds_its_own_term(peak: float, piston_speed: float) -> None:
    friction = Friction(
        constant_Pa=1e4,
        per_peak_pressure=0.01,
        per_piston_speed=2e3,
        per_piston_speed_squared=30.0,
    )
    expected = 1e4 + 0.01 * peak + 2e3 * piston_speed + 30.0 * piston_speed**2
    assert chen_flynn(friction, peak, piston_speed) == pytest.approx(expected)

"""Autoignition index: direction of every input, and independence of the step."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from breathe.cycle.knock import compressed_temperature, ignition_delay, knock_increment

STATES = st.tuples(st.floats(5e5, 100e5), st.floats(500.0, 1100.0), st.floats(80.0, 105.0))


@given(STATES)
def test_hotter_denser_and_less_octane_ignite_sooner(state: tuple[float, float, float]) -> None:
    pressure, temperature, octane = state
    delay = ignition_delay(pressure, temperature, octane)
    assert ignition_delay(1.1 * pressure, temperature, octane) < delay
    assert ignition_delay(pressure, temperature + 10, octane) < delay
    assert ignition_delay(pressure, temperature, octane + 1) > delay


def test_pressure_is_counted_in_atmospheres() -> None:
    # At 1 atm, octane 100 and 3800 K the formula is 17.68 ms times e.
    assert ignition_delay(101_325.0, 3800.0, 100.0) == pytest.approx(17.68e-3 * 2.718281828)


def test_index_reaches_one_after_one_delay_at_rest() -> None:
    delay = ignition_delay(40e5, 850.0, 95.0)
    total = sum(knock_increment(40e5, 850.0, 95.0, delay / 100) for _ in range(100))
    assert total == pytest.approx(1.0)


@given(st.floats(1.0, 40.0), st.integers(1, 50))
def test_compression_in_steps_equals_compression_at_once(ratio: float, steps: int) -> None:
    temperature = 350.0
    for _ in range(steps):
        temperature = compressed_temperature(temperature, ratio ** (1 / steps), 1.35)
    assert temperature == pytest.approx(350.0 * ratio ** (0.35 / 1.35))

"""Wall heat: signs, limits, and the balance of surfaces."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from breathe.cycle.walls import (
    COMBUSTION,
    COMPRESSION,
    Walls,
    annand,
    heat_flow,
    motored_pressure,
    woschni_speed,
)

TEMPERATURES = st.floats(250.0, 3000.0)


def test_motored_pressure_is_the_polytrope_through_intake_closing() -> None:
    assert motored_pressure(1e5, 5e-4, 5e-4, 1.32) == pytest.approx(1e5)
    assert motored_pressure(1e5, 5e-4, 5e-5, 1.32) == pytest.approx(1e5 * 10**1.32)


def test_fire_adds_to_gas_speed_and_never_takes_away() -> None:
    state = (5e-4, 350.0, 1e5, 5.5e-4)
    cold = woschni_speed(10.0, COMPRESSION, COMBUSTION, *state, -1e5)
    assert cold == pytest.approx(22.8)
    hot = woschni_speed(10.0, COMPRESSION, COMBUSTION, *state, 20e5)
    assert hot == pytest.approx(22.8 + 3.24e-3 * 5e-4 * 350 / (1e5 * 5.5e-4) * 20e5)


@given(TEMPERATURES)
def test_no_heat_between_equal_temperatures(temperature: float) -> None:
    walls = Walls(1e-3, 2e-3, temperature, temperature, temperature)
    assert heat_flow(walls, 500.0, temperature, 3e-3) == 0.0


def test_heat_flow_sums_surfaces_with_their_own_temperatures() -> None:
    walls = Walls(1e-3, 2e-3, 500.0, 550.0, 420.0)
    expected = 400.0 * (1e-3 * 500.0 + 2e-3 * 450.0 + 3e-3 * 580.0)
    assert heat_flow(walls, 400.0, 1000.0, 3e-3) == pytest.approx(expected)


@given(TEMPERATURES, TEMPERATURES)
def test_annand_flows_from_hot_to_cold(gas: float, wall: float) -> None:
    flux = annand(0.09, 1e5, 0.06, gas, wall, 0.5, 4.3e-9)
    assert math.copysign(1.0, flux) == math.copysign(1.0, gas - wall) or gas == wall

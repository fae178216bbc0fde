from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from breathe.engine import atmosphere as air


@given(st.floats(0, 1), st.floats(-40, 60), st.floats(5e4, 1.1e5))
def test_dry_pressure_undoes_the_humidity_ratio(rh, celsius, pressure):
    w = air.humidity_ratio(rh, celsius + 273.15, pressure)
    vapour = rh * air.saturation_pressure(celsius + 273.15)
    assert air.dry_pressure(pressure, w) == pytest.approx(pressure - vapour, rel=1e-12)


@given(st.floats(0, 0.99), st.floats(-40, 60))
def test_humid_air_is_lighter(rh, celsius):
    T = celsius + 273.15
    dry = air.humidity_ratio(rh, T, 1e5)
    humid = air.humidity_ratio(rh + 0.01, T, 1e5)
    assert air.moist_air_density(T, 1e5, humid) < air.moist_air_density(T, 1e5, dry)


@given(st.floats(-2000, 10999))
def test_pressure_falls_with_height_as_the_air_weighs(height):
    # Hydrostatics: dp/dh = -rho g, in the standard's own gas.
    step = 1.0
    drop = air.standard_pressure(height) - air.standard_pressure(height + step)
    middle = height + step / 2
    rho = air.standard_pressure(middle) / (287.05287 * air.standard_temperature(middle))
    assert drop == pytest.approx(rho * 9.80665 * step, rel=1e-6)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: air.standard_pressure(12000), "altitude: found 12000 m; expected -2000 to 11000"),
        (lambda: air.saturation_pressure(400.0), "air temperature: found 126.85 degC; expected"),
        (lambda: air.humidity_ratio(50.0, 293.15, 1e5), "found 50; expected 0 to 1 (50 % is 0.5)"),
        (lambda: air.humidity_ratio(1.0, 333.15, 1e4), "air pressure: found 10000 Pa; expected"),
    ],
)
def test_bad_input_names_what_was_found_and_expected(call, words):
    with pytest.raises(ValueError) as caught:
        call()
    assert words in str(caught.value)

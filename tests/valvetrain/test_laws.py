"""Motion laws: symmetry, ends, and derivatives that belong to each other."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from breathe.valvetrain.laws import LAWS, law_named, power_cosine

SMOOTH = [name for name in LAWS if name not in ("constant acceleration", "simple harmonic")]
inside = st.floats(0.0, 1.0)


@pytest.mark.parametrize("law", LAWS.values(), ids=LAWS)
@given(x=inside)
def test_every_law_is_symmetrical(law, x):
    assert law.displacement(x) + law.displacement(1 - x) == pytest.approx(1.0, abs=1e-12)
    assert law.displacement(0.5) == pytest.approx(0.5, abs=1e-12)
    assert law.velocity(x) == pytest.approx(float(law.velocity(1 - x)), abs=1e-9)


@pytest.mark.parametrize("law", LAWS.values(), ids=LAWS)
def test_every_law_goes_from_dwell_to_dwell(law):
    assert law.displacement([-0.5, 0.0, 1.0, 1.5]) == pytest.approx([0, 0, 1, 1], abs=1e-15)
    assert law.velocity([-0.5, 0.0, 1.0, 1.5]) == pytest.approx([0, 0, 0, 0], abs=1e-14)


@pytest.mark.parametrize("name", SMOOTH)
def test_smooth_laws_start_and_end_without_acceleration(name):
    assert LAWS[name].acceleration([0.0, 1.0]) == pytest.approx([0, 0], abs=1e-13)


@pytest.mark.parametrize("law", LAWS.values(), ids=LAWS)
@pytest.mark.parametrize("order", [0, 1, 2])
def test_each_derivative_is_the_slope_of_the_one_before(law, order):
    x = np.linspace(0.003, 0.997, 2001)
    corners = np.array([0.125, 0.375, 0.5, 0.625, 0.875])
    away = np.abs(x[:, None] - corners).min(axis=1) > 1e-3
    h = 1e-5
    slope = (law.derivative(x + h, order) - law.derivative(x - h, order)) / (2 * h)
    assert slope[away] == pytest.approx(law.derivative(x, order + 1)[away], abs=2e-5)


def test_an_unknown_law_is_answered_with_the_names():
    with pytest.raises(ValueError, match=r"found 'cycliodal'; expected one of .*cycloidal"):
        law_named("cycliodal")
    assert law_named("3-4-5") is LAWS["3-4-5"]


def test_contact_with_the_dwell():
    assert [law.contact for law in LAWS.values()] == [2, 2, 3, 3, 3, 3, 4, 5]


def test_power_cosine_ends():
    assert power_cosine([0.0, 1.0, 1.7], 1.556) == pytest.approx([1, 0, 0], abs=0)
    assert power_cosine(0.5, 2.0) == pytest.approx(0.5)

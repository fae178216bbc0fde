"""Responses and their tops."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from breathe.study.search.surface import blend, least_figures, peaks, response


@given(st.floats(5, 75), st.floats(0.001, 0.02))
def test_the_top_of_a_parabola_is_found_on_one_axis(top, bend):
    places = np.linspace(0, 80, 6)[:, None]
    curve = response(places, 40 - bend * (places[:, 0] - top) ** 2)
    (found,) = peaks(curve, places, [0.0], [80.0])
    assert found.place[0] == pytest.approx(top, abs=0.1)
    assert found.value == pytest.approx(40.0, abs=1e-3)


@given(st.floats(10, 70), st.floats(-15, 15))
def test_the_top_of_a_paraboloid_is_found_on_two_axes(x, y):
    grid = np.array([[a, b] for a in np.linspace(0, 80, 4) for b in (-20.0, 0.0, 20.0)])
    values = 40 - 0.002 * (grid[:, 0] - x + grid[:, 1] - y) ** 2 - 0.003 * (grid[:, 1] - y) ** 2
    found = peaks(response(grid, values), grid, [0.0, -20.0], [80.0, 20.0])[0]
    assert found.place == pytest.approx((x, y), abs=0.3)


def test_all_humps_are_found_highest_first():
    places = np.linspace(0, 80, 17)[:, None]
    humps = np.exp(-(((places[:, 0] - 15) / 10) ** 2)) + 1.2 * np.exp(
        -(((places[:, 0] - 60) / 10) ** 2)
    )
    found = peaks(response(places, humps), places, [0.0], [80.0])
    assert [round(peak.place[0]) for peak in found[:2]] == [60, 15]


def test_a_top_may_lie_at_an_end():
    places = np.linspace(0, 80, 6)[:, None]
    found = peaks(response(places, -places[:, 0]), places, [0.0], [80.0])
    assert found[0].place == (0.0,)


def test_places_without_a_figure_are_passed_over():
    places, values = np.linspace(0, 80, 6)[:, None], np.array([1.0, 2.0, np.nan, 4.0, 5.0, 6.0])
    assert response(places, values)(np.array([[32.0]]))[0] == pytest.approx(3.0)


def test_too_few_figures_are_refused():
    with pytest.raises(ValueError, match=f"expected {least_figures(2)} or more"):
        response([[0.0, 0.0], [1.0, 1.0]], [1.0, 2.0])


def test_a_blend_is_the_weighted_mean():
    places = np.linspace(0, 80, 6)[:, None]
    one, two = response(places, places[:, 0]), response(places, 80 - places[:, 0])
    at = np.array([[20.0]])
    assert blend([one, two], [0.75, 0.25])(at)[0] == pytest.approx(0.75 * 20 + 0.25 * 60)

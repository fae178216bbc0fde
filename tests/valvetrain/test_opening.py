"""Effective areas: monotone, bounded, forward and reverse apart, nonsense refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from breathe.engine.parts import FlowCoefficients, Valve
from breathe.valvetrain.opening import (
    REVERSE_SHARE,
    curtain_area,
    default_coefficients,
    default_source,
    effective_area,
    least_area,
    throat_area,
)

VALVE = Valve(
    count=2,
    head_diameter_m=0.034,
    throat_diameter_m=0.029,
    stem_diameter_m=0.006,
    seat_angle_deg=45.0,
    seat_width_m=1.2e-3,
    coefficients=default_coefficients("intake"),
)


def coefficients(at, forward, reverse=None):
    forward = np.array(forward)
    return FlowCoefficients(
        lift_over_diameter=np.array(at),
        forward=forward,
        reverse=forward if reverse is None else np.array(reverse),
    )


@given(
    head=st.floats(0.015, 0.060),
    throat=st.floats(0.75, 0.95),
    stem=st.floats(0.1, 0.3),
    seat=st.sampled_from([0.0, 30.0, 45.0, 60.0]),
    width=st.floats(0.02, 0.08),
    side=st.sampled_from(["intake", "exhaust"]),
)
def test_area_grows_with_lift_and_stays_below_what_there_is(head, throat, stem, seat, width, side):
    valve = Valve(
        count=1,
        head_diameter_m=head,
        throat_diameter_m=throat * head,
        stem_diameter_m=stem * head,
        seat_angle_deg=seat,
        seat_width_m=width * head,
        coefficients=default_coefficients(side),
    )
    lift = np.linspace(0, 0.6 * head, 1201)
    for area in effective_area(lift, valve):
        assert np.all(np.diff(area) >= -1e-12 * head**2)
        assert np.all(area <= least_area(lift, valve))
        assert np.all(area <= curtain_area(lift, head))
        assert area.max() <= throat_area(valve)


def test_all_valves_of_the_side_together_and_held_outside_the_table():
    one = replace(VALVE, count=1, coefficients=coefficients([0.1, 0.2], [0.6, 0.5], [0.5, 0.4]))
    lift = np.array([0.02, 0.1, 0.15, 0.2, 0.25]) * 0.034
    forward, reverse = effective_area(lift, one)
    curtain = curtain_area(lift, 0.034)
    assert forward / curtain == pytest.approx([0.6, 0.6, 0.55, 0.5, 0.5])
    assert reverse / curtain == pytest.approx([0.5, 0.5, 0.45, 0.4, 0.4])
    assert effective_area(lift, replace(one, count=2))[0] == pytest.approx(2 * forward)


def test_held_coefficient_runs_into_the_throat():
    valve = replace(VALVE, coefficients=coefficients([0.1], [0.9]))
    assert effective_area(0.02, valve)[0] == pytest.approx(2 * throat_area(valve))


@pytest.mark.parametrize(
    ("given_coefficients", "words"),
    [
        (coefficients([0.1, 0.2], [1.124, 0.6]), "forward, at L/D 0.100: found 1.124 .*one valve"),
        (coefficients([0.1, 0.2], [0.6, 0.6], [0.6, 1.2]), "reverse, at L/D 0.200: found 1.200"),
        (coefficients([0.1, 0.2], [0.6, float("nan")]), "found nan"),
        (coefficients([0.1, 0.2], [0.6, 0.0]), "found 0.000"),
        (coefficients([0.2, 0.1], [0.6, 0.6]), "each above the last"),
        (coefficients([0.1, 0.2], [0.6]), "found 2 lifts, 1 forward and 1 reverse"),
        (coefficients([], []), "found 0 lifts"),
    ],
)
def test_impossible_coefficients_are_refused(given_coefficients, words):
    with pytest.raises(ValueError, match=words):
        effective_area(0.003, replace(VALVE, coefficients=given_coefficients))


@pytest.mark.parametrize("side", ["intake", "exhaust"])
def test_default_source_says_where_from_and_how_sure(side):
    text = default_source(side)
    assert "Heywood" in text and "from memory" in text and f"{REVERSE_SHARE:g}" in text

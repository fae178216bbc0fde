"""Figures inside texts in inches, pounds and degrees Fahrenheit; by the exact inch and pound."""

from __future__ import annotations

import doctest

import pytest
from hypothesis import given
from hypothesis import strategies as st

from breathe.view import unit_text
from breathe.view.unit_text import in_user_units

# Inch 25.4 mm, pound 0.45359237 kg, standard gravity 9.80665 m/s2 are exact by definition.
PAIRS = [
    ("intake sleeve at 2.4 mm", "intake sleeve at 0.0945 in"),
    ("walls 197 degC and 227 degC", "walls 387 degF and 441 degF"),
    ("gas at 850 K", "gas at 1070 degF"),
    ("0.4 bar", "5.8 psi"),
    ("1013 mbar", "29.91 inHg"),
    ("2.40 l", "146 cu in"),
    ("collector 800 cc", "collector 48.8 cu in"),
    ("mean 45 m/s at 6200 rpm", "mean 148 ft/s at 6200 rpm"),
    ("5.0 deg crank/mm", "127 deg crank/in"),
    ("tailpipe 1200 x 55 mm", "tailpipe 47.24 x 2.17 in"),
    ("46.0-41.0 mm", "1.81-1.61 in"),
    ("9 to 10 mm", "0.354 to 0.394 in"),
    ("-5 degC", "23 degF"),
    ("250 N at 34.0 mm", "56.2 lbf at 1.34 in"),
]


@pytest.mark.parametrize(("metric", "imperial"), PAIRS)
def test_figures_are_rewritten(metric, imperial):
    assert in_user_units(metric, "imperial") == imperial
    assert in_user_units(metric, "metric") == metric


@pytest.mark.parametrize(
    "text",
    [
        "0.09 bar/(m/s)",
        "0.0009 bar/(m/s)2",
        "264 deg crank, 30 deg, 95 %, 6200 rpm",
        "7.9 g/kg",
        "common practice, SAE 650733, 1965",
        "1-3-4-2",
        "0.64 at 0.10, 0.58 at 0.20",
    ],
)
def test_what_has_no_other_unit_stays(text):
    assert in_user_units(text, "imperial") == text


@given(st.text(max_size=60))
def test_any_text_is_taken(text):
    assert in_user_units(text, "metric") == text
    # A text without a figure has nothing to convert.
    if not any(letter.isnumeric() for letter in text):
        assert in_user_units(text, "imperial") == text


def test_examples_in_the_docstrings():
    assert doctest.testmod(unit_text).failed == 0

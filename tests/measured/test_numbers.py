"""Numbers as spreadsheets write them."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from breathe.measured.sheet import number


@pytest.mark.parametrize(
    ("text", "decimal", "value"),
    [
        ("9,5", ",", 9.5),
        ("9,5", ".", 9.5),
        (".450", ".", 0.45),
        (",450", ",", 0.45),
        ("5.", ".", 5.0),
        ("-66,0", ",", -66.0),
        ("\u221266,0", ",", -66.0),
        ("1.234,5", ",", 1234.5),
        ("1,234.5", ".", 1234.5),
        ("2.000", ",", 2000.0),
        ("2.000", ".", 2.0),
        ("0.050", ",", 0.05),
        ("189.3", ",", 189.3),
        ("1,993E+02", ",", 199.3),
        ('"168,4"', ",", 168.4),
        ("1\u00a0234,5", ",", 1234.5),
    ],
)
def test_numbers(text, decimal, value):
    assert number(text, decimal) == value


NO_NUMBERS = ["", "-", "n/a", "#NV", "#REF!", "nan", "inf", "1e999", "01. Feb", "1_0", "211*"]
NO_NUMBERS += ["\u0663", "22 BTDC", "2025-02-01", "1.2.3", "1,2,3", "--1", "0x10", "."]


@pytest.mark.parametrize("decimal", [".", ","])
@pytest.mark.parametrize("text", NO_NUMBERS)
def test_no_numbers(text, decimal):
    assert number(text, decimal) is None


def test_a_comma_that_may_part_thousands_is_no_number_among_points():
    assert number("1,234", ".") is None


@given(st.text(max_size=12), st.sampled_from([".", ","]))
def test_any_text_is_a_finite_number_or_none(text, decimal):
    value = number(text, decimal)
    assert value is None or math.isfinite(value)


@given(st.floats(-1e6, 1e6).map(lambda v: round(v, 4)))
def test_what_a_spreadsheet_writes_is_read_back(value):
    point = f"{value:.4f}"
    assert number(point, ".") == value
    assert number(point.replace(".", ","), ",") == value
    grouped = f"{value:,.4f}"
    assert number(grouped, ".") == value
    assert number(grouped.translate(str.maketrans(",.", ".,")), ",") == value

"""Quantities in words: exact units, refusals that ask, and the way back."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from breathe.engine.quantities import (
    EXAMPLES,
    UNITS,
    QuantityError,
    from_si,
    read_quantity,
    user_unit,
    written,
)

# Exact by definition: NIST SP 811, 2008, appendix B.8 (from memory); from the torque on recomputed
# from the pound, the foot and standard gravity.
DEFINED = [
    ("1 in", "length", 0.0254),
    ("1 thou", "length", 2.54e-5),
    ("1 lb", "mass", 0.45359237),
    ("32 degF", "temperature", 273.15),
    ("212 degF", "temperature", 373.15),
    ("1 cu in", "volume", 1.6387064e-5),
    ("1 cfm", "volume flow", 4.719474432e-4),
    ("1 psi", "pressure difference", 6894.757),
    ("147 lb-ft", "torque", 199.3),
    ("145.5 hp", "power", 108.5e3),
    ("100 PS", "power", 73.549875e3),
    ("28 inH2O", "pressure difference", 6974.3),
    ("100 lbf", "force", 444.82216),
    ("25 kgf", "force", 245.16625),
    ("300 lbf/in", "spring rate", 52_538.0),
    ("300 lb/in", "spring rate", 52_538.0),
    ("24000 cpm", "frequency", 400.0),
]


@pytest.mark.parametrize(("text", "dimension", "si"), DEFINED)
def test_units_have_their_defined_size(text, dimension, si):
    # 4e-4: the torque and the power are given to four digits.
    assert read_quantity(text, dimension) == pytest.approx(si, rel=4e-4)


@pytest.mark.parametrize(
    ("text", "dimension", "si"),
    [
        ("9,8 mm", "length", 0.0098),
        ("1 5/8 in", "length", 0.041275),
        ("3/4 in", "length", 0.01905),
        (".015 in", "length", 0.000381),
        ("0,015 in", "length", 0.000381),
        ('2.44"', "length", 0.061976),
        ("130 deg cam", "angle", 260.0),
        ("260° crank", "angle", 260.0),
        ("2.5 deg cam/mm", "sleeve rate", 5000.0),
        ("1.2 bar gauge", "absolute pressure", 221_325.0),
        ("1013 mbar", "barometer", 101_300.0),
    ],
)
def test_manners_of_writing(text, dimension, si):
    assert read_quantity(text, dimension) == pytest.approx(si, rel=1e-12)


REFUSED = [
    (
        "260 deg",
        "angle",
        'found "260 deg"; crank or cam? Write "260 deg crank" or "260 deg cam"',
    ),
    (
        "2.5 deg/mm",
        "sleeve rate",
        'found "2.5 deg/mm"; crank or cam? The answer doubles: write "2.5 deg crank/mm" or '
        '"2.5 deg cam/mm"',
    ),
    (
        "1.2 bar",
        "absolute pressure",
        'found "1.2 bar"; absolute or gauge? Write "1.2 bar abs" or "1.2 bar gauge"',
    ),
    (
        "0.1 bar gauge",
        "barometer",
        'found "0.1 bar gauge"; air pressure is absolute, such as "1013 mbar"',
    ),
    (
        3.16,
        "length",
        'found 3.16 without a unit; expected a length with its unit, such as "9.8 mm"',
    ),
    (
        "9.8 kg",
        "length",
        'found "9.8 kg"; expected a length with its unit, such as "9.8 mm" '
        "(units: mm, cm, m, um, in, thou)",
    ),
    (
        "1,250 mm",
        "length",
        'found "1,250 mm"; is the comma a decimal mark? Write 1.250 or 1250',
    ),
    (
        "25 kg",
        "force",
        'found "25 kg", a mass; expected a load in N, lbf or kgf; as a load that is "25 kgf"',
    ),
    (
        "100 lbs",
        "force",
        'found "100 lbs", a mass; expected a load in N, lbf or kgf; as a load that is "100 lbf"',
    ),
    ("-300 degC", "temperature", 'found "-300 degC", below absolute zero'),
    (True, "length", 'found true; expected a length with its unit, such as "9.8 mm"'),
]


@pytest.mark.parametrize(("found", "dimension", "message"), REFUSED)
def test_refusals_say_what_to_write(found, dimension, message):
    with pytest.raises(QuantityError) as refusal:
        read_quantity(found, dimension)
    assert str(refusal.value) == message


@pytest.mark.parametrize("dimension", sorted(UNITS))
def test_every_dimension_reads_its_own_example_and_prints_it_back(dimension):
    value = read_quantity(EXAMPLES[dimension], dimension)
    for system in ("metric", "imperial"):
        again = read_quantity(written(value, dimension, system, digits=12), dimension)
        assert again == pytest.approx(value, rel=1e-9)
        assert user_unit(dimension, system) in UNITS[dimension]


@given(
    st.sampled_from([(d, u) for d in sorted(UNITS) for u in UNITS[d]]),
    st.floats(min_value=0.01, max_value=5e4),
)
def test_a_quantity_survives_the_way_out_and_back(unit_of, number):
    dimension, unit = unit_of
    suffix = " abs" if dimension == "absolute pressure" else ""
    value = read_quantity(f"{number!r} {unit}{suffix}", dimension)
    assert from_si(value, dimension, unit) == pytest.approx(number, rel=1e-9, abs=1e-9)
    text = written(value, dimension, unit=unit, digits=15)
    assert read_quantity(text, dimension) == pytest.approx(value, rel=1e-9)


@given(st.text(max_size=40), st.sampled_from(sorted(UNITS)))
def test_any_text_is_read_or_refused(text, dimension):
    try:
        value = read_quantity(text, dimension)
    except QuantityError as refusal:
        assert "found" in str(refusal)
    else:
        assert isinstance(value, float)

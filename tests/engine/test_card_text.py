"""Cam cards as people type them."""

from __future__ import annotations

import doctest

import pytest
from hypothesis import given
from hypothesis import strategies as st

from breathe.engine import card_text
from breathe.engine.card_text import CardTextError, read_card_text

USUAL = ["20 BTDC", "60 ABDC", "60 BBDC", "20 ATDC"]
TYPED = [
    ("20-60 / 60-20 @ 0.015 in lash", USUAL, {"lash": "0.015 in"}),
    ("20-60/60-20", USUAL, {}),
    ("20\u201360 / 60\u201320", USUAL, {}),
    ("20-60 / 60-20 @ 0.050", USUAL, {"checking_height": "0.050 in"}),
    ("20-60 / 60-20 @ 1", USUAL, {"checking_height": "1 mm"}),
    ("20-60 / 60-20 at .050\" lift", USUAL, {"checking_height": "0.050 in"}),
    ("20-60-60-20", USUAL, {}),
    ("20/60/60/20", USUAL, {}),
    ("20 BTDC - 60 ABDC / 60 BBDC - 20 ATDC", USUAL, {}),
    ("IVO 20, IVC 60, EVO 60, EVC 20", USUAL, {}),
    ("-4-36/44--4", ["4 ATDC", "36 ABDC", "44 BBDC", "4 BTDC"], {}),
    ("4 ATDC-36/44-4 BTDC", ["4 ATDC", "36 ABDC", "44 BBDC", "4 BTDC"], {}),
    ("\u22124\u201336/44\u2013\u22124", ["4 ATDC", "36 ABDC", "44 BBDC", "4 BTDC"], {}),
    ("0-60 / 60-0, zero lash", ["TDC", "60 ABDC", "60 BBDC", "TDC"], {"lash": "0 mm"}),
    (
        "20-60 / 60-20 @ 0.015 in lash, lobe lift 0.247 in, rocker 1.46",
        USUAL,
        {"lash": "0.015 in", "lobe_lift": "0.247 in", "rocker_ratio": "1.46"},
    ),
    ("20,5-60 / 60-20 @ 1,0 mm; lift 9,8 mm", ["20.5 BTDC", *USUAL[1:]],
     {"checking_height": "1.0 mm", "lift": "9.8 mm"}),
]  # fmt: skip


@pytest.mark.parametrize(("text", "events", "figures"), TYPED)
def test_a_card_as_typed(text, events, figures):
    card = read_card_text(text)
    assert list(card.events.values()) == events
    assert card.figures == figures


def test_a_unit_that_had_to_be_taken_is_told():
    assert read_card_text("20-60 / 60-20 @ 0.050").guessed == {"checking_height": "in"}
    assert read_card_text("20-60 / 60-20 @ 0.050 in").guessed == {}


REFUSED = [
    ("20-60", 'found "20-60"; expected IVO-IVC / EVO-EVC'),
    ("20-60 / 60-20 @ 0.08", "0.08 of the checking height: mm or in?"),
    ("20-60 / 60-20 stage 2", 'found "stage 2"'),
    ("20-60 / 60-20 @ 0.05 in @ 1 mm", "two figures for checking height"),
    ("60 BBDC-20 ATDC / 20 BTDC-60 ABDC", "expected BTDC - ABDC - BBDC - ATDC in this order"),
]


@pytest.mark.parametrize(("text", "said"), REFUSED)
def test_what_is_no_card_is_refused(text, said):
    with pytest.raises(CardTextError) as refusal:
        read_card_text(text)
    assert said in str(refusal.value)


@given(st.text(alphabet="0123456789-/ .,@inmlash\u2013", max_size=30))
def test_any_text_is_read_or_refused(text):
    try:
        assert len(read_card_text(text).events) == 4
    except CardTextError as refusal:
        assert str(refusal)


def test_examples_in_the_docstrings():
    assert doctest.testmod(card_text).failed == 0

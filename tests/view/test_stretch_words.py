"""Words against marks: what a page says of a speed is what its table shows there."""

from __future__ import annotations

import doctest
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from breathe.study.crossings import Crossing, Stretch
from breathe.view import stretch_words
from breathe.view.console import Grid, Item
from breathe.view.stretch_words import sentence, whereabouts
from breathe.view.tables import comparison
from tests.view.conftest import make_about, make_table

SPEEDS = (1800.0, 2000.0, 2500.0, 2530.0, 3000.0, 3500.0, 4000.0, 4500.0, 5000.0)
MARKS = {"=": "no difference (below 0.5 %)", "+": "helps", "-": "hurts"}

PART = re.compile(
    r"(?:then )?(?P<verdict>helps|hurts|no difference \(below 0\.5 %\))"
    r"(?: (?P<whole>throughout))?"
    r"(?: at (?P<at>\d+) rpm)?"
    r"(?: from (?P<start>\d+))?"
    r"(?: (?:up )?to (?:about (?P<about>\d+)|somewhere between (?P<low>\d+) and (?P<high>\d+)|"
    r"(?P<end>\d+)) rpm)?(?: rpm)?"
    r"(?: \((?P<band_low>\d+) to (?P<band_high>\d+)\))?"
    r"(?: \([+-][\d.]+ %\))?(?:, (?:most|worst) [+-][\d.]+ % at \d+ rpm)?"
)


def said_at_each_speed(told: str) -> dict[float, str]:
    """What a sentence says of each of `SPEEDS`, and no speed twice."""
    found: dict[float, str] = {}
    after = -np.inf
    for text in told.removesuffix(".").split("; "):
        part = PART.fullmatch(text)
        assert part, text
        start = float(part["at"] or part["start"] or after)
        end = float(part["at"] or part["end"] or part["about"] or part["low"] or np.inf)
        for speed in SPEEDS:
            closed = speed == end and part["about"] is None
            if (speed > after or speed == start) and start <= speed and (speed < end or closed):
                assert speed not in found, told
                found[speed] = part["verdict"]
        after = end
        if part["high"]:
            # Whatever lies inside the band is not decided by words: nothing that was run may.
            after = np.nextafter(float(part["high"]), 0.0)
    return found


curve = st.lists(
    st.one_of(st.floats(-0.012, 0.012), st.sampled_from([0.0, 0.005, -0.005, 0.2, -0.2])),
    min_size=len(SPEEDS),
    max_size=len(SPEEDS),
)


@given(curve, st.floats(5.0, 900.0), st.sets(st.sampled_from(SPEEDS), max_size=2))
def test_words_agree_with_the_tie_marks_at_every_computed_speed(difference, level, lost):
    about = make_about((264, 276), SPEEDS)
    table = make_table((264, 276), SPEEDS)
    table.loc[table["setting"] == "264°", "torque_Nm"] = level
    table.loc[table["setting"] == "276°", "torque_Nm"] = level * (1 + np.array(difference))
    table.loc[table["speed_rpm"].isin(lost), "settled"] = False
    page = comparison(table, about)
    grid = next(p for p in page if isinstance(p, Grid) and p.title.startswith("Difference"))
    marks = {float(row[0]): MARKS[row[1][0]] for row in grid.rows if row[1] != "n/s"}
    prefix = "276° (12° longer) against 264°: "
    (told,) = [p.text for p in page if isinstance(p, Item) and p.text.startswith(prefix)]
    told = told.removeprefix(prefix)
    if told.startswith("no difference found"):
        assert set(marks.values()) == {MARKS["="]}
        return
    said = said_at_each_speed(told)
    assert {speed: word for speed, word in said.items() if speed in marks} == marks
    assert not any(re.fullmatch(r"[+-]0(\.0*)?", cell) for row in grid.rows for cell in row)


def test_a_crossing_next_to_a_speed_that_was_run_stays_on_its_side():
    # 5520 rounds to the 5500 that helps, 5980 to the 6000 that hurts: neither may be named.
    near_low = Crossing(5520.0, 5500.0, 5600.0, 5500.0, 6000.0, False)
    near_high = Crossing(5980.0, 5900.0, 6000.0, 5500.0, 6000.0, False)
    assert whereabouts(near_low) == "about 5520 rpm (5500 to 5600)"
    assert whereabouts(near_high) == "about 5980 rpm (5900 to 6000)"


def test_a_wide_band_has_no_middle():
    wide = Crossing(4050.0, 2560.0, 5890.0, 2500.0, 6000.0, True)
    assert whereabouts(wide) == "somewhere between 2550 and 5900 rpm"


@pytest.mark.parametrize("verdict", ["helps", "hurts"])
def test_one_verdict_at_all_speeds(verdict):
    told = sentence([Stretch(2000.0, 6000.0, verdict, 0.02, 3000.0)], [])
    assert told.startswith(f"{verdict} throughout, ")


def test_examples_in_the_docstrings():
    assert doctest.testmod(stretch_words).failed == 0

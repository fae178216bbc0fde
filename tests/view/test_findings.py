"""Sentences about invented curves whose crossings are known."""

from __future__ import annotations

import doctest

import numpy as np
import pandas as pd

from breathe.view import findings
from breathe.view.findings import against_standard, best_by_speed, neighbours
from breathe.view.tables import by_speed

SPEEDS = np.arange(2000.0, 6001.0, 500.0)


def curves(**by_label) -> pd.DataFrame:
    return pd.DataFrame(by_label, index=SPEEDS)


def test_longer_setting_starts_to_help_where_the_lines_cross(invent):
    make_about, _ = invent
    about = make_about((264, 276))
    torque = curves(**{"264°": np.full(9, 100.0), "276°": 100 + (SPEEDS - 4200) * 0.01})
    (told,) = against_standard(torque, about)
    assert told == (
        "276° (12° longer) against 264°: hurts up to about 4200 rpm (4050 to 4350), worst -22.0 % "
        "at 2000 rpm; then helps, most +18.0 % at 6000 rpm."
    )


def test_helping_in_the_middle_only_is_told_with_both_ends(invent):
    make_about, _ = invent
    about = make_about((264, 276))
    wave = 100 + 5 * np.sin((SPEEDS - 3200) * np.pi / 2000)  # level at 3200 and 5200
    (told,) = against_standard(curves(**{"264°": np.full(9, 100.0), "276°": wave}), about)
    assert "hurts up to about 3200 rpm" in told
    assert "then helps up to about 5200 rpm" in told
    assert told.endswith("then hurts, worst -4.8 % at 6000 rpm.")


def test_a_touch_is_no_stretch_of_no_length(invent):
    # Twice level at one speed only: nothing may begin and end at the same place and be called none.
    make_about, _ = invent
    about = make_about((264, 276))
    touch = np.array([104.0, 102, 100.2, 103, 104, 102, 99.9, 97, 95])
    (told,) = against_standard(curves(**{"264°": np.full(9, 100.0), "276°": touch}), about)
    assert told.endswith(
        "helps up to 2500 rpm, most +4.0 % at 2000 rpm; then no difference (below 0.5 %) at "
        "3000 rpm; then helps from 3500 to 4500 rpm, most +4.0 % at 4000 rpm; then no difference "
        "(below 0.5 %) at 5000 rpm; then hurts from 5500 rpm, worst -5.0 % at 6000 rpm."
    )


def test_a_long_tie_between_opposites_is_told_as_such(invent):
    make_about, _ = invent
    about = make_about((264, 276))
    slow = np.array([98.6, 99.7, 99.4, 99.8, 99.9, 100.1, 100.2, 100.4, 101.0])
    (told,) = against_standard(curves(**{"264°": np.full(9, 100.0), "276°": slow}), about)
    assert told.endswith(
        "hurts at 2000 rpm (-1.4 %); then no difference (below 0.5 %) at 2500 rpm; then hurts at "
        "3000 rpm (-0.6 %); then no difference (below 0.5 %) from 3500 to 5500 rpm; then helps at "
        "6000 rpm (+1.0 %)."
    )


def test_no_difference_is_said_plainly(invent):
    make_about, _ = invent
    about = make_about((264, 276))
    (told,) = against_standard(
        curves(**{"264°": np.full(9, 100.0), "276°": np.full(9, 100.3)}), about
    )
    assert told.endswith("no difference found (all below 0.5 %).")


def test_other_setting_without_a_settled_case(invent):
    make_about, _ = invent
    about = make_about((264, 276))
    (told,) = against_standard(
        curves(**{"264°": np.full(9, 100.0), "276°": np.full(9, np.nan)}), about
    )
    assert told.endswith("no speed at which both settled.")


def test_best_by_speed_joins_equal_winners(table, about):
    told = best_by_speed(by_speed(table, about, "torque_Nm"))
    assert told.startswith(
        "Most torque: 228° from 1500 to 2500 rpm, a tie of 228° and 240° at 3000"
    )
    assert told.endswith("288° from 6000 to 7500 rpm.")


def test_nothing_settled_has_no_best():
    assert best_by_speed(curves(a=np.full(9, np.nan))).startswith("No case settled")


def test_neighbours_hand_over(table, about):
    (told,) = neighbours(by_speed(table, about, "torque_Nm"), about)
    # Equal parabolas with peaks 540 rpm apart cross midway: 264 and 276 at 4810 rpm; where most of
    # the way between the speeds that decide is a tie, only the band is told.
    assert "264° gives way to 276° at about 4800 rpm (4600 to 5050)" in told
    assert "240° gives way to 252° somewhere between" in told


def test_examples_in_the_docstrings():
    assert doctest.testmod(findings).failed == 0

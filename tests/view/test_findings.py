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
    torque = curves(**{"264°": np.full(9, 100.0), "276°": 100 + (SPEEDS - 4000) * 0.01})
    (told,) = against_standard(torque, about)
    assert told == (
        "276° (12° longer) against 264°: hurts up to about 4000 rpm (3850 to 4150), worst -20.0 % "
        "at 2000 rpm; then helps, most +20.0 % at 6000 rpm."
    )


def test_helping_in_the_middle_only_is_told_with_both_ends(invent):
    make_about, _ = invent
    about = make_about((264, 276))
    wave = 100 + 5 * np.sin((SPEEDS - 3000) * np.pi / 2000)  # level at 3000 and 5000
    (told,) = against_standard(curves(**{"264°": np.full(9, 100.0), "276°": wave}), about)
    assert "hurts up to about 3000 rpm" in told
    assert "then helps up to about 5000 rpm" in told
    assert told.endswith("then hurts, worst -5.0 % at 6000 rpm.")


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
    # Equal parabolas with peaks 540 rpm apart cross midway: 240 and 252 at 3730 rpm.
    assert "252° beats 240° above about 3750 rpm" in told


def test_examples_in_the_docstrings():
    assert doctest.testmod(findings).failed == 0

"""Places on the axes in the tuner's words, and changes in per cent."""

from __future__ import annotations

import math

from breathe.study.answer import AxisNote
from breathe.view.figures import change
from breathe.view.places import (
    at_end,
    degrees,
    in_words,
    listed,
    off_words,
    span,
    travel,
    what_moves,
)

SLEEVE = AxisNote(side="intake", kind="dwell", low_deg=0, high_deg=60, deg_per_m=5000, rest_deg=228)
UNNAMED = AxisNote(side="exhaust", kind="dwell", low_deg=0, high_deg=30, deg_per_m=5000)
TURN = AxisNote(side="intake", kind="phase", low_deg=-20, high_deg=10)


def test_a_duration_where_labels_are_durations_otherwise_what_is_added():
    assert (degrees(SLEEVE, 24.2), degrees(UNNAMED, 12), degrees(TURN, -5)) == (
        "252°", "+12°", "-5°",
    )  # fmt: skip
    assert span(SLEEVE, 12, 34) == "240-262°" and span(TURN, -5, 3) == "-5 to +3°"
    assert span(SLEEVE, 12, 12.2) == "240°"


def test_a_place_on_several_axes():
    assert in_words([SLEEVE], [24]) == "252°"
    assert in_words([SLEEVE, TURN], [24, -5]) == "252°, 5° earlier"
    assert in_words([SLEEVE, TURN, UNNAMED], [24, 0, 6]) == (
        "intake 252° and not turned, exhaust +6°"
    )
    assert listed(["252°", "240°"]) == "252°, 240°"
    assert listed(["252°, 5° earlier", "240°, not turned"]) == "252°, 5° earlier; 240°, not turned"


def test_off_a_place_in_words_of_what_moves():
    assert [off_words(SLEEVE, x) for x in (-12, 12)] == ["12° less", "12° more"]
    assert [off_words(TURN, x) for x in (-12, 12)] == ["12° earlier", "12° later"]


def test_travel_in_the_users_unit():
    assert travel(SLEEVE, 28, "metric") == "5.6" and travel(SLEEVE, 28, "imperial") == "0.22"
    assert travel(TURN, 5, "metric") == "-"


def test_what_moves_is_told_with_its_law():
    assert what_moves([SLEEVE, TURN], "metric") == [
        "What moves: the intake sleeve, 12.0 mm of travel adds 0 to 60 deg crank of dwell; 228 to "
        "288° as the file counts duration.",
        "What moves: the intake cam turns from 20° earlier to 10° later, crank degrees; -20° to "
        "+10° in tables.",
    ]


def test_a_sleeve_without_a_law_has_no_travel_to_tell():
    unknown = AxisNote(side="intake", kind="dwell", low_deg=0, high_deg=40, rest_deg=260)
    assert what_moves([unknown], "metric") == [
        "What moves: the intake sleeve adds 0 to 40 deg crank of dwell; 260 to 300° as the file "
        "counts duration."
    ]


def test_ends_of_an_axis():
    assert [at_end(SLEEVE, x) for x in (0.2, 30.0, 59.8)] == [-1, 0, 1]


def test_a_change_below_the_model_s_error_is_a_tie():
    assert [change(x) for x in (0.031, 0.004, -0.006, math.nan)] == ["+3.1", "=", "-0.6", "-"]

"""Places with ties, and the shares of inputs against cases whose answer is known."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from breathe.study.plans.rank import influence, ranks
from breathe.study.plans.time_needed import TimeNeeded, span


@given(st.lists(st.floats(1.0, 500.0), min_size=1, max_size=30))
def test_places_follow_the_figures(values: list[float]) -> None:
    places = ranks(values)
    assert min(p for p in places if p) == 1
    for one, a in zip(values, places, strict=True):
        for other, b in zip(values, places, strict=True):
            assert a is not None and b is not None
            if one > other * 1.0051:
                assert a < b
            if a == b:
                assert abs(one - other) <= 0.005 * max(one, other) + 1e-9


def test_least_may_come_first_and_unknown_has_no_place() -> None:
    assert ranks([270.0, 260.0, float("nan"), 260.5], most=False) == [3, 1, None, 1]


def test_shares_are_those_of_independent_inputs() -> None:
    # y = 3 a + b with independent a, b of equal spread: 9/10 and 1/10 of the variance (exact).
    a, b = np.meshgrid(np.linspace(-1, 1, 9), np.linspace(-1, 1, 9))
    y = 100 + 3 * a.ravel() + b.ravel()
    fit = influence({"b": list(b.ravel()), "a": list(a.ravel())}, list(y))
    assert [e.name for e in fit.effects] == ["a", "b"]
    assert fit.effects[0].share == pytest.approx(0.9, abs=1e-9)
    assert fit.effects[1].share == pytest.approx(0.1, abs=1e-9)
    assert fit.r2 == pytest.approx(1.0)
    assert fit.effects[0].change == pytest.approx(6.0) and fit.effects[0].best == 1.0
    assert fit.effects[0].low <= 0.9 <= fit.effects[0].high
    assert fit.together == ()


def test_a_best_in_the_middle_is_seen() -> None:
    x = list(np.linspace(220, 300, 17))
    fit = influence({"duration": x}, [40 - ((v - 250) / 20) ** 2 for v in x])
    assert fit.r2 == pytest.approx(1.0)
    assert fit.effects[0].best == pytest.approx(250, abs=0.5)


def test_inputs_that_move_together_are_told() -> None:
    random = np.random.default_rng(4)
    a = random.normal(size=60)
    b = a + 0.1 * random.normal(size=60)
    fit = influence({"a": list(a), "b": list(b)}, list(50 + 5 * a + 5 * b))
    assert fit.together[0][:2] == ("a", "b") and fit.together[0][2] > 0.98
    assert max(effect.share for effect in fit.effects) < 0.1  # neither has a share of its own


def test_inputs_that_act_together_are_told() -> None:
    # y = a b with independent a, b about 0: all of the spread is what they do together (exact).
    a, b = (grid.ravel() for grid in np.meshgrid(np.linspace(-1, 1, 9), np.linspace(-1, 1, 9)))
    c = np.random.default_rng(5).normal(size=81)
    fit = influence({"a": list(a), "c": list(c), "b": list(b)}, list(100 + a * b))
    assert fit.r2 == pytest.approx(1.0) and fit.pairs is not None
    assert fit.pairs[0] == ("a", "b", pytest.approx(1.0, abs=0.05))
    shares = {effect.name: effect.share for effect in fit.effects}
    assert shares["a"] > 0.9 and shares["b"] > 0.9 and shares["c"] < 1e-6
    assert all(effect.change < 0.05 for effect in fit.effects)  # neither moves it alone
    few = influence({"a": list(a[:10]), "b": list(b[:10])}, list(100 + a[:10] * b[:10]))
    assert few.pairs is None


def test_words_count_and_unknown_inputs_leave_their_row_out() -> None:
    cams = ["mild", "wild"] * 10
    y = [30.0 + 5.0 * (cam == "wild") for cam in cams]
    values: list[float | str | None] = [*cams[:-1], None]
    fit = influence({"cam": values}, y)
    assert fit.rows == 19 and fit.left_out == 1
    assert fit.effects[0].best == "wild" and fit.effects[0].change == pytest.approx(5.0)


@pytest.mark.parametrize(
    ("inputs", "answer", "why"),
    [
        ({"a": [1.0, 1.0]}, [2.0, 3.0], "no input has two values"),
        ({"a": [1.0, 2.0, 3.0]}, [2.0, 3.0, 4.0], "too few"),
        ({"a": [float(n) for n in range(9)]}, [30.0] * 9, "all answers tie"),
    ],
)
def test_when_nothing_can_be_said(inputs: dict, answer: list[float], why: str) -> None:
    assert why in influence(inputs, answer).why_not


def test_few_rows_get_straight_terms_alone() -> None:
    fit = influence({"a": [1.0, 2.0, 3.0, 4.0, 5.0]}, [1.0, 2.0, 3.0, 4.0, 5.0])
    assert not fit.curved and fit.r2 == pytest.approx(1.0)


def test_forty_thousand_rows_are_estimated() -> None:
    # 40 000 rows x 17 speeds at 0.2 s, two at a time.
    needed = TimeNeeded(680_000, 0.2, 0.04, 17, 2)
    assert needed.seconds == pytest.approx(68_000 + 1_600)
    assert span(needed.seconds) == "19 h"
    assert needed.of(500, 17) == pytest.approx(850 + 20)

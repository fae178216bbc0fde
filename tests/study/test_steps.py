"""Fixed steps instead of a continuous cam."""

from __future__ import annotations

import math
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from breathe.study.search.steps import assigned, best_steps, steps_in_order, switches

TORQUE = np.array([[10.0, 9, 5, 1], [6, 6, 6, 6], [1, 5, 9, 10]])
tables = st.lists(st.lists(st.floats(1, 100), min_size=4, max_size=4), min_size=3, max_size=6)


def test_two_steps_are_the_outer_two_here():
    found = best_steps(TORQUE, np.full(4, 0.25), 2)
    assert (found.chosen, found.used) == ((0, 2), (0, 0, 2, 2))
    assert found.mean_Nm == pytest.approx(9.5)


@given(tables)
def test_steps_are_the_best_of_all_pairs(rows):
    table, shares = np.array(rows), np.full(4, 0.25)
    most = max(
        float(table[list(pair)].max(axis=0).mean()) for pair in combinations(range(len(table)), 2)
    )
    # What ties may be given to one step, so that it does not switch for nothing: at most 0.5 %.
    assert 0.995 * most - 1e-9 <= best_steps(table, shares, 2).mean_Nm <= most + 1e-9


@given(tables)
def test_in_order_is_never_better_than_free_by_more_than_a_tie(rows):
    table, shares = np.array(rows), np.full(4, 0.25)
    free, ordered = best_steps(table, shares, 2), steps_in_order(table, shares, 2)
    assert ordered.mean_Nm <= free.mean_Nm / 0.995 + 1e-9
    assert len(switches((1.0, 2.0, 3.0, 4.0), table, ordered.used)) <= 2


def test_a_tie_is_no_reason_to_switch():
    torque = np.array([[100.0, 100.0, 100.0], [90.0, 100.4, 110.0]])
    assert assigned(torque, (0, 1)) == (0, 0, 1)


def test_a_switch_lies_where_the_lines_cross():
    torque = np.array([[10.0, 6.0], [6.0, 8.0]])
    first, second = switches((2000.0, 3000.0), torque, (0, 1))
    assert first[:3] == (2000.0, 2000.0, 0) and math.isnan(first[3])
    assert second[2] == 1 and second[3] == pytest.approx(2000 + 1000 * 4 / 6)

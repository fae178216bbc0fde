"""Tables and sentences of control maps, on rows made up for the purpose."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pandas as pd
import pytest

from breathe.view.control import change_grid, last_words
from breathe.view.control_found import top_told
from breathe.view.step_map import _switches

BAR = {"axis": "bmep", "name": "brake mean effective pressure", "unit": "bar", "si": 1e5}


def kept(**tables: Any) -> Any:
    """What a page reads of a kept map."""
    return SimpleNamespace(facts={"load": BAR, "step": 0.5, "tie": 0.005}, **tables)


def test_the_worst_moment_of_a_gear_change_stands_in_its_table():
    count = 400
    change = pd.DataFrame(
        {
            "time_s": [k / 1000 for k in range(count)],
            "speed_rpm": 5000.0,
            "load": 10e5,
            "target": [230.0 + k for k in range(count)],
            "actual": [229.0 + k for k in range(count)],
            "torque_lost": [0.123 if k == 207 else 0.01 for k in range(count)],
        }
    )
    grid = change_grid(kept(change=change), "the lag of all of them")
    assert grid.title is not None and grid.title.endswith("lost by the lag of all of them, %")
    assert "12.3" in [row[-1] for row in grid.rows]
    times = [float(row[0]) for row in grid.rows]
    assert times == sorted(times) and len(times) < 20


@pytest.mark.parametrize(
    ("kinds", "expected"),
    [
        (("full load", "full load", "full load"), ""),
        (("full load", "part load", "part load"), "below full load at 4000, 6500 rpm: more"),
        (("part load", "part load", "part load"), "below full load: more"),
    ],
)
def test_a_top_row_below_full_load_is_told(kinds, expected):
    speeds = (1500.0, 4000.0, 6500.0)
    cells = pd.DataFrame(
        [
            {"speed_rpm": speed, "load": load, "kind": kind if load > 5e5 else "part load"}
            for load in (2e5, 10e5)
            for speed, kind in zip(speeds, kinds, strict=True)
        ]
    )
    told = " ".join(top_told(kept(cells=cells)))
    assert expected in told and bool(told) == bool(expected)


@pytest.mark.parametrize("limited", [True, False])
def test_a_switch_set_by_a_limit_is_explained_where_there_is_one(limited):
    row = {
        "load": 2e5, "first": 1, "then": 2, "up_rpm": 2700.0, "down_rpm": 2550.0,
        "equal_rpm": 2600.0, "limited": limited, "tied_from_rpm": 2000.0, "tied_to_rpm": 2900.0,
        "felt_up": -0.05, "felt_down": 0.05,
    }  # fmt: skip
    found = kept(switches=pd.DataFrame([row]))
    found.facts["steps"] = [{"number": 1, "label": "low"}, {"number": 2, "label": "high"}]
    grid = _switches(found)
    assert grid.rows[0][5] == ("limit" if limited else "2600")
    assert ("a limit sets the switch instead" in (grid.title or "")) is limited


def test_cases_at_full_load_are_counted_once(about):
    """An open throttle at the air ratio of part load is no further case."""
    one = {"setting": "low", "speed_rpm": 4000.0, "throttle": 1.0, "settled": True}
    rows = pd.DataFrame(
        [
            {**one, "torque_Nm": 150.0, "choked_deg": 3.0},
            {**one, "torque_Nm": 140.0, "choked_deg": 9.0},
        ]
    )
    told = [str(piece) for piece in last_words(rows, about, "metric", ())]
    choked = [text for text in told if "chokes" in text]
    assert len(choked) == 1 and "1 case" in choked[0] and "3 deg crank" in choked[0]

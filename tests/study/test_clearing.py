"""The best places among those that clear: on an invented response, with the real clearances."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from breathe.engine.parts import Engine, Phaser
from breathe.engine.read import read_engine
from breathe.study.gear import gear_of
from breathe.study.search.best import best
from breathe.study.search.place_gaps import gaps_of
from breathe.view.clearing import clearing_grid, clearing_words
from tests.study.invented import Invented, one_hump

ENGINES = Path(__file__).parents[2] / "engines"
SPEEDS = (2000.0, 4000.0, 6000.0)


@pytest.fixture(scope="module")
def engine() -> Engine:
    read = read_engine(ENGINES / "road_four_sleeve.toml")
    cam = replace(read.intake_cam, phaser=Phaser(earliest_deg=-20.0, latest_deg=10.0))
    return replace(read, intake_cam=cam)


def earlier_is_better(dwell: float, turn: float, speed: float) -> float:
    """The most at the earliest turn, which touches."""
    best_dwell = 10 + (speed - 2000) / 100
    return 180.0 - 0.018 * (dwell - best_dwell) ** 2 - 0.02 * (turn + 20) ** 2


@pytest.fixture(scope="module")
def found(engine):
    return best(engine, SPEEDS, evaluate=Invented(earlier_is_better, 5000.0))


def test_what_is_found_clears_and_hardly_more_would(engine, found):
    assert (found.by_speed.does_not_clear != "").all() and found.fixed_does_not_clear
    assert list(found.clearing.role) == ["variable"] * 3 + ["fixed"]
    places = [(row.axis0_deg, row.axis1_deg) for row in found.clearing.itertuples()]
    assert gaps_of(engine, gear_of(engine), places) == [""] * 4
    # A step of the lattice is 0.75 degrees; earlier by two of them is too close.
    tighter = [(dwell, turn - 1.5) for dwell, turn in places]
    assert all(gaps_of(engine, gear_of(engine), tighter))
    assert list(found.clearing.axis0_deg) == pytest.approx([10, 30, 50, 30], abs=1.6)
    row = found.clearing.iloc[1]
    assert row.torque_Nm == pytest.approx(
        earlier_is_better(row.axis0_deg, row.axis1_deg, 4000.0), rel=1e-3
    )


def test_the_page_tells_what_is_left(found):
    (grid, _) = clearing_grid(found, "metric")
    assert grid.header == ("rpm", "Nm", "intake", "mm", "intake turn", "change")
    assert [row[0] for row in grid.rows] == ["2000", "4000", "6000"]
    assert all(float(row[-1]) < -2.0 for row in grid.rows)
    (told,) = clearing_words(found)
    assert told.startswith("Held to places that clear, the variable cam gains +")
    assert "% against what it would have with room enough." in told


def test_where_all_places_clear_nothing_is_told(engine):
    def late(dwell: float, turn: float, speed: float) -> float:
        return one_hump(dwell, turn - 10.0, speed)

    found = best(engine, SPEEDS, evaluate=Invented(late, 5000.0))
    assert not len(found.clearing)
    assert clearing_grid(found, "metric") == [] and clearing_words(found) == []


def test_no_place_that_clears_is_said(engine):
    tight = engine.mechanics.intake.piston_gap
    tight = replace(tight, gap_m=tight.gap_m - 4e-3)
    mechanics = replace(engine.mechanics, intake=replace(engine.mechanics.intake, piston_gap=tight))
    found = best(
        replace(engine, mechanics=mechanics),
        SPEEDS,
        evaluate=Invented(earlier_is_better, 5000.0),
    )
    assert clearing_words(found) == [
        "No place was found at which all clearances that are known keep their rule."
    ]

"""The cam degreed in elsewhere: on an invented response, and where it is not asked."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from breathe.engine.parts import Engine, Phaser
from breathe.engine.read import read_engine
from breathe.study.answer import Best
from breathe.study.gear import gear_of
from breathe.study.search.best import about_cases, best
from breathe.study.search.turned import can_turn, centreline_deg
from tests.study.invented import Invented

ENGINES = Path(__file__).parents[2] / "engines"
SPEEDS = (2000.0, 3000.0, 4000.0, 5000.0, 6000.0)


@pytest.fixture(scope="module")
def engine() -> Engine:
    return read_engine(ENGINES / "road_four_sleeve.toml")


def late(dwell: float, turn: float, speed: float) -> float:
    """Best dwell from 20 to 60 degrees as filed, best 8 degrees later with 6 degrees less."""
    best = 20 + (speed - 2000) / 100 - 0.75 * turn
    return 180.0 - 0.018 * (dwell - best) ** 2 - 0.05 * (turn - 8) ** 2


def test_both_cams_find_their_turn(engine):
    ask = Invented(late, 5000.0)
    found = best(engine, SPEEDS, evaluate=ask)
    fixed, variable = found.turned.to_dict("records")
    assert fixed["turn_deg"] == pytest.approx(8, abs=1.5)
    assert variable["turn_deg"] == pytest.approx(8, abs=1.5)
    assert fixed["dwell_deg"] == pytest.approx(34, abs=1.5)
    # 8 degrees off cost 3.2 Nm; the fixed cam, off by 0, 10, 20 degrees, 3.6 Nm more.
    assert fixed["turned_Nm"] == pytest.approx(176.4, rel=5e-4)
    assert fixed["as_filed_Nm"] == pytest.approx(173.2, rel=5e-4)
    assert variable["turned_Nm"] == pytest.approx(180.0, rel=5e-4)
    # Opening held, so half the dwell moves the middle: 92 + 17 + 8 degrees after TDC.
    assert fixed["centreline_deg"] == pytest.approx(92 + 17 + 8, abs=2.5)
    assert len(ask.points) <= about_cases(engine, SPEEDS) + len(SPEEDS)
    again = Best.from_json(found.to_json())
    assert again.turned.equals(found.turned)


def test_nothing_is_asked_of_a_phaser_or_of_one_speed(engine):
    cam = replace(engine.intake_cam, phaser=Phaser(earliest_deg=-20.0, latest_deg=10.0))
    assert can_turn(gear_of(engine), 5)
    assert not can_turn(gear_of(engine), 1)
    assert not can_turn(gear_of(replace(engine, intake_cam=cam)), 5)
    assert best(engine, SPEEDS[:1], evaluate=Invented(late, 5000.0)).turned.empty


def test_centreline_counts_as_on_a_card(engine):
    (axis,) = gear_of(engine).axes
    # The table of the sleeve cam: 264 degrees stands at 110 after TDC.
    assert centreline_deg(engine, axis, 36.0, 0.0) == pytest.approx(110.0)
    assert centreline_deg(engine, axis, 36.0, -4.0) == pytest.approx(106.0)
    exhaust = replace(engine.exhaust_cam, sleeve=replace(engine.intake_cam.sleeve, closing_share=0))
    both = replace(engine, exhaust_cam=exhaust)
    side = replace(axis, side="exhaust")
    # Closing held: 12 degrees of dwell move the middle 6 degrees earlier, 4 degrees of turn later.
    assert centreline_deg(both, side, 12.0, 4.0) == pytest.approx(110 + 6 - 4)

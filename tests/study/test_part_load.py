"""Sweeps of the throttle, and settings side by side at equal torque."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from breathe.engine.parts import Operating, Setting
from breathe.engine.read import read_engine
from breathe.study.control.part_load import (
    at_equal_torque,
    fuel_saved,
    next_openings,
    opening_for,
    sweep_of,
    swept,
    throttle_area_m2,
)
from breathe.study.evaluate import Point
from tests.study.invented_engine import InventedEngine

FOUR = Path(__file__).parents[2] / "engines" / "road_four_sleeve.toml"
ENGINE = read_engine(FOUR)
SETTINGS = [Setting(label=f"{x}", intake_travel_m=x / 5000) for x in (0, 24, 48)]
LOW = ENGINE.displacement_m3 * 1e5 / (4 * math.pi)  # 1 bar


@pytest.fixture(scope="module")
def sweeps():
    return swept(ENGINE, InventedEngine(ENGINE), SETTINGS, [2000.0, 6000.0], LOW)


def test_throttle_area_is_that_of_the_plate():
    # 60 mm, 0.85 of it free.
    assert throttle_area_m2(ENGINE) == pytest.approx(0.85 * math.pi / 4 * 0.060**2)
    assert opening_for(ENGINE, 6000.0, 0.5) == pytest.approx(3 * opening_for(ENGINE, 2000.0, 0.5))


def test_every_sweep_reaches_down_to_the_lightest_load(sweeps):
    for sweep in sweeps.values():
        assert 0.5 * LOW < sweep.least_Nm <= LOW
        assert sweep.log_opening[-1] == 0.0
        assert len(sweep.log_opening) == 7


def test_torque_is_had_where_the_curve_says(sweeps):
    engine = InventedEngine(ENGINE)
    for (_, speed), sweep in sweeps.items():
        for torque in (1.1 * LOW, 3 * LOW, 6 * LOW):
            figures = sweep.at_torque(torque)
            opening = math.exp(figures["log_opening"])
            row = engine.row(
                Point(sweep.setting, Operating(speed_rpm=speed, throttle=opening, lambda_=1.0))
            )
            assert row["torque_Nm"] == pytest.approx(torque, rel=0.02)
            # Fuel is nearly straight over torque, so it is surer than the opening.
            per_work = figures["fuel_kg_per_s"] / (torque * speed * math.pi / 30)
            assert per_work == pytest.approx(row["bsfc_kg_per_J"], rel=0.005)


def test_both_ends_of_a_sweep_can_be_asked_for(sweeps):
    sweep = sweeps["24", 2000.0]
    assert sweep.at_torque(sweep.most_Nm)["log_opening"] == pytest.approx(0.0)
    assert sweep.at_torque(sweep.least_Nm) is not None
    assert sweep.at_torque(1.001 * sweep.most_Nm) is None
    assert sweep.at_torque(0.999 * sweep.least_Nm) is None


def test_equal_torque_is_equal_indicated_work(sweeps):
    some = [sweeps[s.label, 2000.0] for s in SETTINGS]
    found = at_equal_torque(some, some[0], 4 * LOW, 0.005)
    assert [one.setting.label for one in found] == ["0", "24", "48"]
    # The one that fills worst needs most manifold pressure, pumps and burns least.
    by_manifold = sorted(found, key=lambda one: one.figures["manifold_pressure_Pa"])
    assert [one.fuel_saved for one in by_manifold] == sorted(one.fuel_saved for one in found)
    for one in found:
        low, high = one.fuel_saved_band
        assert low < one.fuel_saved < high
    assert found[0].fuel_saved == pytest.approx(0.0)
    assert math.isnan(fuel_saved(some[1], some[0], 1e4))


def test_what_does_not_settle_or_makes_no_torque_is_left_out():
    engine = InventedEngine(ENGINE)
    rows = [
        engine.row(Point(SETTINGS[0], Operating(speed_rpm=2000.0, throttle=x, lambda_=1.0)))
        for x in (0.002, 0.02, 0.1, 1.0)
    ]
    assert rows[0]["torque_Nm"] < 0
    rows[2] |= {"settled": False}
    sweep = sweep_of(SETTINGS[0], 2000.0, rows)
    assert sweep.left_out == 2
    assert np.exp(sweep.log_opening) == pytest.approx([0.02, 1.0])


def test_an_opening_that_fails_is_backed_away_from():
    engine = InventedEngine(ENGINE)
    rows = [
        engine.row(Point(SETTINGS[0], Operating(speed_rpm=2000.0, throttle=x, lambda_=1.0)))
        for x in (0.01, 0.04, 1.0)
    ]
    rows[0] |= {"settled": False}
    assert next_openings(rows, LOW) == [pytest.approx(0.02)]


def test_torque_that_falls_with_opening_further_is_not_used():
    engine = InventedEngine(ENGINE)
    rows = [
        engine.row(Point(SETTINGS[0], Operating(speed_rpm=2000.0, throttle=x, lambda_=1.0)))
        for x in (0.02, 0.1, 0.3, 1.0)
    ]
    rows[3]["torque_Nm"] = 0.98 * rows[2]["torque_Nm"]
    sweep = sweep_of(SETTINGS[0], 2000.0, rows)
    assert np.exp(sweep.log_opening[-1]) == pytest.approx(0.3)
    assert np.all(np.diff(sweep.figures["torque_Nm"]) > 0)

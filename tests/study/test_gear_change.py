"""An actuator of limited speed on a gear change."""

from __future__ import annotations

import numpy as np
import pytest

from breathe.study.control.gear_change import (
    STEP_S,
    Actuator,
    Change,
    change_gear,
    follow,
    time_to_cross_s,
)
from breathe.study.control.map_file import Table

TABLE = Table(
    name="", unit="deg crank", load_name="", load_unit="kPa", step=0.5,
    speeds_rpm=(4000.0, 7000.0), loads=(40.0, 100.0),
    values=np.array([[280.0, 280.0], [240.0, 270.0]]),
)  # fmt: skip


def torque(speed, setting):
    best = np.interp(speed, TABLE.speeds_rpm, TABLE.values[1])
    return 200.0 * (1 - ((setting - best) / 100.0) ** 2)


def test_time_to_cross():
    # 5.6 mm at 40 mm/s: computed.
    assert time_to_cross_s(5.6, 40.0) == pytest.approx(0.14)


def test_it_moves_no_faster_than_its_slew_and_stays_put_within_its_hysteresis():
    target = np.concatenate([np.full(50, 240.0), np.full(50, 240.9), np.full(300, 260.0)])
    course = follow(target, Actuator(slew_per_s=200.0, hysteresis=1.0))
    assert np.max(np.abs(np.diff(course))) <= 200.0 * STEP_S + 1e-9
    assert np.all(course[:100] == 240.0)
    assert course[-1] == pytest.approx(260.0)
    # 20 degrees at 200 deg/s.
    assert np.argmax(course > 259.999) - 100 == pytest.approx(100, abs=2)


def test_the_lag_costs_torque_only_while_it_lasts():
    quick, slow = (
        change_gear(
            TABLE, Change(from_rpm=6500, to_rpm=4700, lasts_s=0.3), Actuator(slew_per_s=s,
            hysteresis=1.0), torque,
        )
        for s in (1e6, 100.0)
    )  # fmt: skip
    assert quick.worst < 1e-3 and quick.behind_s == 0.0
    assert slow.worst > 0.05
    # From 280 to 247 degrees at 100 deg/s, within half a percent for the last 7 of them.
    assert slow.behind_s == pytest.approx(0.26, abs=0.02)
    assert slow.torque_lost[-1] == 0.0
    assert np.all(slow.torque_lost[(slow.time_s >= 0) & (slow.time_s < 0.299)] == 0.0)

"""Savings of fuel if the charge burnt otherwise, on INVENTED figures."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from breathe.engine.parts import Setting
from breathe.engine.read import read_engine
from breathe.study.control.burn import (
    SLOWER,
    burning_slower,
    fuel_slope,
    savings_otherwise,
    slower_fuel,
)
from breathe.study.control.part_load import FIGURES, Sweep

ENGINE = read_engine(Path(__file__).parents[2] / "engines" / "road_four_sleeve.toml")


def sweep(label: str, least_Nm: float) -> Sweep:
    """Fuel 1e-5 kg/s a newton metre over an idle of 2e-4; torque 50 a doubling of the opening."""
    opening = np.linspace(math.log(0.01), 0.0, 8)
    torque = least_Nm + 50.0 / math.log(2) * (opening - opening[0])
    columns = {name: np.zeros(8) for name in FIGURES}
    columns |= {"torque_Nm": torque, "log_opening": opening, "fuel_kg_per_s": 2e-4 + 1e-5 * torque}
    return Sweep(Setting(label=label), 2000.0, opening, columns)


def test_the_slope_is_that_of_the_sweep():
    assert fuel_slope(sweep("a", 10.0), 100.0) == pytest.approx(1e-5)


def test_fuel_is_told_at_the_torque_asked():
    """The slower burn gives 3 Nm less for the same fuel: those 3 Nm cost their share."""
    sweeps = [sweep("a", 10.0), sweep("b", 150.0), sweep("c", 20.0)]

    def evaluate(points):
        rows = []
        for point in points:
            own = next(s for s in sweeps if s.setting.label == point.setting.label)
            u = math.log(point.operating.throttle)
            torque = float(np.interp(u, own.log_opening, own.figures["torque_Nm"]))
            fuel = 2e-4 + 1e-5 * torque
            power = (torque - 3.0) * 2000.0 * math.pi / 30
            rows.append(
                {
                    "settled": point.setting.label != "c",
                    "torque_Nm": torque - 3.0,
                    "power_W": power,
                    "bsfc_kg_per_J": fuel / power,
                }
            )
        return rows

    fuel = slower_fuel(evaluate, sweeps, 100.0, 1.0)
    assert fuel[0] == pytest.approx(2e-4 + 1e-5 * 103.0)
    # The second never gives so little torque; the third did not settle.
    assert math.isnan(fuel[1]) and math.isnan(fuel[2])


def test_savings_by_hand():
    # Saved 2 %; slower, the setting burns 2 % more and the standard 1 %: 1 - 0.98 x 1.02 / 1.01.
    slower, quicker, less, more = savings_otherwise(0.02, (1.02, 1.01), 1.10)
    assert slower == pytest.approx(0.010297, abs=1e-6)
    assert quicker == pytest.approx(0.04 - 0.010297, abs=1e-6)
    # 2 % of fuel for 20 % of length: half of a tenth longer is half of ln 1.1 / ln 1.2 of 2 %.
    off = 0.98 * 0.5 * math.log(1.02) * math.log(1.10) / math.log(1.20)
    assert (less, more) == (pytest.approx(0.02 - off), pytest.approx(0.02 + off))
    assert savings_otherwise(0.02, (math.nan, 1.01), 1.1) == []


def test_only_the_burn_is_slower():
    slow = burning_slower(ENGINE)
    assert slow.burn.duration_10_90_deg == pytest.approx(ENGINE.burn.duration_10_90_deg * SLOWER)
    assert slow.burn.ca50_best_deg == ENGINE.burn.ca50_best_deg and slow.pipes == ENGINE.pipes

"""How long the intake valve chokes, against the pressures either side of it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from breathe.cycle.layout import Resolution
from breathe.cycle.result import Cycle, simulate
from breathe.engine.parts import Operating
from breathe.engine.read import read_engine
from breathe.valvetrain.dwell import case

ENGINE = read_engine(Path(__file__).parents[2] / "engines" / "single_400.toml")
COARSE = Resolution(0.03, 0.06)


def cycle(label: str, speed_rpm: float) -> Cycle:
    setting = next(s for s in ENGINE.settings if s.label == label)
    ready = case(ENGINE, setting, Operating(speed_rpm=speed_rpm))
    return simulate(ready, resolution=COARSE, limit=6, traces=True)[0]


def test_choking_lasts_as_long_as_the_pressure_ratio_is_beyond_the_critical_one():
    found = cycle("220°", 16_000.0)  # far beyond its limit, where it surely chokes
    assert found.trace is not None
    ratio = found.trace.intake_port_pressure_Pa[0] / found.trace.cylinder_pressure_Pa[0]
    inward = found.trace.intake_flow_kg_per_s[0] > 0
    # ((k + 1) / 2)^(k / (k - 1)) is 1.893 for k = 1.40 and 1.86 for the 1.35 of a warm mixture
    # (NACA Report 1135, 1953, eq. 44 at M 1; recomputed). What stagnates in the port at up to Mach
    # 0.5 adds as much as 19 % to its pressure.
    least = np.count_nonzero(inward & (ratio > 1.90))
    most = np.count_nonzero(inward & (ratio > 1.85 / 1.19))
    assert least > 20
    assert least - 1 <= found.choked_deg <= most + 1


@pytest.mark.parametrize(("label", "speed_rpm"), [("220°", 13_000.0), ("300°", 3000.0)])
def test_choking_lasts_if_and_only_if_mach_reaches_one(label, speed_rpm):
    found = cycle(label, speed_rpm)
    assert (found.choked_deg > 0) == (found.intake_mach_peak >= 1.0)
    assert found.row()["choked_deg"] == found.choked_deg

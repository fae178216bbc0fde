"""Grid and step: what the default resolution costs in volumetric efficiency.

Both grids start from the same first guess and march the same few cycles, so that only the grid
differs; burning is phased alike, so that the knock limit has no say.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from filling_bench import filling_bench

from breathe.cycle.layout import Resolution
from breathe.cycle.result import simulate
from breathe.engine.parts import Engine, Operating
from breathe.engine.read import read_engine
from breathe.valvetrain.dwell import case

ENGINES = Path(__file__).parents[2] / "engines"
DEFAULT = Resolution()


@cache
def supplied(name: str) -> Engine:
    engine = read_engine(ENGINES / f"{name}.toml")
    return replace(engine, burn=replace(engine.burn, ca50_deg=10.0))


def coarser(factor: float) -> Resolution:
    return replace(
        DEFAULT,
        intake_cell_m=factor * DEFAULT.intake_cell_m,
        exhaust_cell_m=factor * DEFAULT.exhaust_cell_m,
        step_deg=factor * DEFAULT.step_deg,
    )


@cache
def ve(
    name: str, label: str, rpm: float, resolution: Resolution, cycles: int, throttle: float = 1.0
) -> float:
    """Volumetric efficiency of the last of so many cycles from the first guess [-]."""
    engine = supplied(name)
    setting = next(s for s in engine.settings if s.label == label)
    ready = case(engine, setting, Operating(speed_rpm=rpm, throttle=throttle))
    done, _ = simulate(ready, resolution=resolution, tolerance=0.0, limit=cycles)
    assert done.cycles == cycles and math.isfinite(done.torque_Nm)
    return done.volumetric_efficiency_ambient


@pytest.mark.parametrize(
    ("name", "label", "rpm"),
    [
        ("single_400", "220°", 2000.0),
        ("single_400", "std", 3000.0),
        ("single_400", "300°", 6000.0),
        ("single_400", "220°", 10000.0),
        ("road_four", "264°", 2500.0),
        ("road_four_sleeve", "288°", 6500.0),
        ("pushrod_eight", "std", 1500.0),
        ("pushrod_eight", "std", 5700.0),
    ],
)
def test_default_grid_is_within_half_a_percent_of_one_four_times_finer(name, label, rpm):
    fine = ve(name, label, rpm, coarser(0.25), 5)
    assert ve(name, label, rpm, DEFAULT, 5) == pytest.approx(fine, rel=0.005)


@pytest.mark.parametrize("factor", [0.7, 0.5, 0.25])
def test_finer_grids_stay_alive(factor):
    # The exhaust pulse wants to enter the pipe faster than sound here, more so on finer cells.
    fine = ve("single_400", "std", 9000.0, coarser(factor), 5)
    assert ve("single_400", "std", 9000.0, DEFAULT, 5) == pytest.approx(fine, rel=0.005)


def test_error_falls_with_the_cell_size():
    # Second order inside the pipes, first at a moving valve and at a reversal: between the two.
    points = [(label, rpm) for label in ("220°", "std", "300°") for rpm in (2000.0, 4500.0, 7500.0)]

    def rms(factor: float) -> float:
        exact = np.array([ve("single_400", *p, coarser(0.25), 6) for p in points])
        ours = np.array([ve("single_400", *p, coarser(factor), 6) for p in points])
        return float(np.sqrt(np.mean((ours / exact - 1) ** 2)))

    four, two, one, half = (rms(f) for f in (4.0, 2.0, 1.0, 0.5))
    assert four > two > one > half
    assert math.log(four / half) / math.log(8) >= 1.0
    assert one < 0.001


def test_pipe_converges_at_second_order():
    # A second implementation of the filling bench (0.35 m x 48 mm pipe) found that 40, 20, 10
    # cells differ from 160 by at most 0.0003, 0.0008, 0.003 in e_v, over 50 points (computed).
    @cache
    def filling(dwell: float, rpm: float, cells: int) -> float:
        return filling_bench(
            bore=0.1016, stroke=0.08839, rod=0.14478, compression_ratio=10.0, valve_count=1,
            valve_diameter=0.0513, max_lift=0.012, flank=90.0, dwell=dwell, speed=rpm,
            pipe_length=0.350, pipe_bore=0.048, cells=cells,
        ).volumetric_efficiency  # fmt: skip

    points = [(dwell, rpm) for dwell in (30.0, 70.0) for rpm in (3000.0, 5000.0, 7000.0)]
    error = {
        cells: max(abs(filling(*p, cells) - filling(*p, 160)) for p in points)
        for cells in (10, 20, 40)
    }
    assert error[40] <= 0.0003
    assert error[20] <= 0.0008
    assert error[10] <= 0.003
    assert math.log2(error[10] / error[40]) / 2 >= 1.5


# --- Low speed ------------------------------------------------------------------------------------
# The nozzle law has infinite slope at equal pressures: explicit steps of half to two degrees gave
# e_v 5 to 10 % too high at 1000 rpm throttled in a model without pipes.
TIGHT = replace(DEFAULT, courant=0.2, step_deg=0.1)


@pytest.mark.parametrize("rpm", [800.0, 1500.0])
@pytest.mark.parametrize("throttle", [0.05, 0.1, 0.2, 1.0])
def test_low_speed_needs_no_tighter_steps(rpm, throttle):
    tight = ve("single_400", "std", rpm, TIGHT, 5, throttle)
    assert ve("single_400", "std", rpm, DEFAULT, 5, throttle) == pytest.approx(tight, rel=0.003)


@pytest.mark.slow
@pytest.mark.parametrize("throttle", [0.05, 0.2])
def test_low_speed_with_a_plenum_needs_no_tighter_steps(throttle):
    tight = ve("road_four_sleeve", "std", 1000.0, TIGHT, 5, throttle)
    ours = ve("road_four_sleeve", "std", 1000.0, DEFAULT, 5, throttle)
    assert ours == pytest.approx(tight, rel=0.003)

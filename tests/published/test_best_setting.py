"""The best setting and what a variable cam gains, against what is published about cam timing.

Benches are those of `test_filling` (an R1 cylinder: 101.6 x 88.39 mm, rod 144.78 mm, compression
ratio 10, one inlet valve of 51.3 mm); the whole engine is the supplied pushrod eight, whose bore,
stroke, rod, compression ratio and valve heads are the same. The search is the program's own.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import test_filling as bench
from filling_bench import Bench
from scipy.optimize import brentq

from breathe.engine.parts import Engine
from breathe.engine.read import read_engine
from breathe.study.evaluate import Evaluator
from breathe.study.gear import Axis, Gear, gear_of
from breathe.study.search.surface import Peak, peaks, response
from breathe.study.search.survey import Survey, design, point_at
from breathe.valvetrain.dwell import case
from breathe.valvetrain.timing import seat_timing

ENGINES = Path(__file__).parents[2] / "engines"


# --- Without ram ----------------------------------------------------------------------------------
# Exhaust shut, area a half-sine from 10 BTDC to the closing, from TDC; Z with the mean area.


@cache
def half_sine(z: float, closes_abdc: float) -> float:
    """e_v of the bench at inlet Mach index ``z``, closing at ``closes_abdc``."""
    span = 190.0 + closes_abdc
    angle = np.arange(14400) * (720.0 / 14400)
    peak = 0.5 * bench.HEAD**2
    shape = np.sin(np.pi * np.minimum((angle + 10.0) / span, 1.0))
    speed = z * 2 / math.pi * peak * bench.SOUND
    speed /= float(bench.bore_area(bench.R1)) * 2 * bench.STROKE / 60
    stroke = Bench(
        bench.R1, peak * np.maximum(shape, 0.0), 180.0 + closes_abdc, speed,
        (1e5, bench.INLET_K), (1e5, 1100.0), bench.ideal_gas(), bench.GAMMA,
    )  # fmt: skip
    return float(bench.fill_at_the_valve(stroke).volumetric_efficiency)


def knee(closes_abdc: float) -> float:
    """Z at which e_v lies 2 % below its value at Z 0.4."""
    level = 0.98 * half_sine(0.4, closes_abdc)
    return float(brentq(lambda z: half_sine(round(z, 6), closes_abdc) - level, 0.4, 1.0, xtol=1e-3))


@pytest.mark.parametrize("closes", [45.0, 50.0, 60.0])
def test_a3_filling_falls_fast_from_the_knee(closes):
    # Dictionary of mechanical engineering of the Japanese society (JSME), inlet Mach index: drops
    # sharply above 0.5 (read); a cylinder-head shop's technical page: 0.55 (read).
    assert 0.50 <= knee(closes) <= 0.65


def test_a3_later_closing_moves_the_knee_up():
    # 0.70 to 0.85 with closing at 90 ABDC: computed.
    assert 0.70 <= knee(90.0) <= 0.85


# Best closing [deg ABDC] by Z. Computed, recomputed within 1.5 degrees by a second implementation;
# about +8 degrees per 0.1 in Z.
BEST_CLOSING = {0.5: 31, 0.6: 38, 0.7: 47, 0.8: 55, 0.9: 63, 1.0: 71, 1.2: 84}


@pytest.mark.parametrize(("z", "published"), BEST_CLOSING.items())
def test_b4_best_closing_without_ram(z, published):
    places = np.arange(10.0, 107.0, 16.0)[:, None]
    curve = response(places, [half_sine(z, float(x)) for x in places[:, 0]])
    found = peaks(curve, places, [10.0], [106.0])[0]
    assert found.place[0] == pytest.approx(published, abs=6.0)


# --- Gain of a variable cam over the best fixed one -----------------------------------------------
BAND = tuple(1500.0 + 500.0 * n for n in range(12))
EQUAL = [1 / len(BAND)] * len(BAND)


@cache
def filling_search(piped: bool) -> tuple[np.ndarray, Peak, float]:
    """Best e_v at each speed of `BAND`, the best fixed closing, and the mean with closing at 70."""
    pipe = bench.LONG_PIPE if piped else None
    gear = Gear((Axis("intake", "dwell", 0.0, 80.0, 5000.0),), ())

    def e_v(points):
        return [
            {
                "torque_Nm": bench.ve(
                    30 + 5000 * p.setting.intake_travel_m, p.operating.speed_rpm, pipe, cells=20
                ),
                "settled": True,
            }
            for p in points
        ]

    survey = Survey(gear, BAND, e_v)
    survey.run((speed, place) for speed in BAND for place in design(gear.axes))
    tops = survey.tops()
    at_70 = float(np.mean([bench.ve(70, speed, pipe, cells=20) for speed in BAND]))
    return np.array([tops[s].value for s in BAND]), survey.fixed(BAND, EQUAL), at_70


# Mean e_v 1500 to 7000 rpm in steps of 500, dwell 30 to 110 degrees: gain over the best fixed
# closing, and over 70 ABDC [%]; computed, recomputed in 5 degree steps. Best fixed 35 and 50 ABDC.
@pytest.mark.parametrize(
    ("piped", "published", "over_70"), [(False, 0.53, None), (True, 3.93, 7.0)]
)
def test_h1_variable_over_the_best_fixed_dwell(piped, published, over_70):
    best, fixed, at_70 = filling_search(piped)
    # 1.5 points is the published tolerance; the set-up here is the same, so 0.15 must do.
    assert 100 * (best.mean() / fixed.value - 1) == pytest.approx(published, abs=0.15)
    if over_70 is not None:
        assert 100 * (best.mean() / at_70 - 1) == pytest.approx(over_70, abs=0.15)
    assert 30 + fixed.place[0] == pytest.approx(50 if piped else 35, abs=5.0)


def test_b7_closing_at_the_right_moment_on_the_bench():
    # W. Lenz, Wichart, Gruden, SAE 880388, 1988, abstract (read): up to 8 % more low-speed torque;
    # 4 to 12 % over a fixed closing at 60 to 70 ABDC at 1000 to 2000 rpm. On this bench, computed,
    # recomputed: 8.6 % for 60 to 20 ABDC at 1000 rpm.
    best = max(bench.ve(closes, 1000) for closes in (20, 30, 40))
    assert 100 * (best / bench.ve(60, 1000) - 1) == pytest.approx(8.6, abs=0.3)
    assert 0.04 <= best / bench.ve(70, 1000) - 1 <= 0.16


# --- The whole engine -----------------------------------------------------------------------------
EIGHT_SPEEDS = (2000.0, 3200.0, 4400.0, 5200.0, 5800.0, 6400.0)


@cache
def eight() -> Engine:
    return read_engine(ENGINES / "pushrod_eight.toml")


@cache
def eight_search() -> tuple[Survey, dict[float, Peak]]:
    gear = gear_of(eight())
    survey = Survey(gear, EIGHT_SPEEDS, Evaluator(eight()))
    survey.run((speed, place) for speed in EIGHT_SPEEDS for place in design(gear.axes))
    return survey, survey.tops()


def eight_torque(dwell_deg: float) -> np.ndarray:
    survey, _ = eight_search()
    return np.array([survey.response(s)(np.array([[dwell_deg]]))[0] for s in EIGHT_SPEEDS])


def peak_power(speeds, torque: np.ndarray) -> Peak:
    """Place [rpm] and size of the largest torque x speed."""
    at = np.array(speeds)[:, None]
    return peaks(response(at, torque * at[:, 0]), at, [at.min()], [at.max()])[0]


def eight_best() -> np.ndarray:
    _, tops = eight_search()
    return np.array([tops[s].value for s in EIGHT_SPEEDS])


def test_h1_a_complete_engine_gains_2_to_10_percent():
    # The same source: a complete engine 2 to 10 % over its best fixed dwell.
    survey, _ = eight_search()
    fixed = survey.fixed(EIGHT_SPEEDS, [1 / len(EIGHT_SPEEDS)] * len(EIGHT_SPEEDS))
    assert 0.02 <= eight_best().mean() / fixed.value - 1 <= 0.10


TOO_LATE = pytest.mark.xfail(strict=True, reason="closing at 70 ABDC: +13.8 %")


@pytest.mark.parametrize("closes_abdc", [60.0, 65.0, pytest.param(70.0, marks=TOO_LATE)])
def test_b7_closing_at_the_right_moment_on_the_engine(closes_abdc):
    # SAE 880388 as above: 4 to 12 % over a fixed closing at 60 to 70 ABDC, at 2000 rpm.
    resting = point_at(gear_of(eight()).setting((0.0,)), 2000.0)
    event = seat_timing(case(eight(), resting.setting, resting.operating).intake, "intake")
    dwell = 540.0 + closes_abdc - event.closes_deg
    gain = eight_best()[0] / eight_torque(dwell)[0] - 1
    assert 0.04 <= gain <= 0.12


def test_h2_power_over_a_cam_for_low_speed():
    # SAE 930878, 1993, abstract (read): +20 % power over the forerunner, other parts changed too;
    # 5 to 20 % against a cam chosen for low-speed torque.
    survey, _ = eight_search()
    low = survey.fixed(EIGHT_SPEEDS[:2], [0.5, 0.5])
    variable, short = (
        peak_power(EIGHT_SPEEDS[2:], torque[2:])
        for torque in (eight_best(), eight_torque(low.place[0]))
    )
    assert 0.05 <= variable.value / short.value - 1 <= 0.20


# Timing shift of the whole cam by 4 degrees. Directions: back-to-back dynamometer tests in a trade
# magazine (collected article, 2006) and NACA TN 1365 (summary), read. Sizes: common practice, no
# source. The spark is held at best torque, since here knock would hide part of the low-speed gain.
SHIFT_SPEEDS = (2000.0, 4800.0, 5200.0, 5600.0, 6000.0, 6400.0)


@cache
def shifted(shift_deg: float) -> np.ndarray:
    """Torque of the standard cam, intake and exhaust moved together, at `SHIFT_SPEEDS`."""
    engine = replace(eight(), burn=replace(eight().burn, ca50_deg=8.0))
    standard = next(s for s in engine.settings if s.label == engine.standard)
    moved = replace(
        standard,
        label=f"{shift_deg:+.0f}",
        intake_shift_deg=shift_deg,
        exhaust_shift_deg=shift_deg,
    )
    rows = Evaluator(engine)([point_at(moved, speed) for speed in SHIFT_SPEEDS])
    return np.array([float(row["torque_Nm"]) for row in rows])


def change(shift_deg: float, speed: float) -> float:
    at = SHIFT_SPEEDS.index(speed)
    return float(shifted(shift_deg)[at] / shifted(0.0)[at] - 1)


@pytest.mark.parametrize("top", [6000.0, 6400.0])
def test_b6_advance_helps_low_down_and_hurts_at_the_top(top):
    assert change(-4.0, 2000.0) > 0 > change(-4.0, top)
    assert change(4.0, 2000.0) < 0 < change(4.0, top)


def test_b6_sizes_of_retard():
    assert 0.01 <= -change(4.0, 2000.0) <= 0.03
    assert 0.01 <= change(4.0, 6000.0) <= 0.03


@pytest.mark.xfail(strict=True, reason="advance: +0.7 % at 2000 rpm, -3.7 % at 6000 rpm")
def test_b6_sizes_of_advance():
    assert 0.01 <= change(-4.0, 2000.0) <= 0.03
    assert 0.01 <= -change(-4.0, 6000.0) <= 0.03


@pytest.mark.xfail(strict=True, reason="retard: -1.3 % at 2000 rpm, +2.4 % at 6000 rpm")
def test_b6_retard_loses_more_low_down_than_it_gains_at_the_top():
    assert -change(4.0, 2000.0) > change(4.0, 6000.0)


def power_peak_rpm(shift_deg: float) -> float:
    return peak_power(SHIFT_SPEEDS[1:], shifted(shift_deg)[1:]).place[0]


def test_b6_the_power_peak_moves_with_the_cam():
    assert power_peak_rpm(-4.0) < power_peak_rpm(0.0) < power_peak_rpm(4.0)


@pytest.mark.xfail(strict=True, reason="the power peak moves by 91 and 78 rpm")
def test_b6_the_power_peak_moves_100_to_300_rpm():
    moves = [abs(power_peak_rpm(shift) - power_peak_rpm(0.0)) for shift in (-4.0, 4.0)]
    assert all(100 <= move <= 300 for move in moves)

"""Load control by late closing, and what duration does to idle and to the curve, as published."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from late_closing_ideal import Ideal

from breathe.engine.parts import Engine, Operating, Setting
from breathe.engine.read import read_engine
from breathe.study.choose import setting_named
from breathe.study.compare import Row
from breathe.study.control.cells import bmep_of, torque_of
from breathe.study.control.part_load import Sweep, fuel_saved, swept, with_fuel
from breathe.study.evaluate import Evaluator, Point
from breathe.valvetrain.dwell import event, lift_curve
from breathe.valvetrain.lobe import lobe_from_card
from breathe.valvetrain.timing import overlap_deg

EIGHT = Path(__file__).parents[2] / "engines" / "pushrod_eight.toml"
SPEED = 2000.0
DWELLS = (90.0, 110.0)
"""Added to the eight's shortest intake opening, which closes at 22 ABDC with its lash: 112 and 132
ABDC, where its own sleeve of 72 degrees ends at 94."""


@cache
def eight() -> Engine:
    """The supplied two-valve eight with a sleeve long enough for the published closings."""
    engine = read_engine(EIGHT)
    sleeve = engine.intake_cam.sleeve
    assert sleeve is not None
    longer = replace(sleeve, travel_max_m=120.0 / sleeve.crank_deg_per_m)
    return replace(engine, intake_cam=replace(engine.intake_cam, sleeve=longer))


@cache
def run() -> Evaluator:
    return Evaluator(eight())


def dwelt(degrees: float) -> Setting:
    sleeve = eight().intake_cam.sleeve
    assert sleeve is not None
    return Setting(label=f"{degrees:g}", intake_travel_m=degrees / sleeve.crank_deg_per_m)


def standard() -> Setting:
    return setting_named(eight(), eight().standard)


@cache
def sweeps() -> dict[str, Sweep]:
    """Standard and late closing with the throttle swept from full load to 2 bar."""
    settings = [standard(), *(dwelt(x) for x in DWELLS)]
    found = swept(eight(), run(), settings, [SPEED], torque_of(eight(), 2e5), rounds=2)
    return {label: sweep for (label, _), sweep in found.items()}


def saved(dwell: float, bmep_Pa: float) -> float:
    """Share of the standard's fuel saved at equal torque."""
    found = sweeps()
    return fuel_saved(found[f"{dwell:g}"], found["std"], torque_of(eight(), bmep_Pa))


def at(label: str, bmep_Pa: float) -> dict[str, float]:
    figures = sweeps()[label].at_torque(torque_of(eight(), bmep_Pa))
    assert figures is not None
    return figures


def pumping_saved(dwell: float, bmep_Pa: float) -> float:
    return 1.0 - at(f"{dwell:g}", bmep_Pa)["pmep_Pa"] / at("std", bmep_Pa)["pmep_Pa"]


# --- D1: the ideal ceiling ------------------------------------------------------------------------
# Constant gamma 1.3, 340 K at closing, 2.0 MJ heat per kg of all gas, 1 bar outside, ratio 10:
# net imep bar, manifold pressure bar, fuel saved %. Computed and recomputed to the last digit.
CEILING = [
    (2, 0.243, 7.2),
    (3, 0.324, 6.5),
    (4, 0.405, 5.7),
    (5, 0.485, 4.9),
    (6, 0.566, 4.1),
    (8, 0.728, 2.5),
]


@pytest.mark.parametrize(("net_bar", "manifold_bar", "percent"), CEILING)
def test_d1_the_ideal_table(net_bar, manifold_bar, percent):
    assert Ideal().throttled(net_bar * 1e5)[0] / 1e5 == pytest.approx(manifold_bar, abs=6e-4)
    assert 100 * Ideal().fuel_saved(net_bar * 1e5) == pytest.approx(percent, abs=0.06)


@pytest.mark.parametrize("dwell", DWELLS)
@pytest.mark.parametrize("bmep_bar", [2.0, 3.0, 4.0])
def test_d1_late_closing_never_saves_more_than_the_ideal_cycle(dwell, bmep_bar):
    # At equal compression ratio, here 10 as in the table. The standard's own intake closes late
    # too, so its manifold is less throttled than the ideal one's.
    if sweeps()[f"{dwell:g}"].most_Nm < torque_of(eight(), bmep_bar * 1e5):
        assert dwell == 110.0 and bmep_bar == 4.0  # it gives no more with the throttle open
        return
    net = at("std", bmep_bar * 1e5)["imep_net_Pa"]
    assert 0.0 < saved(dwell, bmep_bar * 1e5) < Ideal().fuel_saved(net)


@pytest.mark.parametrize(
    "bmep_bar",
    [
        2.0,
        3.0,
        pytest.param(
            4.0, marks=pytest.mark.xfail(strict=True, reason="2.7 %; the ideal cycle allows 4.9 %")
        ),
    ],
)
def test_d1_a_full_model_saves_3_to_13_percent(bmep_bar):
    # The same table's tolerance for a full model at 2 to 4 bar bmep.
    assert 0.03 <= np.nanmax([saved(x, bmep_bar * 1e5) for x in DWELLS]) <= 0.13


# --- D2 to D5: measured late closing --------------------------------------------------------------


def test_d2_the_saving_falls_towards_full_load():
    # Saunders and Abdul-Wahab, SAE 890677, 1989, abstract (read; authors from memory).
    found = [saved(90.0, bar * 1e5) for bar in (2.0, 3.0, 4.0)]
    assert found[0] > found[1] > found[2] > 0.0


@pytest.mark.xfail(strict=True, reason="best point saves 4.6 %: the ideal cycle allows 6.5 %")
def test_d2_best_point_saves_6_to_14_percent():
    # The same: up to 13 % at some points, 1500 to 3000 rpm, 2 to 5 bar bmep.
    assert 0.06 <= max(saved(x, 2e5) for x in DWELLS) <= 0.14


def test_d3_variable_inlet_period_without_throttle():
    # SAE 880388, 1988, abstract (read): low part load fuel -4 %, pumping work -20 to -50 %; sizes
    # half to twice. Its idle, -10 %, is outside what is trusted here.
    assert 0.02 <= saved(90.0, 2e5) <= 0.08
    assert 0.10 <= pumping_saved(90.0, 2e5) <= 1.00


def test_d4_late_closing_pumps_and_burns_less():
    # J. H. Tuttle, SAE 800794, 1980: direction read in the abstract, -40 % pumping and -6.5 % isfc
    # at mid load from memory, sizes half to one and a half times.
    for dwell in DWELLS:
        assert pumping_saved(dwell, 3e5) > 0.0
        assert saved(dwell, 3e5) > 0.0
    assert 0.20 <= pumping_saved(90.0, 3e5) <= 0.60
    assert 0.0325 <= saved(110.0, 3e5) <= 0.0975


def test_d5_pumping_20_to_30_percent_less_with_fuel_3_to_12_percent_less():
    # Hu, Zhu, Xie, Chen, Zhao, MACE 2011, abstract (read): throttle-free lift control, 1500 to
    # 2500 rpm, 2 to 6 bar imep. Fuel per indicated work, which equal torque is here.
    assert 2e5 <= at("std", 2e5)["imep_net_Pa"] <= 6e5
    assert 0.20 <= pumping_saved(90.0, 2e5) <= 0.30
    assert 0.03 <= saved(90.0, 2e5) <= 0.12


# --- D6 and D7 ------------------------------------------------------------------------------------


def full_load(setting: Setting, speed_rpm: float) -> Row:
    [row] = run()([Point(setting, Operating(speed_rpm=speed_rpm))])
    return row


def test_d6_the_same_closing_is_another_load_at_every_speed():
    # Computed and recomputed, no pipe: closing at 110 ABDC leaves 0.398 quasi-statically, and fills
    # 0.615, 0.693, 0.725 at 1000, 3000, 6000 rpm. The engine has pipes, so only the order counts.
    filled = [
        full_load(dwelt(90.0), speed)["volumetric_efficiency_plenum"] for speed in (1000.0, 5000.0)
    ]
    assert 0.398 < filled[0] < filled[1] - 0.05


def test_d6_late_closing_alone_does_not_reach_idle():
    # The same: at 140 ABDC the valve cannot let the charge back in time; here 132 ABDC, 2000 rpm.
    assert bmep_of(eight(), sweeps()["110"].most_Nm) > 2e5


def fuel_mep(row: Row | dict[str, float], speed_rpm: float) -> float:
    """Heat of the fuel over displacement [Pa]; gasoline 43 MJ/kg (from memory)."""
    per_cycle = row["fuel_kg_per_s"] * 120.0 / speed_rpm
    return per_cycle * 43e6 / eight().displacement_m3


def test_d7_share_of_gas_exchange_and_friction():
    # Public tutorial on friction mean effective pressure (read), a typical car engine: gas exchange
    # 7 % of the fuel's energy at part load, 1 % at full load; 4 to 10 and 0.5 to 2 %.
    light = at("std", 2e5)
    assert 0.04 <= -light["pmep_Pa"] / fuel_mep(light, SPEED) <= 0.10
    top = with_fuel(full_load(standard(), 5000.0))
    assert 0.005 <= -top["pmep_Pa"] / fuel_mep(top, 5000.0) <= 0.02
    # Friction 9 and 3 %, +-20 % of any friction model and as much for the engine.
    assert 0.06 <= light["fmep_Pa"] / fuel_mep(light, SPEED) <= 0.13
    assert 0.02 <= top["fmep_Pa"] / fuel_mep(top, 5000.0) <= 0.065


# --- I: trade rules -------------------------------------------------------------------------------
# Common practice, no source: the trend and the order of size count, not the digits. Order of size
# is taken as half to twice. The standard cam has 218 degrees at 0.050 in and a lobe separation of
# 110: the row '214-224': torque peak 3300 to 4000, power peak 5000 to 5600 rpm, idle vacuum 14 to
# 17 inHg.
INTAKE_DEG, EXHAUST_DEG = 268.0, 276.0
INHG = 3386.389
PEAK_SPEEDS = (2000.0, 2900.0, 3300.0, 3700.0, 5300.0, 5600.0, 6000.0)


def cam(name: str) -> Setting:
    """The standard cam, 10 degrees longer, or with another lobe separation."""
    base = standard()
    if name == "+10":
        return replace(
            base,
            label=name,
            intake_stretch=1.0 + 10.0 / INTAKE_DEG,
            exhaust_stretch=1.0 + 10.0 / EXHAUST_DEG,
        )
    apart = {"std": 0.0, "106": -4.0}[name]
    return replace(base, label=name, intake_shift_deg=apart, exhaust_shift_deg=-apart)


@cache
def torque(name: str) -> np.ndarray:
    rows = run()([Point(cam(name), Operating(speed_rpm=n)) for n in PEAK_SPEEDS])
    return np.array([row["torque_Nm"] for row in rows])


def vertex(values: np.ndarray, first: int, last: int) -> tuple[float, float]:
    """Place and height of the parabola through three speeds."""
    a, b, c = np.polyfit(PEAK_SPEEDS[first:last], values[first:last], 2)
    return float(-b / (2 * a)), float(c - b * b / (4 * a))


def torque_peak(name: str) -> tuple[float, float]:
    return vertex(torque(name), 1, 4)


def power_peak(name: str) -> tuple[float, float]:
    return vertex(torque(name) * np.array(PEAK_SPEEDS), 4, 7)


@cache
def idle_vacuum_inHg() -> dict[str, float]:
    """Where the engine just turns itself at 800 rpm: the same small opening for every cam."""
    names = ("std", "+10", "106")
    idle = Operating(speed_rpm=800.0, throttle=0.006, lambda_=1.0)
    rows = run()([Point(cam(name), idle) for name in names])
    assert all(abs(row["bmep_Pa"]) < 0.25e5 for row in rows)
    outside = eight().air.pressure_Pa
    return {
        name: (outside - row["manifold_pressure_Pa"]) / INHG
        for name, row in zip(names, rows, strict=True)
    }


def test_i1_peaks_of_the_standard_cam():
    # Within a tenth of the ends of the band: trend and size, not digits.
    assert 0.9 * 3300 <= torque_peak("std")[0] <= 1.1 * 4000
    assert 0.9 * 5000 <= power_peak("std")[0] <= 1.1 * 5600


@pytest.mark.slow
def test_i1_idle_vacuum_of_the_standard_cam():
    assert 14.0 <= idle_vacuum_inHg()["std"] <= 17.5


@pytest.mark.slow
def test_i2_ten_degrees_longer_costs_vacuum_and_low_torque():
    # -1.5 to -3 inHg, -3 to -6 % at 2000 rpm.
    assert 0.75 <= idle_vacuum_inHg()["std"] - idle_vacuum_inHg()["+10"] <= 6.0
    assert 0.015 <= 1.0 - torque("+10")[0] / torque("std")[0] <= 0.12


def test_i2_ten_degrees_longer_moves_both_peaks_up():
    assert torque_peak("+10")[0] > torque_peak("std")[0]
    assert power_peak("+10")[0] > power_peak("std")[0]


@pytest.mark.xfail(strict=True, reason="about +60 and +100 rpm: tuned pipes hold the peaks")
def test_i2_by_400_to_600_and_500_to_800_rpm():
    assert torque_peak("+10")[0] - torque_peak("std")[0] >= 200.0
    assert power_peak("+10")[0] - power_peak("std")[0] >= 250.0


@pytest.mark.slow
def test_i3_lobe_separation():
    # Direction read in several trade tables; 1 to 2 % of peak torque and 1 to 2.5 inHg per 4 deg.
    (near, high), (own, middle) = torque_peak("106"), torque_peak("std")
    assert near < own
    assert 0.005 <= high / middle - 1.0 <= 0.04
    vacuum = idle_vacuum_inHg()
    assert 0.5 <= vacuum["std"] - vacuum["106"] <= 5.0


@pytest.mark.parametrize(
    ("intake", "exhaust", "separation", "published"), [(268, 280, 110, 54), (294, 306, 110, 80)]
)
def test_i4_overlap_from_durations_and_separation(intake, exhaust, separation, published):
    # (intake + exhaust) / 2 - 2 x separation; both examples read.
    engine = eight()
    height = 1e-4
    events = []
    for side, own, duration in (
        ("intake", engine.intake_cam, intake),
        ("exhaust", engine.exhaust_cam, exhaust),
    ):
        lobe, _ = lobe_from_card(float(duration), height, 0.011)
        cut = replace(own, lobe=lobe, centreline_deg=float(separation), lash_m=0.0, sleeve=None)
        events.append(event(cut, side=side))
    assert overlap_deg(events[0], events[1], height) == pytest.approx(published, abs=0.1)


def overlap_factor(
    angle_deg: np.ndarray,
    intake_m: np.ndarray,
    exhaust_m: np.ndarray,
    seats_m: tuple[float, float],
    swept_m3: float,
) -> float:
    """Overlap area over displacement [deg/m]: each valve's lift times seat diameter up to where
    both lifts are equal (A. E. Fox, W. K. Cheng, J. B. Heywood, SAE 931025, 1993, from memory)."""
    both = intake_m < exhaust_m
    area = seats_m[0] * np.where(both, intake_m, 0.0) + seats_m[1] * np.where(both, 0.0, exhaust_m)
    return float(np.trapezoid(area, angle_deg) / swept_m3)


@pytest.mark.parametrize(("duration", "published"), [(250, 0.258), (270, 1.014), (290, 2.383)])
def test_i5_overlap_factor_of_half_cosine_lifts(duration, published):
    # The eight's size, 11.4 mm, seats of 51.3 and 40.6 mm, separation 110: computed [deg/m].
    angle = np.arange(-60.0, 60.0, 0.01)

    def lift(nose):
        from_nose = angle - nose
        inside = np.abs(from_nose) < duration / 2
        return np.where(inside, 0.0057 * (1 + np.cos(2 * np.pi * from_nose / duration)), 0.0)

    swept = eight().swept_volume_m3
    found = overlap_factor(angle, lift(110.0), lift(-110.0), (0.0513, 0.0406), swept)
    assert found == pytest.approx(published, rel=0.02)


def factor_of(name: str) -> float:
    """Of a cam of the eight, lash taken off."""
    engine, setting = eight(), cam(name)
    angle = np.arange(300.0, 440.0, 0.1)
    lifts = []
    for side, which, stretch, shift in (
        ("intake", setting.intake_cam, setting.intake_stretch, setting.intake_shift_deg),
        ("exhaust", engine.exhaust_cam, setting.exhaust_stretch, setting.exhaust_shift_deg),
    ):
        curve = lift_curve(which, shift_deg=shift, stretch=stretch, side=side)
        lifts.append(np.maximum(np.nan_to_num(curve(angle)) - which.lash_m, 0.0))
    seats = engine.intake_valve.throat_diameter_m, engine.exhaust_valve.throat_diameter_m
    return overlap_factor(angle, lifts[0], lifts[1], seats, engine.swept_volume_m3)


@pytest.mark.slow
def test_i5_vacuum_falls_as_the_overlap_factor_rises():
    # Whatever made it rise: longer lobes or a smaller separation.
    vacuum = idle_vacuum_inHg()
    order = sorted(vacuum, key=factor_of)
    assert order[0] == "std"
    assert all(vacuum["std"] > vacuum[name] + 0.75 for name in order[1:])


@pytest.mark.xfail(strict=True, reason="2.0 deg/m: the rule would call this cam's idle very rough")
def test_i5_a_slight_idle_has_an_overlap_factor_of_0_3_to_0_8():
    # A judgement built on the relation of Fox, Cheng and Heywood, and at odds with the table of
    # durations: a half-cosine lift with 218 degrees at 0.050 in comes to 3 deg/m.
    assert 0.3 <= factor_of("std") <= 0.8


def test_bmep_and_torque_are_one():
    assert bmep_of(eight(), torque_of(eight(), 3e5)) == pytest.approx(3e5)

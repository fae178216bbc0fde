"""Cycle after cycle: that it repeats, that it closes, and that the numbers are the same again."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from breathe.cycle.burn import LONGEST_10_90_DEG
from breathe.cycle.layout import Resolution, model
from breathe.cycle.march import State
from breathe.cycle.result import Cycle, simulate
from breathe.cycle.settle import carried_over, settle
from breathe.engine.parts import Case, Engine, Operating
from breathe.engine.read import read_engine
from breathe.study.compare import compare
from breathe.valvetrain.dwell import case

ENGINES = Path(__file__).parents[2] / "engines"
NUMERICAL_ERROR = 0.005
"""What grid, step and settling together may cost, by the study's own word."""


@cache
def supplied(name: str) -> Engine:
    return read_engine(ENGINES / f"{name}.toml")


def ready(name: str, label: str, rpm: float, ca50_deg: float | None = None) -> Case:
    engine = supplied(name)
    engine = replace(engine, burn=replace(engine.burn, ca50_deg=ca50_deg))
    setting = next(s for s in engine.settings if s.label == label)
    return case(engine, setting, Operating(speed_rpm=rpm))


@cache
def settled(
    name: str, label: str, rpm: float, tolerance: float, ca50_deg: float | None = None
) -> tuple[Cycle, State]:
    return simulate(ready(name, label, rpm, ca50_deg), tolerance=tolerance, limit=600)


# --- It repeats -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("label", "rpm", "ca50_deg"),
    [("std", 6000.0, 10.0), ("std", 6000.0, None), ("240°", 3000.0, None), ("300°", 4000.0, None)],
    ids=["phased", "free", "knock-limited", "late closing"],
)
def test_nothing_but_round_off_keeps_a_cycle_from_repeating(label, rpm, ca50_deg):
    done, state = settled("single_400", label, rpm, 1e-10, ca50_deg)
    assert done.settled
    assert done.settling_residual < 1e-10
    again, _ = simulate(ready("single_400", label, rpm, ca50_deg), start=state, tolerance=1e-10)
    assert again.torque_Nm == pytest.approx(done.torque_Nm, rel=1e-8)
    assert again.volumetric_efficiency_ambient == pytest.approx(
        done.volumetric_efficiency_ambient, rel=1e-8
    )


@pytest.mark.parametrize("name", ["single_400", "road_four_sleeve", "pushrod_eight"])
def test_mass_and_energy_close(name):
    done, _ = settled(name, "std", 3500.0, 1e-3)
    assert abs(done.mass_closure) < 1e-10
    assert abs(done.energy_closure) < 1e-10


def test_closure_needs_no_settled_cycle():
    done, _ = simulate(ready("single_400", "std", 3500.0), limit=1)
    assert abs(done.mass_closure) < 1e-10
    assert abs(done.energy_closure) < 1e-10
    assert done.settling_residual > 0.01


# --- It says so when it does not ------------------------------------------------------------------


def test_a_case_that_does_not_settle_is_reported():
    done, _ = simulate(ready("single_400", "std", 3500.0), limit=2)
    assert not done.settled
    assert done.cycles == 2
    assert "not settled in 2 cycles" in done.remark
    assert math.isfinite(done.torque_Nm)


@pytest.mark.parametrize("cycles", [2, 6])
def test_a_remark_holds_no_infinity(cycles):
    done, _ = simulate(ready("single_400", "std", 3500.0), limit=cycles)
    assert f"not settled in {cycles} cycles" in done.remark
    assert "inf" not in done.remark and "nan" not in done.remark


@pytest.mark.parametrize("volume", [0, 1], ids=["cylinder", "airbox"])
def test_a_case_that_breaks_down_has_no_figures(volume):
    label, rpm = "std", 3500.0
    _, state = settled("single_400", label, rpm, 1e-3)
    broken = carried_over(state, model(ready("single_400", label, rpm)))
    broken.content.mass[volume] = math.nan
    done, _ = simulate(ready("single_400", label, rpm), start=broken)
    figures = done.row()
    assert figures.pop("setting") == label and figures.pop("speed_rpm") == rpm
    assert figures.pop("throttle") == 1.0 and figures.pop("cycles") >= 1
    assert figures.pop("settled") is False
    assert figures.pop("remark") == "the computation broke down, so there are no figures"
    assert all(math.isnan(value) for value in figures.values()), figures


@pytest.mark.parametrize("rpm", [8250.0, 8500.0, 8750.0])
def test_a_blowdown_faster_than_sound_kills_no_case(rpm):
    done, _ = simulate(ready("single_400", "std", rpm))
    assert done.settled
    assert math.isfinite(done.torque_Nm)


def test_a_bare_exhaust_port_kills_no_case():
    engine = supplied("single_400")
    port = next(p for p in engine.pipes if p.name == "exhaust port")
    tail = next(p for p in engine.pipes if p.name == "tailpipe")
    intake = tuple(p for p in engine.pipes if p.side == "intake")
    bare = replace(
        engine,
        pipes=(*intake, replace(port, end=tail.end)),
        chambers=tuple(c for c in engine.chambers if c.side == "intake"),
    )
    standard = next(s for s in bare.settings if s.label == "std")
    done, _ = simulate(case(bare, standard, Operating(speed_rpm=7000.0)))
    assert math.isfinite(done.torque_Nm)


# --- A charge that burns badly --------------------------------------------------------------------


def late_closing(duration_10_90_deg: float) -> Case:
    """The single with a lobe half as long again and 25 degrees later, last lift at 30 BTDC."""
    engine = supplied("single_400")
    burn = replace(engine.burn, duration_10_90_deg=duration_10_90_deg)
    standard = next(s for s in engine.settings if s.label == "std")
    setting = replace(standard, intake_travel_m=0.0, intake_stretch=1.5, intake_shift_deg=25.0)
    return case(replace(engine, burn=burn), setting, Operating(speed_rpm=3000.0))


@pytest.mark.parametrize(("duration", "too_early"), [(18.0, False), (45.0, True)])
def test_nothing_burns_before_the_intake_valve_has_closed(duration, too_early):
    ready = late_closing(duration)
    done, state = simulate(ready, resolution=Resolution(0.03, 0.06), traces=True)
    closes = ready.intake.closes_deg - 720.0
    assert state.shut.burn_start[0] >= closes
    told = "intake valve is still open when burning should begin: it begins at its closing"
    assert (told in done.remark) is too_early
    assert (done.ca50_deg > ready.engine.burn.ca50_best_deg + 1.0) is too_early
    # All that should burn has burned by the time the exhaust opens, however late it began.
    opens = int(ready.exhaust.opens_deg)
    unburned = 1.0 - done.trace.burned_fraction[0, opens]
    left = (1.0 - done.residual_fraction * ready.engine.burn.completeness) * (
        1.0 - ready.engine.burn.completeness
    )
    assert unburned == pytest.approx(left, abs=0.002)
    assert abs(done.mass_closure) < 1e-10
    assert abs(done.energy_closure) < 1e-10


def test_a_charge_too_diluted_to_burn_is_told():
    engine = supplied("road_four")
    standard = next(s for s in engine.settings if s.label == "264°")
    setting = replace(standard, intake_stretch=1.5)
    ready = case(engine, setting, Operating(speed_rpm=1000.0, throttle=0.15))
    done, _ = simulate(ready, resolution=Resolution(0.03, 0.06))
    assert done.burn_10_90_deg == LONGEST_10_90_DEG
    assert "too diluted to burn: misfire likely (shown as if it burned for 80 deg)" in done.remark
    assert abs(done.energy_closure) < 1e-10


# --- Settled means settled ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "label", "rpm"),
    [
        ("single_400", "std", 1500.0),
        ("single_400", "220°", 9000.0),
        ("road_four_sleeve", "std", 1500.0),
        ("road_four_sleeve", "std", 6500.0),
        ("pushrod_eight", "std", 2500.0),
    ],
)
def test_what_counts_as_settled_is_within_the_numerical_error(name, label, rpm):
    done, truth = (settled(name, label, rpm, tol, 10.0)[0] for tol in (1e-3, 1e-6))
    for figure in ("volumetric_efficiency_ambient", "torque_Nm"):
        assert getattr(done, figure) == pytest.approx(getattr(truth, figure), rel=NUMERICAL_ERROR)


@pytest.mark.parametrize(
    ("name", "tolerance"),
    [
        ("single_400", 1e-3),
        ("single_400", 1e-6),
        ("road_four_sleeve", 1e-3),
    ],
)
def test_a_warm_start_gives_what_a_cold_one_gives(name, tolerance):
    neighbour, label, rpm = {
        "single_400": ("240°", "220°", 9000.0),
        "road_four_sleeve": ("252°", "std", 4000.0),
    }[name]
    state = settled(name, neighbour, rpm, 1e-6, 10.0)[1]
    warm, _ = simulate(ready(name, label, rpm, 10.0), start=state, tolerance=tolerance, limit=600)
    cold, _ = settled(name, label, rpm, tolerance, 10.0)
    assert warm.settled and cold.settled
    # Twenty cycles' worth of what may still change.
    rel = min(NUMERICAL_ERROR, 20 * tolerance)
    assert warm.volumetric_efficiency_ambient == pytest.approx(
        cold.volumetric_efficiency_ambient, rel=rel
    )
    assert warm.torque_Nm == pytest.approx(cold.torque_Nm, rel=rel)


# --- The same again -------------------------------------------------------------------------------


def test_same_inputs_same_numbers_bit_for_bit():
    first, one = simulate(ready("single_400", "std", 3500.0))
    second, two = simulate(ready("single_400", "std", 3500.0))
    assert first.row() == second.row()
    for a, b in zip(one.flow, two.flow, strict=True):
        assert np.array_equal(a, b, equal_nan=True)


def test_a_start_is_copied_not_changed():
    _, state = settled("single_400", "240°", 3500.0, 1e-3)
    before = state.flow.density.copy(), state.content.mass.copy()
    first, _ = simulate(ready("single_400", "260°", 3500.0), start=state)
    second, _ = simulate(ready("single_400", "260°", 3500.0), start=state)
    assert first.row() == second.row()
    assert np.array_equal(before[0], state.flow.density, equal_nan=True)
    assert np.array_equal(before[1], state.content.mass)


def test_numbers_do_not_depend_on_threads():
    engine = supplied("single_400")
    chosen = engine.settings[:2]
    one, two = (compare(engine, (3000.0, 5000.0, 7000.0), chosen, threads=n).table for n in (1, 3))
    pd.testing.assert_frame_equal(one, two, check_exact=True)


def test_a_state_of_other_pipes_is_refused():
    _, state = settled("single_400", "240°", 3500.0, 1e-3)
    other = ready("road_four_sleeve", "std", 3500.0)
    with pytest.raises(ValueError, match="same pipes"):
        settle(model(other), other.engine.burn, start=state)

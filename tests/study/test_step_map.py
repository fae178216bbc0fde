"""Which step to hold where, where it switches, and that a controller never leaves what is allowed,
on INVENTED figures."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from breathe.engine.parts import Setting
from breathe.engine.read import read_engine
from breathe.errors import BreatheError
from breathe.study.control.cells import AtSpeed, Cell, cheapest, torque_of
from breathe.study.control.gear_change import Change
from breathe.study.control.limits import Vacuum
from breathe.study.control.map_axes import load_scale
from breathe.study.control.map_file import ROWS
from breathe.study.control.part_load import FIGURES, Sweep
from breathe.study.control.step_answer import StepControl, allowed_of, step_answer_of
from breathe.study.control.step_asked import StepQuestion, gaps_of_steps, planned_step_runs
from breathe.study.control.step_file import (
    Line,
    changes_along,
    held,
    same,
    steps_back,
    steps_csv,
    steps_json,
    walk,
)
from breathe.study.control.step_map import StepMap, seldom, step_map
from breathe.study.control.step_switch import band, equal_at, kept_between, switches_of
from tests.study.invented_engine import InventedEngine, best_full_load_deg

ENGINES = Path(__file__).parents[2] / "engines"
ENGINE = read_engine(ENGINES / "road_four_sleeve.toml")
SLEEVE = ENGINE.intake_cam.sleeve
assert SLEEVE is not None
ADDED = (0.0, 25.0, 50.0)
STEPS = tuple(
    Setting(label=f"+{added:g}", intake_travel_m=added / SLEEVE.crank_deg_per_m) for added in ADDED
)
SPEEDS = (1500.0, 3000.0, 4500.0, 6000.0)


def question(axis: str = "bmep bar", loads=(1.0, 3.0, 6.0, 14.0), **changed) -> StepQuestion:
    scale = load_scale(axis)
    own = StepQuestion(
        steps=STEPS,
        standard=STEPS[1],
        does_not_clear={},
        unknown_clearances=(),
        speeds_rpm=SPEEDS,
        scale=scale,
        loads=scale.checked(loads, "loads"),
        residual_most=0.25,
        hysteresis_rpm=200.0,
    )
    return replace(own, **changed)


def mapped(asked: StepQuestion, **engine) -> StepMap:
    return step_map(ENGINE, InventedEngine(ENGINE, **engine), asked)


def test_full_load_has_the_step_of_most_torque_and_part_load_of_least_fuel():
    found = mapped(question(give_up=0.0))
    nearest = [int(np.argmin([abs(a - best_full_load_deg(n)) for a in ADDED])) for n in SPEEDS]
    farthest = [int(np.argmax([abs(a - best_full_load_deg(n)) for a in ADDED])) for n in SPEEDS]
    assert found.held[-1].tolist() == nearest
    assert found.held[:2].tolist() == [farthest, farthest]
    assert found.numbers[-1].tolist() == [k + 1 for k in nearest]
    # Against the standard by hand: at full load filling alone differs.
    away = [(ADDED[k] - best_full_load_deg(1500.0)) / 100 for k in (nearest[0], 1)]
    assert found.cells[-1][0].figures["torque_Nm"][nearest[0]] > 0
    assert (found.against_standard(3, 0) > 0) == (away[0] ** 2 < away[1] ** 2)


def test_runs_are_counted_once_and_about_as_planned():
    found = mapped(question())
    assert 0.7 * planned_step_runs(question()) < len(found.keys) <= planned_step_runs(question())
    assert len(found.checks) == 12
    assert max(abs(check.torque_off) for check in found.checks) < 0.01


def test_a_step_that_does_not_clear_is_neither_run_nor_held():
    asked = question(does_not_clear={"+50": "touches"}, standard=STEPS[0])
    engine = InventedEngine(ENGINE)
    found = step_map(ENGINE, engine, asked)
    assert "+50" not in {point.setting.label for point in engine.asked}
    assert set(found.numbers.ravel()) <= {1, 2}
    # The numbers stay those of the file where the first is left out.
    later = step_map(ENGINE, InventedEngine(ENGINE), question(does_not_clear={"+0": "touches"}))
    assert set(later.numbers.ravel()) <= {2, 3}


def test_limits_keep_a_step_out_and_are_told():
    free = step_answer_of(mapped(question()))
    found = mapped(question(), residual_per_deg=0.004)
    told = step_answer_of(found)
    for line, at in itertools.product(range(4), range(4)):
        cell = found.cells[line][at]
        assert cell.allowed[found.held[line, at]]
    limits = {one["limit"]: one for one in told.facts["limits"]}
    assert [1500.0, 1e5] in limits["residual"]["binds"]
    [gas] = [one for one in free.facts["limits"] if one["limit"] == "residual"]
    assert not gas["binds"]
    servo = Vacuum(least_Pa=60e3, below_bmep_Pa=3e5)
    kept = step_answer_of(mapped(question(vacuum=servo)))
    light = kept.cells[kept.cells.load <= 3e5]
    missed = light[light.not_kept == ""]
    assert (missed.vacuum_Pa >= 60e3 - 1).all()


def test_a_gauge_axis_has_full_load_on_top_and_what_a_switch_moves():
    found = mapped(question("map kPa", (20.0, 50.0, 70.0, 100.0)))
    assert [line[1].kind for line in found.cells] == [
        "too light",
        "part load",
        "part load",
        "full load",
    ]
    facts = step_answer_of(found).facts
    assert 0 < facts["reading_moves"]["away"] < 30e3
    assert step_answer_of(mapped(question())).facts["reading_moves"] is None


def test_fewer_than_two_steps_that_clear_are_refused():
    single = read_engine(ENGINES / "single_400.toml")
    by_label = {one.label: one for one in single.settings}
    failing, _ = gaps_of_steps(single, (by_label["240°"], by_label["280°"], by_label["300°"]))
    assert list(failing) == ["300°"]
    with pytest.raises(BreatheError, match="1 of 2 steps clears"):
        gaps_of_steps(single, (by_label["280°"], by_label["300°"]))


# --- Switching seldom


def cell_of(loss, allowed=None):
    loss = np.array(loss)
    allowed = np.ones(len(loss), bool) if allowed is None else np.array(allowed)
    return SimpleNamespace(
        loss=loss, allowed=allowed, best=int(np.argmin(np.where(allowed, loss, np.inf)))
    )


@st.composite
def lines(draw, most_rows=3):
    m, n, k = (draw(st.integers(low, high)) for low, high in ((1, most_rows), (1, 4), (2, 3)))
    cells = []
    for _ in range(m):
        cells.append([])
        for _ in range(n):
            loss = draw(st.lists(st.sampled_from([0.0, 0.003, 0.02]), min_size=k, max_size=k))
            allowed = draw(st.lists(st.booleans(), min_size=k, max_size=k))
            allowed[draw(st.integers(0, k - 1))] = True
            cell = cell_of(loss, allowed)
            cell.loss = cell.loss - cell.loss[cell.best]
            cells[-1].append(cell)
    return cells


def changes(held_) -> int:
    return int((np.diff(held_, axis=0) != 0).sum() + (np.diff(held_, axis=1) != 0).sum())


@given(lines())
def test_ties_go_to_the_step_of_the_neighbours(cells):
    found = seldom(cells, 0.005)
    best = np.array([[cell.best for cell in line] for line in cells])
    assert changes(found) <= changes(best)
    for line, row in zip(cells, found, strict=True):
        for cell, k in zip(line, row, strict=True):
            assert cell.allowed[k] and cell.loss[k] <= 0.005
    strict = seldom(cells, -1.0)
    assert np.array_equal(strict, best)


@given(lines(most_rows=1))
def test_a_single_row_has_the_fewest_changes_there_are(cells):
    [line] = cells
    may = [[k for k in range(len(c.loss)) if c.allowed[k] and c.loss[k] <= 0.005] for c in line]
    fewest = min(changes(np.array([way])) for way in itertools.product(*may))
    assert changes(seldom(cells, 0.005)) == fewest


# --- Between the cells


def test_where_two_steps_are_equal_by_hand():
    # Torque turned in sign: 100 and 104 Nm against 102 and 102.
    equal, (low, high) = equal_at((2000.0, 3000.0), (-102.0, -102.0), (-100.0, -104.0), 0.005)
    assert equal == 2500.0
    # Half a per cent of the larger: 0.51 and 0.52 Nm, on lines from -2 to 2.
    assert low == pytest.approx(2000 + 1000 * (2 - 0.51) / (4 + 0.01))
    assert high == pytest.approx(2000 + 1000 * (2 + 0.51) / (4 - 0.01))
    assert math.isnan(equal_at((2000.0, 3000.0), (math.nan, 1.0), (1.0, 2.0))[0])


@given(st.floats(1000, 9000), st.floats(0, 2000), st.floats(1000, 9000), st.floats(0, 3000))
def test_a_band_stays_in_its_room_and_is_as_wide_as_that_allows(wanted, width, low, room):
    down, up = band(wanted, width, (low, low + room))
    assert low - 1e-6 <= down <= up <= low + room + 1e-6
    assert min(width, room) - 0.2 <= up - down <= min(width, room) + 1e-6


def test_a_band_without_room_is_half_way():
    assert band(2500.0, 200.0, (2800.0, 2200.0)) == (2500.0, 2500.0)


@st.composite
def step_maps(draw):
    """Maps of random fuel and burnt gas, so that limits come and go from cell to cell."""
    m, n, k = draw(st.integers(1, 3)), draw(st.integers(1, 4)), draw(st.integers(2, 3))
    asked = question(
        loads=[2.0, 4.0, 6.0][:m],
        steps=STEPS[:k],
        standard=STEPS[0],
        speeds_rpm=SPEEDS[:n],
        hysteresis_rpm=draw(st.sampled_from([0.0, 150.0, 1000.0, 4000.0])),
        give_up=draw(st.sampled_from([0.0, 0.005, 0.05])),
    )
    fuel, residual = st.floats(1.0, 1.1), st.one_of(st.floats(0.1, 0.4), st.just(math.nan))
    cells = []
    for load in asked.loads:
        line = []
        for speed in asked.speeds_rpm:
            figures = {name: np.ones(k) for name in FIGURES}
            figures |= {
                "fuel_kg_per_s": np.array([draw(fuel) for _ in range(k)]),
                "residual_fraction": np.array([draw(residual) for _ in range(k)]),
                "knock_index": np.full(k, 0.5),
                "burn_10_90_deg": np.full(k, 20.0),
            }
            unknown = np.isnan(figures["residual_fraction"])
            unknown[draw(st.integers(0, k - 1))] = False
            figures["residual_fraction"] = np.where(
                ~unknown & np.isnan(figures["residual_fraction"]),
                0.2,
                figures["residual_fraction"],
            )
            cost = np.where(unknown, math.nan, figures["fuel_kg_per_s"])
            figures["fuel_kg_per_s"] = cost
            torque = torque_of(ENGINE, load)
            choice = cheapest(ENGINE, asked.limits, torque, figures, cost)
            line.append(
                Cell(
                    speed_rpm=speed, load=load, kind="part load", torque_Nm=torque,
                    degrees=np.arange(float(k)), loss=np.where(unknown, math.nan,
                    choice.cost - choice.cost[choice.best]), figures=figures,
                    allowed=choice.allowed, best=choice.best, bound=choice.bound,
                    broken=choice.broken,
                )
            )  # fmt: skip
        cells.append(tuple(line))
    nothing = {name: np.array([]) for name in FIGURES}
    at_speeds = tuple(
        AtSpeed(
            speed_rpm=n, places_deg=np.arange(float(k)),
            sweeps=tuple(Sweep(one, n, np.array([]), nothing) for one in asked.steps),
            full={name: np.ones(k) for name in FIGURES},
            standard=Sweep(asked.standard, n, np.array([]), nothing), standard_full_Nm=1.0,
        )
        for n in asked.speeds_rpm
    )  # fmt: skip
    return StepMap(
        engine=ENGINE, question=asked, at_speeds=at_speeds, cells=tuple(cells),
        held=seldom(cells, asked.give_up), checks=(), slower={}, keys=(),
    )  # fmt: skip


@settings(max_examples=40, deadline=None)
@given(step_maps(), st.sampled_from(ROWS), st.booleans())
def test_a_controller_never_holds_a_step_beyond_what_is_allowed(found, rows, comma):
    kept = step_answer_of(found)
    steps = kept.step_table()
    for again in (
        steps_back(steps_csv(steps, rows, decimal_comma=comma), steps, decimal_comma=comma),
        steps_back(steps_json(steps, {}, rows), steps),
    ):
        assert same(again, steps)
        walked = walk(again, kept.allowed())
        assert walked.holds, (again.switches, kept.allowed())
    # At the cells themselves, whatever was held before, a step that the cell allows.
    for i, load in enumerate(steps.table.loads):
        for j, speed in enumerate(steps.table.speeds_rpm):
            for before in (None, *found.question.numbers):
                number = held(steps, speed, load, before)
                place = found.question.numbers.index(number)
                assert found.cells[i][j].allowed[place]


@settings(max_examples=40, deadline=None)
@given(step_maps())
def test_bands_of_one_row_never_meet_and_both_steps_keep_their_limits_in_them(found):
    switches = switches_of(found)
    allowed = allowed_of(found, switches)
    for one, next_ in itertools.pairwise(switches):
        if one.load == next_.load:
            assert one.up_rpm <= next_.down_rpm
    for one in switches:
        assert one.down_rpm <= one.up_rpm
        assert one.band_rpm <= found.question.hysteresis_rpm + 1e-6
        row = allowed[found.question.loads.index(one.load)]
        for step in (one.first, one.then):
            assert any(
                low - 1e-6 <= one.down_rpm and one.up_rpm <= high + 1e-6
                for low, high in row[str(step)]
            )


def test_a_walk_finds_what_is_held_where_it_may_not_be():
    found = step_answer_of(mapped(question(), residual_per_deg=0.004))
    steps, allowed = found.step_table(), found.allowed()
    assert walk(steps, allowed).holds
    wrong = [dict(row) for row in allowed]
    del wrong[0][int(steps.table.values[0, 0])]
    assert not walk(steps, wrong).holds
    late = replace(steps, switches=tuple(
        replace(one, up_rpm=one.up_rpm + 3000.0) for one in steps.switches))  # fmt: skip
    tight = [{k: [(lo, hi) for lo, hi in spans] for k, spans in row.items()} for row in allowed]
    for one in steps.switches:
        i = steps.table.loads.index(one.load)
        tight[i][one.first] = [(0.0, one.up_rpm)]
    assert not walk(late, tight).holds


def test_hysteresis_keeps_the_step_within_its_band():
    steps = step_answer_of(mapped(question())).step_table()
    assert steps.switches
    one = steps.switches[0]
    assert one.up_rpm - one.down_rpm == pytest.approx(200.0)
    middle = (one.up_rpm + one.down_rpm) / 2
    assert held(steps, middle, one.load, one.first) == one.first
    assert held(steps, middle, one.load, one.then) == one.then
    assert held(steps, one.up_rpm, one.load, one.first) == one.then
    assert held(steps, one.down_rpm, one.load, one.then) == one.first
    there_and_back = [one.down_rpm - 1, middle, one.up_rpm, middle, one.down_rpm]
    assert changes_along(steps, there_and_back, [one.load] * 5) == 2
    assert isinstance(one, Line)


def test_what_is_felt_is_nothing_where_two_pull_the_same():
    found = mapped(question(hysteresis_rpm=0.0, give_up=0.0))
    top = [one for one in switches_of(found) if one.load == found.cells[-1][0].load]
    assert top
    for one in top:
        assert one.felt_up == pytest.approx(0.0, abs=1e-3)
        assert one.equal_rpm == pytest.approx(one.up_rpm, abs=1.0)


@pytest.mark.parametrize("most", [0.24, 0.353])
def test_a_limit_is_met_on_a_straight_line(most):
    found = mapped(question(residual_most=most), residual_per_deg=0.004)
    met = []
    for line in found.cells:
        for here, there in itertools.pairwise(line):
            for k in range(3):
                if here.broken or there.broken or here.allowed[k] == there.allowed[k]:
                    continue
                low, high = kept_between(ENGINE, found.question.limits, here, there, k)
                edge = high if here.allowed[k] else low
                share = (edge - here.speed_rpm) / (there.speed_rpm - here.speed_rpm)
                gas = [cell.figures["residual_fraction"][k] for cell in (here, there)]
                met.append(gas[0] + share * (gas[1] - gas[0]))
    assert met and met == pytest.approx([most] * len(met))


def test_an_answer_comes_back_as_it_was_and_counts_a_gear_change():
    change = Change(from_rpm=6000.0, to_rpm=3000.0, lasts_s=0.3)
    made = step_answer_of(mapped(question(fallback="+25")), change)
    again = StepControl.from_json(made.to_json())
    assert again.step_table().switches == made.step_table().switches
    assert np.array_equal(again.table().values, made.table().values)
    assert again.allowed() == made.allowed()
    steps = made.step_table()
    one = made.facts["gear_change"]
    top = held(steps, 6000.0, 14.0), held(steps, 3000.0, 14.0)
    assert one["changes_over_speed"] >= (top[0] != top[1])
    assert one["changes"] >= one["changes_over_speed"] - 1
    fallback = made.facts["fallback"]
    assert fallback["number"] == 2 and 0 <= fallback["worst_lost"] < 0.2

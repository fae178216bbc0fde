"""Files of a map: what is written is what is read, and look-up never leaves the safe range."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from breathe.errors import BreatheError
from breathe.study.control.map_file import (
    ROWS,
    Table,
    csv_text,
    json_text,
    look_up,
    look_up_by_products,
    look_up_in_steps,
    prove,
    read_back,
    write_map,
)


def table(values: np.ndarray | None = None, step: float = 0.5) -> Table:
    rng = np.random.default_rng(3)
    if values is None:
        values = np.round(rng.uniform(228, 256, (3, 4)) / step) * step
    return Table(
        name="intake duration",
        unit="deg crank",
        load_name="manifold pressure",
        load_unit="kPa",
        speeds_rpm=(800.0, 1500.0, 3000.0, 6500.0),
        loads=(20.0, 55.5, 100.0),
        values=values,
        step=step,
    )


@pytest.mark.parametrize("rows", ROWS)
@pytest.mark.parametrize("comma", [False, True])
def test_csv_comes_back_in_every_orientation(rows, comma):
    own = table()
    text = csv_text(own, rows, decimal_comma=comma)
    again = read_back(text, own, decimal_comma=comma)
    assert again.speeds_rpm == own.speeds_rpm and again.loads == own.loads
    assert np.array_equal(again.values, own.values)
    assert (";" in text) == comma


def test_high_load_stands_on_the_top_row():
    lines = csv_text(table(), "load falling").splitlines()
    assert lines[0] == "kPa \\ rpm,800,1500,3000,6500"
    assert [line.split(",")[0] for line in lines[1:]] == ["100", "55.5", "20"]


@pytest.mark.parametrize("rows", ROWS)
def test_json_comes_back_and_names_everything(rows):
    own = table()
    text = json_text(own, {"fallback": {"value": 228.0}}, rows)
    found = json.loads(text)
    assert found["out_of_range"] == "hold the edge"
    assert {found["rows"]["unit"], found["columns"]["unit"]} == {"kPa", "rpm"}
    assert found["cells"] == {"name": "intake duration", "unit": "deg crank", "step": 0.5}
    assert np.array_equal(read_back(text, own).values, own.values)


def test_look_up_holds_the_edges():
    own = table()
    speeds, loads = np.array([0.0, 1e4, 1500.0]), np.array([0.0, 200.0, 55.5])
    expected = [own.values[0, 0], own.values[-1, -1], own.values[1, 1]]
    assert look_up(own, speeds, loads) == pytest.approx(expected)


def test_an_axis_of_one_point_is_the_same_everywhere():
    own = replace(table(), loads=(50.0,), values=np.array([[230.0, 240.0, 250.0, 256.0]]))
    assert look_up(own, np.array([1500.0]), np.array([90.0])) == pytest.approx([240.0])
    safe = np.full((1, 4), 228.0), np.full((1, 4), 256.0)
    assert prove(own, (228.0, 256.0), *safe).holds


@given(
    st.lists(st.integers(456, 512), min_size=12, max_size=12),
    st.sampled_from(["down", "nearest", "up"]),
    st.sampled_from([16, 256, 65536]),
)
def test_whole_step_look_up_stays_between_the_cells(counts, rounding, share_steps):
    own = table(np.array(counts).reshape(3, 4) * 0.5)
    speeds, loads = np.meshgrid(np.linspace(500, 8000, 41), np.linspace(0, 120, 31))
    found = look_up_in_steps(own, speeds, loads, rounding, share_steps)
    assert found.min() >= own.values.min() and found.max() <= own.values.max()
    assert np.max(np.abs(found - look_up(own, speeds, loads))) < 2 * own.step + 56 * 2 / share_steps


def test_rounding_four_products_one_by_one_leaves_the_range():
    # By hand: 456 half degrees in all four cells, shares 100/256 and 100/256. The products are
    # 456/65536 times 156 x 156, 156 x 100 (twice) and 100 x 100: 169.33, 108.54, 108.54, 69.58.
    # Cut off, 169 + 108 + 108 + 69 = 454; rounded up, 458. In half degrees 227 and 229.
    own = replace(table(np.full((2, 2), 228.0)), speeds_rpm=(1000.0, 1256.0), loads=(0.0, 256.0))
    speed, load = np.array([1100.0]), np.array([100.0])
    assert look_up_by_products(own, speed, load, "down", 256) == 227.0
    assert look_up_by_products(own, speed, load, "up", 256) == 229.0
    assert look_up_in_steps(own, speed, load, "down", 256) == 228.0
    safe = np.full((2, 2), 228.0), np.full((2, 2), 256.0)
    proof = prove(own, (228.0, 256.0), *safe)
    assert proof.holds and proof.needs_output_limits and proof.products_lowest <= 227.0
    # What a controller is set to lies inside what is safe, in its own steps.
    assert replace(proof, safe_high=255.7, safe_low=228.2).output_limits(0.5) == (228.5, 255.5)
    assert proof.output_limits(0.5) == (228.0, 256.0)


def test_a_cell_outside_the_safe_range_fails_the_proof():
    own = table()
    low, high = np.full((3, 4), 228.0), np.full((3, 4), 256.0)
    assert prove(own, (228.0, 256.0), low, high).holds
    beyond = table(np.where(own.values == own.values.max(), 257.0, own.values))
    proof = prove(beyond, (228.0, 256.0), low, high)
    assert not proof.holds and proof.highest == 257.0
    assert proof.past_cell_limits == pytest.approx(1.0)


def test_nothing_is_written_over_unasked(tmp_path):
    path = tmp_path / "map.csv"
    write_map(path, "one")
    with pytest.raises(BreatheError, match="is there already"):
        write_map(path, "two")
    write_map(path, "two", replace=True)
    assert path.read_text() == "two"
    with pytest.raises(BreatheError, match="cannot be written"):
        write_map(tmp_path / "no folder" / "map.csv", "three")

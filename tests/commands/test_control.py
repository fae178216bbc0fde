"""breathe control: pages, files and faults, on INVENTED figures unless a test says otherwise."""

from __future__ import annotations

import csv
import json
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

from tests.commands.conftest import ENGINES, SLEEVE

SPEEDS = "800,1200,1600,2000,2500,3000,3500,4000,4500,5000,5500,6000,6500,7000,7500,8000"
LOADS = "20,30,40,50,60,70,85,100"


def told(text: str) -> str:
    """A page without its line ends."""
    return " ".join(text.split())


def test_part_load_by_late_closing(breathe, invented):
    answer = breathe("control", SLEEVE, "--speeds", "2000", "--loads", "2", "--axis", "bmep bar")
    assert answer.status == 0, answer.err
    page = told(answer.out)
    # 86 x 86 mm, rod 145 mm: computed from the geometry.
    assert "288° closes at 86 ABDC and leaves 61 % of the stroke: throttle still needed" in page
    assert "106 ABDC would leave 43 %" in page
    assert "Equal torque, 2000 rpm, 2 bar (BMEP 2.00 bar)" in page
    assert "up to 13 % less fuel at some points" in page
    for caution in ("Failed actuator:", "Late closing:", "Fuel:", "Spark:", "Vacuum:", "Road:"):
        assert caution in page
    assert all(len(line) <= 80 for line in answer.out.splitlines())


def test_a_map_for_a_controller(breathe, invented, tmp_path):
    """16 speeds, 8 loads, half degrees, 5.6 mm at 40 mm/s, high load on the top row."""
    asked = (
        "control", SLEEVE, "--speeds", SPEEDS, "--axis", "map kPa", "--loads", LOADS, "--fits",
        "16x8", "--travel", "0:5.6 mm", "--step", "0.5", "--slew", "40 mm/s", "--hysteresis",
        "1 deg", "--fallback", "0 mm", "--write", "map.csv", "--write", "map.json",
    )  # fmt: skip
    answer = breathe(*asked)
    assert answer.status == 0, answer.err
    page = told(answer.out)
    assert "5.6 mm at 40 mm/s, takes 0.14 s" in page
    assert "never outside the safe 228 to 256" in page
    assert "Steepest step:" in page and "per 100 rpm" in page and "per 10 kPa" in page
    assert all(len(line) <= 80 for line in answer.out.splitlines())

    rows = list(csv.reader((tmp_path / "map.csv").read_text(encoding="utf-8").splitlines()))
    assert rows[0] == ["kPa \\ rpm", *SPEEDS.split(",")]
    assert [row[0] for row in rows[1:]] == LOADS.split(",")[::-1]
    cells = np.array([[float(x) for x in row[1:]] for row in rows[1:]])
    assert cells.min() >= 228.0 and cells.max() <= 256.0
    assert np.array_equal(cells * 2, np.round(cells * 2))

    found = json.loads((tmp_path / "map.json").read_text(encoding="utf-8"))
    assert np.array_equal(np.array(found["values"]), cells)
    assert found["rows"]["points"] == [float(x) for x in LOADS.split(",")[::-1]]
    assert found["rows"]["unit"] == "kPa" and found["columns"]["unit"] == "rpm"
    assert found["out_of_range"] == "hold the edge"
    assert found["fallback"] == {"value": 228.0, "unit": "deg crank", "travel_mm": 0.0}
    assert found["actuator"]["slew_mm_per_s"] == 40.0
    assert len(found["engine"]["fingerprint"]) == len(found["data"]["fingerprint"]) == 16
    assert datetime.fromisoformat(found["date"]).tzinfo is not None
    assert {one["limit"] for one in found["limits"]} >= {"travel", "residual", "knock", "slew"}
    assert found["proof"]["holds"] is True
    assert np.array(found["given_up_share"]).shape == (8, 16)
    # Beside the cells everything stands as they do: the lightest row is the last.
    assert "too light" in found["supported_by"][-1]
    assert "too light" not in found["supported_by"][0]
    light = np.array(found["supported_by"]) == "too light"
    assert np.array_equal(light, np.array(found["given_up_share"], dtype=float) != np.array(
        found["given_up_share"], dtype=float))  # fmt: skip
    axis = set(found["rows"]["points"])
    assert all(load in axis for one in found["limits"] for _, load in one["binds"])
    assert found["clearance"]["clears_from"] == 228.0 and found["clearance"]["not_checked"] == []

    ran = len(invented)
    again = breathe(*asked)
    assert again.status == 2 and "map.csv is there already" in again.err
    answer = breathe(*asked, "--overwrite")
    assert answer.status == 0 and "holds exactly this already" in answer.err
    assert len(invented) == ran
    shown = breathe("show", "road_four_sleeve_control")
    assert shown.status == 0 and "Steepest step:" in shown.out


def test_a_map_without_gaps_says_so_in_its_file(breathe, invented, tmp_path):
    text = SLEEVE.read_text(encoding="utf-8")
    head, rest = text.split("[intake.clearance]")
    _, rest = rest.split("[intake.shaft_room]")
    bare = head + "[intake.shaft_room]" + rest
    Path("bare.toml").write_text(bare, encoding="utf-8")
    Path("same.toml").write_text(text, encoding="utf-8")
    asked = ("--speeds", "2000,4000", "--loads", "3,14", "--fallback", "0 mm")
    prints = []
    for name in ("bare", "same"):
        answer = breathe("control", f"{name}.toml", *asked, "--write", f"{name}.json")
        assert answer.status == 0, answer.err
        found = json.loads(Path(f"{name}.json").read_text(encoding="utf-8"))
        prints.append(found["engine"]["fingerprint"])
        told = [line for line in found["cautions"] if "NOT CHECKED" in line]
        assert told == (
            ["NOT CHECKED for clearance: intake valve to piston."] if name == "bare" else []
        )
        # The exhaust's gap is known still.
        assert found["clearance"]["clears_from"] == 228.0
    # No cycle knows the gaps, yet the safe range of the file hangs on them.
    assert prints[0] != prints[1]


def test_limits_cell_by_cell(breathe, invented):
    answer = breathe(
        "control", SLEEVE, "--speeds", "1500,3000,6000", "--loads", "2,4,14", "--residual", "12%",
        "--show", "limits",
    )  # fmt: skip
    assert answer.status == 0, answer.err
    page = told(answer.out)
    assert "Limits that hold each cell: T travel, R residual, small where no setting keeps" in page
    assert "no setting keeps it at all 6 cells with a load of their own" in page
    assert "deg crank per 100 rpm" in page


def test_millimetres_speed_down_and_decimal_commas(breathe, invented, tmp_path):
    answer = breathe(
        "control", SLEEVE, "--speeds", "2000:6000:2000", "--loads", "2,14", "--cells", "travel",
        "--step", "0.25", "--fallback", "228°", "--write", "map.csv", "--decimal-comma", "--rows",
        "speed falling",
    )  # fmt: skip
    assert answer.status == 0, answer.err
    lines = (tmp_path / "map.csv").read_text(encoding="utf-8").splitlines()
    assert lines[0] == "rpm \\ bar;2;14"
    assert [line.split(";")[0] for line in lines[1:]] == ["6000", "4000", "2000"]
    cells = [float(x.replace(",", ".")) for line in lines[1:] for x in line.split(";")[1:]]
    assert all(0.0 <= x <= 12.0 and (x * 4) % 1 == 0 for x in cells)


def test_a_tuners_own_map_is_judged_and_regridded(breathe, invented, tmp_path):
    Path("own.csv").write_text(
        "kPa \\ rpm,900,3000,6000\n100,240,244,270\n70,262,,270\n50,284,280,270\n", encoding="utf-8"
    )
    Path("measured.csv").write_text("rpm,kPa,duration\n900,70,250\n3000,70,262\n", encoding="utf-8")
    asked = ("control", SLEEVE, "--start", "own.csv", "--anchors", "measured.csv")
    answer = breathe(*asked)
    page = told(answer.out)
    assert answer.status == 0, answer.err
    assert "own.csv: encoding: UTF-8; columns parted by commas" in page
    assert "Your own map against the model" in page and "1 blank cell is filled" in page
    # Measured 250 where the model wants less charge: less pressure for the same torque.
    assert "At the map's setting the gauge reads" in page and "where the row says" in page
    assert "Measured 262 at 3000 rpm, 70 kPa: the map gives 262.0 there, kept. The model" in page
    # The 900 point becomes 1000: what was measured at 900 lies below the map now, and is held.
    moved = breathe(*asked, "--move-point", "900 to 1000")
    page = told(moved.out)
    assert moved.status == 0, moved.err
    assert "kPa \\ rpm 1000 3000 6000" in page
    assert "Measured 250 at 900 rpm, 70 kPa: the map gives 250.0 there, kept." in page
    assert "cases are taken from other runs" in moved.err
    Path("measured.csv").write_text("rpm,kPa,duration\n9000,70,250\n3000,70,262\n1000,140,262\n")
    far = breathe(*asked)
    assert far.status == 2
    assert "measured outside the map, which has 900 to 6000 rpm and 50 to 100 kPa" in far.err
    assert "row 2: found 9000 rpm, 70 kPa" in far.err and "row 4" in far.err
    assert "row 3" not in far.err


@pytest.mark.parametrize(
    ("arguments", "expected"),
    [
        (("--speeds", "1000,3000,2000"), "--speeds: position 3: found 2000 after 3000"),
        (("--loads", "1,2,2"), "--loads: position 3: found 2 again"),
        (("--speeds", "500:10000:500", "--fits", "16x8"), "20 points, and 16 fit. The 16 best are"),
        (("--axis", "load %", "--loads", "50,120"), "kPa?"),
        (("--write", "map.csv"), "--fallback: missing. Where does the actuator go"),
        (("--loads", "idle"), "idle is outside what is trusted"),
        (("--egr", "10%"), "exhaust gas recirculation is outside what is trusted"),
        (("--speeds", "2000", "--loads", "14"), "above this engine's full load"),
        (("--fallback", "310°"), "nearest safe value 288"),
        (("--fallback", "12"), "millimetres of travel"),
        (("--travel", "0:20 mm"), "travel: found 0 to 20 mm (0 to 100 deg crank)"),
        (("--slew", "40"), "expected '40 mm/s' or '200 deg/s'"),
        (("--step", "0.1 mm"), "expected a step of the cells in deg crank"),
        (("--gear-change", "5000"), "expected '6500 to 4700 rpm in 0.3 s'"),
        (("--keep-vacuum", "30"), "without a unit"),
        (("--keep-vacuum", "1.5 bar below 2 bar"), "150 kPa of vacuum; the outside air has 101"),
        (("--pedal", "0.2"), "--pedal: found '0.2'; expected a time such as '0.2 s'"),
        (("--move-point", "900 to 1000"), "found 900 to be moved"),
        (("--actuator", "exhaust dwell"), "this engine has: intake dwell"),
        (("--show", "fule"), "did you mean 'fuel'?"),
        (("--write", "map.xls"), "ends in .csv or .json"),
    ],
)
def test_what_is_wrong_is_said_in_one_message(breathe, invented, tmp_path, arguments, expected):
    answer = breathe("control", SLEEVE, *arguments)
    assert answer.status == 2
    assert expected in answer.err
    assert not list(tmp_path.glob("map.*"))


def test_cells_beyond_safe_clearance_are_refused_by_name(breathe, invented):
    Path("own.csv").write_text("kPa \\ rpm,3000,5000\n100,240,295\n60,250,310\n", encoding="utf-8")
    answer = breathe("control", ENGINES / "single_400.toml", "--start", "own.csv")
    assert answer.status == 2 and not invented
    assert "own.csv: 2 cells refused, nothing is computed" in answer.err
    assert "row 2, 5000 rpm, 100 kPa: found 295, intake valve to piston" in answer.err
    assert "row 3, 5000 rpm, 60 kPa: found 310, beyond the travel; nearest safe value" in answer.err


def test_an_engine_in_which_nothing_moves(breathe):
    text = (ENGINES / "road_four.toml").read_text(encoding="utf-8")
    head, rest = text.split("[[setting]]", 1)
    other = rest[rest.index("[[other_cam]]") :]
    one = f'{head}[[setting]]\nlabel = "264°"\n\n{other}'
    Path("fixed.toml").write_text(one, encoding="utf-8")
    answer = breathe("control", "fixed.toml")
    assert answer.status == 2 and "there is nothing to control" in answer.err


def test_a_small_map_of_the_model_itself(breathe):
    """No invented figures: the single at one speed, its travel cut to 5.6 mm."""
    answer = breathe(
        "control", ENGINES / "single_400.toml", "--speeds", "4000", "--loads", "2,4", "--travel",
        "0:5.6 mm", "--csv",
    )  # fmt: skip
    assert answer.status == 0, answer.err
    rows = list(csv.DictReader(answer.out.splitlines()))
    assert [row["kind"] for row in rows] == ["part load", "part load"]
    assert [row["support"] for row in rows] == ["run", "run"]
    for row, bar in zip(rows, (2.0, 4.0), strict=True):
        assert float(row["bmep_Pa"]) == pytest.approx(bar * 1e5)
        assert abs(float(row["check_torque_off"])) < 0.02
        assert abs(float(row["check_fuel_off"])) < 0.02
        assert 220.0 <= float(row["setting"]) <= 248.0
        assert 0.0 <= float(row["given_up"]) <= 0.006
    # More load, more manifold pressure, less burnt gas, less fuel for the work.
    light, heavy = rows
    assert float(heavy["manifold_pressure_Pa"]) > float(light["manifold_pressure_Pa"])
    assert float(heavy["residual_fraction"]) < float(light["residual_fraction"])
    assert float(heavy["bsfc_kg_per_J"]) < float(light["bsfc_kg_per_J"])

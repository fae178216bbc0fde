"""breathe control on a cam of steps: page, files and faults; on INVENTED figures unless a test says
otherwise."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from tests.commands.conftest import ENGINES, SLEEVE

STEPS = "228, 258°, 288"
AXES = ("--speeds", "1500,3000,4500,6000", "--loads", "2,4,14")


@pytest.fixture
def two_step(tmp_path) -> Path:
    """The single with its sleeve taken out: a low cam, a high one, and the standard beside them."""
    text = (ENGINES / "single_400.toml").read_text(encoding="utf-8")
    for first, next_ in (
        ("[intake.sleeve]", "[exhaust.cam]"),
        ("[intake.shaft_room]", "[exhaust.spring]"),
    ):
        text = text[: text.index(first)] + text[text.index(next_) :]
    text = text[: text.index("[[setting]]")]
    high = (
        '[[other_cam]]\nname = "high"\nside = "intake"\nduration = "276 deg crank"\n'
        'checking_height = "0.10 mm"\nsecond_duration = "244 deg crank"\n'
        'second_height = "1.0 mm"\nlift = "9.6 mm"\ncentreline = "106 ATDC"\n\n'
    )
    text = text.replace("[[other_cam]]", f"{high}[[other_cam]]", 1)
    text += '[[setting]]\nlabel = "low"\n\n'
    text += '[[setting]]\nlabel = "high"\nintake.cam = "high"\n\n'
    text += '[[setting]]\nlabel = "std"\nintake.cam = "standard"\n'
    path = tmp_path / "two_step.toml"
    path.write_text(text, encoding="utf-8")
    return path


def told(text: str) -> str:
    """A page without its line ends."""
    return " ".join(text.split())


def test_a_map_of_steps_is_printed_written_and_kept(breathe, invented, tmp_path):
    asked = (
        "control", SLEEVE, "--steps", STEPS, *AXES, "--fallback", "258", "--hysteresis", "200 rpm",
        "--gear-change", "6000 to 3000 rpm in 0.3 s", "--write", "map.csv", "--write", "map.json",
    )  # fmt: skip
    answer = breathe(*asked)
    assert answer.status == 0, answer.err
    page = told(answer.out)
    assert "control map of 3 steps, 4 speeds x 3 loads" in page
    for words in (
        "Step to hold, at and above each speed and load", "Given up to switch less often",
        "Other steps as good", "Switches along each row, rpm", "Hysteresis: 200 rpm asked",
        "Gear change 6000 to 3000 rpm in 0.3 s: the step is switched",
        "Fallback, without power: step 2, 258°", "Failed switch:",
        "Read back and walked through", "One step held everywhere gives up",
    ):  # fmt: skip
        assert words in page, words
    assert all(len(line) <= 80 for line in answer.out.splitlines())

    blocks = (tmp_path / "map.csv").read_text(encoding="utf-8").split("\n\n")
    rows = list(csv.reader(blocks[0].splitlines()))
    assert rows[0] == ["bar \\ rpm", "1500", "3000", "4500", "6000"]
    assert [row[0] for row in rows[1:]] == ["14", "4", "2"]
    assert blocks[1].splitlines() == ["step,label", "1,228°", "2,258°", "3,288°"]
    switches = list(csv.DictReader(blocks[2].splitlines()))
    assert list(switches[0]) == ["load bar", "from", "to", "switch up rpm", "switch down rpm"]
    found = json.loads((tmp_path / "map.json").read_text(encoding="utf-8"))
    assert [[str(x) for x in line] for line in found["values"]] == [row[1:] for row in rows[1:]]
    # At full load the invented engine wants 13 added degrees at 1500 rpm and 43 at 6000.
    assert (found["values"][0][0], found["values"][0][-1]) == (1, 2)
    assert found["steps"][2] == {"step": 3, "label": "288°"}
    assert found["fallback"] == {"step": 2, "label": "258°"}
    assert found["out_of_range"] == "hold the edge"
    assert "nothing between steps" in found["look_up"]
    assert found["proof"]["holds"] is True and found["proof"]["outside"] == 0
    assert len(found["switches"]) == len(switches)
    assert all(one["switch_up_rpm"] - one["switch_down_rpm"] == 200.0 for one in found["switches"])

    ran = len(invented)
    assert "map.csv is there already" in breathe(*asked).err
    answer = breathe(*asked, "--overwrite", "--show", "vacuum,throttle,pmep,limits")
    assert answer.status == 0 and "holds exactly this already" in answer.err
    assert "Manifold vacuum left, kPa" in answer.out and "Limits that hold each" in answer.out
    assert len(invented) == ran
    shown = breathe("show", "road_four_sleeve_control")
    assert shown.status == 0 and "Switches along each row" in shown.out
    table = breathe("show", "road_four_sleeve_control", "--csv")
    assert {row["label"] for row in csv.DictReader(table.out.splitlines())} >= {"228°", "258°"}


def test_speed_down_and_decimal_commas(breathe, invented, tmp_path):
    answer = breathe(
        "control", SLEEVE, "--steps", "228,288", "--speeds", "2000:6000:2000", "--loads",
        "2.5,14", "--fallback", "288", "--write", "map.csv", "--decimal-comma", "--rows",
        "speed falling",
    )  # fmt: skip
    assert answer.status == 0, answer.err
    blocks = (tmp_path / "map.csv").read_text(encoding="utf-8").split("\n\n")
    lines = blocks[0].splitlines()
    assert lines[0] == "rpm \\ bar;2,5;14"
    assert [line.split(";")[0] for line in lines[1:]] == ["6000", "4000", "2000"]
    assert {x for line in lines[1:] for x in line.split(";")[1:]} <= {"1", "2"}


def test_a_single_cell_is_told_step_by_step(breathe, invented):
    answer = breathe("control", SLEEVE, "--steps", STEPS, "--speeds", "2000", "--loads", "2")
    assert answer.status == 0, answer.err
    page = told(answer.out)
    assert "Equal torque, 2000 rpm, 2 bar (BMEP 2.00 bar)" in page
    assert "Held in no cell" not in page and "Hysteresis: " not in page


@pytest.mark.parametrize(
    ("arguments", "expected"),
    [
        (("--actuator", "intake dwell"), "--actuator: a map of steps holds one cam or another"),
        (("--travel", "0:5.6 mm"), "--travel: a map of steps"),
        (("--step", "0.5"), "--step: a map of steps"),
        (("--slew", "40 mm/s"), "--slew: a map of steps"),
        (("--stand", "intake phase 0 deg"), "--stand: a map of steps"),
        (("--anchors", "measured.csv"), "--anchors: a map of steps"),
        (("--start", "own.csv"), "--start: a map of steps"),
        (("--pedal", "0.2 s"), "--pedal: a map of steps"),
        (("--rev-rate", "3000"), "--rev-rate: a map of steps"),
        (("--cells", "duration"), "--cells: a map of steps"),
        (("--show", "travel"), "--show: found 'travel'; steps have none"),
        (("--write", "map.csv"), "Which step does the cam go to when the switch has no power?"),
        (("--fallback", "hgih"), "did you mean 'high'? the steps are: low, high, std"),
        (("--steps", "low"), "expected at least two to switch between, of: low, high, std"),
        (("--steps", "low,hihg"), "--steps: found 'hihg'; did you mean 'high'?"),
        (("--gear-change", "99000 to 4000 rpm in 0.3 s"), "over the engine's limit of"),
        (("--gear-change", "6000 to 6000 rpm in 0.3 s"), "expected two different speeds"),
        (("--hysteresis", "1 deg"), "steps are switched by engine speed, so expected rpm"),
        (("--speeds", "2000,3000", "--hysteresis", "1500"), "the whole map has 1000 rpm"),
        (("--egr", "10%"), "exhaust gas recirculation is outside what is trusted"),
    ],
)
def test_what_is_wrong_is_said_in_one_message(breathe, two_step, tmp_path, arguments, expected):
    answer = breathe("control", two_step, *arguments)
    assert answer.status == 2
    assert expected in answer.err and len(answer.err.splitlines()) == 1
    assert not list(tmp_path.glob("map.*"))


def test_a_fallback_that_does_not_clear_is_refused(breathe):
    asked = ("control", ENGINES / "single_400.toml", "--steps", "240,280,300")
    answer = breathe(*asked, "--fallback", "300")
    assert answer.status == 2
    assert "which does not clear: intake valve to piston" in answer.err
    assert "Steps that clear: 240°, 280°" in answer.err


def test_two_cams_of_the_model_itself(breathe, two_step, tmp_path):
    """No invented figures: the single's low and high cam at two speeds, switched between."""
    answer = breathe(
        "control", two_step, "--steps", "low, high", "--speeds", "5000,9000", "--loads", "4,14",
        "--fallback", "low", "--write", "map.json", "--csv",
    )  # fmt: skip
    assert answer.status == 0, answer.err
    rows = {
        (float(row["speed_rpm"]), row["kind"]): row
        for row in csv.DictReader(answer.out.splitlines())
    }
    # The short cam pulls low down, the long one high up.
    assert rows[5000.0, "above full load"]["label"] == "low"
    assert rows[9000.0, "above full load"]["label"] == "high"
    for speed in (5000.0, 9000.0):
        part = rows[speed, "part load"]
        assert float(part["bmep_Pa"]) == pytest.approx(4e5)
        assert abs(float(part["check_torque_off"])) < 0.03
        assert abs(float(part["check_fuel_off"])) < 0.03
    found = json.loads((tmp_path / "map.json").read_text(encoding="utf-8"))
    top = [one for one in found["switches"] if one["load"] == 14.0]
    assert [(one["from"], one["to"]) for one in top] == [(1, 2)]
    assert 5000.0 < top[0]["switch_down_rpm"] < top[0]["switch_up_rpm"] < 9000.0


def test_a_row_that_some_speeds_have_below_full_load_is_told_by_speed(breathe, invented, tmp_path):
    asked = ("control", SLEEVE, "--steps", STEPS, "--speeds", "1500,3000,6000", "--loads")
    assert "The axis ends" not in told(breathe(*asked, "2,14").out)
    page = told(breathe(*asked, "2,4").out)
    assert "The axis ends at 4 bar, below full load: more load than that holds this row" in page


def test_further_tables_of_a_kept_map_are_shown(breathe, invented):
    asked = ("control", SLEEVE, "--steps", STEPS, "--speeds", "1500,6000", "--loads", "2,14")
    assert breathe(*asked, "--name", "kept").status == 0
    ran = len(invented)
    page = breathe("show", "kept", "--show", "throttle,residual")
    assert page.status == 0, page.err
    assert "Throttle opening, %" in page.out and "Residual: burnt gas" in told(page.out)
    for typed, fault in (("ve", "--show: found 've'"), ("travel", "steps have none")):
        refused = breathe("show", "kept", "--show", typed)
        assert refused.status == 2 and fault in refused.err
    assert breathe("show", "kept", "--against", "228°").status == 2
    assert len(invented) == ran

"""breathe control with --actuator given twice: pages, files and faults, on INVENTED figures."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest

from breathe.study.evaluate import Point
from tests.commands.conftest import SLEEVE
from tests.study.invented_engine import InventedEngine

TURNS = '[intake.phaser]\nearliest = "-20 deg crank"\nlatest = "20 deg crank"\n\n'
BOTH = ("--actuator", "intake dwell", "--actuator", "intake phase")
SMALL = ("--speeds", "2000,5000", "--loads", "2,14")


@pytest.fixture
def invented(monkeypatch) -> list[object]:
    """Invented figures where the simulation is, best filled 8 degrees later; cases are noted."""
    ran: list[object] = []

    class Pair(InventedEngine):
        def filled(self, point: Point) -> float:
            return super().filled(point) - ((point.setting.intake_shift_deg - 8.0) / 80.0) ** 2

    def row_of(job):
        ran.append(job.key)
        return Pair(job.engine).row(Point(job.setting, job.operating))

    monkeypatch.setattr("breathe.study.evaluate.row_of", row_of)
    monkeypatch.setattr("breathe.kernel.is_compiled", lambda: True)
    return ran


@pytest.fixture
def both(tmp_path) -> Path:
    """The sleeve engine with a phaser on the same cam and without mechanics."""
    text = SLEEVE.read_text(encoding="utf-8")
    head, rest = text.split("# --- Mechanics")
    _, tail = rest.split("# --- Pipes")
    path = tmp_path / "both.toml"
    path.write_text(
        head.replace("[exhaust.cam]", f"{TURNS}[exhaust.cam]") + "# --- Pipes" + tail,
        encoding="utf-8",
    )
    return Path(path.name)


def told(text: str) -> str:
    """A page without its line ends."""
    return " ".join(text.split())


def test_two_maps_that_belong_together(breathe, invented, both, tmp_path):
    asked = (
        "control", both, *BOTH, "--speeds", "1500,3000,6000", "--loads", "1,4,14", "--slew",
        "intake phase 150 deg/s", "--step", "intake phase 1 deg", "--fallback", "0 mm",
        "--fallback", "0 deg", "--write", "map.csv", "--write", "map.json", "--show",
        "limits,travel",
    )  # fmt: skip
    answer = breathe(*asked)
    assert answer.status == 0, answer.err
    page = told(answer.out)
    assert "control maps of intake dwell and intake phase, which belong together" in page
    assert "Intake duration, deg crank, in steps of 0.5" in page
    assert "Intake phase, deg crank, negative is earlier, in steps of 1" in page
    assert page.count("Given up by smoothing") == page.count("Against std") == 1
    assert page.count("how sure: degrees crank") == 2
    assert "What the intake phase brings over the intake dwell alone:" in page
    assert "Assumed for the actuators: intake dwell slew 40 mm/s, hysteresis 1 deg; intake" in page
    assert "intake phase slew" not in page.split("Intake duration")[0]
    assert "Clearance: NOT CHECKED" in page and "(clearance NOT CHECKED)" in page
    assert "Fallback, all at once at intake dwell 228° and intake phase 0°" in page
    assert all(len(line) <= 80 for line in answer.out.splitlines())

    found = json.loads((tmp_path / "map.json").read_text(encoding="utf-8"))
    assert found["together"]["actuators"] == ["intake dwell", "intake phase"]
    assert found["together"]["ranges"] == "travel alone: clearance NOT CHECKED"
    dwell, turn = found["maps"]
    assert dwell["cells"] == {"name": "intake duration", "unit": "deg crank", "step": 0.5}
    assert turn["cells"]["step"] == 1.0 and turn["actuator"]["slew_deg_crank_per_s"] == 150.0
    assert turn["fallback"] == {"value": 0.0, "unit": "deg crank"}
    assert dwell["proof"]["holds"] and turn["proof"]["holds"]
    assert len(found["engine"]["fingerprint"]) == len(found["data"]["fingerprint"]) == 16
    assert "engine" not in dwell
    lost = [np.array(one["given_up_share"], dtype=float) for one in (dwell, turn)]
    assert np.abs(lost[0] - lost[1]).max() < 2e-4
    for name, one in (("intake_dwell", dwell), ("intake_phase", turn)):
        lines = (tmp_path / f"map_{name}.csv").read_text(encoding="utf-8").splitlines()
        cells = np.array([[float(x) for x in row[1:]] for row in csv.reader(lines[1:])])
        assert np.array_equal(cells, np.array(one["values"]))
    # High load on top: late turn for torque, early for fuel by filling badly.
    assert min(turn["values"][0]) > 0.0 > max(turn["values"][-1])

    ran = len(invented)
    again = breathe(*asked)
    assert again.status == 2 and "map_intake_dwell.csv is there already" in again.err
    shown = breathe("show", "both_control")
    assert shown.status == 0 and "which belong together" in told(shown.out)
    csv_only = breathe("show", "both_control", "--csv")
    assert csv_only.status == 0 and "actuator" in csv_only.out.splitlines()[0]
    assert len(invented) == ran


@pytest.mark.slow
def test_ranges_that_clear_together_are_told(breathe, invented, tmp_path):
    text = SLEEVE.read_text(encoding="utf-8")
    path = tmp_path / "gaps.toml"
    path.write_text(text.replace("[exhaust.cam]", f"{TURNS}[exhaust.cam]"), encoding="utf-8")
    asked = ("control", path.name, *BOTH, *SMALL)
    answer = breathe(*asked, "--fallback", "0 mm", "--fallback", "0 deg", "--write", "m.json")
    assert answer.status == 0, answer.err
    page = told(answer.out)
    # 2.2 degrees earlier clears, less the hysteresis; as the check of one axis has it.
    assert "inside: intake dwell 228° to 288°; intake phase -1.2° to +20°" in page
    assert "clearance -2.2° to +20° (intake valve to piston" in page
    assert "safe -1 to 20 deg crank" in page  # in whole steps, as the file has it
    found = json.loads((tmp_path / "m.json").read_text(encoding="utf-8"))
    values = np.array(found["maps"][1]["values"])
    assert values.min() >= -1.2 and found["maps"][1]["safe_range"]["low"] == -1.0
    refused = breathe(*asked, "--fallback", "0 mm", "--fallback", "-10 deg")
    assert refused.status == 2 and "hold the fallback" in refused.err


@pytest.mark.parametrize(
    ("typed", "fault"),
    [
        (("--slew", "150 deg/s"), "--slew: found '150 deg/s'; of which actuator?"),
        (("--step", "intake phase 1", "--step", "intake phase 2"), "found twice for the intake"),
        (("--fallback", "intake dwell 0 mm"), "missing for the intake phase"),
        (("--write", "m.json"), "missing for the intake dwell and the intake phase"),
        (("--stand", "intake phase -8 deg"), "that is one of the actuators"),
        (("--actuator", "intake phase"), "'intake phase' twice"),
        (("--actuator", "exhaust dwell"), "this engine has: intake dwell, intake phase"),
        (("--fallback", "0 mm", "--fallback", "30 deg"), "which goes from -20 to 20 deg crank"),
        (("--travel", "intake dwell 0:20 mm"), "intake dwell has 0 to 12 mm"),
        (("--slew", "intake phase 3 mm/s"), "a phaser has no travel"),
        (("--steps", "228°, 264°"), "--steps: with several actuators no map of steps is made"),
        (
            ("--actuator", "intake dwell 60 mm/s", "--write", "m.csv"),
            "--actuator: found 'intake dwell 60 mm/s'; this engine has: intake dwell",
        ),
        (("--fallback", "intake fase 3 deg"), 'such as "intake phase 3 deg", or'),
        (("--hysteresis", "2 deg"), 'such as "intake dwell 2 deg", or'),
    ],
)
def test_faults_are_found_before_any_run(breathe, invented, both, typed, fault):
    answer = breathe("control", both, *BOTH, *SMALL, *typed)
    assert answer.status == 2
    assert fault in told(answer.err)
    assert invented == []


def test_one_actuator_takes_no_second_and_tells_how_to_map_both(breathe, invented, both):
    refused = breathe("control", both, *SMALL, "--slew", "40 mm/s", "--slew", "150 deg/s")
    assert refused.status == 2
    assert "--slew: found 2 times; this map moves one actuator" in told(refused.err)
    alone = breathe("control", both, *SMALL, "--slew", "30 mm/s")
    assert alone.status == 0
    assert '--actuator "intake dwell" --actuator "intake phase"' in told(alone.out)


def test_travel_of_each_is_kept(breathe, invented, both, tmp_path):
    answer = breathe(
        "control", both, *BOTH, *SMALL, "--travel", "intake dwell 0:4 mm", "--travel",
        "intake phase -5:5 deg", "--cells", "travel", "--csv",
    )  # fmt: skip
    assert answer.status == 0, answer.err
    rows = list(csv.DictReader(answer.out.splitlines()))
    dwell = [float(row["setting"]) for row in rows if row["actuator"] == "intake dwell"]
    turn = [float(row["setting"]) for row in rows if row["actuator"] == "intake phase"]
    assert min(dwell) >= 0.0 and max(dwell) <= 4.0
    assert min(turn) >= -5.0 and max(turn) <= 5.0


def test_the_fallback_is_not_told_of_a_load_that_is_not_trusted(breathe, invented, both):
    rest = ("--axis", "map kPa", "--fallback", "0 mm", "--fallback", "0 deg")
    asked = ("control", both, *BOTH, "--speeds", "2000,5000", "--loads")
    page = told(breathe(*asked, "8,60,100", *rest).out)
    assert "2 cells lie below" in page and "rpm, the lightest that is trusted)." in page
    assert "rpm, 60 kPa)." in told(breathe(*asked, "60,100", *rest).out)

"""breathe check on the command line, and its marks in breathe compare."""

from __future__ import annotations

import csv
import io
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.commands.conftest import ENGINES, SLEEVE
from tests.story_engine import CENTRE_HELD, write_story

SUPPLIED = sorted(ENGINES.glob("*.toml"))


@pytest.mark.parametrize("path", SUPPLIED, ids=lambda path: path.stem)
@pytest.mark.parametrize("units", ["metric", "imperial"])
def test_supplied_engines_are_checked_in_80_columns(breathe, path, units):
    answer = breathe("check", path, "--units", units)
    assert answer.status == 0 and answer.err == ""
    lines = answer.out.splitlines()
    assert max(map(len, lines)) <= 80
    assert "Worst: " in " ".join(lines[-3:])


def test_the_verdict_does_not_change_the_status(breathe, tmp_path):
    answer = breathe("check", write_story(tmp_path, *CENTRE_HELD))
    assert answer.status == 0
    assert "do not build" in " ".join(answer.out.splitlines()[-3:])


def test_ends_of_travel_stand_beside_chosen_settings(breathe):
    answer = breathe("check", SLEEVE, "--settings", "240")
    assert answer.status == 0 and "The standard, std, is added" in answer.err
    assert "Settings: 240°, std; ends of travel beside them: 0 mm, 12 mm" in answer.out


def test_speed_and_sections(breathe):
    answer = breathe("check", SLEEVE, "--speed", "6000 rpm", "--show", "springs")
    assert answer.status == 0
    assert "limit 6000 rpm, a missed shift to 6600 rpm" in answer.out
    assert "needed at 6000 rpm" in answer.out and "valve to piston, mm" not in answer.out


def test_csv_is_all_there_is(breathe):
    answer = breathe("check", SLEEVE, "--csv")
    rows = list(csv.DictReader(io.StringIO(answer.out)))
    assert len(rows) > 300 and {"topic", "value", "unit", "verdict", "rule"} <= rows[0].keys()
    assert {row["setting"] for row in rows if row["topic"] == "surge"} >= {"228°", "std"}


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("--speed", "fast"), "--speed: found 'fast'; expected one speed in rpm"),
        (("--speed", "1000,2000"), "--speed: found '1000,2000'; expected one speed"),
        (("--speed", "50"), "--speed: found '50'"),
        (("--show", "sprigns"), "did you mean 'springs'?"),
        (("--show", ","), "--show: found nothing; expected some of: clearance"),
        (("--settings", "310"), "needs 16.4 mm of sleeve travel, the sleeve has 12.0 mm"),
        (("--settings", "stnd"), "did you mean 'std'?"),
        (("--units", "furlongs"), "furlongs"),
    ],
)
def test_what_cannot_be_meant_is_one_message(breathe, arguments, told):
    answer = breathe("check", SLEEVE, *arguments)
    assert answer.status == 2 and answer.out == "" and told in answer.err


def test_no_such_file(breathe):
    answer = breathe("check", "no_engine.toml")
    assert answer.status == 2 and "no_engine.toml" in answer.err


def test_a_spring_shorter_than_coil_bind_is_refused(breathe, tmp_path):
    path = write_story(tmp_path, ('coil_bind = "21.5 mm"', 'coil_bind = "35 mm"'))
    answer = breathe("check", path)
    assert answer.status == 2 and "coil_bind" in answer.err and answer.out == ""


@pytest.mark.parametrize("columns", ["60", "200"])
@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "utf-8"])
def test_any_console_can_carry_it(columns, encoding):
    environment = {**os.environ, "PYTHONIOENCODING": encoding, "COLUMNS": columns}
    answer = subprocess.run(
        [sys.executable, "-m", "breathe", "check", str(SLEEVE)],
        capture_output=True,
        env=environment,
        cwd=Path(__file__).parents[2],
    )
    assert answer.returncode == 0 and answer.stderr == b""
    assert max(map(len, answer.stdout.decode(encoding).splitlines())) <= 80
    assert b"?" not in answer.stdout.split(b"Questions")[0]


# --- In a comparison ----------

SPEEDS = ("--speeds", "2000:6000:2000")


def test_compare_marks_what_does_not_clear(breathe, simulation, tmp_path):
    path = write_story(tmp_path, *CENTRE_HELD)
    answer = breathe("compare", path, *SPEEDS)
    assert answer.status == 0
    told = " ".join(answer.out.split())
    assert "! 288° does not clear: intake valve to piston" in told
    assert "288°!" in told and "240°!" not in told and "Without " in told
    again = breathe("show", "story")
    assert "! 288° does not clear" in " ".join(again.out.split())


def test_compare_marks_nothing_that_was_not_checked(breathe, simulation):
    answer = breathe("compare", ENGINES / "road_four.toml", *SPEEDS)
    told = " ".join(answer.out.split())
    assert "does not clear" not in told
    assert "NOT CHECKED: intake valve to piston, exhaust valve to piston, valve to valve" in told


def test_a_new_spring_or_pocket_reruns_no_cycle(breathe, simulation, tmp_path):
    path = write_story(tmp_path)
    breathe("compare", path, *SPEEDS)
    computed = simulation.computed
    text = path.read_text(encoding="utf-8")
    for old, new in (('rate = "32 N/mm"', 'rate = "36 N/mm"'), ('"4.4 mm"', '"3.4 mm"')):
        assert old in text
        text = text.replace(old, new)
    path.write_text(text, encoding="utf-8")
    answer = breathe("compare", path, *SPEEDS)
    assert simulation.computed == computed and "holds exactly this already" in answer.err
    # The pocket is told as it is now.
    assert "! 228° does not clear" in " ".join(answer.out.split())


def test_runs_made_before_clearances_were_looked_at_open(breathe, simulation, tmp_path):
    breathe("compare", SLEEVE, *SPEEDS)
    described = Path("runs/road_four_sleeve/run.json")
    found = json.loads(described.read_text(encoding="utf-8"))
    del found["about"]["unknown_clearances"]
    for note in found["about"]["settings"]:
        del note["does_not_clear"]
    described.write_text(json.dumps(found), encoding="utf-8")
    answer = breathe("show", "road_four_sleeve")
    assert answer.status == 0 and "NOT CHECKED at any setting" in " ".join(answer.out.split())

"""breathe compare, runs and show, around invented figures."""

from __future__ import annotations

import csv
import io
import json
import os
import pickle
import subprocess
import sys
from pathlib import Path

import pytest

from tests.commands.conftest import SLEEVE

SPEEDS = ("--speeds", "2000:6000:1000")


def test_prints_tables_findings_and_where_it_is_kept(breathe, simulation):
    answer = breathe("compare", SLEEVE, *SPEEDS)
    assert answer.status == 0
    for words in (
        "Torque at the crank, Nm",
        "Difference in torque from",
        "Volumetric efficiency",
        "What was found",
        "Assumed for you",
        "NOT CHECKED",
        f"Kept in {Path('runs') / 'road_four_sleeve'}",
        "Next: breathe show road_four_sleeve",
    ):
        assert words in answer.out
    assert max(map(len, answer.out.splitlines())) <= 80


def test_run_folder_holds_inputs_versions_and_results(breathe, simulation):
    breathe("compare", SLEEVE, *SPEEDS)
    folder = Path("runs/road_four_sleeve")
    assert (folder / "inputs" / SLEEVE.name).read_bytes() == SLEEVE.read_bytes()
    described = json.loads((folder / "run.json").read_text(encoding="utf-8"))
    assert described["about"]["speeds_rpm"] == [2000, 3000, 4000, 5000, 6000]
    assert described["versions"]["python"]
    rows = list(csv.DictReader((folder / "results.csv").open(encoding="utf-8", newline="")))
    assert len(rows) == simulation.computed == len(described["planned"])


def test_csv_is_all_there_is_on_standard_output(breathe, simulation):
    answer = breathe("compare", SLEEVE, *SPEEDS, "--csv")
    rows = list(csv.DictReader(io.StringIO(answer.out)))
    assert len(rows) == simulation.computed
    assert {float(row["speed_rpm"]) for row in rows} == {2000, 3000, 4000, 5000, 6000}
    assert float(rows[0]["torque_Nm"]) > 0


def test_same_command_again_computes_nothing(breathe, simulation):
    first = breathe("compare", SLEEVE, *SPEEDS)
    computed = simulation.computed
    again = breathe("compare", SLEEVE, *SPEEDS)
    assert simulation.computed == computed
    assert again.out == first.out
    assert "holds exactly this already" in again.err


def test_redo_computes_beside_the_first(breathe, simulation):
    breathe("compare", SLEEVE, *SPEEDS)
    computed = simulation.computed
    answer = breathe("compare", SLEEVE, *SPEEDS, "--redo")
    assert simulation.computed == 2 * computed
    assert str(Path("runs") / "road_four_sleeve-2") in answer.out


def test_other_speeds_under_the_same_name_get_a_number(breathe, simulation):
    breathe("compare", SLEEVE, *SPEEDS, "--name", "mine")
    answer = breathe("compare", SLEEVE, "--speeds", "3000", "--name", "mine")
    assert "'mine' holds another run, so this one is 'mine-2'." in answer.err


def test_stopped_run_says_what_is_kept_and_goes_on(breathe, simulation):
    simulation.stop_after = 7
    stopped = breathe("compare", SLEEVE, *SPEEDS)
    assert stopped.status == 130 and stopped.out == ""
    assert "Stopped. 7 of " in stopped.err and "goes on from there" in stopped.err
    unfinished = breathe("show", "road_four_sleeve")
    assert unfinished.status == 0 and "is not finished: 7 of" in unfinished.out
    simulation.stop_after = float("inf")
    done = breathe("compare", SLEEVE, *SPEEDS)
    assert "7 of" in done.err and done.status == 0
    described = json.loads(Path("runs/road_four_sleeve/run.json").read_text(encoding="utf-8"))
    assert simulation.computed == len(described["planned"])


def test_failure_in_the_middle_keeps_what_was_done(breathe, simulation):
    simulation.stop_after, simulation.error = 3, RuntimeError("lost")
    answer = breathe("compare", SLEEVE, *SPEEDS)
    assert answer.status == 1 and "fault of breathe" in answer.err
    assert "3" in breathe("runs").out.split()


def test_show_prints_the_same_page(breathe, simulation):
    first = breathe("compare", SLEEVE, *SPEEDS)
    assert breathe("show", "road_four_sleeve").out == first.out
    power = breathe("show", "road_four_sleeve", "--show", "power", "--units", "imperial").out
    assert "Power at the crank, hp" in power and "Torque at the crank" not in power
    table = breathe("show", "road_four_sleeve", "--csv").out
    assert table == Path("runs/road_four_sleeve/results.csv").read_text(encoding="utf-8")


def test_show_notices_altered_results(breathe, simulation):
    breathe("compare", SLEEVE, *SPEEDS)
    path = Path("runs/road_four_sleeve/results.csv")
    path.write_text(path.read_text(encoding="utf-8").replace("1", "2"), encoding="utf-8")
    answer = breathe("show", "road_four_sleeve")
    assert "altered since written: results.csv. Printed from cases.sqlite." in answer.err


def test_show_still_opens_without_the_source_file(breathe, simulation, tmp_path):
    own = tmp_path / "own.toml"
    own.write_bytes(SLEEVE.read_bytes())
    breathe("compare", own, *SPEEDS)
    own.unlink()
    assert breathe("show", "own").status == 0


def test_show_needs_no_numba(breathe, simulation):
    breathe("compare", SLEEVE, *SPEEDS)
    script = (
        "import sys; from breathe.commands.main import main\n"
        "status = main(['show', 'road_four_sleeve'])\n"
        "sys.exit(status or 'numba' in sys.modules or 'cantera' in sys.modules)"
    )
    environment = os.environ | {"PYTHONIOENCODING": "ascii"}
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, env=environment)
    assert done.returncode == 0, done.stderr
    assert b" deg" in done.stdout


def test_runs_are_listed_in_one_table(breathe, simulation):
    assert "No runs in" in breathe("runs").out
    breathe("compare", SLEEVE, *SPEEDS)
    breathe("compare", SLEEVE, *SPEEDS, "--redo", "--name", "a_name_as_long_as_names_may_be_" * 2)
    changed = Path("runs/road_four_sleeve/results.csv")
    changed.write_text("altered", encoding="utf-8")
    lines = breathe("runs").out.splitlines()
    assert max(map(len, lines)) <= 80
    assert lines[0].split() == ["run", "begun", "cases", "state", "engine"]
    assert sum(line.startswith("run ") for line in lines) == 1
    (whole,) = [line for line in lines if "road_four_sleeve" in line]
    assert "35 of 35" in whole and "finished" in whole


def test_unreadable_run_does_not_hide_the_others(breathe, simulation):
    breathe("compare", SLEEVE, *SPEEDS)
    Path("runs/broken").mkdir()
    Path("runs/broken/run.json").write_text("{}", encoding="utf-8")
    told = breathe("runs").out
    assert "cannot be read" in told and "finished" in told


def test_settings_by_label_by_duration_and_twice(breathe, simulation):
    answer = breathe(
        "compare", SLEEVE, "--speeds", "3000", "--settings", "240,240,250,264", "--csv"
    )
    rows = list(csv.DictReader(io.StringIO(answer.out)))
    assert [row["setting"] for row in rows] == ["240°", "250°", "264°", "std"]
    assert "The standard, std, is added to compare with." in answer.err
    assert "Setting 240° was named twice" in answer.err


def test_differences_from_a_setting_of_choice(breathe, simulation):
    asked = ("--speeds", "3000", "--settings", "240,252")
    answer = breathe("compare", SLEEVE, *asked, "--against", "264")
    assert "264° is added to compare with." in answer.err
    assert "Difference in torque from 264°" in answer.out and "(compared with)" in answer.out
    # The reference is a matter of printing: no case is computed for another.
    computed = simulation.computed
    again = breathe("show", "road_four_sleeve", "--against", "252°")
    assert "Difference in torque from 252°" in again.out and simulation.computed == computed
    assert "Difference in torque from std" in breathe("show", "road_four_sleeve").out
    wrong = breathe("show", "road_four_sleeve", "--against", "228")
    assert wrong.status == 2
    assert wrong.err == "--against: found '228'; road_four_sleeve has: 240°, 252°, 264°, std\n"


@pytest.mark.parametrize("text", ["0.5", "50%", "50 %", "0,5"])
def test_throttle_as_share_or_per_cent(breathe, simulation, text):
    answer = breathe("compare", SLEEVE, "--speeds", "3000", "--throttle", text)
    assert answer.status == 0 and "throttle open 50 %" in answer.out


def test_csv_is_the_same_bytes_whatever_the_console(breathe, simulation):
    breathe("compare", SLEEVE, *SPEEDS)
    script = "from breathe.commands.main import script; script()"
    found = [
        subprocess.run(
            [sys.executable, "-c", script, "show", "road_four_sleeve", "--csv"],
            capture_output=True,
            check=True,
            env=os.environ | {"PYTHONIOENCODING": encoding},
        ).stdout
        for encoding in ("utf-8", "ascii", "cp437", "utf-16")
    ]
    assert set(found) == {Path("runs/road_four_sleeve/results.csv").read_bytes()}
    assert "240°".encode() in found[0]


def test_first_run_says_that_code_is_prepared(breathe, simulation, monkeypatch):
    monkeypatch.setattr("breathe.kernel.is_compiled", lambda: False)
    answer = breathe("compare", SLEEVE, "--speeds", "3000")
    assert "Preparing compiled code, once for this version: about 20 to 60 s" in answer.err
    assert "Preparing" not in answer.out


@pytest.mark.parametrize("own", [True, False])
def test_damaged_compiled_code_is_removed_only_from_our_own_folder(
    breathe, simulation, monkeypatch, tmp_path, own
):
    folder = tmp_path / "code"
    folder.mkdir()
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(folder))
    monkeypatch.setattr(
        "breathe.kernel.cache_folder", lambda: folder if own else tmp_path / "other"
    )
    simulation.stop_after, simulation.error = 2, pickle.UnpicklingError("cut short")
    answer = breathe("compare", SLEEVE, *SPEEDS)
    assert answer.status == 2 and "damaged" in answer.err
    assert folder.exists() is not own


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--speeds", "2000-3000"], "--speeds: found '2000-3000'"),
        (["--speeds", "6000:2000:500"], "the range runs backwards"),
        (["--speeds", "1000:2000:0"], "the step is 0"),
        (["--speeds", "1:99999:0.001"], "more than 200 speeds"),
        (["--speeds", "50"], "50 rpm is outside 100 to 25000 rpm"),
        (["--speeds", "nan"], "--speeds: found 'nan'"),
        (["--speeds", ""], "--speeds: found ''"),
        (["--show", "tork"], "--show: found 'tork'; did you mean 'torque'?"),
        (["--show", ","], "--show: found nothing"),
        (["--settings", "999"], "--settings: "),
        (["--settings", "somewhat"], "--settings: found 'somewhat'"),
        (["--name", "nul"], "'nul' is a device on Windows"),
        (["--name", "a/b"], "run name 'a/b'"),
        (["--throttle", "0"], "'--throttle': found '0'; expected a share above 0 and up to 1"),
        (["--throttle", "50"], "such as 0.5 or 50%; did you mean 50%?"),
        (["--throttle", "half"], "'--throttle': found 'half'; expected a share"),
        (["--throttle", "120%"], "'--throttle': found '120%'; expected a share"),
        (["--threads", "0"], "'--threads': found '0'; expected a whole number from 1 to 256"),
        (["--threads", "two"], "'--threads': found 'two'; expected a whole number"),
        (["--against", "299"], "--against: 299° needs"),
        (["--against", "stt"], "--against: found 'stt'; did you mean 'std'?"),
    ],
)
def test_wrong_option_is_one_message_and_leaves_nothing(breathe, simulation, arguments, words):
    answer = breathe("compare", SLEEVE, *arguments)
    assert answer.status == 2 and answer.out == ""
    assert words in answer.err
    assert simulation.computed == 0 and not Path("runs").exists()


def test_unwritable_run_folder_offers_another(breathe, simulation, tmp_path):
    (tmp_path / "runs").write_text("no folder", encoding="utf-8")
    answer = breathe("compare", SLEEVE, "--speeds", "3000")
    assert answer.status == 2 and "Choose another folder" in answer.err
    assert simulation.computed == 0


def test_missing_and_wrong_engine_files(breathe, simulation, tmp_path):
    assert breathe("compare", "nowhere.toml").status == 2
    (tmp_path / "empty.toml").write_bytes(b"")
    (tmp_path / "photo.toml").write_bytes(b"\xff\xd8\xff\xe0" + bytes(range(256)))
    for name in ("empty.toml", "photo.toml", "."):
        answer = breathe("compare", name)
        assert answer.status == 2 and name in answer.err and answer.out == ""
    assert not Path("runs").exists()


def test_closed_pipe_is_no_fault(simulation, tmp_path):
    script = "from breathe.commands.main import script; script()"
    process = subprocess.Popen(
        [sys.executable, "-c", script, "explain", str(SLEEVE)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    process.stdout.close()
    assert process.stderr.read() == b""
    process.stderr.close()
    assert process.wait() == 0

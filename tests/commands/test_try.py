"""breathe try: hundreds of what-ifs from a sheet, end to end on the single, in small."""

from __future__ import annotations

import csv
import io
import re
import signal
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest

from breathe.commands import trying
from breathe.engine.open_file import load_toml
from breathe.study.plans.names import Names
from tests.commands.conftest import ENGINES, Answer

SINGLE = ENGINES / "single_400.toml"
AT = ("--speeds", "6000,8500")
PLAN = """\
name,runner [mm],duration,centreline,CR
a,150,220,,10.5
b,200,240,104,10
c,250,260,108,10.5
d,11.8 in,280,,11
too long,200,320,,11
slip,12,260,,11
word,200,260,,high
e,180,250,106,12
e again,180,250,106,12.0
f,120,,,11
g,220,230,110,12
h,160,290,112,10
"""


def sheet(text: str) -> dict[str, dict[str, str]]:
    return {row["name"]: row for row in csv.DictReader(io.StringIO(text))}


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    path = tmp_path / "dinner.csv"
    path.write_text(PLAN, encoding="utf-8")
    return path


def test_a_plan_end_to_end(breathe, plan: Path) -> None:
    answer: Answer = breathe("try", SINGLE, plan, *AT)
    assert answer.status == 0, answer.err
    # Read back and timed before it runs.
    assert 'runner [mm]: pipe "intake runner" length [mm]' in answer.err
    assert "row 5: 11.8 in = 299.72 mm" in " ".join(answer.err.split())
    assert "12 what-ifs, 14 cases still to run" in answer.err and "2 at a time" in answer.err
    assert "2 rows are refused, the rest runs" in answer.err
    # The page.
    told = " ".join(answer.out.split())
    assert "9 done, 3 refused" in told
    assert "by mean torque, most first; = ties" in told
    assert "row 6, refused: " in told and "the sleeve has 16.0 mm" in told
    assert "is that in (304.8 mm)?; write the unit in the cell" in told
    assert "Which input mattered most" in told
    assert "NOT CHECKED" in told and "is a tie" in told
    assert max(map(len, answer.out.splitlines())) <= 80
    # The sheet: inputs as typed, answers, status, reason.
    text = Path("runs/single_400_try_dinner/results.csv").read_text(encoding="utf-8")
    rows = sheet(text)
    assert rows["d"]["runner [mm]"] == "11.8 in" and rows["f"]["duration"] == ""
    assert rows["word"]["status"] == "refused" and 'found "high"' in rows["word"]["reason"]
    again: Answer = breathe("show", "single_400_try_dinner", "--csv")
    assert again.status == 0 and again.out == text
    assert breathe("show", "single_400_try_dinner").out == answer.out
    assert "lb-ft" in breathe("show", "single_400_try_dinner", "--units", "imperial").out
    # e and e again change the same to the same, however it is typed.
    assert "Rows that change the same are shown once: 9 = 10." in answer.out
    mean = {name: float(r["mean torque [Nm]"]) for name, r in rows.items() if r["mean torque [Nm]"]}
    done = [name for name, row in rows.items() if row["status"] == "done"]
    assert set(mean) == set(done) and len(done) == 10  # with the file itself
    a = rows["a"]
    each = [float(a[f"torque at {speed} rpm [Nm]"]) for speed in (6000, 8500)]
    assert mean["a"] == pytest.approx(sum(each) / 2, rel=1e-4)
    assert float(a["peak torque [Nm]"]) == max(each)
    assert rows["e"]["place by mean torque"] == rows["e again"]["place by mean torque"]
    best = max((name for name in done if name), key=mean.__getitem__)
    assert rows[best]["place by mean torque"] == "1"
    # Beside the figure ranked by stands how that one, not another, differs from the file's.
    by_power = breathe("try", SINGLE, plan, *AT, "--by", "power").out
    power = {name: float(r["peak power [kW]"]) for name, r in rows.items() if name in mean}
    top = max((name for name in done if name), key=power.__getitem__)
    first = next(line for line in by_power.splitlines() if re.match(r"\s+1=? ", line))
    assert first.endswith(f"{100 * (power[top] / power[''] - 1):+.1f}")
    # The same command again is printed at once; --csv is the sheet.
    again = breathe("try", SINGLE, plan, *AT)
    assert again.out == answer.out and "holds exactly this already" in again.err
    assert breathe("try", SINGLE, plan, *AT, "--csv").out == text
    # One row put right: only its cases are run.
    plan.write_text(PLAN.replace("word,200,260,,high", "word,200,260,,11"), encoding="utf-8")
    mended = breathe("try", SINGLE, plan, *AT, "--name", "mended", "--by", "power")
    assert "18 cases are taken from other runs" in mended.err
    assert "by peak power, most first" in mended.out
    assert "12 what-ifs" in mended.out and "10 done, 2 refused" in mended.out


def kept(folder: Path) -> int:
    database = folder / "runs" / "single_400_try_dinner" / "cases.sqlite"
    if not database.exists():
        return 0
    with sqlite3.connect(database) as connection:
        try:
            return int(connection.execute("SELECT count(*) FROM cases").fetchone()[0])
        except sqlite3.OperationalError:  # no table yet
            return 0


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGINT])
@pytest.mark.skipif(sys.platform == "win32", reason="no signal goes to one process alone there")
def test_killed_half_way_it_goes_on_to_the_same_answer(
    tmp_path: Path, plan: Path, how: signal.Signals
) -> None:
    command = [sys.executable, "-m", "breathe", "try", str(SINGLE), str(plan), *AT, "--csv"]
    process = subprocess.Popen(command, cwd=tmp_path, stderr=subprocess.PIPE, text=True)
    patience = time.monotonic() + 300
    while kept(tmp_path) < 6 and process.poll() is None and time.monotonic() < patience:
        time.sleep(0.02)
    process.send_signal(how)
    _, told = process.communicate()
    count = kept(tmp_path)
    assert process.returncode and 6 <= count < 18
    if how is signal.SIGINT:
        assert f"Stopped. {count} cases are kept" in told and "Traceback" not in told
    again = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=True)
    assert f"{count} cases are there." in again.stderr
    assert len(sheet(again.stdout)) == 13
    if how is signal.SIGINT:
        return
    anew = subprocess.run(
        [*command, "--redo"], cwd=tmp_path, capture_output=True, text=True, check=True
    )
    assert again.stdout == anew.stdout


def test_forty_thousand_rows_are_estimated_and_not_begun_unasked(breathe, tmp_path: Path) -> None:
    rows = "".join(f"{150 + n % 100},{10 + n / 20_000:.5f}\n" for n in range(40_000))
    (tmp_path / "huge.csv").write_text(f"runner [mm],CR\n{rows}", encoding="utf-8")
    answer = breathe("try", SINGLE, "huge.csv", "--speeds", "6000:8500:500", "--cluster", "serial")
    assert answer.status == 2 and answer.out == ""
    told = " ".join(answer.err.split())
    assert "40000 what-ifs, 240000 cases still to run" in told and "1 at a time: about" in told
    assert "--rows 500 draws 500 of the 40000 rows evenly at random" in told
    assert "runs 4 speeds instead of 6" in told
    assert "is long: add --yes to begin" in told


def test_few_rows_drawn_and_yes(breathe, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(trying, "ASK_ABOVE_s", 0.0)
    rows = "".join(f"{10 + n / 100}\n" for n in range(200))
    (tmp_path / "many.csv").write_text(f"CR\n{rows}", encoding="utf-8")
    asked = ("try", SINGLE, "many.csv", "--speeds", "8500", "--rows", "9")
    assert breathe(*asked).status == 2
    answer = breathe(*asked, "--yes")
    assert answer.status == 0
    assert "9 what-ifs of many.csv, drawn from 200, at 8500 rpm" in " ".join(answer.out.split())


def test_a_column_that_means_nothing_stops_before_anything_runs(breathe, tmp_path: Path) -> None:
    (tmp_path / "odd.csv").write_text("runer [mm],CR\n200,10\n", encoding="utf-8")
    answer = breathe("try", SINGLE, "odd.csv", *AT)
    assert answer.status == 2 and answer.out == "" and not Path("runs").exists()
    assert 'column 1 "runer [mm]": no key of the engine file; did you mean runner' in answer.err


def test_speed_as_a_column(breathe, tmp_path: Path) -> None:
    (tmp_path / "speeds.csv").write_text("speed,throttle\n8500,\n8500,40\n", encoding="utf-8")
    answer = breathe("try", SINGLE, "speeds.csv", "--speeds", "8500")
    assert answer.status == 0
    told = " ".join(answer.out.split())
    assert "each at its own speed or throttle" in told and "against file" not in told


def test_help_and_wrong_cluster(breathe, plan: Path) -> None:
    assert "can run code there" in " ".join(breathe("try", "--help").out.split())
    answer = breathe("try", SINGLE, plan, *AT, "--cluster", "farm")
    assert answer.status == 2 and "--cluster: found 'farm'; expected serial" in answer.err


def test_late_closing_by_ivc_from_a_setting(breathe, tmp_path: Path) -> None:
    (tmp_path / "late.csv").write_text("IVC,CR\n50,\n70 ABDC,\n120,\n", encoding="utf-8")
    asked = ("try", SINGLE, "late.csv", "--speeds", "8500")
    answer = breathe(*asked, "--setting", "220")
    assert answer.status == 0
    told = " ".join(answer.out.split())
    assert "2 done, 1 refused" in told and "of the cams its setting 220°." in told
    assert "row 4, refused: intake.duration: needs" in told
    # The standard is another lobe, whose opening no sleeve keeps.
    other = breathe(*asked)
    assert "3 refused" in other.out and "'late'" not in other.err
    assert "holds another plan, engine file or speeds" in other.err


def test_without_a_plan_the_columns_are_listed_and_each_can_be_used(
    breathe, tmp_path: Path
) -> None:
    answer = breathe("try", SINGLE)
    assert answer.status == 0 and not Path("runs").exists()
    assert max(map(len, answer.out.splitlines())) <= 80
    lines = answer.out.splitlines()
    rows = [re.split(r"\s{2,}", line) for line in lines[2 : lines.index("")]]
    names = [row[0] for row in rows if row[0]]
    assert ["compression ratio", "11.8"] in [[row[0], row[-1]] for row in rows]
    assert any(row[:2] == ["intake closes", "IVC"] for row in rows)
    assert not any("spring" in name for name in names)
    known = Names(load_toml(SINGLE))
    assert len({known.find(name) for name in names}) == len(names) > 100


def test_the_two_files_the_other_way_round(breathe, plan: Path) -> None:
    answer = breathe("try", plan, SINGLE)
    assert answer.status == 2 and "the other way round, engine file first" in answer.err

"""Run folders: nothing lost, nothing overwritten, alterations noticed, names fit every system."""

from __future__ import annotations

import doctest
import json
import math
import os
import sqlite3
import threading
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from breathe import run_names, runs
from breathe.about import About, SettingNote
from breathe.run import Run, RunError
from breathe.run_names import check_name, default_name, numbered
from breathe.runs import load_run, open_run, run_folders, source_files

ABOUT = About(
    engine="Invented twin",
    source_file="twin.toml",
    standard="std",
    settings=(SettingNote(label="std"), SettingNote(label="+20°", intake_duration_deg=284.0)),
    speeds_rpm=(2000.0, 3000.0),
    throttle=1.0,
    outside_pressure_Pa=101_325.0,
    outside_temperature_K=298.15,
    speed_limit_rpm=9000.0,
    checking_height_m=1e-4,
    assumed=({"key": "a", "value": "1 mm", "reason": "b", "source": "c"},),
)
KEYS = ["k1", "k2", "k3"]


@pytest.fixture
def engine_file(tmp_path: Path) -> Path:
    folder = tmp_path / "engines"
    (folder / "lift").mkdir(parents=True)
    (folder / "lift" / "intake.csv").write_text("deg,mm\n0,9.5\n", encoding="utf-8")
    path = folder / "twin.toml"
    path.write_text(
        '[engine]\nname = "x"\n[intake.cam]\nlift_file = "lift/intake.csv"\n', encoding="utf-8"
    )
    return path


def opened(base: Path, engine_file: Path, keys=KEYS, name="twin", **more) -> Run:
    return open_run(base, name, ABOUT, keys, source_files(engine_file), **more)


def test_about_comes_back_from_the_file_as_it_went(tmp_path, engine_file):
    with opened(tmp_path / "runs", engine_file) as run:
        assert run.about == ABOUT
        assert run.planned == tuple(KEYS)
        assert {"breathe", "python", "numpy", "numba"} <= run.versions.keys()


def test_inputs_are_copied_with_the_files_they_name(tmp_path, engine_file):
    with opened(tmp_path / "runs", engine_file) as run:
        inputs = run.folder / "inputs"
        assert (inputs / "twin.toml").read_bytes() == engine_file.read_bytes()
        assert (inputs / "lift" / "intake.csv").is_file()


def test_a_file_outside_the_engine_folder_is_copied_inside(tmp_path, engine_file):
    (tmp_path / "far.csv").write_text("1", encoding="utf-8")
    engine_file.write_text('lift_file = "../far.csv"\n', encoding="utf-8")
    with opened(tmp_path / "runs", engine_file) as run:
        copies = [p for p in (run.folder / "inputs").rglob("far.csv")]
        assert len(copies) == 1 and run.folder in copies[0].parents


def test_interrupted_run_goes_on_with_nothing_lost(tmp_path, engine_file):
    row = {"setting": "std", "torque_Nm": np.float64(1 / 3), "settled": np.bool_(True)}
    run = opened(tmp_path / "runs", engine_file)
    run.keep("k1", row)
    # The process ends here without closing anything.
    with opened(tmp_path / "runs", engine_file) as again:
        assert again.resumed and again.folder == run.folder
        assert again.done() == {"k1": {"setting": "std", "torque_Nm": 1 / 3, "settled": True}}
        again.keep("k3", {"setting": "std", "torque_Nm": math.nan})
        again.keep("k2", {"setting": "+20°", "torque_Nm": 2.0})
        assert [r["torque_Nm"] for r in again.rows()][:2] == [1 / 3, 2.0]
        assert math.isnan(again.rows()[2]["torque_Nm"])
    run.close()


def test_other_inputs_under_the_same_name_get_a_number(tmp_path, engine_file):
    base = tmp_path / "runs"
    with opened(base, engine_file) as first:
        first.keep("k1", {"x": 1})
    with opened(base, engine_file, ["other"]) as second:
        assert second.name == "twin-2" and not second.resumed
    with opened(base, engine_file, ["other"]) as third:
        assert third.name == "twin-2" and third.resumed
    with opened(base, engine_file) as fourth:
        assert fourth.name == "twin" and fourth.done() == {"k1": {"x": 1}}
    with opened(base, engine_file, redo=True) as fifth:
        assert fifth.name == "twin-3" and not fifth.done()


def test_a_foreign_folder_of_that_name_is_left_alone(tmp_path, engine_file):
    foreign = tmp_path / "runs" / "twin"
    foreign.mkdir(parents=True)
    (foreign / "mine.txt").write_text("keep", encoding="utf-8")
    with opened(tmp_path / "runs", engine_file) as run:
        assert run.name == "twin-2"
    assert [p.name for p in foreign.iterdir()] == ["mine.txt"]


def test_cases_come_from_many_threads(tmp_path, engine_file):
    keys = [f"k{n}" for n in range(40)]
    with opened(tmp_path / "runs", engine_file, keys) as run:
        threads = [
            threading.Thread(target=lambda part=part: [run.keep(k, {"n": k}) for k in part])
            for part in (keys[::2], keys[1::2])
        ]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert [row["n"] for row in run.rows()] == keys


def test_nothing_is_altered_when_nothing_was(tmp_path, engine_file):
    with opened(tmp_path / "runs", engine_file) as run:
        run.keep("k1", {"x": 1.5})
        run.finish("x\n1.5\n")
        assert run.altered() == []


@pytest.mark.parametrize("name", ["results.csv", "run.json", "inputs/twin.toml"])
def test_altered_files_are_noticed(tmp_path, engine_file, name):
    with opened(tmp_path / "runs", engine_file) as run:
        run.finish("x\n1.5\n")
        path = run.folder / name
        path.write_bytes(path.read_bytes() + b"\n")
        assert run.altered() == [name.removeprefix("inputs/")]


def test_an_altered_case_is_noticed(tmp_path, engine_file):
    with opened(tmp_path / "runs", engine_file) as run:
        run.keep("k1", {"x": 1.5})
        folder = run.folder
    with sqlite3.connect(folder / "cases.sqlite") as database:
        database.execute("UPDATE cases SET row = '{\"x\": 2.5}'")
    database.close()
    with load_run(folder.parent, folder.name) as run:
        assert run.altered() == ["cases.sqlite"]


def test_hand_edited_results_are_not_overwritten(tmp_path, engine_file):
    with opened(tmp_path / "runs", engine_file) as run:
        run.finish("x\n1\n")
        (run.folder / "results.csv").write_text("x\nmine\n", encoding="utf-8")
        run.finish("x\n1\n")
        assert (run.folder / "results.csv").read_text(encoding="utf-8") == "x\nmine\n"
        assert run.altered() == ["results.csv"]


def test_results_held_by_another_program_are_said_and_cases_kept(
    tmp_path, engine_file, monkeypatch
):
    with opened(tmp_path / "runs", engine_file) as run:
        run.keep("k1", {"x": 1})

        def held(*_):
            raise PermissionError(13, "The process cannot access the file")

        monkeypatch.setattr(os, "replace", held)
        with pytest.raises(RunError, match=r"results\.csv.*close it there.*All cases are kept"):
            run.finish("x\n1\n")
        assert not list(run.folder.glob("*.part"))
        assert run.done() == {"k1": {"x": 1}}


def test_folder_that_cannot_be_written_is_named_and_another_offered(tmp_path, engine_file):
    (tmp_path / "runs").write_text("a file, no folder", encoding="utf-8")
    with pytest.raises(RunError, match=r"cannot write in .*runs: .*--runs"):
        opened(tmp_path / "runs", engine_file)


def test_failure_leaves_nothing_half_written(tmp_path, engine_file, monkeypatch):
    def full(*_, **__):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(runs.shutil, "copyfile", full)
    with pytest.raises(RunError, match="No space left"):
        opened(tmp_path / "runs", engine_file)
    assert list((tmp_path / "runs").iterdir()) == []


def test_read_only_folder_can_still_be_read(tmp_path, engine_file, monkeypatch):
    with opened(tmp_path / "runs", engine_file) as run:
        run.keep("k1", {"x": 1})
    monkeypatch.setattr(os, "access", lambda *_: False)
    with load_run(tmp_path / "runs", "twin") as again:
        assert again.done() == {"k1": {"x": 1}}


def test_runs_are_found_by_name_and_by_path(tmp_path, engine_file):
    base = tmp_path / "runs"
    opened(base, engine_file).close()
    load_run(base, "twin").close()
    load_run(tmp_path / "elsewhere", str(base / "twin")).close()
    assert [folder.name for folder in run_folders(base)] == ["twin"]
    assert run_folders(tmp_path / "nowhere") == []
    with pytest.raises(RunError, match="Did you mean 'twin'"):
        load_run(base, "twim")
    with pytest.raises(RunError, match=r"no run in .* yet"):
        load_run(tmp_path / "nowhere", "twin")


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "it is damaged or cut short (line 1, column 1)"),
        ("not json", "it is damaged or cut short (line 1, column 1)"),
        ('{"about": {"engine":', "it is damaged or cut short (line 1, column 21)"),
        ("{}", "'about' is missing"),
        ("[]", "it holds something else than expected"),
        ('{"about": {"engine": 1}}', "'settings' is missing"),
    ],
)
def test_a_broken_description_is_one_clear_error(tmp_path, engine_file, text, why):
    opened(tmp_path / "runs", engine_file).close()
    (tmp_path / "runs" / "twin" / "run.json").write_text(text, encoding="utf-8")
    with pytest.raises(RunError) as caught:
        load_run(tmp_path / "runs", "twin")
    told = str(caught.value)
    assert "run.json: not a run description of breathe" in told and told.endswith(why)
    assert "Error(" not in told


@pytest.mark.parametrize("results", [True, False])
def test_a_broken_database_is_one_clear_error(tmp_path, engine_file, results):
    with opened(tmp_path / "runs", engine_file) as run:
        if results:
            run.finish("setting\n")
    for path in (tmp_path / "runs" / "twin").glob("cases.sqlite*"):
        path.write_bytes(b"no database at all" * 50)
    with pytest.raises(RunError) as caught:
        load_run(tmp_path / "runs", "twin")
    told = str(caught.value)
    assert "cases.sqlite: damaged, so the cases in it cannot be read." in told
    assert "kept" not in told
    assert ("results.csv beside it still holds the figures" in told) == results
    assert ("There is no results.csv" in told) != results


def test_description_is_readable_text(tmp_path, engine_file):
    with opened(tmp_path / "runs", engine_file) as run:
        found = json.loads((run.folder / "run.json").read_text(encoding="utf-8"))
    assert found["about"]["assumed"][0]["source"] == "c"
    assert found["planned"] == KEYS


@pytest.mark.parametrize(
    "name",
    ["", ".", "..", "a/b", "a\\b", "a:b", "con", "NUL.txt", "com1", "x.", "x ", "x" * 61, "*"],
)
def test_names_that_some_system_cannot_bear_are_refused(name, tmp_path, engine_file):
    assert check_name(name)
    with pytest.raises(RunError, match="run name"):
        opened(tmp_path / "runs", engine_file, name=name)
    assert not (tmp_path / "runs").exists()


@given(st.text(max_size=80))
def test_default_name_is_always_usable(stem):
    assert check_name(default_name(Path("folder") / f"{stem.replace(chr(0), '')}.toml")) is None


def test_default_name_of_a_folder_engine_is_its_folder():
    assert default_name(Path("engines/road_four/engine.toml")) == "road_four"


def test_numbers_follow_the_name():
    names = numbered("a")
    assert [next(names) for _ in range(3)] == ["a", "a-2", "a-3"]


def test_examples_in_the_docstrings():
    assert doctest.testmod(run_names).failed == 0

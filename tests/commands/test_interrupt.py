"""Ctrl-C in the middle of a real run: heard at once, nothing lost, the same command goes on."""

from __future__ import annotations

import csv
import io
import signal
import sqlite3
import subprocess
import sys
import time
from concurrent import futures
from pathlib import Path

import pytest

from breathe.cycle.layout import Resolution
from breathe.engine.read import read_engine
from breathe.study import compare
from tests.commands.conftest import ENGINES

SINGLE = ENGINES / "single_400.toml"
COMMAND = (
    *(sys.executable, "-m", "breathe", "compare", str(SINGLE), "--csv", "--threads", "1"),
    *("--settings", "220,260,std", "--speeds", "2000:9000:1000"),
)
CASES = 24


def kept(folder: Path) -> int:
    database = folder / "runs" / "single_400" / "cases.sqlite"
    if not database.exists():
        return 0
    with sqlite3.connect(database) as connection:
        try:
            return int(connection.execute("SELECT count(*) FROM cases").fetchone()[0])
        except sqlite3.OperationalError:  # no table yet
            return 0


@pytest.mark.skipif(sys.platform == "win32", reason="no signal goes to one process alone there")
def test_an_interrupt_keeps_what_is_done_and_the_rest_follows(tmp_path):
    process = subprocess.Popen(
        COMMAND, cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    patience = time.monotonic() + 300.0
    while kept(tmp_path) < 2 and process.poll() is None and time.monotonic() < patience:
        time.sleep(0.02)
    process.send_signal(signal.SIGINT)
    out, told = process.communicate()
    count = kept(tmp_path)
    assert process.returncode == 130, told
    assert out == "" and "Traceback" not in told
    assert 2 <= count < CASES
    assert f"Stopped. {count} of {CASES} cases are kept in" in told
    again = subprocess.run(COMMAND, cwd=tmp_path, capture_output=True, text=True, check=True)
    assert f"Going on with {Path('runs') / 'single_400'}: {count} of {CASES}" in again.stderr
    assert len(list(csv.DictReader(io.StringIO(again.stdout)))) == CASES


def test_no_wait_is_so_long_that_an_interrupt_is_not_heard(monkeypatch):
    # On Windows an interrupt is seen only between waits.
    patience: list[float | None] = []

    def wait(pending, timeout=None, return_when=futures.ALL_COMPLETED):
        patience.append(timeout)
        return futures.wait(pending, timeout, return_when)

    monkeypatch.setattr(compare, "wait", wait)
    engine = read_engine(SINGLE)
    jobs = compare.plan(engine, [8000.0], engine.settings[:1], resolution=Resolution(0.03, 0.06))
    assert len(compare.run_cases(jobs, threads=1)) == 1
    assert patience and all(timeout is not None and timeout <= 0.5 for timeout in patience)

"""The same cases give the same figures wherever they run, and survive what happens to workers."""

from __future__ import annotations

import importlib.util
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import BrokenExecutor, Executor, Future
from dataclasses import replace
from pathlib import Path

import pytest

import breathe
from breathe.cycle.layout import Resolution
from breathe.engine.parts import Operating
from breathe.engine.read import read_engine
from breathe.study.compare import Job, Row
from breathe.study.evaluate import Point, alone, row_of
from breathe.study.plans import cluster
from breathe.study.plans.cluster import ClusterError, Runner, executor

SINGLE = Path(__file__).parents[2] / "engines" / "single_400.toml"
COARSE = Resolution(0.03, 0.06)
needs_dask = pytest.mark.skipif(
    importlib.util.find_spec("distributed") is None,
    reason="the package distributed is not installed (extra 'cluster')",
)


def jobs(count: int) -> list[Job]:
    engine = read_engine(SINGLE)
    return [
        alone(engine, Point(engine.settings[2], Operating(speed_rpm=6000.0 + 100 * k)), COARSE)
        for k in range(count)
    ]


def run(spec: str, todo: list[Job]) -> tuple[dict[str, Row], dict[str, str]]:
    found: dict[str, Row] = {}
    with Runner(spec) as runner:
        runner.run(todo, lambda job, row, _: found.update({job.key: row}))
    return found, runner.failures


def test_threads_and_processes_give_what_one_thread_gives() -> None:
    todo = jobs(3)
    expected = {job.key: row_of(job) for job in todo}
    for spec in ("serial", "threads:2", "processes:2"):
        assert run(spec, todo) == (expected, {})


def test_an_address_without_its_scheme_is_offered_with_it() -> None:
    with pytest.raises(ClusterError, match=r"did you mean tcp://127.0.0.1:8786\?"):
        executor("127.0.0.1:8786")


@pytest.mark.parametrize("spec", ["", "threads", "threads:0", "4", "tcp:host", "http://host:1"])
def test_another_spec_is_refused(spec: str) -> None:
    with pytest.raises(ClusterError, match=r"--cluster: found .*; expected serial, threads:N"):
        executor(spec)


def test_a_case_that_fails_stops_no_other() -> None:
    todo = jobs(3)
    todo[1] = replace(todo[1], engine=None)
    found, failures = run("threads:2", todo)
    assert set(found) == {todo[0].key, todo[2].key}
    assert list(failures) == [todo[1].key] and "AttributeError" in failures[todo[1].key]


class Breaking(Executor):
    """Breaks, as a pool does whose process is killed, at the jobs named."""

    made = 0

    def __init__(self, deadly: dict[str, int]) -> None:
        self.deadly = deadly
        self.broken = False
        Breaking.made += 1

    def submit(self, fn, /, *args, **kwargs):  # type: ignore[no-untyped-def]
        if self.broken:
            raise BrokenExecutor
        future: Future = Future()
        if self.deadly.get(args[0].key, 0) > 0:
            self.deadly[args[0].key] -= 1
            self.broken = True
            future.set_exception(BrokenExecutor())
        else:
            future.set_result(({"key": args[0].key}, 0.1))
        return future


@pytest.mark.parametrize(("times", "lost"), [(1, False), (99, True)])
def test_a_broken_pool_is_made_anew_and_only_the_culprit_given_up(
    monkeypatch: pytest.MonkeyPatch, times: int, lost: bool
) -> None:
    todo = jobs(6)
    deadly = {todo[2].key: times}
    monkeypatch.setattr(cluster, "executor", lambda spec: Breaking(deadly))
    monkeypatch.setattr(cluster, "at_a_time", lambda pool: 2)
    found, failures = run("processes:2", todo)
    assert set(found) == {job.key for job in todo} - ({todo[2].key} if lost else set())
    assert set(failures) == ({todo[2].key} if lost else set())
    if lost:
        assert failures[todo[2].key] == "its worker died 3 times while running it"


def test_a_process_killed_half_way_costs_only_time() -> None:
    todo, found = jobs(8), dict[str, Row]()
    with Runner("processes:2") as runner:

        def on_row(job: Job, row: Row, _: float) -> None:
            if not found:
                os.kill(next(iter(runner.pool._processes)), signal.SIGTERM)  # type: ignore[attr-defined]
            found[job.key] = row

        runner.run(todo, on_row)
    assert set(found) == {job.key for job in todo} and not runner.failures


class Dask:
    """A scheduler and workers on loopback, as separate processes."""

    def __init__(self, folder: Path) -> None:
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        self.folder, self.processes = folder, list[subprocess.Popen]()
        self.address = f"tcp://127.0.0.1:{port}"
        self.start("scheduler", "--host", "127.0.0.1", "--port", str(port))

    def start(self, kind: str, *arguments: str, path: Path | None = None) -> subprocess.Popen:
        tree = path or Path(breathe.__file__).parents[1]
        process = subprocess.Popen(
            [sys.executable, "-m", f"distributed.cli.dask_{kind}", *arguments, "--no-dashboard"],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            cwd=self.folder,
            env={**os.environ, "PYTHONPATH": str(tree)},
        )
        self.processes.append(process)
        return process

    def worker(self, path: Path | None = None) -> subprocess.Popen:
        there = ("--nthreads", "1", "--no-nanny", "--host", "127.0.0.1")
        return self.start("worker", self.address, *there, path=path)

    def runner(self, workers: int) -> Runner:
        patience = time.monotonic() + 60
        while True:
            try:
                runner = Runner(self.address)
                if runner.width >= workers:
                    return runner
                runner.__exit__(None)
            except ClusterError as error:
                late = time.monotonic() > patience
                if late or not ("no workers" in str(error) or "no scheduler" in str(error)):
                    raise
            time.sleep(0.2)

    def close(self) -> None:
        for process in reversed(self.processes):
            process.kill()
            process.wait()


@pytest.fixture
def dask(tmp_path: Path) -> Iterator[Dask]:
    one = Dask(tmp_path)
    yield one
    one.close()


@needs_dask
def test_a_cluster_gives_the_same_and_a_killed_worker_costs_only_time(
    dask: Dask, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cluster, "_CONNECT_WITHIN_s", 3.0)
    todo, found = jobs(8), dict[str, Row]()
    first, _ = dask.worker(), dask.worker()
    with dask.runner(2) as runner:

        def on_row(job: Job, row: Row, _: float) -> None:
            found[job.key] = row
            if len(found) == 2:
                first.kill()

        runner.run(todo, on_row)
        assert not runner.failures
        dask.processes[0].kill()  # the scheduler
        with pytest.raises(ClusterError, match="the scheduler is gone"):
            runner.run(jobs(40)[8:], on_row)
    assert {key: found[key] for key in (job.key for job in todo)} == {
        job.key: row_of(job) for job in todo
    }


@needs_dask
def test_a_worker_of_another_program_is_refused_by_name(dask: Dask, tmp_path: Path) -> None:
    other = tmp_path / "other"
    shutil.copytree(
        Path(breathe.__file__).parent, other / "breathe", ignore=shutil.ignore_patterns("*.pyc")
    )
    with (other / "breathe" / "cycle" / "piston.py").open("a", encoding="utf-8") as file:
        file.write("\n# a change of the model\n")
    dask.worker(other)
    with pytest.raises(ClusterError) as fault:
        dask.runner(1)
    assert "not the same breathe everywhere" in str(fault.value)
    assert "tcp://127.0.0.1:" in str(fault.value).splitlines()[1]
    assert "with other model files there" in str(fault.value)


def test_a_worker_that_comes_later_is_checked_too() -> None:
    with pytest.raises(ClusterError, match=r"breathe .* there, 9.9 here; install 9.9 there"):
        cluster.timed_row(jobs(1)[0], ("9.9", "0"))


@needs_dask
def test_no_scheduler_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cluster, "_CONNECT_WITHIN_s", 0.5)
    with pytest.raises(ClusterError, match=r"tcp://127.0.0.1:1: no scheduler answers there"):
        executor("tcp://127.0.0.1:1")


@needs_dask
def test_a_port_that_says_nothing_holds_nobody(monkeypatch: pytest.MonkeyPatch) -> None:
    """As a machine asleep, or another program that waits to be spoken to."""
    monkeypatch.setattr(cluster, "_CONNECT_WITHIN_s", 0.5)
    with socket.socket() as mute:
        mute.bind(("127.0.0.1", 0))
        mute.listen()
        with pytest.raises(ClusterError, match="no scheduler answers there within"):
            executor(f"tcp://127.0.0.1:{mute.getsockname()[1]}")


def test_other_libraries_on_a_worker_are_told() -> None:
    here = cluster.libraries()
    assert cluster._other("w", here) == ""
    told = cluster._other("w", {**here, "numpy": "0.1"})
    assert told.startswith("  w has numpy 0.1 for ") and "last digits" in told

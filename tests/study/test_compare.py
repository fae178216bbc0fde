"""Many cases: what is run, in which order, and that interruption changes no number."""

from __future__ import annotations

import threading
from dataclasses import replace
from pathlib import Path

import pytest

from breathe.cycle.layout import Resolution
from breathe.engine.parts import Engine
from breathe.engine.read import read_engine
from breathe.study.compare import Job, Row, plan, run_cases, table

ENGINE = Path(__file__).parents[2] / "engines" / "single_400.toml"
COARSE = Resolution(0.03, 0.06)
"""These tests ask about bookkeeping, not about accuracy."""


@pytest.fixture(scope="module")
def engine() -> Engine:
    return read_engine(ENGINE)


@pytest.fixture(scope="module")
def jobs(engine: Engine) -> list[Job]:
    return plan(engine, [8000.0, 9000.0], engine.settings[:3], resolution=COARSE)


@pytest.fixture(scope="module")
def whole(jobs: list[Job]) -> dict[str, Row]:
    return run_cases(jobs, threads=1)


def test_every_setting_at_every_speed(jobs: list[Job], whole: dict[str, Row]) -> None:
    frame = table(jobs, whole)
    assert len(frame) == 6
    assert not frame.duplicated(["setting", "speed_rpm"]).any()
    assert frame["settled"].all()


def test_threads_do_not_change_a_number(jobs: list[Job], whole: dict[str, Row]) -> None:
    assert run_cases(jobs, threads=2) == whole


def test_a_run_cut_short_and_resumed_gives_the_same_numbers(
    jobs: list[Job], whole: dict[str, Row]
) -> None:
    stop, kept = threading.Event(), dict[str, Row]()

    def cut(job: Job, row: Row) -> None:
        kept[job.key] = row
        if len(kept) == 2:
            stop.set()

    run_cases(jobs, threads=1, on_done=cut, stop=stop)
    assert 2 <= len(kept) < len(jobs)
    told: list[str] = []
    resumed = run_cases(jobs, threads=1, done=kept, on_done=lambda job, row: told.append(job.key))
    assert resumed == whole
    assert set(told) == {job.key for job in jobs} - set(kept)


def test_keys_know_everything_that_decides_a_number(engine: Engine, jobs: list[Job]) -> None:
    def key_of(other: Engine) -> str:
        return plan(other, [8000.0], other.settings[:1], resolution=COARSE)[0].key

    assert key_of(engine) == jobs[0].key
    assert key_of(replace(engine, name="another name")) == jobs[0].key
    hotter = replace(engine.air, temperature_K=310.0)
    assert key_of(replace(engine, air=hotter)) != jobs[0].key
    rich = replace(engine.fuel, lambda_full_load=0.85)
    assert key_of(replace(engine, fuel=rich)) != jobs[0].key
    burn = replace(engine.burn, wiebe_m=1.9)
    assert key_of(replace(engine, burn=burn)) != jobs[0].key


def test_a_setting_that_cannot_stand_says_why_and_the_rest_runs(engine: Engine) -> None:
    beyond = replace(engine.settings[0], label="far", intake_travel_m=0.5)
    jobs = plan(engine, [8000.0], [beyond, engine.settings[0]], resolution=COARSE)
    frame = table(jobs, run_cases(jobs, threads=1))
    assert list(frame["settled"]) == [False, True]
    assert "needs 500.0 mm, the sleeve has 16.0 mm" in frame["remark"][0]

"""Every cam setting at every speed, as one tidy table."""

from __future__ import annotations

import math
import os
import threading
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, ThreadPoolExecutor, wait
from dataclasses import dataclass
from typing import Any

import pandas as pd

from breathe.cycle.layout import Resolution
from breathe.cycle.march import State
from breathe.cycle.result import Cycle, simulate, without_figures
from breathe.engine.parts import Engine, Operating, Setting
from breathe.errors import BreatheError
from breathe.kernel import PROGRAM_HASH
from breathe.study.choose import (
    default_speeds,
    setting_named,
    settings_of,
    speed_of,
    speeds_of,
    throttle_of,
)
from breathe.study.fingerprint import fingerprint
from breathe.valvetrain.dwell import case
from breathe.version import VERSION

Row = dict[str, Any]
OnDone = Callable[["Job", Row], None]


@dataclass(frozen=True, slots=True)
class Job:
    """One case to run. Jobs of one chain are run in order, each started from the one before."""

    engine: Engine
    setting: Setting
    operating: Operating
    resolution: Resolution
    key: str

    @property
    def label(self) -> str:
        return self.setting.label

    @property
    def speed_rpm(self) -> float:
        return self.operating.speed_rpm


@dataclass(frozen=True, slots=True)
class Study:
    """The answer of a comparison."""

    engine: Engine
    settings: tuple[Setting, ...]
    speeds_rpm: tuple[float, ...]
    throttle: float
    table: pd.DataFrame
    """One row for each setting and speed; SI, units in the column names."""


def plan(
    engine: Engine,
    speeds_rpm: Iterable[float],
    settings: Iterable[Setting],
    throttle: float = 1.0,
    resolution: Resolution | None = None,
) -> list[Job]:
    """Jobs of all settings at all speeds, settings innermost; ``throttle`` is the opening as a
    share of its area [-]."""
    resolution = resolution or Resolution()
    jobs, settings = [], tuple(settings)
    for speed in speeds_rpm:
        chain: list[str] = []
        for setting in settings:
            operating = Operating(speed_rpm=float(speed), throttle=float(throttle))
            # The state it starts from counts: a case is known by the whole chain up to it.
            own = fingerprint(engine, setting, operating, resolution, VERSION, PROGRAM_HASH)
            chain.append(own)
            jobs.append(Job(engine, setting, operating, resolution, fingerprint(*chain)))
    return jobs


def run_cases(
    jobs: Sequence[Job],
    *,
    threads: int | None = None,
    on_done: OnDone | None = None,
    done: Mapping[str, Row] | None = None,
    stop: threading.Event | None = None,
) -> dict[str, Row]:
    """Run all jobs not yet done; a chain of settings at one speed is one thread's work.

    Parameters
    ----------
    jobs : sequence of Job
    threads : int, optional
        Chains at a time; None takes the number of cores, at most 8.
    on_done : callable, optional
        Told of each new row as it comes, from the thread that made it.
    done : mapping, optional
        Rows known already, by key. A chain with a gap is marched again from its start, so that the
        numbers do not depend on where a run was interrupted; known rows are kept as they are.
    stop : threading.Event, optional
        Set it to end after the cases that are running.

    Returns
    -------
    dict
        All rows by key.
    """
    rows: dict[str, Row] = dict(done or {})
    stop = stop or threading.Event()
    chains: dict[Operating, list[Job]] = {}
    for job in jobs:
        chains.setdefault(job.operating, []).append(job)
    waiting = [c for c in chains.values() if any(job.key not in rows for job in c)]
    workers = threads or min(8, os.cpu_count() or 1)
    with ThreadPoolExecutor(workers) as pool:
        known = frozenset(rows)
        pending = {pool.submit(_run_chain, c, known, on_done, stop) for c in waiting}
        try:
            while pending:
                # Windows hears Ctrl-C only between waits.
                finished, pending = wait(pending, timeout=0.2, return_when=FIRST_COMPLETED)
                for future in finished:
                    rows.update(future.result())
        except BaseException:
            stop.set()
            raise
    return rows


def _run_chain(
    chain: Sequence[Job], known: frozenset[str], on_done: OnDone | None, stop: threading.Event
) -> dict[str, Row]:
    rows: dict[str, Row] = {}
    state: State | None = None
    for i, job in enumerate(chain):
        if stop.is_set() or all(later.key in known for later in chain[i:]):
            break
        row, state = run_job(job, state)
        if job.key not in known:
            rows[job.key] = row
            if on_done is not None:
                on_done(job, row)
    return rows


def run_job(job: Job, start: State | None = None) -> tuple[Row, State | None]:
    """One row and the state to go on from; a case that cannot be run says why in its remark."""
    try:
        ready = case(job.engine, job.setting, job.operating)
    except ValueError as error:
        return without_figures(job.setting, job.operating, str(error)).row(), start
    cycle, state = simulate(ready, start=start, resolution=job.resolution)
    if math.isfinite(cycle.torque_Nm):
        return cycle.row(), state
    # A start too far off may fail where a cold one does not.
    cycle, state = simulate(ready, resolution=job.resolution)
    if math.isfinite(cycle.torque_Nm):
        return cycle.row(), state
    return cycle.row(), None


def table(jobs: Sequence[Job], rows: Mapping[str, Row]) -> pd.DataFrame:
    """Tidy table of all jobs that have a row, in the order of the jobs."""
    return pd.DataFrame([rows[job.key] for job in jobs if job.key in rows])


def compare(
    engine: Engine,
    speeds_rpm: Iterable[float] | None = None,
    settings: Iterable[Setting | str] | str | None = None,
    *,
    throttle: float = 1.0,
    threads: int | None = None,
    resolution: Resolution | None = None,
) -> Study:
    """Run every setting at every speed.

    Parameters
    ----------
    engine : Engine
        From `breathe.read_engine`.
    speeds_rpm : iterable of float, optional
        Engine speeds [rpm], each taken once; by default round steps up to the engine's limit.
    settings : iterable of Setting or str, or str, optional
        Labels of the engine file ("264°" or "264"), intake durations its sleeve can reach, or
        `Setting` objects; text may hold several between commas. By default those of the file.
    throttle : float
        Opening of the throttled pipe end, a share of its area; 1 is full load.
    threads : int, optional
        Cases at a time; by default one per processor, at most 8.
    resolution : Resolution, optional
        Cell lengths and steps; by default those that the checks were made with.

    Returns
    -------
    Study
        Its ``table`` has one row per setting and speed, SI, units in the column names. A case that
        cannot be run has nan figures and says why in ``remark``.

    Raises
    ------
    BreatheError
        A setting, speed, throttle or number of threads that cannot be meant; the message says what
        was found and what is expected.

    Examples
    --------
    >>> engine = breathe.read_engine("engines/road_four_sleeve.toml")    # doctest: +SKIP
    >>> breathe.compare(engine, [3000, 6000], ["240", "276"]).table      # doctest: +SKIP
    """
    speeds = default_speeds(engine) if speeds_rpm is None else speeds_of(speeds_rpm)
    chosen = settings_of(engine, settings)
    throttle = throttle_of(throttle)
    if threads is not None and threads < 1:
        raise BreatheError(f"threads: found {threads!r}; expected 1 or more")
    jobs = plan(engine, speeds, chosen, throttle, resolution)
    rows = run_cases(jobs, threads=threads)
    return Study(engine, chosen, speeds, throttle, table(jobs, rows))


def trace(engine: Engine, setting: Setting | str, speed_rpm: float, throttle: float = 1.0) -> Cycle:
    """One case with its course over crank angle in ``.trace``.

    Parameters
    ----------
    engine : Engine
        From `breathe.read_engine`.
    setting : Setting or str
        A label of the engine file, an intake duration its sleeve can reach, or a `Setting`.
    speed_rpm : float
        Engine speed [rpm].
    throttle : float
        Opening of the throttled pipe end, a share of its area; 1 is full load.

    Returns
    -------
    Cycle
        Figures in SI; ``.trace`` holds pressures, temperatures, masses and flows by crank degree.

    Raises
    ------
    BreatheError
        No such setting, or one the cams cannot take; a speed or throttle that cannot be meant.
    """
    if isinstance(setting, str):
        setting = setting_named(engine, setting, "setting")
    operating = Operating(speed_rpm=speed_of(speed_rpm), throttle=throttle_of(throttle))
    try:
        ready = case(engine, setting, operating)
    except ValueError as error:
        raise BreatheError(f"{engine.source_file or engine.name}: {error}") from error
    return simulate(ready, traces=True)[0]

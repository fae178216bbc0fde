"""Single cases on demand, each run once: what a search over settings, speeds and loads asks.

Every case is marched from a cold start, so its numbers depend on nothing but itself and may be
kept, looked up and computed anywhere, in any order.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ThreadPoolExecutor, wait
from dataclasses import dataclass
from typing import Any

from breathe.cycle.layout import Resolution
from breathe.engine.parts import Engine, Operating, Setting
from breathe.kernel import PROGRAM_HASH
from breathe.study.compare import Job, Row, run_job
from breathe.study.fingerprint import fingerprint
from breathe.version import VERSION

OnDone = Callable[[Job, Row], None]


@dataclass(frozen=True, slots=True)
class Point:
    """One place to look at."""

    setting: Setting
    operating: Operating


def alone(engine: Engine, point: Point, resolution: Resolution | None = None) -> Job:
    """The job of one case that starts cold."""
    grid = resolution or Resolution()
    key = fingerprint("alone", engine, point.setting, point.operating, grid, VERSION, PROGRAM_HASH)
    return Job(engine, point.setting, point.operating, grid, key)


def row_of(job: Job) -> Row:
    """Run one job from a cold start; fit to be sent to another process."""
    return run_job(job)[0]


class Evaluator:
    """Runs points of one engine and remembers them.

    Parameters
    ----------
    engine : Engine
    known : mapping, optional
        Rows by job key from an earlier run.
    on_done : callable, optional
        Told of each new row, from the thread that waits for it.
    executor : Executor, optional
        Where cases are run; by default a pool of threads, one per processor.
    resolution : Resolution, optional

    Attributes
    ----------
    rows : dict
        All rows known, by key.
    runs : int
        Cases run here; looking one up does not count.
    """

    def __init__(
        self,
        engine: Engine,
        *,
        known: Mapping[str, Row] | None = None,
        on_done: OnDone | None = None,
        executor: Executor | None = None,
        threads: int | None = None,
        resolution: Resolution | None = None,
    ) -> None:
        self.engine = engine
        self.rows: dict[str, Row] = dict(known or {})
        self.runs = 0
        self.stop = threading.Event()
        self._on_done = on_done
        self._executor = executor
        self._threads = threads or min(8, os.cpu_count() or 1)
        self._resolution = resolution

    def __call__(self, points: Sequence[Point]) -> list[Row]:
        """Rows of all points, in their order; what is not known is run first."""
        jobs = [alone(self.engine, point, self._resolution) for point in points]
        missing = {job.key: job for job in jobs if job.key not in self.rows}
        if missing:
            self._run(list(missing.values()))
        return [self.rows[job.key] for job in jobs]

    def _run(self, jobs: Sequence[Job]) -> None:
        if self._executor is not None:
            self._gather(self._executor, jobs)
            return
        with ThreadPoolExecutor(self._threads) as pool:
            self._gather(pool, jobs)

    def _gather(self, pool: Executor, jobs: Sequence[Job]) -> None:
        jobs_of: dict[Future[Row], Job] = {pool.submit(row_of, job): job for job in jobs}
        pending = set(jobs_of)
        try:
            while pending:
                # Windows hears Ctrl-C only between waits.
                finished, pending = wait(pending, timeout=0.2, return_when=FIRST_COMPLETED)
                for future in finished:
                    self._keep(jobs_of[future], future.result())
        except BaseException:
            # What is done by now is kept; what runs ends with the pool.
            for future, job in jobs_of.items():
                whole = not future.cancel() and future.done() and future.exception() is None
                if whole and job.key not in self.rows:
                    self._keep(job, future.result())
            raise

    def _keep(self, job: Job, row: Row) -> None:
        self.rows[job.key] = row
        self.runs += 1
        if self._on_done is not None:
            self._on_done(job, row)


def column(rows: Sequence[Mapping[str, Any]], name: str) -> list[float]:
    """One figure of every row; nan where a case has none."""
    return [float(row[name]) for row in rows]

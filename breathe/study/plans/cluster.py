"""Where cases are run: here, in threads or processes of this machine, or on a dask cluster.

Everything goes through the standard `concurrent.futures.Executor`. A worker must be the same
breathe to the last kernel, or its numbers would not belong beside the others.
"""

from __future__ import annotations

import contextlib
import logging
import math
import multiprocessing
import os
import pickle
import platform
import re
import signal
import threading
import time
from collections import Counter, deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import (
    FIRST_COMPLETED,
    BrokenExecutor,
    CancelledError,
    Executor,
    Future,
    ProcessPoolExecutor,
    ThreadPoolExecutor,
    wait,
)
from importlib.metadata import version
from typing import Any

from breathe.errors import BreatheError
from breathe.kernel import PROGRAM_HASH
from breathe.study.compare import Job, Row
from breathe.study.evaluate import row_of
from breathe.version import VERSION

KINDS = "serial, threads:N, processes:N or tcp://HOST:PORT"
_MOST_DEATHS = 3
"""Workers a case may take with it before it is given up."""
_NOTICE_AFTER_s = 10.0
_CONNECT_WITHIN_s = 10.0
_RECOUNT_s = 2.0
_LIBRARIES = ("numpy", "scipy", "numba", "cantera")

OnRow = Callable[[Job, Row, float], None]
"""Told of each case: its row and the seconds it took its worker."""
Identity = tuple[str, str]
"""Version and hash of the program."""


class ClusterError(BreatheError):
    """Workers that cannot be reached or must not be used."""


def identity() -> Identity:
    """What decides the numbers of this process."""
    return VERSION, PROGRAM_HASH


def libraries() -> dict[str, str]:
    """What else may move the last digits of the numbers of this process."""
    return {"python": platform.python_version()} | {name: version(name) for name in _LIBRARIES}


class Serial(Executor):
    """Runs each case when it is handed over, in this thread."""

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        future: Future[Any] = Future()
        try:
            future.set_result(fn(*args, **kwargs))
        except Exception as error:
            future.set_exception(error)
        return future


class Cluster(Executor):
    """A dask scheduler and its workers; closed, it lets go of them."""

    def __init__(self, address: str) -> None:
        try:
            from distributed import Client
        except ImportError:
            raise ClusterError(
                f'{address}: a cluster needs the package distributed: python -m pip install "'
                'breathe[cluster]" here and on every worker'
            ) from None
        self.address = address
        self._count, self._counted = 0, -math.inf
        self.notes: tuple[str, ...] = ()
        """What the user should know of these workers, though they may be used."""
        # It logs every lost connection with a trace; what matters is said below in one line.
        for name in ("distributed", "distributed.client", "distributed.core"):
            logging.getLogger(name).setLevel(logging.CRITICAL)
        self._client = _in_time(
            address, lambda: Client(address, timeout=_CONNECT_WITHIN_s, set_as_default=False)
        )
        try:
            self._refuse_strangers()
        except BaseException:
            self._close()
            raise
        self._pool = self._client.get_executor(pure=False)

    @property
    def count(self) -> int:
        """Cases the workers run at a time, at most some seconds old.

        Raises
        ------
        ClusterError
            The scheduler is gone.
        """
        if time.monotonic() - self._counted > _RECOUNT_s:
            self._counted = time.monotonic()
            try:
                self._count = sum(self._client.nthreads().values())
            except (OSError, TimeoutError, ValueError):
                raise self.gone() from None
        return self._count

    def gone(self) -> ClusterError:
        return ClusterError(
            f"{self.address}: the scheduler is gone. What was done is kept; once it is back, the "
            "same command goes on from there."
        )

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        future: Future[Any] = self._pool.submit(fn, *args, **kwargs)
        return future

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        self._pool.shutdown(wait=wait and not cancel_futures)
        self._close()

    def _close(self) -> None:
        """Let go; a scheduler that no longer answers must not hold the user."""
        with contextlib.suppress(OSError, TimeoutError):
            self._client.close(timeout=5)

    def _refuse_strangers(self) -> None:
        here, found = identity(), self._client.run(identity, on_error="return")
        if not found:
            raise ClusterError(
                f"{self.address}: the scheduler has no workers yet. Start one or more with: "
                f"dask worker {self.address}"
            )
        theirs = self._client.run(libraries, on_error="return")
        self.notes = tuple(note for name, has in theirs.items() if (note := _other(name, has)))
        faults = [_difference(name, there, here) for name, there in found.items()]
        faults = [fault for fault in faults if fault]
        if faults:
            raise ClusterError(
                "\n".join([f"{self.address}: not the same breathe everywhere:", *faults])
            )


def _in_time(address: str, connect: Callable[[], Any]) -> Any:
    """What ``connect`` gives, within a time.

    A port that takes the call and then says nothing (a machine asleep, another program) would hold
    the library for ever, so it waits in a thread of its own.
    """
    done: Future[Any] = Future()

    def attempt() -> None:
        try:
            done.set_result(connect())
        except BaseException as error:
            done.set_exception(error)

    threading.Thread(target=attempt, daemon=True).start()
    patience = time.monotonic() + _CONNECT_WITHIN_s + 5.0
    while not done.done() and time.monotonic() < patience:
        wait([done], timeout=0.2)  # Windows hears Ctrl-C only between waits
    why = "it takes the call and says nothing"
    if done.done():
        try:
            return done.result()
        except (OSError, TimeoutError, ValueError, ImportError) as error:
            why = (str(error) or type(error).__name__).splitlines()[0][:80]
    raise ClusterError(
        f"{address}: no scheduler answers there within {_CONNECT_WITHIN_s:.0f} s ({why}). Start "
        "one with: dask scheduler"
    )


def _difference(worker: str, there: Any, here: Identity) -> str:
    if isinstance(there, BaseException):
        return f"  {worker}: breathe does not load there ({type(there).__name__}: {there})"
    if tuple(there) == here:
        return ""
    if there[0] != here[0]:
        return f"  {worker}: breathe {there[0]} there, {here[0]} here; install {here[0]} there"
    return (
        f"  {worker}: breathe {there[0]} with other model files there ({there[1]}) than here "
        f"({here[1]}); bring both to the same state and start the worker again"
    )


def _other(worker: str, has: Any) -> str:
    """A worker with other libraries: as good, but not the same to the last digit."""
    if not isinstance(has, dict):
        return ""
    here = libraries()
    odd = [
        f"{name} {has.get(name)} for {here[name]}" for name in here if has.get(name) != here[name]
    ]
    told = f"  {worker} has {', '.join(odd)}: its figures may differ in the last digits"
    return told if odd else ""


def executor(spec: str) -> Executor:
    """An executor for ``serial``, ``threads:N``, ``processes:N`` or ``tcp://HOST:PORT``.

    Processes are spawned on every system. Close it, or use ``with``.

    Raises
    ------
    ClusterError
        Another spec, no scheduler at the address, no workers, or workers of another breathe.

    Examples
    --------
    >>> with executor("serial") as pool:
    ...     pool.submit(pow, 2, 5).result()
    32
    """
    if spec == "serial":
        return Serial()
    local = re.fullmatch(r"(threads|processes):(\d{1,3})", spec)
    if local and int(local[2]) > 0:
        if local[1] == "threads":
            return ThreadPoolExecutor(int(local[2]))
        spawn = multiprocessing.get_context("spawn")
        # A terminal sends Ctrl-C to all processes; only this one is to act on it.
        deaf = (signal.SIGINT, signal.SIG_IGN)
        return ProcessPoolExecutor(int(local[2]), spawn, signal.signal, deaf)
    if re.fullmatch(r"(?:tcp|tls)://.+:\d{1,5}", spec):
        return Cluster(spec)
    bare = re.fullmatch(r"[\w.-]+:\d{2,5}", spec)
    near = f"; did you mean tcp://{spec}?" if bare else ""
    raise ClusterError(f"--cluster: found {spec!r}; expected {KINDS}{near}")


def at_a_time(pool: Executor) -> int:
    """Cases an executor runs at a time."""
    if isinstance(pool, Cluster):
        return max(1, pool.count)
    return int(getattr(pool, "_max_workers", 1))


def timed_row(job: Job, wanted: Identity) -> tuple[Row, float]:
    """One case on whatever worker this is, with the seconds it took.

    Raises
    ------
    ClusterError
        The worker, perhaps one that came later, is another breathe.
    """
    fault = _difference(f"worker process {os.getpid()}", identity(), wanted)
    if fault:
        raise ClusterError(
            f"a worker that came later is not the same breathe:\n{fault}\nWhat was done is kept; "
            "the same command goes on from there once that worker is stopped or put right."
        )
    start = time.perf_counter()
    row = row_of(job)
    return row, time.perf_counter() - start


class Runner:
    """Runs cases somewhere and survives what happens there.

    Parameters
    ----------
    spec : str
        As `executor`.
    say : callable
        Told in words what the user should know while it runs.
    """

    def __init__(self, spec: str, say: Callable[[str], None] = lambda text: None) -> None:
        self.spec, self._say = spec, say
        self.pool = executor(spec)
        self.failures: dict[str, str] = {}
        """Job key -> why it gave no row."""
        self._deaths: Counter[str] = Counter()
        self._suspects: deque[Job] = deque()
        self._heard = time.monotonic()
        for note in self.pool.notes if isinstance(self.pool, Cluster) else ():
            say(note)

    def __enter__(self) -> Runner:
        return self

    def __exit__(self, kind: object, *_: object) -> None:
        self.pool.shutdown(wait=kind is None, cancel_futures=kind is not None)

    @property
    def width(self) -> int:
        """Cases at a time."""
        return at_a_time(self.pool)

    def run(self, jobs: Iterable[Job], on_row: OnRow) -> None:
        """Run all jobs; each is asked for only when a worker is about to be free.

        A case that fails is noted in ``failures`` and stops nothing. A worker that dies costs its
        cases' time: they are run again elsewhere, one at a time, so that one which kills its
        worker is found and given up.

        Raises
        ------
        ClusterError
            The scheduler is gone, or a worker is another breathe.
        """
        queue, flying = iter(jobs), dict[Future[Any], Job]()
        more = True
        while True:
            more = self._fill(flying, queue) if more or self._suspects else False
            if not flying and not more and not self._suspects:
                return
            # Windows hears Ctrl-C only between waits.
            finished, _ = wait(flying, timeout=0.2, return_when=FIRST_COMPLETED)
            broken = False
            for future in finished:
                broken |= self._take(future, flying.pop(future), on_row)
            if broken:
                for job in flying.values():
                    self._died(job)
                flying.clear()
                self.pool.shutdown(wait=False, cancel_futures=True)
                self.pool = executor(self.spec)
            self._notice(bool(finished))

    def _fill(self, flying: dict[Future[Any], Job], queue: Iterator[Job]) -> bool:
        """Hand over work; False when the queue is empty."""
        while True:
            if self._suspects:
                if flying:
                    return True
                self._submit(flying, self._suspects.popleft())
                return True
            if len(flying) >= 2 * self.width:
                return True
            job = next(queue, None)
            if job is None:
                return False
            self._submit(flying, job)

    def _submit(self, flying: dict[Future[Any], Job], job: Job) -> None:
        try:
            flying[self.pool.submit(timed_row, job, identity())] = job
        except BrokenExecutor:
            broken: Future[Any] = Future()
            broken.set_exception(BrokenExecutor())
            flying[broken] = job

    def _take(self, future: Future[Any], job: Job, on_row: OnRow) -> bool:
        """Keep what came back; True if the whole pool broke."""
        try:
            row, seconds = future.result()
        except BrokenExecutor:
            self._died(job)
            return True
        except CancelledError:
            if isinstance(self.pool, Cluster):
                raise self.pool.gone() from None
            raise
        except (ClusterError, pickle.UnpicklingError, EOFError):
            raise
        except Exception as error:
            self.failures[job.key] = f"{type(error).__name__}: {error}".splitlines()[0][:200]
        else:
            on_row(job, row, seconds)
        return False

    def _died(self, job: Job) -> None:
        self._deaths[job.key] += 1
        if self._deaths[job.key] >= _MOST_DEATHS:
            self.failures[job.key] = f"its worker died {_MOST_DEATHS} times while running it"
        else:
            self._suspects.append(job)

    def _notice(self, alive: bool) -> None:
        """Say once when a cluster has nobody left to work."""
        now = time.monotonic()
        if alive:
            self._heard = now
        elif isinstance(self.pool, Cluster) and now - self._heard > _NOTICE_AFTER_s:
            self._heard = now
            if self.pool.count == 0:
                self._say(
                    f"{self.spec}: no worker is left; waiting for one (dask worker {self.spec}). "
                    "Ctrl-C ends it; what was done is kept."
                )

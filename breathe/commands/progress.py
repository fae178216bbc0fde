"""Work through the cases of a run: kept one by one, watched on a terminal, stopped by Ctrl-C."""

from __future__ import annotations

import os
import pickle
import shutil
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Protocol

import click

from breathe.errors import BreatheError, Stopped
from breathe.run import Run


class Job(Protocol):
    """One case of a plan."""

    @property
    def key(self) -> str: ...
    @property
    def label(self) -> str: ...
    @property
    def speed_rpm(self) -> float: ...


Keep = Callable[[Job, Mapping[str, Any]], None]


def work(jobs: Sequence[Any], run: Run, threads: int) -> None:
    """Compute what the run lacks.

    Raises
    ------
    Stopped
        The user pressed Ctrl-C; says what is kept.
    BreatheError
        Compiled code on the disk is damaged; it is removed.
    """
    from breathe.study.compare import run_cases

    done = run.done()
    waiting = sum(job.key not in done for job in jobs)
    if not waiting:
        return
    with watched(run, len(jobs), len(jobs) - waiting) as keep:
        run_cases(jobs, threads=threads, on_done=keep, done=done)


@contextmanager
def watched(run: Run, total: int, before: int) -> Iterator[Keep]:
    """What keeps each new case and moves the bar on; faults and Ctrl-C in words.

    Parameters
    ----------
    run : Run
    total : int
        Cases in all; of a search, about how many it takes.
    before : int
        Cases there already.
    """
    _say_if_first()
    try:
        with _bar(total, before) as advance:

            def keep(job: Job, row: Mapping[str, Any]) -> None:
                run.keep(job.key, row)
                advance()

            yield keep
    except (pickle.UnpicklingError, EOFError) as error:
        raise BreatheError(_after_damaged_code()) from error
    except KeyboardInterrupt:
        of = "" if run.open_ended else f" of {total}"
        raise Stopped(
            f"Stopped. {len(run.done())}{of} cases are kept in {run.folder}; the same command goes "
            "on from there."
        ) from None


def _after_damaged_code() -> str:
    """A full disk or a power cut may leave compiled code cut short, which would fail for ever."""
    from breathe.kernel import cache_folder

    folder = Path(os.environ.get("NUMBA_CACHE_DIR") or cache_folder())
    if folder != cache_folder():
        return f"Compiled code in {folder} is damaged; empty that folder and try again."
    shutil.rmtree(folder, ignore_errors=True)
    return "Compiled code was damaged and is removed. The same command again prepares it anew."


def _say_if_first() -> None:
    from breathe.kernel import is_compiled

    if not is_compiled():
        click.echo(
            "Preparing compiled code, once for this version: about 20 to 60 s before the first "
            "case is done (Ctrl-C is heard after that).",
            err=True,
        )


@contextmanager
def _bar(total: int, before: int) -> Iterator[Any]:
    """A bar with the time left, on standard error where that is a terminal; otherwise nothing."""
    if not sys.stderr.isatty():
        yield lambda: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    console = Console(stderr=True, highlight=False, markup=False, emoji=False)
    columns = (
        TextColumn("{task.completed:.0f} of {task.total:.0f} cases", markup=False),
        BarColumn(bar_width=30),
        TimeRemainingColumn(),
        TextColumn("left", markup=False),
    )
    with Progress(*columns, console=console, transient=True) as progress:
        task = progress.add_task("", total=total, completed=before)

        def advance() -> None:
            progress.advance(task)
            done = progress.tasks[0].completed
            if done > total:  # a search may take more than was thought
                progress.update(task, total=done)

        yield advance

"""Searches, whose cases are found as they go: run, kept, resumed, printed again from the answer."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, TypeVar, cast

import click
import pandas as pd

from breathe.commands.progress import watched
from breathe.engine.parts import Engine
from breathe.engine.quantities import System
from breathe.errors import BreatheError
from breathe.run import Run, RunError
from breathe.runs import run_folders
from breathe.study.answer import Best, Kept, Reach
from breathe.version import VERSION
from breathe.view.console import Item, Piece, show

Answer = TypeVar("Answer", bound=Kept)
Row = dict[str, Any]
STEPS = "control steps"
"""Kind of a run that maps steps; a map along an axis is of kind 'control'."""
SEVERAL = "control several"
"""Kind of a run that maps several actuators together."""


def asked(engine: Engine, *things: object) -> str:
    """A short name for all that decides an answer, the engine's settings among it."""
    from breathe.kernel import PROGRAM_HASH
    from breathe.study.fingerprint import fingerprint

    return fingerprint(engine, engine.settings, engine.standard, *things, VERSION, PROGRAM_HASH)


def search(
    run: Run,
    base: Path | None,
    about_cases: int,
    threads: int | None,
    find: Callable[[Any], Answer],
) -> RunError | None:
    """Find and keep the answer of a run, unless it is there.

    Parameters
    ----------
    run : Run
    base : Path or None
        Folder of all runs: cases that another search there has run are taken from it; None computes
        all anew.
    about_cases : int
        How many cases it takes, for the time left.
    threads : int, optional
    find : callable
        Takes a function that makes an evaluator of an engine, gives the answer.

    Returns
    -------
    RunError or None
        A fault in writing the results, to be raised when the page is printed.
    """
    if run.answer() is not None:
        click.echo(
            f"{run.folder} holds exactly this already; printed from there. --redo computes anew.",
            err=True,
        )
        return None
    done = run.done()
    others = _rows_of_others(run, base) if base is not None else {}
    if done:
        click.echo(f"Going on with {run.folder}: {len(done)} cases are there.", err=True)
    with watched(run, max(about_cases, len(done)), len(done)) as keep:
        ask = _Asking(run, {**others, **done}, others, keep, threads)
        answer = find(ask)
    if ask.taken:
        click.echo(f"{len(ask.taken)} cases are taken from other runs in {base}.", err=True)
    try:
        run.finish(answer.main_table().to_csv(index=False, lineterminator="\n"), answer.to_json())
    except RunError as error:
        return error
    return None


class _Asking:
    """Makes evaluators whose rows all end up in the run, wherever they come from."""

    def __init__(
        self,
        run: Run,
        known: dict[str, Row],
        others: dict[str, Row],
        keep: Any,
        threads: int | None,
    ) -> None:
        self._run, self._known, self._others = run, known, others
        self._keep, self._threads = keep, threads
        self.taken: set[str] = set()

    def __call__(self, engine: Engine) -> Callable[[Sequence[Any]], list[Row]]:
        from breathe.study.evaluate import Evaluator, alone

        ask = Evaluator(
            engine,
            known=self._known,
            on_done=self._keep,
            threads=self._threads or os.cpu_count() or 1,
        )

        def rows(points: Sequence[Any]) -> list[Row]:
            found = ask(points)
            for point in points if self._others else ():
                key = alone(engine, point).key
                if key in self._others and key not in self.taken:
                    self.taken.add(key)
                    self._run.keep(key, self._others[key])
            return found

        return rows


def _rows_of_others(run: Run, base: Path) -> dict[str, Row]:
    """Rows of all other searches below ``base`` that are as they were written."""
    found: dict[str, Row] = {}
    ours = run.done()
    for folder in run_folders(base):
        if folder == run.folder:
            continue
        try:
            with Run(folder) as other:
                if other.open_ended and not other.altered():
                    found |= other.done()
        except RunError:
            continue
    return {key: row for key, row in found.items() if key not in ours}


def print_answer(
    run: Run,
    units: str,
    *,
    csv: bool = False,
    names: Sequence[str] = (),
    told: Sequence[Piece] = (),
) -> None:
    """Print what a search found, from its folder.

    Parameters
    ----------
    run : Run
    units : 'metric' or 'imperial'
    csv : bool
        Write the main table in SI instead.
    names : sequence of str
        Further tables of a control map.
    told : sequence of Piece
        What else was done, such as files written; stands below the page.

    Raises
    ------
    BreatheError
        The search has not ended, or its answer is damaged.
    """
    text = run.answer()
    if text is None:
        raise BreatheError(
            f"Run {run.name} is not finished: {len(run.rows())} cases. The command that began it "
            "goes on from there."
        )
    changed = run.altered()
    if changed:
        click.echo(f"{run.folder}: altered since written: {', '.join(changed)}.", err=True)
    system, rows = cast(System, units), pd.DataFrame(run.rows())
    answer, page = _answer_and_page(run, text, rows, system, names)
    if csv:
        sys.stdout.flush()
        table = answer.main_table().to_csv(index=False, lineterminator="\n")
        sys.stdout.buffer.write(table.encode("utf-8"))
        sys.stdout.buffer.flush()
        return
    made = run.made.strftime("%Y-%m-%d %H:%M")
    kept = f"Kept in {run.folder} (breathe {run.versions.get('breathe', '?')}, {made})."
    moves = bool(getattr(answer, "axes", ()))
    show([*_origin(run), *page, "", *told, Item(kept), Item(_next(run, moves))])


def _answer_and_page(
    run: Run, text: str, rows: pd.DataFrame, system: System, names: Sequence[str]
) -> tuple[Kept, list[Piece]]:
    """What a search of a kind kept, and its page."""
    if run.kind == "best":
        from breathe.view.best import best_page

        best = Best.from_json(text)
        return best, best_page(best, rows, run.about, system)
    if run.kind == "control":
        from breathe.study.control.answer import Control
        from breathe.view.control import control_page

        control = Control.from_json(text)
        return control, control_page(control, rows, run.about, system, names)
    if run.kind == STEPS:
        from breathe.study.control.step_answer import StepControl
        from breathe.view.step_map import step_page

        steps = StepControl.from_json(text)
        return steps, step_page(steps, rows, run.about, system, names)
    if run.kind == SEVERAL:
        from breathe.study.control.joint_answer import JointControl
        from breathe.view.joint import joint_page

        joint = JointControl.from_json(text)
        return joint, joint_page(joint, rows, run.about, system, names)
    from breathe.view.reach import reach_page

    reach = Reach.from_json(text)
    return reach, reach_page(reach, rows, run.about, system)


def _origin(run: Run) -> list[Piece]:
    made = run.versions.get("breathe", "unknown")
    if made == VERSION:
        return []
    return [
        f"Run {run.name} was made by breathe {made}; this is {VERSION}, which may find others.",
        "",
    ]


def _next(run: Run, moves: bool) -> str:
    source = run.about.source_file or "ENGINE"
    named = f'"{source}"' if " " in source else source
    if run.kind == "best":
        if not moves:
            longest = '--up-to "60 deg crank"'
            return f"Next: breathe reach {named} {longest}   (what a sleeve would bring)"
        return f"Next: breathe reach {named}   (what each millimetre of travel brings)"
    return f"Next: breathe check {named}   (whether it clears and the springs hold)"

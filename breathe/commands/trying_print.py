"""A finished plan of what-ifs to standard output, as a page or as its result sheet."""

from __future__ import annotations

import sys
from typing import cast

import click

from breathe.engine.quantities import System
from breathe.errors import BreatheError
from breathe.run import Run
from breathe.study.plans.kept import Tried, tried_from
from breathe.study.plans.what_if import Base
from breathe.version import VERSION
from breathe.view.console import Item, Piece, show
from breathe.view.plan_columns import columns_page
from breathe.view.what_if import found_from, page, sheet_text


def print_kept(run: Run, units: str, *, csv: bool) -> None:
    """Print a finished run again, from what is kept with it.

    Raises
    ------
    BreatheError
        It is not finished, or its answer is damaged.
    """
    text = run.answer()
    if text is None:
        raise BreatheError(
            f"Run {run.name} is not finished: {len(run.done())} cases. The command that began it "
            "goes on from there."
        )
    changed = run.altered()
    if changed:
        click.echo(f"{run.folder}: altered since written: {', '.join(changed)}.", err=True)
    print_tried(run, tried_from(text), "torque", units, 10, csv=csv)


def list_columns(base: Base) -> None:
    """Every column that a plan for an engine may have, with what the file has there."""
    show(columns_page(base))


def print_tried(run: Run, tried: Tried, by: str, units: str, top: int, *, csv: bool) -> None:
    """Print the answer of a plan.

    Parameters
    ----------
    run : Run
    tried : Tried
    by : str
        One of `what_if.FIGURES`.
    units : 'metric' or 'imperial'
    top : int
        Rows of the ranking.
    csv : bool
        The result sheet instead of the page.
    """
    system = cast(System, units)
    found = found_from(tried, run.about, by, system)
    if csv:
        sys.stdout.flush()
        sys.stdout.buffer.write(sheet_text(found, system).encode("utf-8"))
        sys.stdout.buffer.flush()
        return
    failed = sum(one.status == "failed" for one in tried.outcomes.values())
    show([*_origin(run), *page(found, system, top), "", *_where(run, failed)])


def _origin(run: Run) -> list[Piece]:
    made = run.versions.get("breathe", VERSION)
    if made == VERSION:
        return []
    told = f"Run {run.name} was made by breathe {made}; this is {VERSION}, which may find others."
    return [told, ""]


def _where(run: Run, failed: int) -> list[Piece]:
    made = run.made.strftime("%Y-%m-%d %H:%M")
    if failed:
        rows = "1 row failed" if failed == 1 else f"{failed} rows failed"
        return [Item(f"{rows}; the same command tries again. Kept in {run.folder} so far.")]
    return [
        Item(
            f"Kept in {run.folder} (breathe {run.versions.get('breathe', '?')}, {made}); the "
            f"result sheet is {run.folder / 'results.csv'}."
        ),
        Item(
            "Next: write the best row's values into a copy of the engine file, then: breathe check "
            "and breathe compare with that file"
        ),
    ]

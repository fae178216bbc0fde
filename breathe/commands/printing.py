"""A run to standard output, as tables or CSV; what concerns its files goes to standard error."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import cast

import click
import pandas as pd

from breathe.engine.quantities import System
from breathe.errors import BreatheError
from breathe.run import Run
from breathe.study.choose import bare
from breathe.version import VERSION
from breathe.view.console import Item, Piece, show
from breathe.view.tables import comparison


def print_run(
    run: Run, names: Sequence[str], units: str, *, against: str | None = None, csv: bool = False
) -> None:
    """Print what is stored of a run.

    Parameters
    ----------
    run : Run
    names : sequence of str
        Figures to print, as `tables.comparison` takes them.
    units : 'metric' or 'imperial'
    against : str, optional
        Label of the setting that the others are compared with; by default the standard.
    csv : bool
        Write the tidy SI table instead.

    Raises
    ------
    BreatheError
        The run has no setting ``against``.
    """
    reference = None if against is None else _setting_of(run, against)
    rows = run.rows()
    changed = run.altered()
    if changed:
        source = "cases.sqlite" if "cases.sqlite" not in changed else "an altered cases.sqlite"
        click.echo(
            f"{run.folder}: altered since written: {', '.join(changed)}. Printed from {source}.",
            err=True,
        )
    if csv:
        _write_utf8(results_csv(rows))
        return
    page: list[Piece] = [*_origin(run, len(rows))]
    if rows:
        page += comparison(pd.DataFrame(rows), run.about, names, cast(System, units), reference)
    show([*page, "", *_where(run)])


def _setting_of(run: Run, text: str) -> str:
    known = {bare(note.label): note.label for note in run.about.settings}
    if bare(text) not in known:
        raise BreatheError(
            f"--against: found {text!r}; {run.name} has: {', '.join(known.values())}"
        )
    return known[bare(text)]


def _write_utf8(text: str) -> None:
    """A table another program reads is the same bytes whatever this console can carry."""
    sys.stdout.flush()
    sys.stdout.buffer.write(text.encode("utf-8"))
    sys.stdout.buffer.flush()


def results_csv(rows: Sequence[dict[str, object]]) -> str:
    """Rows as CSV, full precision, SI."""
    return pd.DataFrame(list(rows)).to_csv(index=False, lineterminator="\n")


def _origin(run: Run, done: int) -> list[Piece]:
    """Which run this is, only where it may surprise: made by another version, or not finished."""
    made = run.versions.get("breathe", "unknown")
    page: list[Piece] = []
    if made != VERSION:
        page.append(
            f"Run {run.name} was made by breathe {made}; this is {VERSION}, which may compute "
            "other numbers."
        )
    if done < len(run.planned):
        page.append(
            f"Run {run.name} is not finished: {done} of {len(run.planned)} cases. The command "
            "that began it goes on from there."
        )
    return [*page, ""] if page else []


def _where(run: Run) -> list[Piece]:
    made = run.made.strftime("%Y-%m-%d %H:%M")
    source = run.about.source_file or "ENGINE"
    return [
        Item(f"Kept in {run.folder} (breathe {run.versions.get('breathe', '?')}, {made})."),
        Item(
            f"Next: breathe show {_quoted(run.name)} --show power,residual,reversion,knock   or   "
            f"breathe explain {_quoted(source)}"
        ),
    ]


def _quoted(text: str) -> str:
    return f'"{text}"' if " " in text else text

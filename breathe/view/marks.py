"""Marks on the tables of a comparison: settings that do not clear are drawn, and said to be such.

A mark stands only where the clearance was checked; what was not stays NOT CHECKED in the caution.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import pandas as pd

from breathe.about import About
from breathe.engine.quantities import System
from breathe.view import cautions
from breathe.view.console import Grid, Item, Piece
from breathe.view.findings import best_by_speed
from breathe.view.unit_text import in_user_units

MARK = "!"


def failing(about: About) -> dict[str, str]:
    """Labels of settings that do not clear, and the gap in words."""
    return {note.label: note.does_not_clear for note in about.settings if note.does_not_clear}


def marked(page: Sequence[Piece], about: About, system: System) -> list[Piece]:
    """The page with `MARK` at every such setting, and what it means below the first table."""
    labels = failing(about)
    if not labels:
        return list(page)
    result: list[Piece] = []
    told = False
    for piece in page:
        result.append(_grid(piece, labels) if isinstance(piece, Grid) else piece)
        if isinstance(piece, Grid) and not told:
            result += [
                Item(f"{MARK} {label} does not clear: {in_user_units(gap, system)}")
                for label, gap in labels.items()
            ]
            told = True
    return result


def _grid(grid: Grid, labels: Iterable[str]) -> Grid:
    """Marks in the heading, and in columns that hold names of settings."""
    known = set(labels)
    named = {place for place, name in enumerate(grid.header) if name in ("setting", "most")}
    return replace(
        grid,
        header=tuple(_mark(cell, known) for cell in grid.header),
        rows=tuple(
            tuple(
                " = ".join(_mark(part, known) for part in cell.split(" = "))
                if place in named
                else cell
                for place, cell in enumerate(row)
            )
            for row in grid.rows
        ),
    )


def _mark(cell: str, labels: set[str]) -> str:
    return f"{cell.rstrip()}{MARK}" if cell.rstrip() in labels else cell


def best_that_clears(torque: pd.DataFrame, about: About) -> list[str]:
    """Which settings give most torque when those that do not clear are left out.

    Parameters
    ----------
    torque : DataFrame
        One row per speed, one column per setting.
    about : About

    Returns
    -------
    list of str
        A sentence, or none where all clear.
    """
    labels = failing(about)
    kept = [label for label in torque.columns if label not in labels]
    if len(kept) == len(torque.columns):
        return []
    if not kept:
        return ["No setting clears: none of these is to be built as it stands."]
    best = best_by_speed(torque[kept])
    left = [label for label in torque.columns if label in labels]
    several = len(left) > 1
    names, do = ", ".join(left), "do" if several else "does"
    if best == best_by_speed(torque):
        wins = "have" if several else "has"
        return [f"{names} {do} not clear, and {wins} the most torque nowhere."]
    told = best.removeprefix("Most torque: ")
    return [f"Without {names}, which {do} not clear: {told}"]


def clearance_caution(about: About) -> str:
    """What was and what was not checked of the clearances, and to turn the engine by hand."""
    if about.unknown_clearances is None:
        return cautions.CLEARANCE
    wall = "head to wall of the pocket, sideways"
    unknown = ", ".join([*about.unknown_clearances, wall])
    bad = failing(about)
    if about.unknown_clearances:
        checked = ""
    elif bad:
        checked = f"Do not build {', '.join(bad)}: see {MARK} above. "
    else:
        checked = "Valve to piston and valve to valve: no gap is below its rule. "
    return (
        f"{checked}NOT CHECKED: {unknown}; `breathe check` has figures and missing keys. "
        f"{cautions.HAND_TURN}"
    )

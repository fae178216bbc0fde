"""Write the files of a control map, prove them, and print its page."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from breathe.commands.control_facts import file_facts
from breathe.errors import BreatheError
from breathe.run import Run
from breathe.study.control.answer import Control
from breathe.study.control.map_file import (
    Proof,
    Rows,
    Table,
    csv_text,
    json_text,
    prove,
    read_back,
    write_map,
)
from breathe.view.console import Item, Piece


def print_map(run: Run, typed: dict[str, Any], names: tuple[str, ...]) -> None:
    """Write what is to be written, then print the page."""
    from breathe.commands.searching import print_answer

    told: list[Piece] = []
    if typed["write"]:
        found = Control.from_json(run.answer() or "")
        told = [
            Item(line)
            for path in typed["write"]
            for line in written(found, run, path, typed["rows"], typed["decimal_comma"],
                                overwrite=typed["overwrite"])
        ]  # fmt: skip
    print_answer(run, typed["units"], csv=typed["csv"], names=names, told=told)


def written(
    found: Control, run: Run, path: Path, rows: Any, decimal_comma: bool, *, overwrite: bool
) -> list[str]:
    """Write one file, read it back from the disk, prove it; a file that fails is taken away.

    Raises
    ------
    BreatheError
        It cannot be written, or look-up of it leaves the safe range.
    """
    table = found.table()
    comma = decimal_comma and path.suffix.lower() == ".csv"
    if path.suffix.lower() == ".csv":
        text = csv_text(table, rows, decimal_comma=comma)
    else:
        text = json_text(table, file_facts(found, run, table, _proof(found, table), rows), rows)
    write_map(path, text, replace=overwrite)
    again = read_back(path.read_text(encoding="utf-8"), table, decimal_comma=comma)
    proof = _proof(found, again)
    same = again.values.shape == table.values.shape and np.allclose(
        again.values, table.values, atol=1e-6
    )
    if not proof.holds or not same:
        path.unlink(missing_ok=True)
        raise BreatheError(
            f"{path}: taken away again: read back, it gives {proof.lowest:g} to "
            f"{proof.highest:g}, and {proof.safe_low:g} to {proof.safe_high:g} is safe"
        )
    return [_told(found, path, rows, table, proof)]


def _told(found: Control, path: Path, rows: Rows, table: Table, proof: Proof) -> str:
    """What was written, and what the proof of it found."""
    unit, (loads, speeds) = table.unit, table.values.shape
    low, high = proof.output_limits(table.step)  # as the file has them
    unknown = "" if found.facts["clear"]["checked"] else " (travel alone: clearance NOT CHECKED)"
    told = [
        f"Written: {path} ({rows}, {loads} loads x {speeds} speeds). Read back and looked up at "
        f"{proof.looked_up} places, beyond the edges too and in whole steps rounded down, to the "
        f"nearest and up: {proof.lowest:g} to {proof.highest:g} {unit}, never outside the safe "
        f"{low:g} to {high:g}{unknown}; whole steps stray by up to "
        f"{proof.rounding_worst:.2g} {unit}. Outside the axes: hold the edge."
    ]
    if proof.past_cell_limits > 2 * table.step:
        told.append(
            "Between cells the limits of single cells (burnt gas, knock, vacuum), joined by "
            f"straight lines, are passed by up to {proof.past_cell_limits:.2g} {unit}."
        )
    if proof.needs_output_limits:
        told.append(
            "A controller that rounds the products of its four cells one by one could ask for "
            f"{proof.products_lowest:g} to {proof.products_highest:g}: set its output limits to "
            f"{low:g} and {high:g}."
        )
    return " ".join(told)


def _proof(found: Control, table: Table) -> Proof:
    safe = sorted(found.facts["safe"])
    low, high = found.table("low").values, found.table("high").values
    return prove(table, (safe[0], safe[1]), low, high)

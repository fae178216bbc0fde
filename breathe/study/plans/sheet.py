"""A plan: a sheet whose columns are keys of an engine file and whose rows are what-ifs.

A cell holds a number in its column's unit, or with its own; a blank one keeps the file's value. A
fault of a column stops before anything is run; a fault of a row is that row's alone.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from random import Random
from typing import Any

from breathe.engine.check import check_value
from breathe.engine.findings import Findings
from breathe.engine.quantities import UNITS, QuantityError, from_si, split_number
from breathe.measured.separators import find_decimal, split_line
from breathe.measured.sheet import RawSheet, Row, number, open_sheet
from breathe.study.plans.events import point_cell
from breathe.study.plans.header import (
    Column,
    PlanError,
    columns_of,
    header_at,
    is_remark,
    stop,
    with_rows_that_begin_so,
    with_units,
)
from breathe.study.plans.names import Names, plain
from breathe.study.plans.slips import slips
from breathe.study.plans.units import dead_centre, is_units, own_unit

_BLANK = frozenset(("", "-", "–", "—", "keep", "n/a", '"'))
_SUMS = frozenset(
    ("total", "totals", "sum", "sums", "average", "averages", "avg", "mean", "summe", "gesamt")
) | {"mittel", "mittelwert", "durchschnitt", "ø"}
"""What stands in a last row that adds up the others."""
_FAULTY = re.compile(r"#(?:N/A|NV|DIV/0!|REF!|BEZUG!|VALUE!|WERT!|NAME\?|NUM!|NULL!)")
"""A spreadsheet's word for a formula that failed."""


@dataclass(frozen=True, slots=True)
class PlanRow:
    """One what-if."""

    number: int
    """Row of the sheet; 0 is the engine file as it is."""
    cells: tuple[str, ...] = ()
    """As typed, one for each column."""
    given: Mapping[int, Any] = field(default_factory=dict)
    """Column -> value as an engine file would have it; blank cells are left out."""
    figures: Mapping[int, float] = field(default_factory=dict)
    """Column -> number in the column's unit."""
    faults: tuple[str, ...] = ()
    questions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Plan:
    """A sheet, read."""

    path: Path
    columns: tuple[Column, ...]
    rows: tuple[PlanRow, ...]
    understood: tuple[str, ...]
    separator: str = ","
    decimal: str = "."

    @property
    def refused(self) -> tuple[PlanRow, ...]:
        return tuple(row for row in self.rows if row.faults)


def read_plan(path: Path, raw: Mapping[str, Any], workbook_sheet: str | None = None) -> Plan:
    """The plan in a sheet.

    Parameters
    ----------
    path : Path
        Text (CSV, TSV, semicolons) or a workbook (.xlsx).
    raw : mapping
        The engine file's table as parsed: its parts can be named, its units are taken over.
    workbook_sheet : str, optional

    Raises
    ------
    SheetError
        As `open_sheet`.
    PlanError
        No row of names, or columns that mean nothing; all of them at once.
    """
    sheet = _parted(open_sheet(path, workbook_sheet=workbook_sheet))
    sheet = with_rows_that_begin_so(sheet)
    names = Names(raw)
    at = header_at(sheet, names)
    header = sheet.rows[at].cells
    columns, grouped = columns_of(sheet, at, names)
    body = [row for row in sheet.rows[at + 1 :] if not _same(row.cells, header)]
    remarks = [row for row in body if is_remark(row)]
    body = [row for row in body if not is_remark(row)]
    if body and is_units(body[0].cells, sheet.decimal):
        columns = with_units(path, columns, body[0].cells)
        body = body[1:]
    body, sums = _without_sums(body, columns)
    if not body:
        raise PlanError(f"{path.name}: has a row of names but no what-if below it")
    columns, told = _completed(path, columns, body, raw)
    rows = [_row(row, columns, sheet.decimal) for row in body]
    rows, found = slips(columns, rows)
    above = sheet.rows[: at - grouped]
    skipped = [f"row {row.number} is passed over: {_first(row)}" for row in above]
    skipped += _remarks(remarks)
    skipped += [
        f"row {row.number} is passed over, as it adds up the others: {_first(row)}" for row in sums
    ]
    semicolon = sheet.decimal == ","
    return Plan(
        path=path,
        columns=columns,
        rows=tuple(rows),
        understood=(*skipped, *told, *found),
        separator=";" if semicolon else ",",
        decimal=sheet.decimal,
    )


def drawn(plan: Plan, count: int) -> Plan:
    """The plan with ``count`` of its rows, drawn evenly at random, the same at every call."""
    if count >= len(plan.rows):
        return plan
    kept = set(Random(1).sample(range(len(plan.rows)), count))
    return replace(plan, rows=tuple(row for n, row in enumerate(plan.rows) if n in kept))


def _without_sums(body: Sequence[Row], columns: Sequence[Column]) -> tuple[list[Row], list[Row]]:
    """The rows without the last ones if those are totals or means, and these."""
    end = len(body)
    while end and any(
        plain(cell) in _SUMS
        for cell, column in zip(body[end - 1].cells, columns, strict=False)
        if not column.used or column.target.rule.kind not in ("text", "choice")
    ):
        end -= 1
    return list(body[:end]), list(body[end:])


def _remarks(rows: Sequence[Row]) -> list[str]:
    if not rows:
        return []
    which = ", ".join(str(row.number) for row in rows[:8])
    more = f" and {len(rows) - 8} more" if len(rows) > 8 else ""
    what = "is a remark" if len(rows) == 1 else "are remarks"
    begins = rows[0].cells[0][:1]
    return [f"row{'s' if len(rows) > 1 else ''} {which}{more} {what} ({begins}), passed over"]


def _first(row: Row) -> str:
    return next(cell for cell in row.cells if cell)


def _same(cells: Sequence[str], header: Sequence[str]) -> bool:
    return [plain(c) for c in cells if c] == [plain(c) for c in header if c]


def _parted(sheet: RawSheet) -> RawSheet:
    """The sheet with its columns parted where rows are so sparse that readings part none.

    "runner,CR" above "250," and ",11": a mark that stands in the row of names and in every row
    below it parts columns.
    """
    if sheet.kind == "workbook" or sheet.separator in ("\t", ";", ","):
        return sheet
    lines = [sheet.separator.join(row.cells) for row in sheet.rows]
    for mark in ("\t", ";", ","):
        first = next((n for n, line in enumerate(lines) if mark in line), None)
        if first is not None and all(mark in line for line in lines[first:]):
            rows = [
                (row, split_line(line, mark)) for row, line in zip(sheet.rows, lines, strict=True)
            ]
            kept = tuple(Row(number=row.number, cells=cells) for row, cells in rows if cells)
            decimal = find_decimal([row.cells for row in kept])[0]
            return replace(sheet, separator=mark, decimal=decimal, rows=kept)
    return sheet


def _completed(
    path: Path, columns: tuple[Column, ...], body: Sequence[Row], raw: Mapping[str, Any]
) -> tuple[tuple[Column, ...], list[str]]:
    """Columns with a unit each: their title's, their cells' own, or the one the file uses."""
    found, told, faults = [], [], []
    for n, column in enumerate(columns):
        dimension = column.target.rule.kind
        if not column.used:
            told.append(f'column "{column.title}" is carried along, not used')
        elif column.unit or dimension not in UNITS:
            told.append(_meaning(column, f" [{column.unit}]" if column.unit else ""))
        else:
            unit, why = _likely_unit(column, [r.cells[n] for r in body if n < len(r.cells)], raw)
            if not unit:
                example = column.target.rule.unit
                faults.append(
                    f'column {n + 1} "{column.title}": has no unit; write it behind the name, '
                    f"such as {column.title} [{example}]"
                )
            column = replace(column, unit=unit)
            told.append(_meaning(column, f" [{unit}], {why}"))
        found.append(column)
    stop(path, faults)
    return tuple(found), told


def _meaning(column: Column, unit: str) -> str:
    return f"{column.title}: {column.target.shown}{unit}"


def _likely_unit(column: Column, cells: Sequence[str], raw: Mapping[str, Any]) -> tuple[str, str]:
    dimension = column.target.rule.kind
    own = Counter(unit for unit in (own_unit(cell, dimension) for cell in cells) if unit)
    filled = sum(cell.lower() not in _BLANK for cell in cells)
    if own and 2 * own.most_common(1)[0][1] > filled:
        return own.most_common(1)[0][0], "the unit its cells name"
    if column.target.path in (("speed",), ("throttle",)):
        return column.target.rule.unit, "as nothing else is said"
    if dimension == "angle" and column.target.room == "setting":
        return "deg crank", "as nothing else is said"
    written = value_in(raw, column.target.path)
    unit = own_unit(written, dimension) if isinstance(written, str) else ""
    return unit, "no unit in the sheet; the one the engine file uses"


def value_in(raw: Mapping[str, Any], path: Sequence[str]) -> Any:
    """What the engine file has at a path, one value or None; a pipe's stations give its length."""
    at: Any = raw
    if path[0] in ("pipe", "chamber", "outside", "other_cam"):
        rows = raw.get(path[0], [])
        at = next((row for row in rows if row.get("name") == path[1]), {})
        if path[2] == "length" and "length" not in at and at.get("stations"):
            return at["stations"][-1]
        return at.get(path[2])
    for key in path:
        at = at.get(key) if isinstance(at, Mapping) else None
    return at


def _row(row: Row, columns: tuple[Column, ...], decimal: str) -> PlanRow:
    cells = tuple(row.cells[n] if n < len(row.cells) else "" for n in range(len(columns)))
    given, figures = {}, {}
    faults, questions = [], []
    if len(row.cells) > len(columns):
        faults.append(f"{len(row.cells)} cells for {len(columns)} columns; a comma too many?")
    for n, (column, cell) in enumerate(zip(columns, cells, strict=True)):
        if not column.used or cell.lower() in _BLANK:
            continue
        findings = Findings()
        try:
            value = as_typed(cell, column, decimal)
            si = check_value(value, column.target.rule, findings)
        except QuantityError as error:
            faults.append(f"{column.title}: {error}")
            continue
        faults += [f"{column.title}{text}" for text in findings.faults]
        questions += [f"{column.title}{text}" for text in findings.questions]
        if si is not None and not findings.faults:
            given[n] = value
            if isinstance(si, int | float) and not isinstance(si, bool):
                figures[n] = figure(float(si), column)
    return PlanRow(row.number, cells, given, figures, tuple(faults), tuple(questions))


def figure(si: float, column: Column) -> float:
    """An SI value in the unit of a column."""
    if not column.unit:
        return si
    return from_si(si, column.target.rule.kind, re.sub(r" (abs|absolute|gauge)$", "", column.unit))


def as_typed(cell: str, column: Column, decimal: str) -> Any:
    """A cell as an engine file would have it: text with its unit, a number, a switch.

    Raises
    ------
    QuantityError
        What was found and what is expected.
    """
    if _FAULTY.fullmatch(cell):
        raise QuantityError(f"{cell} is the spreadsheet's word for a formula that failed")
    if cell.startswith("="):
        raise QuantityError(
            f"{cell[:40]} is a formula without its value; open the workbook in your spreadsheet "
            "and save it"
        )
    kind, value = column.target.rule.kind, number(cell, decimal)
    if kind in UNITS:
        if value is not None:
            return f"{value:.12g} {column.unit}"
        if dead_centre(column.target) and cell.upper().endswith("DC"):
            return point_cell(cell, *column.target.path)
        parted = split_number(cell)
        own = own_unit(cell, kind)
        return f"{parted[0]:.12g} {own}" if parted and own else cell
    if kind == "number" and value is not None:
        return value
    if kind == "whole" and value is not None and value == int(value):
        return int(value)
    if kind == "switch" and plain(cell) in ("true", "yes", "false", "no"):
        return plain(cell) in ("true", "yes")
    if kind == "point" and value is not None and column.target.path[-1] == "centreline":
        return f"{value:.12g} {'ATDC' if 'intake' in column.target.path else 'BTDC'}"
    return cell

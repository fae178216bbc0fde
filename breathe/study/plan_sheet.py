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
from breathe.errors import BreatheError
from breathe.measured.separators import find_decimal, split_line
from breathe.measured.sheet import RawSheet, Row, number, open_sheet
from breathe.study.plan_names import NameFault, Names, Target, plain
from breathe.study.plan_slips import slips
from breathe.study.plan_units import is_units, own_unit, unit_of

_BLANK = frozenset(("", "-", "–", "—", "keep", "n/a", '"'))
_BRACKETS = re.compile(r"^(?P<name>.*?)[\[(](?P<unit>[^\])]*)[\])]\s*$")


class PlanError(BreatheError):
    """A plan that cannot be used; the text names file, columns, what is near."""


@dataclass(frozen=True, slots=True)
class Column:
    """One input of the plan."""

    title: str
    """As it stands in the sheet."""
    target: Target
    unit: str = ""
    """Of its bare numbers; empty for plain numbers and words."""

    @property
    def used(self) -> bool:
        return self.target.room != "remark"


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
    names = Names(raw)
    at = _header_at(sheet, names)
    header = sheet.rows[at].cells
    columns = _columns(path, header, names)
    body = [row for row in sheet.rows[at + 1 :] if not _same(row.cells, header)]
    body = [row for row in body if not row.cells[0].startswith(("#", "!", "//"))]
    if body and is_units(body[0].cells, sheet.decimal):
        columns = _with_units(path, columns, body[0].cells)
        body = body[1:]
    if not body:
        raise PlanError(f"{path.name}: has a row of names but no what-if below it")
    columns, told = _completed(path, columns, body, raw)
    rows = [_row(row, columns, sheet.decimal) for row in body]
    rows, found = slips(columns, rows)
    skipped = [f"row {row.number} is passed over: {row.cells[0]}" for row in sheet.rows[:at]]
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


def _header_at(sheet: RawSheet, names: Names) -> int:
    """The first row of words one of which is a column of ours."""
    first = None
    for n, row in enumerate(sheet.rows[:20]):
        cells = [cell for cell in row.cells if cell]
        if row.cells[0].startswith(("#", "!", "//")):
            continue
        if any(number(cell, sheet.decimal) is not None for cell in cells):
            break
        first = n if first is None else first
        if any(_known(cell, names) for cell in cells):
            return n
    if first is not None:
        return first  # its columns are then named as unknown
    raise PlanError(
        f"{sheet.path.name}: expected a row of names first, such as: runner [mm], duration, CR; "
        f"found {' | '.join(sheet.rows[0].cells[:6])}"
    )


def _known(cell: str, names: Names) -> bool:
    try:
        return _placed(cell, names).target.room != "remark"
    except NameFault:
        return False


def _columns(path: Path, header: Sequence[str], names: Names) -> tuple[Column, ...]:
    columns, faults = [], []
    seen: dict[tuple[str, ...], str] = {}
    for n, title in enumerate(header, 1):
        try:
            column = _placed(title, names)
        except NameFault as fault:
            faults.append(f'column {n} "{title}": {fault}')
            continue
        key = (column.target.room, *column.target.path)
        if column.used and key in seen:
            faults.append(f'column {n} "{title}": means the same as "{seen[key]}"; keep one')
        seen[key] = title
        columns.append(column)
    if not faults and not any(column.used for column in columns):
        faults.append("no column changes anything; expected such as runner [mm], duration, CR")
    _stop(path, faults)
    return tuple(columns)


def _stop(path: Path, faults: Sequence[str]) -> None:
    if faults:
        count = f"{len(faults)} fault{'s' if len(faults) > 1 else ''} in the row of names"
        raise PlanError("\n".join([f"{path.name}: {count}", *(f"  {fault}" for fault in faults)]))


def _placed(title: str, names: Names) -> Column:
    """A column from its title, the unit in brackets, behind a comma or at the end."""
    readings: list[tuple[str, str]] = []
    bracketed = _BRACKETS.match(title)
    if bracketed:
        readings = [(bracketed["name"], bracketed["unit"])]
    elif "," in title:
        name, unit = title.rsplit(",", 1)
        readings = [(name, unit)]
    else:
        words = re.split(r"[\s_]+", title.strip())
        readings = [(" ".join(words[: len(words) - n]), " ".join(words[-n:])) for n in (1, 2)]
        readings = [(title, ""), *(r for r in readings if r[0])]
    first: NameFault | None = None
    for name, unit in readings:
        try:
            target = names.find(name)
            return Column(title, target, unit_of(unit, target))
        except NameFault as fault:
            first = first or fault
    assert first is not None
    raise first


def _with_units(
    path: Path, columns: tuple[Column, ...], cells: Sequence[str]
) -> tuple[Column, ...]:
    found, faults = list(columns), []
    for n, cell in enumerate(cells[: len(columns)]):
        try:
            unit = unit_of(cell.strip("[]() "), columns[n].target)
        except NameFault as fault:
            faults.append(f'column {n + 1} "{columns[n].title}": {fault}')
            continue
        found[n] = replace(columns[n], unit=columns[n].unit or unit)
    _stop(path, faults)
    return tuple(found)


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
    _stop(path, faults)
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
    kind, value = column.target.rule.kind, number(cell, decimal)
    if kind in UNITS:
        if value is not None:
            return f"{value:.12g} {column.unit}"
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

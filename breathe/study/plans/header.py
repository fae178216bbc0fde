"""The row of names of a plan: where it stands, and what each column of it means."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from breathe.errors import BreatheError
from breathe.measured.separators import split_line
from breathe.measured.sheet import RawSheet, Row, looks_like, number
from breathe.study.plans.names import NO_KEY, NameFault, Names, Target, plain
from breathe.study.plans.units import unit_of

_BRACKETS = re.compile(r"^(?P<name>.*?)[\[(](?P<unit>[^\])]*)[\])]\s*$")
_REMARK = ("#", "!", "//", "%")
_NO_REMARK = re.compile(r"#\d+$|#(?:N/A|NV|DIV/0!|REF!|BEZUG!|VALUE!|WERT!|NAME\?|NUM!|NULL!)$")
"""Cells that begin like a remark and are none: "#3" of a numbered row, a spreadsheet's fault."""
_SIDES = ("intake", "exhaust")
EXPECTED = "a row of names first, such as: runner [mm], duration, CR"
_LOOKED_AT = 20
"""Rows in which the row of names is looked for."""


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


def with_rows_that_begin_so(sheet: RawSheet) -> RawSheet:
    """The sheet with rows parted that begin like a remark but hold cells: "#", "#3", "#N/A"."""
    return replace(sheet, rows=tuple(_parted(row, sheet.separator) for row in sheet.rows))


def _parted(row: Row, separator: str) -> Row:
    if len(row.cells) > 1 or not row.cells[0].startswith(_REMARK) or not separator:
        return row
    cells = split_line(row.cells[0], separator)
    first = cells[0] if cells else ""
    kept = len(cells) > 1 and (first == "#" or _NO_REMARK.match(first))
    return replace(row, cells=cells) if kept else row


def is_remark(row: Row) -> bool:
    """Whether a row is a remark of its writer."""
    first = row.cells[0]
    return first.startswith(_REMARK) and not (
        len(row.cells) > 1 and (first == "#" or _NO_REMARK.match(first))
    )


def header_at(sheet: RawSheet, names: Names) -> int:
    """The row of words with the most columns of ours, among the first rows.

    Raises
    ------
    PlanError
        There is none.
    """
    best, most, words = None, 0, None
    for n, row in enumerate(sheet.rows[:_LOOKED_AT]):
        cells = [cell for cell in row.cells if cell]
        if is_remark(row):
            continue
        if any(number(cell, sheet.decimal) is not None for cell in cells):
            if most:
                break
            continue
        words = n if words is None else words
        known = sum(_known(cell, names) for cell in cells)
        if known > most:
            best, most = n, known
    found = words if best is None else best
    if found is None:
        raise PlanError(
            f"{sheet.path.name}: expected {EXPECTED}; found "
            f"{' | '.join(sheet.rows[0].cells[:6])}{_kind(sheet)}"
        )
    return found


def _kind(sheet: RawSheet) -> str:
    """What the sheet is instead of a plan, as far as it shows."""
    if any(row.cells[0].startswith(("[engine]", "[[pipe]]")) for row in sheet.rows):
        return ". This is an engine file; a plan is a sheet with what-ifs of one, row by row"
    kind = looks_like(sheet)
    return f". This looks like {kind}, not a plan of what-ifs" if kind else ""


def _known(cell: str, names: Names) -> bool:
    try:
        return _placed(cell, names).target.room != "remark"
    except NameFault:
        return False


def columns_of(sheet: RawSheet, at: int, names: Names) -> tuple[tuple[Column, ...], bool]:
    """The columns of a sheet, and whether the row above them was part of their names.

    Raises
    ------
    PlanError
        Columns that mean nothing, or the same; all of them at once.
    """
    columns, faults = [], []
    seen: dict[tuple[str, ...], str] = {}
    titles, grouped = _titles(sheet, at, names)
    for n, title in enumerate(titles, 1):
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
    unplaced = any(str(fault).endswith(NO_KEY) for fault in faults)
    if not faults and not any(column.used for column in columns):
        faults.append(f"no column changes anything; expected {EXPECTED}")
        unplaced = True
    kind = _kind(sheet).lstrip(". ")
    if kind and 2 * sum(column.used for column in columns) < len(titles):
        raise PlanError(f"{sheet.path.name}: expected a plan, {EXPECTED}. {kind}")
    stop(sheet.path, faults, *([kind] * bool(kind)), *([names.hint] * unplaced))
    return tuple(columns), grouped


def _titles(sheet: RawSheet, at: int, names: Names) -> tuple[list[str], bool]:
    """Titles below "Intake" and "Exhaust", often merged cells, with that word before them."""
    titles = list(sheet.rows[at].cells)
    above = sheet.rows[at - 1].cells if at else ()
    if not any(plain(cell) in _SIDES for cell in above):
        return titles, False
    group = ""
    for n, title in enumerate(titles):
        group = above[n] if n < len(above) and above[n] else group
        if plain(group) in _SIDES and _known(f"{group} {title}", names):
            titles[n] = f"{group} {title}"
    return titles, True


def stop(path: Path, faults: Sequence[str], *also: str) -> None:
    """Raise what is wrong with the row of names, if anything is."""
    if not faults:
        return
    count = f"{len(faults)} fault{'s' if len(faults) > 1 else ''} in the row of names"
    told = [f"{path.name}: {count}", *(f"  {line}" for line in (*faults, *also))]
    raise PlanError("\n".join(told))


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


def with_units(path: Path, columns: tuple[Column, ...], cells: Sequence[str]) -> tuple[Column, ...]:
    """Columns with the units that a row below their names gives."""
    found, faults = list(columns), []
    for n, cell in enumerate(cells[: len(columns)]):
        try:
            unit = unit_of(cell.strip("[]() "), columns[n].target)
        except NameFault as fault:
            faults.append(f'column {n + 1} "{columns[n].title}": {fault}')
            continue
        found[n] = replace(columns[n], unit=columns[n].unit or unit)
    stop(path, faults)
    return tuple(found)

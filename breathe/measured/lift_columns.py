"""Which rows of a sheet are readings, and which columns hold the angle and the lift."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from breathe.engine.parts import Side
from breathe.measured.lift_words import Heading, read_angle, read_heading, read_lift
from breathe.measured.sheet import RawSheet, Row, SheetError, looks_like, number

_LONGEST_HEADING = 45
_REMARK = ("#", "!", "//", "%")
_WRONG_KINDS = ("a dyno pull", "a flow sheet", "a table of rpm")
_WANTED = "expected a lift sheet: a column of angles and one of lift"


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Rows of readings below their headings, and the remarks around them."""

    name: str
    headings: tuple[Heading, ...]
    """One a column; with empty text where the sheet has no row of names."""
    names_row: int | None
    rows: tuple[Row, ...]
    remarks: tuple[str, ...]
    looks: str
    """What the whole sheet looks like, or ''."""
    decimal: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Chosen:
    """Columns to read, counted from 0."""

    angle: int
    lifts: tuple[int, ...]
    """One, or two where the same lobe was read up-going and down-going."""
    others: tuple[str, ...]
    """Names of other lobes in the sheet."""


def find_table(raw: RawSheet) -> Table:
    """The row of names, what stands below it, and the remarks.

    Raises
    ------
    SheetError
        For a sheet that is plainly something else.
    """
    looks = looks_like(raw)
    plain = [row for row in raw.rows if not row.cells[0].startswith(_REMARK)]
    remarks = [row.cells[0].lstrip("#!/% ") for row in raw.rows if row.cells[0].startswith(_REMARK)]
    at = _names_at(plain, raw.decimal)
    both = at is not None and {"angle", "lift"} <= {read_heading(c).kind for c in plain[at].cells}
    if not both and looks.startswith(_WRONG_KINDS):
        raise SheetError(
            f"{raw.path.name}: {_WANTED}; this looks like {looks}. Another file meant?"
        )
    if at is None:
        width = max((len(row.cells) for row in plain), default=0)
        nameless = Heading(text="", kind="")
        return Table(
            name=raw.path.name,
            headings=(nameless,) * width,
            names_row=None,
            rows=tuple(plain),
            remarks=tuple(remarks),
            looks=looks,
            decimal=raw.decimal,
        )
    names, below = plain[at].cells, plain[at + 1 :]
    remarks += [", ".join(cell for cell in row.cells if cell) for row in plain[:at]]
    if below and _is_units_row(below[0], len(names), raw.decimal):
        units = below[0].cells + ("",) * len(names)
        names = tuple(f"{name} {unit}".strip() for name, unit in zip(names, units, strict=False))
        below = below[1:]
    return Table(
        name=raw.path.name,
        headings=tuple(read_heading(name) for name in names),
        names_row=plain[at].number,
        rows=tuple(row for row in below if row.cells != plain[at].cells),
        remarks=tuple(remarks),
        looks=looks,
        decimal=raw.decimal,
    )


def _names_at(rows: Sequence[Row], decimal: str) -> int | None:
    """Place of the row of names: the first with angle and lift, else one right above readings."""
    partly = None
    for place, row in enumerate(rows[:60]):
        cells = [cell for cell in row.cells if cell]
        if any(len(cell) > _LONGEST_HEADING for cell in cells) or _readings(row, decimal):
            continue
        kinds = {read_heading(cell).kind for cell in cells}
        if {"angle", "lift"} <= kinds:
            return place
        above_readings = place + 1 < len(rows) and _readings(rows[place + 1], decimal)
        if partly is None and kinds & {"angle", "lift"} and len(cells) > 1 and above_readings:
            partly = place
    return partly


def _readings(row: Row, decimal: str) -> bool:
    """Whether a row holds an angle and a lift somewhere."""
    found = [
        read_angle(cell, decimal) is not None or read_lift(cell, decimal) is not None
        for cell in row.cells
    ]
    return sum(found) > 1


def _is_units_row(row: Row, width: int, decimal: str) -> bool:
    cells = [cell for cell in row.cells if cell]
    wordy = all(number(cell, decimal) is None and len(cell) < 14 for cell in cells)
    known = sum(read_heading(cell).kind in ("angle", "lift") for cell in cells)
    return wordy and known > 0 and len(row.cells) <= width and not _readings(row, decimal)


def choose_columns(table: Table, *, column: str | None = None, side: Side | None = None) -> Chosen:
    """The angle column and the lobe asked for.

    Parameters
    ----------
    table : Table
    column : str, optional
        Name of a lift column, part of one, or its number counted from 1.
    side : 'intake' or 'exhaust', optional
        Chooses among lobes whose names tell their side.

    Raises
    ------
    SheetError
        Where there is no angle, no lift, no such column, or the sheet is of the other side only.
    """
    angle = _angle_column(table)
    lifts = _lift_columns(table, angle)
    if column is not None:
        wanted = _named(table, lifts, column)
        return Chosen(angle=angle, lifts=(wanted,), others=_others(table, lifts, (wanted,)))
    if not table.headings[lifts[0]].text and len(lifts) > 1:
        raise SheetError(
            f"{table.name}: found {len(lifts)} columns of figures beside the angle and no row of "
            "names; which is the lift? Say --column with its number, counted from 1"
        )
    fitting = _of_side(table, lifts, side)
    ups = [i for i in fitting if table.headings[i].sweep == "up"]
    downs = [i for i in fitting if table.headings[i].sweep == "down"]
    taken = (ups[0], downs[0]) if ups and downs else (fitting[0],)
    return Chosen(angle=angle, lifts=taken, others=_others(table, lifts, taken))


def _others(table: Table, lifts: Sequence[int], taken: Sequence[int]) -> tuple[str, ...]:
    return tuple(table.headings[i].text or f"column {i + 1}" for i in lifts if i not in taken)


def _angle_column(table: Table) -> int:
    for place, heading in enumerate(table.headings):
        if heading.kind == "angle":
            return place
    for place, heading in enumerate(table.headings):
        if heading.kind == "" and _share(table, place, angle=True) > 0.5:
            return place
    raise SheetError(f"{table.name}: {_WANTED}; found no angles{_instead(table)}")


def _lift_columns(table: Table, angle: int) -> list[int]:
    named = [i for i, one in enumerate(table.headings) if one.kind == "lift" and i != angle]
    filled = [i for i in named if _share(table, i) > 0]
    if filled:
        return filled
    plain = [
        i
        for i, one in enumerate(table.headings)
        if one.kind == "" and i != angle and _share(table, i) > 0.5
    ]
    if not plain:
        raise SheetError(f"{table.name}: {_WANTED}; found no lift{_instead(table)}")
    return plain


def _share(table: Table, place: int, *, angle: bool = False) -> float:
    """Share of the rows whose cell can be read as an angle or a lift."""
    cells = [row.cells[place] for row in table.rows if place < len(row.cells)]
    read = read_angle if angle else read_lift
    return sum(read(cell, table.decimal) is not None for cell in cells) / max(len(table.rows), 1)


def _instead(table: Table) -> str:
    names = ", ".join(heading.text for heading in table.headings if heading.text)
    looks = f"; this looks like {table.looks}" if table.looks else ""
    return f" among the columns {names[:60]}{looks}" if names else looks


def _named(table: Table, lifts: Sequence[int], wanted: str) -> int:
    names = [heading.text for heading in table.headings]
    if wanted.strip().isdigit() and 1 <= int(wanted) <= len(names):
        return int(wanted) - 1
    exact = [i for i, name in enumerate(names) if name.lower() == wanted.strip().lower()]
    part = [i for i in lifts if wanted.strip().lower() in names[i].lower()]
    if exact or len(part) == 1:
        return (exact or part)[0]
    have = ", ".join(names[i] or str(i + 1) for i in lifts)
    found = f"{len(part)} columns" if part else "no column"
    raise SheetError(f'{table.name}: {found} "{wanted}"; the lift columns are {have}')


def _of_side(table: Table, lifts: list[int], side: Side | None) -> list[int]:
    """Lift columns of one side; those that name no side where none names it."""
    if side is None:
        return lifts
    own = [i for i in lifts if table.headings[i].side == side]
    silent = [i for i in lifts if table.headings[i].side is None]
    if not own and not silent:
        found = ", ".join(table.headings[i].text for i in lifts)
        raise SheetError(
            f"{table.name}: expected the {side} lobe; the lift columns are {found}. Choose one "
            "with --column"
        )
    return own or silent


def with_side(table: Table, chosen: Chosen) -> Side | None:
    """The side that the chosen column's heading names."""
    return table.headings[chosen.lifts[0]].side

"""The columns of a flow sheet, by the words above them (English or German)."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from breathe.engine.parts import Side
from breathe.engine.quantities import UNITS
from breathe.measured.sheet import RawSheet, Row, SheetError, number

Kind = Literal["lift", "flow", "remark", "other"]

LIFT_UNITS: dict[str, float] = {name: UNITS["length"][name] for name in ("mm", "in", "thou")}
FLOW_UNITS: dict[str, float] = {
    **{name: UNITS["volume flow"][name] for name in ("cfm", "l/s", "m3/h", "m3/s")},
    "l/min": 1e-3 / 60,
}
"""Unit -> SI."""
OF_DIAMETER = "of the diameter"

_SIDES: dict[str, Side] = {
    **dict.fromkeys(("in", "int", "intake", "inlet", "ein", "einlass", "einlaß", "e"), "intake"),
    **dict.fromkeys(("ex", "exh", "exhaust", "aus", "auslass", "auslaß", "outlet"), "exhaust"),
}
_LIFT = {"lift", "lifts", "hub", "ventilhub", "valvelift"}
_FLOW = {"flow", "q", "durchfluss", "durchfluß", "durchsatz", "volumenstrom", "luftmenge", "air"}
_REMARK = {"note", "notes", "remark", "remarks", "comment", "comments", "bemerkung", "notiz"}
_REVERSE = {"rev", "reverse", "reversed", "backflow", "rück", "rückwärts", "rückströmung"}
_OTHER = (
    {"cd", "cv", "cf", "coefficient", "coeff", "beiwert", "alpha", "ratio", "verhältnis", "swirl"}
    | {"tumble", "drall", "vel", "velocity", "speed", "m/s", "ft/s", "fps", "area", "fläche"}
    | {"percent", "prozent", "stock", "serie", "leak", "leck", "temp", "delta", "diff", "gain"}
)
_FLOW_SPELLED = (
    ("cfm", r"(?:s?cfm|cu\.? ?ft/min|ft[3³]/min|cubic feet per minute)"),
    ("l/s", r"(?:l/s(?:ec|ek)?|lps|lit(?:er|re)s?/s(?:ec|ek)?)"),
    ("l/min", r"(?:l/min|lpm)"),
    ("m3/h", r"(?:m(?:3|³|\^3)/h(?:r|our)?|cbm/h|cmh)"),
    ("m3/s", r"(?:m(?:3|³|\^3)/s)"),
)
_LIFT_SPELLED = (
    ("mm", r"(?:mm|millimet(?:er|re)s?)"),
    ("thou", r"(?:thou|mils?|thousandths?)"),
    ("in", r"(?:in|inch|inches|zoll|\"|'')\.?"),
    (OF_DIAMETER, r"(?:l/d|l/v|h/d|lift/dia(?:meter)?)"),
)
_EDGE = r"(?<![a-zäöü0-9/]){}(?![a-zäöü0-9/])"


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """What stands in one column."""

    index: int
    name: str
    kind: Kind
    side: Side | None = None
    reverse: bool = False
    unit: str = ""
    """A key of `LIFT_UNITS` or `FLOW_UNITS`, or ''."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Header:
    """The row of names, and the rows on either side of it."""

    row: Row
    columns: tuple[Column, ...]
    above: tuple[Row, ...]
    below: tuple[Row, ...]


def flow_units(text: str) -> set[str]:
    """The units of flow a text names."""
    return _units(text, _FLOW_SPELLED)


def lift_unit(text: str) -> str:
    """The unit of lift a text names, or '' for none or more than one."""
    return _only_one(_units(text, _LIFT_SPELLED))


def _units(text: str, spelled: Sequence[tuple[str, str]]) -> set[str]:
    return {name for name, pattern in spelled if re.search(_EDGE.format(pattern), text.lower())}


def _only_one(units: set[str]) -> str:
    return next(iter(units)) if len(units) == 1 else ""


def name_column(index: int, name: str) -> Column:
    """One column from the words above it."""
    words = {w for w in re.split(r"[\s_()\[\]{},;:#.|@-]+", name.lower()) if w}
    sides = {_SIDES[w] for w in words if w in _SIDES}
    unit = lift_unit(name)
    if words & _REMARK:
        return Column(index=index, name=name, kind="remark")
    if "%" in name or words & _OTHER:
        return Column(index=index, name=name, kind="other")
    if words & _LIFT or unit == OF_DIAMETER:
        return Column(index=index, name=name, kind="lift", unit=unit)
    if not (sides or words & _FLOW or flow_units(name)) or len(sides) > 1:
        return Column(index=index, name=name, kind="other")
    return Column(
        index=index,
        name=name,
        kind="flow",
        side=sides.pop() if sides else None,
        reverse=bool(words & _REVERSE),
        unit=_only_one(flow_units(name)),
    )


def find_header(raw: RawSheet) -> Header | None:
    """The first row that names a lift and a flow, with a row of units below it taken in.

    Raises
    ------
    SheetError
        If figures stand above the names, or a row of figures is wider than the names.
    """
    for at, row in enumerate(raw.rows):
        columns = tuple(name_column(n, cell) for n, cell in enumerate(row.cells))
        if not {"lift", "flow"} <= {c.kind for c in columns}:
            continue
        below = raw.rows[at + 1 :]
        if below and _is_units(below[0]):
            units = below[0].cells + ("",) * len(row.cells)
            both = (f"{a} [{b}]" for a, b in zip(row.cells, units, strict=False))
            columns = tuple(name_column(n, cell) for n, cell in enumerate(both))
            below = below[1:]
        header = Header(
            row=row,
            columns=columns,
            above=raw.rows[:at],
            below=_without_repeats(raw.rows[: at + 1], below),
        )
        _check_order(raw, header)
        _check_width(raw, header)
        _check_remarks(raw, header)
        return header
    return None


def _is_units(row: Row) -> bool:
    known = [flow_units(c) or lift_unit(c) or c in ("", "-", "%") for c in row.cells]
    return len(row.cells) > 1 and all(known) and any(len(c) > 1 for c in row.cells)


def _without_repeats(top: Sequence[Row], below: Sequence[Row]) -> tuple[Row, ...]:
    """The rows below the names without those that repeat the top, as on a new page."""
    known = {row.cells for row in top}
    return tuple(row for row in below if row.cells not in known)


def _check_order(raw: RawSheet, header: Header) -> None:
    for row in header.above:
        figures = [number(cell, raw.decimal) for cell in row.cells]
        if figures[0] is not None and sum(f is not None for f in figures) > 1:
            raise SheetError(
                f"{raw.path.name}, row {row.number}: figures stand above the row of names (row "
                f"{header.row.number}); are the rows out of order?"
            )


def _check_width(raw: RawSheet, header: Header) -> None:
    """Refuse a table whose names cannot stand above its figures, cell by cell."""
    file, width = raw.path.name, len(header.columns)
    for row in header.below:
        if len(row.cells) > width and _figures(row, raw.decimal) > 1:
            raise SheetError(
                f"{file}, row {row.number}: found {len(row.cells)} cells under {width} names "
                f"(row {header.row.number}); are the columns shifted, or is a name missing?"
            )
    widest = max((len(row.cells) for row in header.below), default=width)
    if widest < width and "" in header.row.cells:
        raise SheetError(
            f"{file}, row {header.row.number}: {width} columns with one unnamed, but at most "
            f"{widest} cells below; are the names shifted against the figures?"
        )
    if raw.separator == " ":
        named = sum(c.kind != "remark" for c in header.columns)
        most = max((_figures(row, raw.decimal) for row in header.below), default=0)
        if most != named:
            raise SheetError(
                f"{file}: spaces part the columns, and the row of names (row {header.row.number}) "
                f"has {named} words above {most} figures; part the columns with tabs or semicolons"
            )


def _figures(row: Row, decimal: str) -> int:
    return sum(number(cell, decimal) is not None for cell in row.cells)


def _check_remarks(raw: RawSheet, header: Header) -> None:
    for column in header.columns:
        if column.kind != "remark":
            continue
        cells = [r.cells[column.index] for r in header.below if len(r.cells) > column.index]
        if sum(number(c, raw.decimal) is not None for c in cells) > len(cells) / 2:
            raise SheetError(
                f'{raw.path.name}: the column "{column.name}" holds figures, not remarks; are the '
                f"columns shifted against their names (row {header.row.number})?"
            )


def choose_columns(header: Header, side: Side, file: str) -> tuple[Column, Column, Column | None]:
    """The columns of lift, of flow and of reverse flow for one side.

    Raises
    ------
    SheetError
        If there is none for the side, or more than one.
    """
    lifts = [c for c in header.columns if c.kind == "lift"]
    twice = len({c.unit for c in lifts if c.unit}) == len(lifts)  # one lift in two units
    lift = lifts[0] if twice else _only(lifts, "lift", header, file)
    flows = [c for c in header.columns if c.kind == "flow"]
    mine = [c for c in flows if c.side == side]
    if not mine and len(flows) == 1 and flows[0].side is None:
        mine = flows
    forward = [c for c in mine if not c.reverse]
    if not forward:
        names = ", ".join(f'"{c.name}"' for c in header.columns)
        raise SheetError(
            f"{file}, row {header.row.number}: no column of {side} flow among {names}; expected "
            f'one named such as "{"in" if side == "intake" else "ex"} cfm"'
        )
    back = [c for c in mine if c.reverse]
    return (
        lift,
        _only(forward, f"{side} flow", header, file),
        _only(back, f"reverse {side} flow", header, file) if back else None,
    )


def _only(columns: list[Column], what: str, header: Header, file: str) -> Column:
    if len(columns) > 1:
        names = ", ".join(f'"{c.name}"' for c in columns)
        raise SheetError(
            f"{file}, row {header.row.number}: {len(columns)} columns of {what}: {names}; keep "
            "the one that is meant"
        )
    return columns[0]

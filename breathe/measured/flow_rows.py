"""The readings of a flow sheet: lift in metres, flow as written, rising in lift."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from breathe.measured.flow_columns import LIFT_UNITS, OF_DIAMETER, Column, Header, lift_unit
from breathe.measured.numbers import number
from breathe.measured.remarks import Remarks
from breathe.measured.sheet import RawSheet, Row, SheetError

_LIKELY = (0.08, 0.55)
"""Largest lift over head diameter that makes the unit of bare figures unmistakable."""
_POSSIBLE = (0.05, 0.6)
"""Largest lift over head diameter a sheet may have: common practice, no source."""
_SAME, _CLOSE = 0.03, 0.01
"""Flows at one lift this close are repeats of one reading; bench scatter is 1-2 %."""
_STARTS_AS_NUMBER = re.compile(r"[+-]?[.,]?[0-9]")
_NO_FIGURE = ("", "-", "--", "n/a", "na", "n.a.", "nan", "#nv", "#n/a", "k.a.", "x", "?")


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One row."""

    number: int
    lift_m: float
    flow: float
    """In the sheet's unit."""
    reverse: float | None
    remark: str


def read_readings(
    raw: RawSheet,
    header: Header,
    columns: tuple[Column, Column, Column | None],
    head_diameter_m: float,
    remarks: Remarks,
) -> list[Reading]:
    """The rows with a lift and a flow, in SI lift, rising, repeats merged.

    Raises
    ------
    SheetError
        If fewer than two are left, the unit of lift cannot be told, or the lifts cannot be this
        valve's.
    """
    found = _rows(raw, header, columns, remarks)
    _short_rows(header, [reading.number for reading, _ in found], remarks)
    scaled = _in_metres(raw, found, columns[0], head_diameter_m, remarks)
    top = max((r.lift_m for r in scaled), default=0.0) / head_diameter_m
    if len(scaled) > 1 and not _POSSIBLE[0] <= top <= _POSSIBLE[1]:
        raise SheetError(
            f"{raw.path.name}: lifts up to {top * head_diameter_m * 1e3:.4g} mm are {top:.2g} of "
            f"the {head_diameter_m * 1e3:g} mm valve; expected {_POSSIBLE[0]:g} to "
            f"{_POSSIBLE[1]:g}. Inches or mm? Another engine's sheet?"
        )
    readings = _merged(raw, sorted(scaled, key=lambda r: r.lift_m), remarks)
    if [r.number for r in readings] != sorted(r.number for r in readings):
        remarks.notes.append("the lifts were not in rising order; sorted")
    if len(readings) < 2:
        raise SheetError(
            f"{raw.path.name}: found {len(readings)} row{'' if len(readings) == 1 else 's'} with "
            f'a lift and a flow under "{columns[0].name}" and "{columns[1].name}"; expected at '
            f"least two lifts{''.join(f'; {note}' for note in remarks.notes if 'dropped' in note)}"
        )
    return readings


def _rows(
    raw: RawSheet, header: Header, columns: tuple[Column, Column, Column | None], remarks: Remarks
) -> list[tuple[Reading, str]]:
    """Rows with figures, lift as written; beside each the unit its own lift cell names."""
    lift_column, flow_column, back_column = columns
    found, dropped = [], []
    for row in header.below:
        lift, unit = _with_unit(_cell(row, lift_column), raw.decimal)
        flow_text = _cell(row, flow_column)
        flow = number(flow_text, raw.decimal)
        if lift is not None and lift > 0 and flow is not None and flow > 0:
            back = None if back_column is None else number(_cell(row, back_column), raw.decimal)
            reading = Reading(
                number=row.number, lift_m=lift, flow=flow, reverse=back, remark=_remark(row, header)
            )
            found.append((reading, unit))
        elif lift is not None or flow is not None or _STARTS_AS_NUMBER.match(flow_text):
            why = _why_dropped(_cell(row, lift_column), flow_text, lift, flow)
            remark = _remark(row, header)
            dropped.append(f"row {row.number}, {why}{f' ({remark})' if remark else ''}")
    if dropped:
        more = f"; and {len(dropped) - 6} rows more" if len(dropped) > 6 else ""
        remarks.notes.append("dropped: " + "; ".join(dropped[:6]) + more)
    return found


def _short_rows(header: Header, used: Sequence[int], remarks: Remarks) -> None:
    """Say which rows end before the last named column: a figure may be missing within them.

    At the end of the sheet that is usual (one side lifts less); above fuller rows it is odd.
    """
    last = max(c.index for c in header.columns if c.kind != "remark")
    ends = {r.number: len(r.cells) <= last for r in header.below if r.number in used}
    full = [n for n, short in ends.items() if not short]
    if ends and not full:
        remarks.questions.append(
            f'no row reaches the column "{header.columns[last].name}"; are the names shifted '
            "against the figures?"
        )
    odd = [n for n, short in ends.items() if short and full and n < full[-1]]
    usual = [n for n, short in ends.items() if short and full and n > full[-1]]
    for rows, say in ((odd, remarks.questions), (usual, remarks.notes)):
        if rows:
            some = ", ".join(str(n) for n in rows[:8])
            say.append(
                f"row{'s' if len(rows) > 1 else ''} {some} end before the column "
                f'"{header.columns[last].name}"; if a figure within is missing, those behind it '
                "stand under the wrong names"
            )


def _cell(row: Row, column: Column) -> str:
    return row.cells[column.index] if column.index < len(row.cells) else ""


def _with_unit(text: str, decimal: str) -> tuple[float | None, str]:
    """A lift with the unit its cell may name ('.100"', '2,5 mm')."""
    value = number(text, decimal) if not text.endswith('"') else None
    if value is not None:
        return value, ""
    match = re.fullmatch(r"([^A-Za-z\"']+?)\s*([A-Za-z]+|\"|'')\.?", text)
    unit = lift_unit(match[2]) if match else ""
    return (number(match[1], decimal), unit) if match and unit else (None, "")


def _why_dropped(lift_text: str, flow_text: str, lift: float | None, flow: float | None) -> str:
    if lift is None and flow is None:
        return f'"{lift_text[:20]}" and "{flow_text[:20]}" are no numbers'
    if lift is None:
        return f'its lift "{lift_text[:20]}" is no number'
    if lift <= 0:
        return f"lift {lift:g}"
    if flow is not None:
        return f"flow {flow:g}"
    if flow_text.lower() in _NO_FIGURE:
        return "no flow"
    if "*" in flow_text:
        return f'its flow "{flow_text[:20]}" is starred'
    return f'its flow "{flow_text[:20]}" is no number'


def _remark(row: Row, header: Header) -> str:
    texts = [_cell(row, c) for c in header.columns if c.kind == "remark"]
    return "; ".join(text for text in texts if text)


def _in_metres(
    raw: RawSheet,
    found: Sequence[tuple[Reading, str]],
    column: Column,
    head_m: float,
    remarks: Remarks,
) -> list[Reading]:
    bare = [reading.lift_m for reading, unit in found if not unit]
    usual = column.unit
    if bare and not usual:
        usual = _likely_unit(raw, max(bare), column, head_m, remarks)
    odd = [r.number for r, unit in found if unit and column.unit and unit != column.unit]
    if odd:
        rows = ", ".join(str(n) for n in odd[:8])
        remarks.questions.append(f"lifts in another unit than the column's in rows {rows}; used so")
    scaled = []
    for reading, unit in found:
        unit = unit or usual
        factor = head_m if unit == OF_DIAMETER else LIFT_UNITS[unit]
        scaled.append(replace(reading, lift_m=reading.lift_m * factor))
    return scaled


def _likely_unit(raw: RawSheet, top: float, column: Column, head_m: float, remarks: Remarks) -> str:
    fits = [u for u, si in LIFT_UNITS.items() if _LIKELY[0] <= top * si / head_m <= _LIKELY[1]]
    if len(fits) != 1:
        raise SheetError(
            f'{raw.path.name}: the column "{column.name}" names no unit, and {top:g} fits a '
            f"{head_m * 1e3:g} mm valve neither in mm nor in inches; write lift mm or lift in"
        )
    name = "inches" if fits[0] == "in" else fits[0]
    share = top * LIFT_UNITS[fits[0]] / head_m
    remarks.notes.append(
        f'"{column.name}" names no unit: taken as {name}, since {top:g} {fits[0]} is '
        f"{share:.2f} of the {head_m * 1e3:g} mm valve and no other unit fits"
    )
    return fits[0]


def _merged(raw: RawSheet, readings: Sequence[Reading], remarks: Remarks) -> list[Reading]:
    """One reading for each lift; repeats that agree become their mean.

    Raises
    ------
    SheetError
        For repeats that do not agree.
    """
    kept: list[list[Reading]] = []
    for reading in readings:
        if kept and reading.lift_m - kept[-1][0].lift_m < 1e-6:
            kept[-1].append(reading)
        else:
            kept.append([reading])
    for same in kept:
        flows = [r.flow for r in same]
        if max(flows) - min(flows) > _SAME * max(flows):
            rows = " and ".join(f"{r.number} ({r.flow:g})" for r in same[:4])
            raise SheetError(
                f"{raw.path.name}: rows {rows} give one lift different flows; keep the right one"
            )
        if len(same) > 1:
            rows = ", ".join(str(r.number) for r in same[:6])
            apart = (max(flows) - min(flows)) / max(flows)
            text = f"rows {rows} are one lift, {100 * apart:.1f} % apart; their mean is used"
            (remarks.questions if apart > _CLOSE else remarks.notes).append(text)
    return [replace(s[0], flow=sum(r.flow for r in s) / len(s)) for s in kept]

"""A measured lift sheet as people write it: readings in crank degrees and metres, by row.

Columns, cells and the wheel have their own files; here they are put together, and everything that
was taken for granted, put right or left out is told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from breathe.engine.parts import Floats, Side
from breathe.measured.lift_columns import Chosen, Table, choose_columns, find_table
from breathe.measured.lift_units import readings_m, resolution_m
from breathe.measured.lift_words import (
    AngleCell,
    LiftCell,
    Wheel,
    Zero,
    is_written_curve,
    names_lash,
    read_angle,
    read_lift,
    side_named,
    zero_named,
)
from breathe.measured.repair import TooManyError
from breathe.measured.sheet import open_sheet
from breathe.measured.sweeps import FEWEST_ROWS, Sweep, merged, passes, repaired
from breathe.measured.told import RowNote, Told
from breathe.measured.wheel import (
    WheelError,
    cam_or_crank,
    crank_angles,
    opened_span,
    side_by_order,
)

MOST_ROWS = 8000
SPAN_HEIGHT_M = 0.1e-3
_TOLD_REMARKS = 3
_DASHES = ("-", "--", "\N{EN DASH}", "\N{EM DASH}")
"""For a reading that was not taken."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What the user says beyond the file."""

    angles: Wheel | None = None
    column: str | None = None
    side: Side | None = None
    ordered_deg: float | None = None
    """The card's duration [deg crank]."""
    zero: Zero | None = None
    lift_unit: str | None = None
    """A key of ``LIFT_UNITS_M``."""
    rocker_ratio: float = 1.0
    workbook_sheet: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LiftReadings:
    """Readings ready to be smoothed, and how they were come by."""

    name: str
    angle_deg: Floats
    """(n,) rising, crank degrees on the sheet's own wheel."""
    lift_m: Floats
    """(n,) at the valve where the sheet or the rocker ratio says so."""
    resolution_m: float
    """To which lifts are rounded."""
    step_deg: float
    """Usual step of the wheel [deg crank]."""
    row: tuple[int, ...]
    """(n,) line of the file; the first of those averaged."""
    wheel: Wheel
    side: Side | None
    """As the column, the dead centres or the user say."""
    zero: Zero | None
    """As the sheet or the user says."""
    dead_centres: bool
    """Angles were told from dead centres."""
    rows_read: int
    rows_used: int
    row_notes: tuple[RowNote, ...]
    """Repaired and dropped rows, by number."""
    backlash_deg: float | None
    """Crank degrees between up- and down-going readings."""
    understood: tuple[str, ...]
    questions: tuple[str, ...]
    others: tuple[str, ...]
    """Other lobes in the sheet."""
    written: bool
    """A curve that `breathe lobe` wrote."""


@dataclass(frozen=True, slots=True)
class _Cells:
    """Rows whose angle and lift can both be read, of one lift column."""

    row: tuple[int, ...]
    angle: tuple[AngleCell, ...]
    lift: tuple[LiftCell, ...]


def read_lift_file(path: Path, asked: Asked | None = None) -> LiftReadings:
    """Readings of one lobe from a sheet of any layout.

    Raises
    ------
    SheetError
        Where the file is of another kind, a lobe cannot be read, or something cannot be decided;
        then the message names the option that says it.
    """
    asked = asked or Asked()
    raw = open_sheet(path, workbook_sheet=asked.workbook_sheet)
    table = find_table(raw)
    chosen = choose_columns(table, column=asked.column, side=asked.side)
    told = Told(path.name, list(raw.understood))
    told.understood += _about_columns(table, chosen)
    told.questions += _about_lash(table)
    columns = [_cells(table, chosen.angle, lift, told) for lift in chosen.lifts]
    rows_read = len({row for one in columns for row in one.row} | {note.row for note in told.rows})
    _check_count(columns, told)
    unit, lifts = _lifts(table, chosen, columns, asked, told)
    angles, side, dead_centres = _angles(columns, lifts, asked, told)
    try:
        found = [
            sweep
            for one, angle, lift in zip(columns, angles, lifts, strict=True)
            for sweep in passes(angle, lift, one.row, told)
        ]
        if len(found) > 2:
            raise WheelError("found more than two passes over the lobe; keep one up and one down")
        found = [repaired(one, unit, _with_unit(columns), told) for one in found]
        wheel = _wheel(found[0], table, chosen, columns, asked, dead_centres, told)
        sweep, backlash = merged(found, wheel, told)
    except (WheelError, TooManyError) as error:
        raise told.refuse(str(error)) from None
    to_crank = 2.0 if wheel == "cam" else 1.0
    zero: Zero | None = "firing" if dead_centres else _said_zero(table)
    dropped = {note.row for note in told.rows if note.done == "dropped"}
    used = {row for one in columns for row in one.row} - dropped
    return LiftReadings(
        name=path.name,
        angle_deg=sweep.angle * to_crank,
        lift_m=sweep.lift_m * asked.rocker_ratio,
        step_deg=float(np.median(np.diff(found[0].angle))) * to_crank,
        resolution_m=resolution_m(np.concatenate(lifts), unit[1]) * asked.rocker_ratio,
        row=sweep.row,
        wheel=wheel,
        side=side or asked.side or _named_side(table, chosen),
        zero=asked.zero or zero,
        dead_centres=dead_centres,
        rows_read=rows_read,
        rows_used=len(used),
        row_notes=tuple(sorted(told.rows, key=lambda note: (note.row, note.why))),
        backlash_deg=backlash,
        understood=tuple(told.understood),
        questions=tuple(told.questions),
        others=chosen.others,
        written=_is_written(table, chosen),
    )


def _with_unit(columns: Sequence[_Cells]) -> frozenset[int]:
    """Rows whose lift has its unit in the cell."""
    return frozenset(
        row for one in columns for row, cell in zip(one.row, one.lift, strict=True) if cell.unit
    )


def _about_columns(table: Table, chosen: Chosen) -> list[str]:
    named = [table.headings[i].text for i in (chosen.angle, *chosen.lifts)]
    lines = []
    if table.names_row is None:
        places = [str(i + 1) for i in (chosen.angle, *chosen.lifts)]
        lines.append(f"no row of names: angle in column {places[0]}, lift in {places[-1]}")
    else:
        lifts = " and ".join(f'"{name}"' for name in named[1:])
        lines.append(f'row {table.names_row} names the columns: angle "{named[0]}", lift {lifts}')
    if chosen.others:
        also = ", ".join(chosen.others)
        lines.append(f"other lobes in the sheet: {also}; choose with --column or --side")
    lines += [f'remark: "{remark[:60]}"' for remark in table.remarks[:_TOLD_REMARKS] if remark]
    return lines


def _about_lash(table: Table) -> list[str]:
    """A sheet read with running clearance lacks that much of the zero-lash lift taken here."""
    return [
        f'the remark "{remark[:60]}" names a lash: is it already out of these lifts? They are '
        "taken as lift at zero lash; if the dial was read with the clearance set, the lash of the "
        "engine file is 0 mm"
        for remark in table.remarks
        if names_lash(remark)
    ]


def _is_written(table: Table, chosen: Chosen) -> bool:
    angle, lift = (table.headings[i].text for i in (chosen.angle, chosen.lifts[0]))
    return is_written_curve(angle, lift)


def _named_side(table: Table, chosen: Chosen) -> Side | None:
    own = table.headings[chosen.lifts[0]].side
    return own or side_named(" ".join(table.remarks))


def _said_zero(table: Table) -> Zero | None:
    return zero_named(" ".join([*(one.text for one in table.headings), *table.remarks]))


def _cells(table: Table, angle: int, lift: int, told: Told) -> _Cells:
    """Rows that hold an angle and a lift; the others are told."""
    width = max(len(table.headings), 2)
    rows, angles, lifts = [], [], []
    for row in table.rows:
        cells = row.cells + ("",) * width
        at, reading = read_angle(cells[angle], table.decimal), read_lift(cells[lift], table.decimal)
        if any(read_lift(cell, table.decimal) for cell in row.cells[width:]):
            told.drop(row.number, f"{len(row.cells)} cells where {width} are expected")
        elif at is None and reading is None:
            if any(read_lift(cell, table.decimal) for cell in row.cells):
                told.drop(row.number, f'"{", ".join(row.cells)[:40]}" holds no angle and lift')
        elif at is None:
            told.drop(row.number, f'"{cells[angle][:20]}" is no angle')
        elif cells[lift].strip() in _DASHES:
            told.rows.append(RowNote(row=row.number, done="blank", why=cells[lift].strip()))
        elif reading is None:
            found = f'"{cells[lift][:20]}" is no lift' if cells[lift] else "no lift"
            told.drop(row.number, found)
        else:
            if reading.marked:
                told.questions.append(f"row {row.number} is marked: {cells[lift]}")
            rows.append(row.number)
            angles.append(at)
            lifts.append(reading)
    return _Cells(tuple(rows), tuple(angles), tuple(lifts))


def _check_count(columns: Sequence[_Cells], told: Told) -> None:
    count = max(len(one.row) for one in columns)
    if count > MOST_ROWS:
        raise told.refuse(f"found {count} readings; expected at most {MOST_ROWS}")
    if count < FEWEST_ROWS:
        rows = ", ".join(str(note.row) for note in told.rows[:8])
        dropped = f" (none in row {rows})" if told.rows else ""
        raise told.refuse(
            f"found {count} reading{'s' if count != 1 else ''} of angle and lift{dropped}; "
            f"expected at least {FEWEST_ROWS} over both flanks"
        )


def _lifts(
    table: Table, chosen: Chosen, columns: Sequence[_Cells], asked: Asked, told: Told
) -> tuple[tuple[str, float], list[Floats]]:
    """Unit of the column and lifts in metres of each column."""
    heading = table.headings[chosen.lifts[0]]
    cells = [one.lift for one in columns]
    try:
        unit, lifts, words = readings_m(cells, asked.lift_unit, heading.unit)
    except ValueError as error:
        raise told.refuse(str(error)) from None
    told.understood.append(words)
    if heading.at_valve and asked.rocker_ratio != 1.0:
        raise told.refuse(
            f'the column "{heading.text}" is lift at the valve, and --rocker '
            f"{asked.rocker_ratio:g} would multiply it; leave the rocker ratio out"
        )
    if heading.at_lobe and asked.rocker_ratio == 1.0:
        told.questions.append(
            f'is the column "{heading.text}" lift at the lobe? With a rocker, say its ratio '
            "with --rocker"
        )
    return unit, lifts


def _angles(
    columns: Sequence[_Cells], lifts: Sequence[Floats], asked: Asked, told: Told
) -> tuple[list[Floats], Side | None, bool]:
    """Angles on the wheel as numbers, the side if dead centres tell it, and whether they do."""
    centres = [[cell.centre for cell in one.angle] for one in columns]
    share = np.mean([bool(centre) for one in centres for centre in one])
    if share < 0.5:
        if share:
            told.understood.append("TDC among plain angles is taken as the wheel's 0")
        plain = [
            np.array([np.nan if c.centre == "BDC" else c.deg for c in one.angle]) for one in columns
        ]
        return plain, None, False
    side = side_by_order(columns[0].angle, lifts[0])
    told.understood.append(
        f"angles from dead centres: crank degrees, TDC is overlap TDC, an {side} lobe by their "
        "order"
    )
    return [crank_angles(one.angle, side) for one in columns], side, True


def _wheel(
    sweep: Sweep,
    table: Table,
    chosen: Chosen,
    columns: Sequence[_Cells],
    asked: Asked,
    dead_centres: bool,
    told: Told,
) -> Wheel:
    """Cam or crank degrees; what decides it is told."""
    height = max(SPAN_HEIGHT_M, 1.02 * max(float(sweep.lift_m[0]), float(sweep.lift_m[-1])))
    if height > 0.25 * float(sweep.lift_m.max()):
        first, last = (f"{x * 1e3:.2f} mm" for x in sweep.lift_m[[0, -1]])
        raise WheelError(
            f"found lifts from {first} to {last} at the ends and {sweep.lift_m.max() * 1e3:.2f} mm "
            "at most; expected both flanks down to the base circle. A dial that counts down?"
        )
    span = opened_span(sweep.angle, sweep.lift_m, height)
    if span is None:
        raise WheelError("found no lobe: lift does not rise and fall; expected both flanks")
    cells = {cell.wheel for one in columns for cell in one.angle if cell.wheel}
    said: tuple[Wheel, str] | None = None
    if dead_centres:
        said = ("crank", "told from dead centres")
    elif len(cells) == 1:
        said = (cells.pop(), "the angles say so")
    elif heading := table.headings[chosen.angle].wheel:
        said = (heading, f'heading "{table.headings[chosen.angle].text}"')
    wheel, why = cam_or_crank(
        span[1] - span[0],
        f"{height * 1e3:.2f} mm",
        asked=asked.angles,
        said=said,
        ordered_deg=asked.ordered_deg,
    )
    told.understood.append(why)
    return wheel

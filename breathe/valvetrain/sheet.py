"""Plain sheets of measured lift: two columns with their units in the header."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from breathe.engine.parts import Floats

LIFT_UNITS_M = {"mm": 1e-3, "in": 0.0254, "inch": 0.0254, "thou": 25.4e-6, "µm": 1e-6, "um": 1e-6}
ANGLE_UNITS_CRANK = {"deg crank": 1.0, "° crank": 1.0, "deg cam": 2.0, "° cam": 2.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """Readings as written, in SI."""

    angle_deg: Floats
    """(n,) rising, crank degrees from the sheet's own zero."""
    lift_m: Floats
    """(n,)"""
    row: tuple[int, ...]
    """(n,) line of the file each came from, counted from 1."""


def read_sheet(path: Path) -> Sheet:
    """Readings of a sheet with a header row and two columns.

    The header says what and in which unit, such as ``angle [deg crank], lift [mm]``; angle may be
    in deg cam, lift in mm, in, thou or µm. Columns part at commas, semicolons or tabs; a decimal
    comma may be used unless commas part the columns. Empty lines and lines starting with # are
    passed over.

    Raises
    ------
    OSError
        If the file cannot be opened.
    ValueError
        One message with every fault, by row.
    """
    lines = _lines(path)
    if not lines:
        raise ValueError(
            f"{path.name}: found no rows; expected a header such as "
            "'angle [deg crank], lift [mm]' and readings below it"
        )
    header_row, header = lines[0]
    separator = max(";\t,", key=header.count)
    to_crank, to_m = _units(path, header_row, _cells(header, separator))
    faults: list[str] = []
    rows: list[tuple[int, float, float]] = []
    for row, line in lines[1:]:
        found = _numbers(_cells(line, separator), separator)
        if found is None:
            faults.append(f"row {row}: found '{line.strip()}'; expected an angle and a lift")
        elif rows and found[0] * to_crank <= rows[-1][1]:
            before = f"row {rows[-1][0]} has {rows[-1][1] / to_crank:g}"
            faults.append(f"row {row}: found angle {found[0]:g}; expected more, as {before}")
        else:
            rows.append((row, found[0] * to_crank, found[1] * to_m))
    if faults:
        more = f"; and {len(faults) - 8} rows more" if len(faults) > 8 else ""
        raise ValueError(f"{path.name}: " + "; ".join(faults[:8]) + more)
    return Sheet(
        angle_deg=np.array([angle for _, angle, _ in rows]),
        lift_m=np.array([lift for _, _, lift in rows]),
        row=tuple(row for row, _, _ in rows),
    )


def _lines(path: Path) -> list[tuple[int, str]]:
    """Lines that say something, with their numbers."""
    data = path.read_bytes()
    if b"\x00" in data:
        raise ValueError(f"{path.name}: found a file that is not text; expected a CSV sheet")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("cp1252", errors="replace")
    numbered = enumerate(text.splitlines(), start=1)
    return [(n, line) for n, line in numbered if line.strip(" ,;\t") and line.strip()[0] != "#"]


def _cells(line: str, separator: str) -> list[str]:
    cells = [cell.strip() for cell in next(csv.reader([line], delimiter=separator))]
    while cells and not cells[-1]:
        cells.pop()
    return cells


def _numbers(cells: list[str], separator: str) -> tuple[float, float] | None:
    if len(cells) != 2:
        return None
    try:
        values = [float(c if separator == "," else c.replace(",", ".")) for c in cells]
    except ValueError:
        return None
    return (values[0], values[1]) if all(np.isfinite(values)) else None


def _units(path: Path, row: int, cells: list[str]) -> tuple[float, float]:
    """Factors to crank degrees and metres that the header names."""
    wanted = "expected two columns with units, such as 'angle [deg crank], lift [mm]'"
    if len(cells) != 2:
        raise ValueError(f"{path.name}, row {row}: found {len(cells)} columns {cells}; {wanted}")
    factors = []
    for cell, word, units in (
        (cells[0], "angle", ANGLE_UNITS_CRANK),
        (cells[1], "lift", LIFT_UNITS_M),
    ):
        name, _, rest = cell.lower().partition("[")
        unit = " ".join(rest.rstrip("] ").split())
        if word not in name or unit not in units:
            known = ", ".join(units)
            raise ValueError(
                f"{path.name}, row {row}: found column '{cell}'; {wanted} ({word} in {known})"
            )
        factors.append(units[unit])
    return factors[0], factors[1]

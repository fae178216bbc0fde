"""A map as a tuner typed it, and settings measured on the engine: read, with nothing guessed."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from breathe.engine.parts import Floats
from breathe.errors import BreatheError
from breathe.measured.numbers import number
from breathe.measured.sheet import RawSheet, Row, looks_like, open_sheet
from breathe.study.control.map_axes import LoadScale, load_scale, rising

_RPM = ("rpm", "1/min", "u/min", "drehzahl", "speed", "n/min")
_MM = re.compile(r"(?<![a-z])mm(?![a-z])", re.IGNORECASE)
_SHORTEST_DURATION = 120.0
"""Cells below this are no durations of an intake valve, crank degrees (common practice, no
source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TypedMap:
    """Speed by load as typed, both rising."""

    file: str
    scale: LoadScale
    speeds_rpm: tuple[float, ...]
    loads: tuple[float, ...]
    """In the unit of the file."""
    cells: Floats
    """(m, n), nan where blank."""
    unit: str
    """Of the cells: 'deg crank' or 'mm'."""
    rows: tuple[int, ...]
    """Row of the file of each load; of each speed where speeds run down."""
    by_speed: bool
    """Whether speeds run down."""
    understood: tuple[str, ...]

    def where(self, i: int, j: int) -> str:
        """A cell as the user finds it."""
        row = self.rows[j if self.by_speed else i]
        return f"row {row}, {self.speeds_rpm[j]:g} rpm, {self.loads[i]:g} {self.scale.unit}"


def read_typed_map(path: Path, axis_text: str | None = None) -> TypedMap:
    """A table of speed against load with a setting in each cell.

    Parameters
    ----------
    path : Path
    axis_text : str, optional
        What the load axis measures; by default its label says.

    Raises
    ------
    BreatheError
        No such table; an axis out of order; a label that does not say what the load is.
    """
    raw = open_sheet(path)
    head, body = _table(raw)
    label, points = head.cells[0], [number(c, raw.decimal) for c in head.cells[1:]]
    across = _axis(path, points, f"row {head.number}")
    down = _axis(path, [number(r.cells[0], raw.decimal) for r in body], "first column")
    cells = np.array([_cells(path, row, len(across), raw.decimal) for row in body])
    numbers = [row.number for row in body]
    by_speed = _speed_runs_down(path, label, across, down)
    if axis_text is None and any(w in label.lower() for w in ("%",)):
        axis_text = "throttle %"
    scale = load_scale(axis_text or label, f"{path.name}, row {head.number}, first cell")
    if down[0] > down[-1]:
        down, cells, numbers = down[::-1], cells[::-1], numbers[::-1]
    if across[0] > across[-1]:
        across, cells = across[::-1], cells[:, ::-1]
    speeds, loads = (down, across) if by_speed else (across, down)
    cells = cells.T if by_speed else cells
    scale.checked(loads, path.name)
    blank = int(np.isnan(cells).sum())
    return TypedMap(
        file=path.name,
        scale=scale,
        speeds_rpm=tuple(speeds),
        loads=tuple(loads),
        cells=cells,
        unit=_unit(path, raw, cells),
        rows=tuple(numbers),
        by_speed=by_speed,
        understood=(
            *raw.understood,
            f"{'speeds' if by_speed else 'loads'} run down; load: {scale.name}, {scale.unit}",
            f"{cells.size - blank} cells filled, {blank} blank",
        ),
    )


def _table(raw: RawSheet) -> tuple[Row, list[Row]]:
    """The row of axis points and the rows below it."""
    for place, written in enumerate(raw.rows):
        row = _parted(written, raw.separator)
        if len(row.cells) < 2 or row.cells[0].startswith(("#", "!", "//")):
            continue
        numbers = [number(cell, raw.decimal) for cell in row.cells]
        if numbers[0] is None and all(x is not None for x in numbers[1:]):
            below = [
                r
                for r in raw.rows[place + 1 :]
                if len(r.cells) > 1 and number(r.cells[0], raw.decimal) is not None
            ]
            if below:
                return row, below
    seems = looks_like(raw)
    told = f"; this looks like {seems}" if seems else ""
    raise BreatheError(
        f"{raw.path.name}: expected a map: a label such as 'kPa \\ rpm', axis points beside and "
        f"below it, a setting in each cell{told}"
    )


def _parted(row: Row, separator: str) -> Row:
    """A row of axis points whose label begins with '%': in other sheets that is a remark."""
    if len(row.cells) > 1 or not row.cells[0].startswith("%") or not separator:
        return row
    return Row(
        number=row.number, cells=tuple(cell.strip() for cell in row.cells[0].split(separator))
    )


def _axis(path: Path, points: Sequence[float | None], where: str) -> list[float]:
    """Axis points as typed, found to rise or to fall throughout."""
    found = [x for x in points if x is not None]
    falling = len(found) > 1 and found[0] > found[-1]
    name = f"{path.name}, {where}"
    if falling:
        try:
            rising([-x for x in found], name)
        except BreatheError:
            k = next(k for k in range(1, len(found)) if not found[k] < found[k - 1])
            raise BreatheError(
                f"{name}: position {k + 1}: found {found[k]:g} after {found[k - 1]:g}; expected "
                "axis points that fall strictly, as the first ones do"
            ) from None
    else:
        rising(found, name)
    return found


def _cells(path: Path, row: Row, count: int, decimal: str) -> list[float]:
    texts = [*row.cells[1:], *[""] * count][:count]
    if len(row.cells) - 1 > count:
        raise BreatheError(
            f"{path.name}, row {row.number}: found {len(row.cells) - 1} cells; the axis above has "
            f"{count}"
        )
    values = []
    for place, text in enumerate(texts, start=2):
        value = number(text.replace("°", ""), decimal) if text else math.nan
        if value is None and text not in ("-", "n/a", "x"):
            raise BreatheError(
                f"{path.name}, row {row.number}, column {place}: found {text!r}; expected a "
                "setting, or a blank"
            )
        values.append(math.nan if value is None else value)
    return values


def _speed_runs_down(
    path: Path, label: str, across: Sequence[float], down: Sequence[float]
) -> bool:
    """Which axis is speed, by the order of the label and the size of the points."""
    fast_across, fast_down = max(across) > 450, max(down) > 450
    words = re.split(r"[\\/|;x]| by ", label.lower().replace("1/min", "rpm"))
    named = [any(w.replace("1/min", "rpm") in part for w in _RPM) for part in words]
    if fast_across == fast_down and len(named) < 2:
        raise BreatheError(
            f"{path.name}: which axis is engine speed? Expected a label such as 'kPa \\ rpm' in "
            f"the first cell; found {label!r}"
        )
    if fast_across != fast_down:
        return fast_down
    return named[0]


def _unit(path: Path, raw: RawSheet, cells: Floats) -> str:
    remarks = " ".join(
        row.cells[0] for row in raw.rows if row.cells[0].startswith(("#", "!", "//"))
    )
    most = float(np.nanmax(cells)) if np.isfinite(cells).any() else math.nan
    if math.isnan(most):
        raise BreatheError(f"{path.name}: every cell is blank; expected settings")
    if most >= _SHORTEST_DURATION:
        return "deg crank"
    if _MM.search(remarks):
        return "mm"
    raise BreatheError(
        f"{path.name}: cells go up to {most:g}; durations, or millimetres of travel? Durations are "
        "at least 120; for travel write '# mm' in a line above the table"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """A setting found best on the engine."""

    row: int
    speed_rpm: float
    load: float
    """In the unit of the load axis."""
    setting: float
    unit: str
    """'mm' of travel if the heading says so, else 'deg crank'."""


def read_anchors(path: Path, scale: LoadScale) -> tuple[Measured, ...]:
    """Rows of speed, load and setting that are to stay as they are.

    Raises
    ------
    BreatheError
        A column that is missing, a row that is no reading.
    """
    raw = open_sheet(path)
    for place, row in enumerate(raw.rows):
        low = [cell.lower() for cell in row.cells]
        if len(low) >= 3 and any(w in low[0] for w in _RPM):
            found = [
                _reading(path, r, raw.decimal, "mm" if _MM.search(row.cells[2]) else "deg crank")
                for r in raw.rows[place + 1 :]
                if not r.cells[0].startswith(("#", "!", "//"))
            ]
            if not found:
                break
            scale.checked([one.load for one in found], path.name)
            return tuple(found)
    seems = looks_like(raw)
    told = f"; this looks like {seems}" if seems else ""
    raise BreatheError(
        f"{path.name}: expected a row of names and rows of rpm, load in {scale.unit}, setting, "
        f"such as 'rpm,{scale.unit},duration'{told}"
    )


def _reading(path: Path, row: Row, decimal: str, unit: str) -> Measured:
    values = [number(cell.replace("°", ""), decimal) for cell in row.cells[:3]]
    if len(values) < 3 or any(x is None for x in values):
        raise BreatheError(
            f"{path.name}, row {row.number}: found {', '.join(row.cells)}; expected rpm, load and "
            "setting"
        )
    speed, load, setting = (float(x) for x in values if x is not None)
    return Measured(row=row.number, speed_rpm=speed, load=load, setting=setting, unit=unit)


def moved_point(points: Sequence[float], from_: float, to: float, where: str) -> tuple[float, ...]:
    """Axis points with one of them moved.

    Raises
    ------
    BreatheError
        There is no such point, or it would pass a neighbour.
    """
    if from_ not in points:
        listed = ", ".join(f"{x:g}" for x in points)
        raise BreatheError(f"{where}: found {from_:g} to be moved; the axis has {listed}")
    return rising([to if x == from_ else x for x in points], where)

"""A control map as a file: written in the user's axes, read back, and looked up as an ECU does.

A file is only worth what the controller makes of it, so it is read back and looked up on a fine
grid, beyond its edges too, with the arithmetic of whole steps that small controllers use.
"""

from __future__ import annotations

import csv
import io
import json
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Literal

import numpy as np
from scipy.interpolate import RegularGridInterpolator

from breathe.engine.parts import Floats
from breathe.errors import BreatheError

Rows = Literal["load falling", "load rising", "speed falling", "speed rising"]
ROWS: tuple[Rows, ...] = ("load falling", "load rising", "speed falling", "speed rising")
OUT_OF_RANGE = "hold the edge"
BETWEEN_CELLS = "straight line between cells, along speed and along load"
_INNER_LIST = re.compile(r"\[[^][{}]*\]")
_FINE = 12
"""Points looked up between two axis points."""
_SHARE_STEPS = 256
"""Steps of the share between two axis points in whole-number look-up: 8 bits, the coarsest in use
(common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Speed by load, in the user's units."""

    name: str
    """What the cells hold, such as 'intake duration'."""
    unit: str
    """Of the cells."""
    load_name: str
    load_unit: str
    speeds_rpm: tuple[float, ...]
    """(n,) rising."""
    loads: tuple[float, ...]
    """(m,) rising."""
    values: Floats
    """(m, n)"""
    step: float
    """Cells are whole steps."""

    def oriented(self, rows: Rows) -> tuple[list[float], list[float], Floats]:
        """Heading down, heading across, and values as they are written."""
        by, way = rows.split()
        values = self.values if by == "load" else self.values.T
        down, across = self.loads, self.speeds_rpm
        if by == "speed":
            down, across = across, down
        if way == "falling":
            return list(down[::-1]), list(across), values[::-1]
        return list(down), list(across), values

    def label(self, rows: Rows) -> str:
        """The corner of the written table: what runs down, what runs across."""
        load = self.load_unit if self.load_unit != "%" else f"{self.load_name} %"
        return f"{load} \\ rpm" if rows.startswith("load") else f"rpm \\ {load}"


def csv_text(table: Table, rows: Rows = "load falling", *, decimal_comma: bool = False) -> str:
    """The table alone, a row of axis points above it and a column of them beside it."""
    down, across, values = table.oriented(rows)
    separator, out = ";" if decimal_comma else ",", io.StringIO()
    writer = csv.writer(out, delimiter=separator, lineterminator="\n")
    digits = decimals(table.step)

    def shown(value: float, places: int | None = None) -> str:
        text = f"{value:g}" if places is None else f"{value:.{places}f}"
        return text.replace(".", ",") if decimal_comma else text

    writer.writerow([table.label(rows), *(shown(x) for x in across)])
    for point, cells in zip(down, values, strict=True):
        writer.writerow([shown(point), *(shown(float(x), digits) for x in cells)])
    return out.getvalue()


def decimals(step: float) -> int:
    """Decimals that show whole steps exactly, at most 5."""
    return next((d for d in range(5) if abs(step * 10**d - round(step * 10**d)) < 1e-9), 5)


def json_text(table: Table, facts: Mapping[str, Any], rows: Rows = "load falling") -> str:
    """The table with everything a controller and its planner must know.

    Parameters
    ----------
    table : Table
    facts : mapping
        Limits, fallback, fingerprints, date and so on; plain values.
    rows : Rows
        Order of the rows of ``cells``.
    """
    return json_lines(map_content(table, facts, rows))


def map_content(table: Table, facts: Mapping[str, Any], rows: Rows) -> dict[str, Any]:
    """What `json_text` writes, as plain values."""
    down, across, values = table.oriented(rows)
    first, second = named_axes(table, rows)
    return {
        "what": "control map of a cam actuator",
        "cells": {"name": table.name, "unit": table.unit, "step": table.step},
        "rows": {**first, "points": down},
        "columns": {**second, "points": across},
        "values": [[round(float(x), 6) for x in line] for line in values],
        "between_cells": BETWEEN_CELLS,
        "out_of_range": OUT_OF_RANGE,
        **facts,
    }


def named_axes(table: Table, rows: Rows) -> tuple[dict[str, str], dict[str, str]]:
    """Name and unit of what runs down a file, and of what runs across."""
    load = {"name": table.load_name, "unit": table.load_unit}
    speed = {"name": "engine speed", "unit": "rpm"}
    return (load, speed) if rows.startswith("load") else (speed, load)


def json_lines(content: Mapping[str, Any], inner: re.Pattern[str] = _INNER_LIST) -> str:
    """JSON with each row of a table, or whatever else ``inner`` finds, on a line."""
    text = json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False)
    return inner.sub(lambda found: re.sub(r"\s+", " ", found[0]), text) + "\n"


def read_back(text: str, like: Table, *, decimal_comma: bool = False) -> Table:
    """A written file as a table again; ``like`` says what its cells are called.

    Raises
    ------
    ValueError
        It is not what was written.
    """
    if text.lstrip().startswith("{"):
        return _of_json(text)
    separator = ";" if decimal_comma else ","
    lines = list(csv.reader(io.StringIO(text), delimiter=separator))
    numbers = [[float(x.replace(",", ".")) for x in line] for line in [lines[0][1:], *lines[1:]]]
    down, across = [line[0] for line in numbers[1:]], numbers[0]
    values = np.array([line[1:] for line in numbers[1:]])
    by_speed = lines[0][0].startswith("rpm")
    return _rising(like, down, across, values, by_speed)


def _of_json(text: str) -> Table:
    found = json.loads(text)
    cells, rows, columns = found["cells"], found["rows"], found["columns"]
    by_speed = rows["unit"] == "rpm"
    load = columns if by_speed else rows
    like = Table(
        name=cells["name"], unit=cells["unit"], step=cells["step"], load_name=load["name"],
        load_unit=load["unit"], speeds_rpm=(), loads=(), values=np.empty((0, 0)),
    )  # fmt: skip
    return _rising(like, rows["points"], columns["points"], np.array(found["values"]), by_speed)


def _rising(
    like: Table, down: Sequence[float], across: Sequence[float], values: Floats, by_speed: bool
) -> Table:
    if len(down) > 1 and down[0] > down[-1]:
        down, values = down[::-1], values[::-1]
    speeds, loads = (down, across) if by_speed else (across, down)
    return Table(
        name=like.name, unit=like.unit, step=like.step, load_name=like.load_name,
        load_unit=like.load_unit, speeds_rpm=tuple(speeds), loads=tuple(loads),
        values=values.T if by_speed else values,
    )  # fmt: skip


def look_up(table: Table, speed_rpm: Floats, load: Floats) -> Floats:
    """Values between cells, edges held; the two arrays of one shape."""
    return bilinear(table.loads, table.speeds_rpm, table.values, load, speed_rpm)


def bilinear(
    down: Sequence[float] | Floats,
    across: Sequence[float] | Floats,
    values: Floats,
    at_down: Floats,
    at_across: Floats,
) -> Floats:
    """Straight lines along both axes, edges held; an axis of one point is the same everywhere.

    Parameters
    ----------
    down, across : (m,), (n,) float
        Rising.
    values : (m, n) float
    at_down, at_across : (...) float
        Of one shape.
    """
    points = [np.asarray(down, dtype=float), np.asarray(across, dtype=float)]
    for axis, line in enumerate(points):
        if len(line) == 1:
            points[axis] = np.array([line[0], line[0] + 1.0])
            values = np.repeat(values, 2, axis=axis)
    at = np.stack(
        [np.clip(x, p[0], p[-1]) for x, p in zip((at_down, at_across), points, strict=True)],
        axis=-1,
    )
    return np.asarray(RegularGridInterpolator(points, values)(at))


Rounding = Literal["down", "nearest", "up"]


def look_up_in_steps(
    table: Table, speed_rpm: Floats, load: Floats, rounding: Rounding, share_steps: int
) -> Floats:
    """The same in whole steps: cells, shares and every product rounded as a controller would."""
    counts = np.round(table.values / table.step).astype(np.int64)
    i, over_load = _place(np.asarray(table.loads), load, share_steps)
    j, over_speed = _place(np.asarray(table.speeds_rpm), speed_rpm, share_steps)
    i2, j2 = np.minimum(i + 1, counts.shape[0] - 1), np.minimum(j + 1, counts.shape[1] - 1)
    low = _between(counts[i, j], counts[i, j2], over_speed, share_steps, rounding)
    high = _between(counts[i2, j], counts[i2, j2], over_speed, share_steps, rounding)
    return _between(low, high, over_load, share_steps, rounding) * table.step


def look_up_by_products(
    table: Table, speed_rpm: Floats, load: Floats, rounding: Rounding, share_steps: int
) -> Floats:
    """The same by a controller that rounds the four cells' products one by one.

    Its four shares need not add to one any more: it can leave the range of the cells, which the
    straight lines of `look_up_in_steps` cannot.
    """
    counts = np.round(table.values / table.step).astype(np.int64)
    i, over_load = _place(np.asarray(table.loads), load, share_steps)
    j, over_speed = _place(np.asarray(table.speeds_rpm), speed_rpm, share_steps)
    i2, j2 = np.minimum(i + 1, counts.shape[0] - 1), np.minimum(j + 1, counts.shape[1] - 1)
    whole = share_steps**2
    add = {"down": 0, "nearest": whole // 2, "up": whole - 1}[rounding]
    found = np.zeros(np.shape(speed_rpm), dtype=np.int64)
    for row, of_load in ((i, share_steps - over_load), (i2, over_load)):
        for column, of_speed in ((j, share_steps - over_speed), (j2, over_speed)):
            found += np.floor_divide(counts[row, column] * of_load * of_speed + add, whole)
    return np.asarray(found * table.step, dtype=np.float64)


def _place(axis: Floats, at: Floats, share_steps: int) -> tuple[np.ndarray, np.ndarray]:
    """The axis point below, and the share of the way to the next in whole steps."""
    held = np.clip(at, axis[0], axis[-1])
    below = np.clip(np.searchsorted(axis, held, side="right") - 1, 0, max(len(axis) - 2, 0))
    if len(axis) == 1:
        return below, np.zeros(np.shape(held), dtype=np.int64)
    share = (held - axis[below]) / (axis[below + 1] - axis[below])
    return below, np.round(share * share_steps).astype(np.int64)


def _between(
    a: np.ndarray, b: np.ndarray, share: np.ndarray, share_steps: int, rounding: Rounding
) -> np.ndarray:
    add = {"down": 0, "nearest": share_steps // 2, "up": share_steps - 1}[rounding]
    return a + np.floor_divide((b - a) * share + add, share_steps)


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """What look-up of the file as read back gives, against the safe range."""

    looked_up: int
    lowest: float
    highest: float
    """Of all look-ups, in the unit of the cells."""
    safe_low: float
    safe_high: float
    rounding_worst: float
    """Farthest that whole-step look-up strays from exact look-up, in the unit of the cells."""
    past_cell_limits: float
    """Farthest that a look-up passes the limits of single cells, joined by straight lines."""
    products_lowest: float
    products_highest: float
    """Of a controller that rounds its four products one by one: why it needs output limits."""

    @property
    def holds(self) -> bool:
        """Whether no look-up along straight lines leaves the safe range."""
        slack = 1e-6
        return self.lowest >= self.safe_low - slack and self.highest <= self.safe_high + slack

    def output_limits(self, step: float) -> tuple[float, float]:
        """The safe range in whole steps, never beyond it: what a controller can be set to."""
        low = math.ceil(self.safe_low / step - 1e-6) * step
        high = math.floor(self.safe_high / step + 1e-6) * step
        return round(low, 6), round(high, 6)

    @property
    def needs_output_limits(self) -> bool:
        """Whether a controller that rounds products one by one would leave the safe range."""
        return self.products_lowest < self.safe_low or self.products_highest > self.safe_high


def prove(table: Table, safe: tuple[float, float], cell_low: Floats, cell_high: Floats) -> Proof:
    """Look the table up on a fine grid, a tenth beyond its edges, exactly and in whole steps.

    Parameters
    ----------
    table : Table
        As read back from the file.
    safe : (float, float)
        Range that no look-up may leave, in the unit of the cells.
    cell_low, cell_high : (m, n) float
        Limits of each cell.
    """
    speeds, loads = np.meshgrid(_fine(table.speeds_rpm), _fine(table.loads))
    exact = look_up(table, speeds, loads)
    low, high, worst = exact.min(), exact.max(), 0.0
    roundings: tuple[Rounding, ...] = ("down", "nearest", "up")
    by_products = []
    for rounding in roundings:
        found = look_up_in_steps(table, speeds, loads, rounding, _SHARE_STEPS)
        low, high = min(low, found.min()), max(high, found.max())
        worst = max(worst, float(np.abs(found - exact).max()))
        by_products.append(look_up_by_products(table, speeds, loads, rounding, _SHARE_STEPS))
    bounds = [
        look_up(Table(**{**_fields(table), "values": side}), speeds, loads)
        for side in (cell_low, cell_high)
    ]
    past = float(np.max(np.maximum(bounds[0] - exact, exact - bounds[1])))
    return Proof(
        looked_up=exact.size * 4, lowest=float(low), highest=float(high), safe_low=safe[0],
        safe_high=safe[1], rounding_worst=worst, past_cell_limits=max(past, 0.0),
        products_lowest=float(np.min(by_products)), products_highest=float(np.max(by_products)),
    )  # fmt: skip


def _fields(table: Table) -> dict[str, Any]:
    return {name: getattr(table, name) for name in Table.__dataclass_fields__}


def _fine(axis: Sequence[float]) -> Floats:
    """Points between and beyond the points of an axis."""
    points = np.asarray(axis, dtype=float)
    if len(points) == 1:
        return points + np.array([-0.1, 0.0, 0.1]) * max(abs(points[0]), 1.0)
    places = np.linspace(0, len(points) - 1, _FINE * (len(points) - 1) + 1)
    inside = np.interp(places, np.arange(len(points)), points)
    beyond = 0.1 * (points[-1] - points[0])
    return np.concatenate([[points[0] - beyond], inside, [points[-1] + beyond]])


def write_map(path: Path, text: str, *, replace: bool = False) -> None:
    """Write a file, or nothing.

    Raises
    ------
    BreatheError
        The file is there already, or cannot be written.
    """
    if path.exists() and not replace:
        raise BreatheError(f"{path}: is there already; name another, or add --overwrite")
    part = path.with_name(f"{path.name}.part")
    try:
        part.write_text(text, encoding="utf-8", newline="")
        part.replace(path)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise BreatheError(f"{path}: cannot be written: {error.strerror or error}") from error


def proof_facts(proof: Proof) -> dict[str, Any]:
    """The proof as it goes into a file."""
    return {**asdict(proof), "holds": proof.holds}

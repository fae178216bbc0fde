"""Numbers of a plan that seem typed in another unit than their neighbours in the column."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from statistics import median
from typing import TYPE_CHECKING

from breathe.engine.quantities import QuantityError, split_number

if TYPE_CHECKING:
    from breathe.study.plans.sheet import Column, PlanRow

_OTHER = {
    "length": (("in", 25.4), ("cm", 10.0), ("m", 1000.0), ("thou", 0.0254), ("mm", 1 / 25.4)),
    "angle": (("cam degrees", 2.0),),
    "volume": (("l", 1000.0), ("cc", 1e-3)),
    "number": (("ten times as much", 0.1),),
}
"""What a number may be instead, and by how much it is then to be multiplied (in mm, crank degrees,
cc)."""
_APART = {"angle": 1.6}
_APART_OTHERS = 4.0
"""Times smaller or larger than the middle of the column before a unit is doubted."""
_FEW = 0.25
"""Most of a column's share that can be the odd ones."""


def slips(columns: Sequence[Column], rows: Sequence[PlanRow]) -> tuple[list[PlanRow], list[str]]:
    """The rows, those with a doubtful number refused, and what to tell of mixed units."""
    rows, told = list(rows), []
    for n, column in enumerate(columns):
        told += _mixed(n, column, rows)
        values = {k: row.figures[n] for k, row in enumerate(rows) if n in row.figures}
        bare = {k: v for k, v in values.items() if _is_bare(rows[k].cells[n])}
        for k, meant in _odd(column, values, bare).items():
            text = f"{column.title}: {rows[k].cells[n]} among {meant}; write the unit in the cell"
            rows[k] = replace(rows[k], faults=(*rows[k].faults, text))
    return rows, told


def _mixed(n: int, column: Column, rows: Sequence[PlanRow]) -> list[str]:
    """Rows that name another unit than their column; they are taken as they say."""
    own = [row for row in rows if n in row.figures and not _is_bare(row.cells[n])]
    other = [row for row in own if not row.given[n].endswith(f" {column.unit}")] if own else []
    if not other or not column.unit:
        return []
    shown = "; ".join(
        f"row {row.number}: {row.cells[n]} = {row.figures[n]:.5g} {column.unit}"
        for row in other[:6]
    )
    more = f"; and {len(other) - 6} more" if len(other) > 6 else ""
    return [f"{column.title}: units mixed, each cell with a unit taken as it says: {shown}{more}"]


def _is_bare(cell: str) -> bool:
    try:
        parted = split_number(cell)
    except QuantityError:  # "1,250" was read by the sheet's own decimal mark
        return True
    return parted is None or not parted[1]


def _odd(column: Column, values: dict[int, float], bare: dict[int, float]) -> dict[int, str]:
    """Bare numbers far from all others that another unit would bring among them."""
    kind = column.target.rule.kind
    others = _OTHER.get(kind, ())
    if len(values) < 4 or not others or min(values.values()) <= 0:
        return {}
    middle, apart = median(values.values()), _APART.get(kind, _APART_OTHERS)
    far = {k for k, v in values.items() if not middle / apart < v < middle * apart}
    near = [v for k, v in values.items() if k not in far]
    if not far or len(far) > _FEW * len(values) or not near:
        return {}
    low, high = min(near), max(near)
    found = {}
    for k in far & bare.keys():
        for name, factor in others:
            meant = values[k] * factor
            if 0.95 * low <= meant <= 1.05 * high:
                unit = f" {column.unit}" if column.unit else ""
                found[k] = f"{low:g} to {high:g}{unit}: is that {name} ({meant:.4g}{unit})?"
                found[k] = found[k].rstrip("?") + "?"
                break
    return found

"""Which mark parts the columns of a text and which is its decimal mark, found by content."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Sequence

TABS, SEMICOLONS, COMMAS, WIDE_GAPS, SPACES = "\t", ";", ",", "  ", " "
_MARKS = (TABS, SEMICOLONS, COMMAS)

_READING = re.compile(
    r"[+-]?(?:[0-9]+(?:[.,][0-9]+)*|[.,][0-9]+)(?:[eE][+-]?[0-9]+)?\*?\s*[^\W0-9]{0,6}[\"'°%]?"
)
"""A number with at most a short unit behind it: '22 BTDC', '4 thou', '211*'."""
_TORN = re.compile(r"[0-9],?[;\t ][;\t ,]*[-+.]?[0-9]|[0-9],[0-9]*,[0-9]")
"""Two numbers in one cell: split at the wrong mark. A lone comma may be a decimal mark."""
_COMMA_NUMBER = re.compile(r"[+-]?(?:0?,[0-9]+|[0-9]+,(?!000\b)[0-9]+)(?:[eE][+-]?[0-9]+)?")
_POINT_NUMBER = re.compile(r"[+-]?(?:0?\.[0-9]+|[0-9]+\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_IN_THREES = re.compile(r"[+-]?[1-9][0-9]{0,2}[.,][0-9]{3}")


def split_line(line: str, separator: str) -> tuple[str, ...]:
    """The stripped cells of a line, without the empty ones at its end."""
    if separator == WIDE_GAPS:
        cells = re.split(r"\s{2,}", line.strip())
    elif separator == SPACES:
        cells = line.split()
    elif not separator:
        cells = [line]
    elif line.count('"') % 2:  # an inch mark, not a quoted cell
        cells = line.split(separator)
    else:
        cells = next(csv.reader([line], delimiter=separator, skipinitialspace=True), [])
    cells = [cell.strip() for cell in cells]
    while cells and not cells[-1]:
        cells.pop()
    return tuple(cells)


def find_separator(lines: Sequence[str]) -> str:
    """The mark that makes the most lines rows of readings; '' where there is one column.

    Spaces also stand within cells, so they part columns only where no other mark does for nearly
    as many lines. Ties go to the rarer mark in prose: tabs, semicolons, commas, wide gaps, spaces.
    """
    scores = {mark: _score(lines, mark) for mark in (*_MARKS, WIDE_GAPS, SPACES)}
    best = max(_MARKS, key=scores.__getitem__)
    gaps = max((WIDE_GAPS, SPACES), key=scores.__getitem__)
    if scores[best][0] < 0.6 * scores[gaps][0]:
        return gaps
    if scores[best][0]:
        return best
    for mark in _MARKS:
        if 2 * sum(len(split_line(line, mark)) > 1 for line in lines) > len(lines):
            return mark
    return ""


def _score(lines: Iterable[str], mark: str) -> tuple[int, int]:
    """Lines with two readings or more and no torn cell; readings in them."""
    rows = readings = 0
    for line in lines:
        cells = split_line(line, mark) if mark in line else ()
        found = sum(bool(_READING.fullmatch(cell)) for cell in cells)
        if found > 1 and not any(_TORN.search(cell) for cell in cells):
            rows += 1
            readings += found
    return rows, readings


def find_decimal(rows: Iterable[tuple[str, ...]]) -> tuple[str, int, int]:
    """The decimal mark, and how many cells have a comma and a point as such.

    Digits in threes ("2.000") may be thousands: they decide only where nothing else does.
    """
    cells = [cell.strip("\"'* ") for row in rows for cell in row]
    commas = [c for c in cells if _COMMA_NUMBER.fullmatch(c)]
    points = [c for c in cells if _POINT_NUMBER.fullmatch(c)]
    sure_commas = sum(not _IN_THREES.fullmatch(c) for c in commas)
    sure_points = sum(not _IN_THREES.fullmatch(c) for c in points)
    if sure_commas or sure_points:
        return ("," if sure_commas > sure_points else "."), sure_commas, sure_points
    return ("," if len(commas) > len(points) else "."), len(commas), len(points)


def comma_means_both(rows: Sequence[tuple[str, ...]], separator: str) -> bool:
    """Whether commas part the columns and mark decimals at once, so that no one can tell.

    The rows of readings, all in whole numbers, are then wider than the row of names above them.
    """
    if separator != COMMAS:
        return False
    names, widths = 0, []
    for cells in rows:
        whole = sum(bool(re.fullmatch(r"[+-]?[0-9]+", cell)) for cell in cells)
        if any("." in cell and _READING.fullmatch(cell) for cell in cells):
            return False
        if 2 * whole > len(cells):
            widths.append(len(cells))
        elif not widths and len(cells) > 1:
            names = len(cells)
    return bool(widths and names) and sorted(widths)[len(widths) // 2] > names

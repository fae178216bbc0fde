"""Text and tables to a terminal, a pipe or a file, whatever its encoding can carry.

What a page says is the same everywhere; a terminal adds a rule under the heading. Nothing here
knows engines or figures.
"""

from __future__ import annotations

import io
import re
import shutil
import sys
import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, TextIO

if TYPE_CHECKING:
    from rich.table import Table

WIDTH = 80
"""Of a page in a pipe or file, and the widest line of prose on any terminal."""
WIDEST = 120
"""Of a table on a terminal that has the room."""
NARROWEST = 40
_FOLDED = 10
"""No column is folded narrower than this."""
MOST_COLUMNS = 10
"""Speed, eight settings and the winner; more are hard to follow along a row."""
_GAP = 2

_PLAIN = {
    "°": " deg",
    "±": "+-",
    "²": "2",
    "³": "3",
    "·": "*",
    "×": "x",
    "–": "-",
    "Δ": "delta ",
}
"""Signs that not every console can carry, and what is written there instead."""

_NUMBER_AND_UNIT = re.compile(r"(\d) (?=(?:rpm|%|deg|degC|degF|mm|in|mbar|inHg|bar|psi|Nm)\b|%)")
"""A line never ends between a number and its unit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """A table of ready text. Too wide for the page, it is cut into blocks of columns."""

    title: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    lead: int = 1
    """First columns, repeated in every block."""
    tail: int = 0
    """Last columns, that only the last block needs."""
    left: frozenset[int] = frozenset()
    """Columns set to the left; figures stand to the right."""
    folds: frozenset[int] = frozenset()
    """Columns of words, whose cells go on in a second line before the table is cut."""


@dataclass(frozen=True, slots=True)
class Item:
    """A paragraph whose further lines hang in by ``hang``."""

    text: str
    indent: int = 0
    hang: int = 2


Piece = Grid | Item | str
Page = Sequence[Piece]
"""Pieces in the order they are read; a plain string is a paragraph, '' an empty line."""


def prepare_streams() -> None:
    """Let no character end a run: a sign the console cannot carry is shown as '?' at worst."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")


def carried(text: str, encoding: str | None) -> str:
    """``text`` with every sign that ``encoding`` lacks written out.

    Examples
    --------
    >>> carried("264°", "ascii"), carried("264°", "cp1252")
    ('264 deg', '264°')
    """
    for sign, plain in _PLAIN.items():
        if sign in text and not _can_carry(sign, encoding):
            text = text.replace(sign, plain)
    return text


def _can_carry(sign: str, encoding: str | None) -> bool:
    try:
        sign.encode(encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def show(page: Page, stream: TextIO | None = None) -> None:
    """Write a page to a stream (default: standard output), as wide as a terminal is."""
    stream = stream or sys.stdout
    encoding, ruled = stream.encoding, stream.isatty()
    width = page_width(stream)
    for piece in page:
        if isinstance(piece, Grid):
            carried_grid = _grid_carried(piece, encoding)
            text = grid_text(carried_grid, ruled=ruled, encoding=encoding, width=width)
        else:
            text = _paragraph(piece, encoding, width)
        stream.write(text + "\n")
    stream.flush()


def page_width(stream: TextIO) -> int:
    """Columns that tables may take: a terminal's own, within reason, and `WIDTH` elsewhere."""
    if not stream.isatty():
        return WIDTH
    return min(WIDEST, max(NARROWEST, shutil.get_terminal_size((WIDTH, 24)).columns))


def _paragraph(piece: Item | str, encoding: str | None, width: int = WIDTH) -> str:
    item = Item(piece, hang=0) if isinstance(piece, str) else piece
    filled = textwrap.fill(
        _NUMBER_AND_UNIT.sub("\\1\u00a0", carried(item.text, encoding)),
        min(WIDTH, width),
        initial_indent=" " * item.indent,
        subsequent_indent=" " * (item.indent + item.hang),
        break_long_words=False,
        break_on_hyphens=False,
    )
    return filled.replace("\u00a0", " ")


def _grid_carried(grid: Grid, encoding: str | None) -> Grid:
    return replace(
        grid,
        title=carried(grid.title, encoding),
        header=tuple(carried(cell, encoding) for cell in grid.header),
        rows=tuple(tuple(carried(cell, encoding) for cell in row) for row in grid.rows),
    )


def grid_text(
    grid: Grid, *, ruled: bool = False, encoding: str | None = "utf-8", width: int = WIDTH
) -> str:
    """The table as lines of at most ``width`` characters; only columns that may fold do."""
    from rich.console import Console

    out = io.StringIO()
    console = Console(
        file=out, width=width, color_system=None, highlight=False, markup=False, emoji=False
    )
    for block in split(folded(grid, width), width):
        console.print(_laid_out(block, ruled=ruled, encoding=encoding))
        console.print()
    lines = [line.rstrip() for line in out.getvalue().rstrip().splitlines()]
    if grid.title:
        lines.insert(0, _paragraph(grid.title, encoding, width))
    return "\n".join(lines)


def _laid_out(block: Grid, *, ruled: bool, encoding: str | None) -> Table:
    from rich.box import Box
    from rich.table import Table

    rule = "─" if _can_carry("─", encoding) else "-"
    under_heading = Box(f"    \n    \n {rule * 2} \n" + "    \n" * 5)
    table = Table(
        box=under_heading if ruled else None,
        show_edge=False,
        pad_edge=False,
        padding=(0, _GAP - ruled, 0, 0),
        safe_box=False,
        header_style=None,
    )
    for column, heading in enumerate(block.header):
        table.add_column(heading, justify="left" if column in block.left else "right", no_wrap=True)
    for row in block.rows:
        table.add_row(*row)
    return table


def _widths(grid: Grid) -> list[int]:
    return [
        max(len(line) for row in (grid.header, *grid.rows) for line in row[column].split("\n"))
        for column in range(len(grid.header))
    ]


def _wide(widths: Sequence[int]) -> int:
    return sum(widths) + _GAP * (len(widths) - 1)


def folded(grid: Grid, width: int = WIDTH) -> Grid:
    """The table with its columns of words folded, the widest first, as far as the page asks."""
    widths = _widths(grid)
    while _wide(widths) > width:
        foldable = [column for column in grid.folds if widths[column] > _FOLDED]
        if not foldable:
            return grid  # it is cut into blocks, where each may be as wide as it is
        widths[max(foldable, key=widths.__getitem__)] -= 1

    def fold(row: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(
            "\n".join(textwrap.wrap(cell, widths[column], break_on_hyphens=False))
            if column in grid.folds
            else cell
            for column, cell in enumerate(row)
        )

    return replace(grid, header=fold(grid.header), rows=tuple(fold(row) for row in grid.rows))


def split(grid: Grid, width: int = WIDTH) -> Iterator[Grid]:
    """Blocks of columns that fit the page: at most `MOST_COLUMNS`, at most ``width`` wide."""
    widths = _widths(grid)
    last = len(widths) - grid.tail
    middle = list(range(grid.lead, last))
    lead, tail = list(range(grid.lead)), list(range(last, len(widths)))
    while True:
        taken = _fitting(lead, middle, tail, widths, width)
        whole = len(taken) == len(middle)
        yield _columns(grid, [*lead, *taken, *(tail if whole else [])])
        middle = middle[len(taken) :]
        if whole:
            return


def _fitting(
    lead: list[int], middle: list[int], tail: list[int], widths: list[int], width: int
) -> list[int]:
    """The most columns of ``middle`` for this block: all of them with the tail, or some without."""

    def fits(columns: list[int]) -> bool:
        return len(columns) <= MOST_COLUMNS and _wide([widths[c] for c in columns]) <= width

    if fits([*lead, *middle, *tail]):
        return middle
    taken = middle[: max(1, len(middle) - 1)]
    while len(taken) > 1 and not fits([*lead, *taken]):
        taken = taken[:-1]
    return taken


def _columns(grid: Grid, columns: list[int]) -> Grid:
    return replace(
        grid,
        header=tuple(grid.header[column] for column in columns),
        rows=tuple(tuple(row[column] for column in columns) for row in grid.rows),
        left=frozenset(place for place, column in enumerate(columns) if column in grid.left),
    )

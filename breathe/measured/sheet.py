"""Any sheet a person holds, as rows of text: separators, decimal mark, encoding found by content.

What the columns mean is the business of the readers built on it. Row numbers are those of the file
or workbook, so that every message names the row the user sees.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from breathe.errors import BreatheError
from breathe.measured.file_kinds import WORKBOOK, binary_kind, decoded
from breathe.measured.numbers import number
from breathe.measured.separators import (
    comma_means_both,
    find_decimal,
    find_separator,
    split_line,
)

__all__ = ["RawSheet", "Row", "SheetError", "looks_like", "number", "open_sheet", "sheet_of_text"]

_LONGEST_LINE = 4000
_REMARK = ("#", "!", "//", "%")
_OPENS_QUOTE = re.compile(r"(?:^|[;,\t])\s*\"[^\"]*$")
_ENDS_QUOTE = re.compile(r"[^\";,\t]*\"\s*(?:[;,\t]|$)")
_MARK_NAMES = {"\t": "tabs", ";": "semicolons", ",": "commas", " ": "spaces", "  ": "wide gaps"}
_SAVE = "save it as .xlsx or as CSV"


class SheetError(BreatheError):
    """A sheet that cannot be used; ``str()`` of it is the whole message, file name first."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One line that says something."""

    number: int
    """Line of the file, or row of the workbook, from 1."""
    cells: tuple[str, ...]
    """Stripped text as written, without the empty cells at the end; a remark is one cell."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RawSheet:
    """A sheet as text."""

    path: Path
    kind: Literal["text", "workbook"]
    encoding: str
    separator: str
    """',', ';', tab, ' ' or '' (one column, or a workbook)."""
    decimal: str
    """'.' or ','."""
    rows: tuple[Row, ...]
    understood: tuple[str, ...]
    """One line each: encoding, separator, decimal mark, which sheet of a workbook."""


def open_sheet(path: Path, *, workbook_sheet: str | None = None) -> RawSheet:
    """The rows of a text sheet or a workbook (.xlsx).

    Parameters
    ----------
    path : Path
        The name's ending does not matter.
    workbook_sheet : str, optional
        Which sheet of a workbook; the first with something in it by default.

    Raises
    ------
    SheetError
        For a file that is missing, empty, damaged or of another kind.
    """
    data = _bytes(path)
    kind = binary_kind(data)
    if kind == WORKBOOK:
        from breathe.measured.workbook import read_workbook

        return read_workbook(path, data, workbook_sheet)
    if kind:
        raise SheetError(f"{path.name}: expected a sheet; this is {kind}{_way_out(kind)}")
    if workbook_sheet is not None:
        raise SheetError(
            f'{path.name}: asked for the sheet "{workbook_sheet}", but this is a text file, not a '
            "workbook"
        )
    try:
        text, encoding = decoded(data)
    except ValueError as error:
        raise SheetError(f"{path.name}: {error}") from None
    return sheet_of_text(path, text, encoding)


def _bytes(path: Path) -> bytes:
    try:
        if path.is_dir():
            raise SheetError(f"{path.name}: is a folder; expected a sheet in it to be named")
        data = path.read_bytes()
    except FileNotFoundError:
        raise SheetError(f"{path.name}: {_about_missing(path)}") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise SheetError(f"{path.name}: cannot be opened ({reason})") from None
    if not data.strip(b"\x00\xef\xbb\xbf\xff\xfe \t\r\n"):
        raise SheetError(f"{path.name}: is empty; expected a sheet")
    return data


def _about_missing(path: Path) -> str:
    if not path.parent.is_dir():
        return f"no such file; the folder {path.parent} is not there either"
    names = sorted(p.name for p in path.parent.iterdir() if p.is_file())
    near = difflib.get_close_matches(path.name, names, n=2, cutoff=0.5)
    hint = f"; did you mean {' or '.join(near)}?" if near else ""
    folder = "this folder" if path.parent == Path() else str(path.parent)
    return f"no such file in {folder}{hint}"


def _way_out(kind: str) -> str:
    if "workbook" in kind:
        also = ", or take its password off" if "old" in kind else ""
        return f"; {_SAVE}{also}"
    return "; type its figures into a sheet" if "pict" in kind or "photo" in kind else ""


def sheet_of_text(path: Path, text: str, encoding: str) -> RawSheet:
    """The rows of a text; ``path`` names it in messages.

    Raises
    ------
    SheetError
        For markup, absurd lines, or columns nobody can tell apart.
    """
    _refuse_markup(path, text)
    numbered = list(_lines(path, text))
    lines = [line for _, line in numbered if not line.startswith(_REMARK)]
    mark = find_separator(lines)
    rows = []
    for n, line in numbered:
        cells = (line.strip(),) if line.startswith(_REMARK) else split_line(line, mark)
        if cells:
            rows.append(Row(number=n, cells=cells))
    if not rows:
        raise SheetError(f"{path.name}: is empty; expected a sheet")
    table = [row.cells for row in rows if not row.cells[0].startswith(_REMARK)]
    if comma_means_both(table, mark):
        raise SheetError(
            f"{path.name}: commas part the columns and mark decimals at once, so that no one can "
            "tell them apart; save it with semicolons between the columns"
        )
    decimal, commas, points = find_decimal(table)
    return RawSheet(
        path=path,
        kind="text",
        encoding=encoding,
        separator=mark[:1],
        decimal=decimal,
        rows=tuple(rows),
        understood=(
            f"encoding: {encoding}",
            f"columns parted by {_MARK_NAMES[mark]}" if mark else "one column",
            _decimal_line(decimal, commas, points),
        ),
    )


def _lines(path: Path, text: str) -> Iterator[tuple[int, str]]:
    """The lines that say something, counted as an editor counts them."""
    for n, line in _whole_lines(re.split(r"\r\n|\r|\n", text)):
        line = line.strip("\f\v ")
        if not line.strip(" \t\f\v,;\"'"):
            continue
        if len(line) > _LONGEST_LINE:
            length = f"{len(line)} characters long"
            raise SheetError(f"{path.name}, row {n}: {length}; not a sheet, or damaged")
        yield n, line


def _whole_lines(lines: list[str]) -> Iterator[tuple[int, str]]:
    """Lines with their numbers; a quoted cell that runs over a few lines is one line."""
    at = 0
    while at < len(lines):
        line, first = lines[at], at + 1
        at += 1
        while len(line) <= _LONGEST_LINE and _OPENS_QUOTE.search(line):
            ends = (n for n in range(at, min(at + 4, len(lines))) if _ENDS_QUOTE.match(lines[n]))
            end = next(ends, None)
            if end is None:
                break
            line = " ".join([line, *lines[at : end + 1]])
            at = end + 1
        yield first, line


def _decimal_line(decimal: str, commas: int, points: int) -> str:
    name = "comma" if decimal == "," else "point"
    odd, other = (points, "point") if decimal == "," else (commas, "comma")
    also = f"; {odd} cell{'s' if odd > 1 else ''} with a {other} instead" if odd else ""
    return f"decimal {name}{also}"


def _refuse_markup(path: Path, text: str) -> None:
    head = text.lstrip()[:200].lower()
    if head.startswith("<"):
        kind = "a web page or markup under another name"
        raise SheetError(f"{path.name}: expected a sheet; this is {kind}; {_SAVE}")
    if head.startswith(("{", "[{")):
        raise SheetError(f"{path.name}: expected a sheet; this looks like JSON; {_SAVE}")


_SPEED = ("rpm", "drehzahl", "1/min", "u/min", "n/min", "speed")
_PULL = ("torque", "drehmoment", "power", "leistung", "lb-ft", "nm", "hp", "kw", "ps")
_LOAD = ("kpa", "map", "load", "last", "tps", "throttle", "bmep", "mbar", "bar", "hpa")
_LIFT = ("lift", "hub", "ventilhub", "int", "exh", "mm", "indicator", "dial")
_FLOW = ("cfm", "l/s", "m3/h", "m³/h", "flow", "durchfluss", "inh2o", "q")
_ANGLE = ("angle", "winkel", "crank", "cam", "deg", "kw", "nw", "pos", "position", "°")
_MAP = "a table of rpm against load"
_POINT = re.compile(r"\b(?:BTDC|ATDC|BBDC|ABDC|TDC|BDC)\b", re.IGNORECASE)


def looks_like(raw: RawSheet) -> str:
    """What a sheet seems to be, in words for "this looks like ...", or ''."""
    for row in raw.rows[:60]:
        kind = _kind(row.cells, raw.decimal)
        if kind:
            named = f"columns {', '.join(cell for cell in row.cells if cell)}"
            if kind == _MAP:
                named = f'label "{row.cells[0]}"'
            return f"{kind} ({named if len(named) < 60 else named[:55].rstrip(' ,') + ' ...'})"
    if sum(bool(_POINT.search(row.cells[0])) for row in raw.rows) > 2:
        return "a lift sheet (crank positions such as BTDC)"
    return "a table of numbers without a row of names" if _numeric_rows(raw) else ""


def _kind(cells: tuple[str, ...], decimal: str) -> str:
    """What a row of names stands above, or '' where it is none that we know."""
    names = sum(bool(cell) and number(cell, decimal) is None for cell in cells)
    if len(cells) < 2 or cells[0].startswith(_REMARK):
        return ""
    if _is_map(cells, decimal):
        return _MAP
    words = _words(cells)
    if 2 * names <= len(cells):
        return ""
    if words & set(_SPEED) and words & set(_PULL):
        return "a dyno pull"
    if words & set(_FLOW) and words & {"lift", "hub", "ventilhub"}:
        return "a flow sheet"
    if words & set(_ANGLE) and words & set(_LIFT):
        return "a lift sheet"
    return ""


def _is_map(header: tuple[str, ...], decimal: str) -> bool:
    """Whether rpm runs along the top with load below a label that names both."""
    label = {part for word in _words(header[:1]) for part in (word, *word.split("/"))}
    numeric = sum(number(cell, decimal) is not None for cell in header[1:])
    return bool(label & set(_SPEED + _LOAD)) and numeric >= max(2, len(header) - 2)


def _words(cells: tuple[str, ...]) -> set[str]:
    return {w for cell in cells for w in re.split(r"[^\w/³°-]+|_", cell.lower()) if w}


def _numeric_rows(raw: RawSheet) -> bool:
    full = sum(all(number(c, raw.decimal) is not None for c in row.cells) for row in raw.rows)
    return 2 * full > len(raw.rows)

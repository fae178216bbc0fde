"""Sheets damaged in the ways sheets get damaged, seeded, with what of them is still good."""

from __future__ import annotations

import io
import itertools
import random
import re
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass

_DIGIT_MARK = re.compile(r"(?<=[0-9])[.,](?=[0-9])|(?<![0-9])[.,](?=[0-9])")


@dataclass(frozen=True, slots=True, kw_only=True)
class Variant:
    """One damaged copy of a file."""

    kind: str
    data: bytes
    intact: frozenset[int]
    """Lines of the good file (from 1) whose figures all stand in this one, in one line."""
    whole: bool
    """Whether nothing of the good file is lost or altered: only how it is written changed."""


def variants(data: bytes, count: int = 500, seed: int = 1) -> Iterator[bytes]:
    """``count`` damaged copies of a text sheet or a workbook."""
    for variant in labelled(data, count, seed):
        yield variant.data


def labelled(data: bytes, count: int = 500, seed: int = 1) -> Iterator[Variant]:
    """As `variants`, each with its kind and what is still good in it; kinds take turns."""
    rng = random.Random(seed)
    if data.startswith(b"PK"):
        for n in range(count):
            kind = _WORKBOOK[n % len(_WORKBOOK)]
            yield _variant(kind.__name__, kind(data, rng), frozenset(), False)
        return
    text = data.decode("utf-8-sig")
    lines = text.split("\n")
    if not lines[-1]:
        lines.pop()
    for n in range(count):
        kind = _TEXT[n % len(_TEXT)]
        yield kind(_Sheet(lines), rng)


class _Sheet:
    """The good lines and the mark that parts their columns."""

    def __init__(self, lines: list[str]) -> None:
        self.lines = lines
        self.mark = max("\t;,", key=lambda m: sum(m in line for line in lines) - (m == ",") / 2)
        self.all = frozenset(range(1, len(lines) + 1))
        self.with_digits = [n for n, line in enumerate(lines) if re.search("[0-9]", line)]
        self.names = self._names()

    def _names(self) -> int:
        """Index of the line of names: above the first two lines of figures, and a line of units."""
        starts = [re.match(r"[-+0-9.,]+", line) is not None for line in self.lines]
        pairs = itertools.pairwise(starts)
        at = max(next((n for n, pair in enumerate(pairs) if all(pair)), 1) - 1, 0)
        marks = self.lines[at].count(self.mark)
        return at - 1 if at and self.lines[at - 1].count(self.mark) == marks > 0 else at

    def table(self) -> list[list[str]]:
        """The cells from the line of names down."""
        return [line.split(self.mark) for line in self.lines[self.names :]]

    def with_table(self, rows: list[list[str]]) -> bytes:
        """The sheet with other cells from the line of names down."""
        return _joined(self.lines[: self.names] + [self.mark.join(row) for row in rows])


def _variant(kind: str, data: bytes, intact: frozenset[int], whole: bool) -> Variant:
    return Variant(kind=kind.strip("_").replace("_", " "), data=data, intact=intact, whole=whole)


def _joined(lines: list[str]) -> bytes:
    return ("\n".join(lines) + "\n").encode()


# What leaves every figure as it was.


def _re_encoded(sheet: _Sheet, rng: random.Random) -> Variant:
    codec = rng.choice(("utf-16", "utf-16-le", "utf-16-be", "cp1252", "latin-1", "cp850"))
    data = _joined(sheet.lines).decode().encode(codec, errors="replace")
    return _variant("re_encoded", data, sheet.all, True)


def _line_ends(sheet: _Sheet, rng: random.Random) -> Variant:
    end = rng.choice(("\r\n", "\r", "\n\n", "  \n", ";\n", "\r\n\x0c"))
    tail = rng.choice((end, "", end * 3, "\x1a"))
    text = end.join(sheet.lines) + tail
    return _variant("line_ends", text.encode(), sheet.all, True)


def _rows_shuffled(sheet: _Sheet, rng: random.Random) -> Variant:
    first = rng.choice((0, 1, 2, 3))
    rows = sheet.lines[first:]
    rng.shuffle(rows)
    return _variant("rows_shuffled", _joined(sheet.lines[:first] + rows), sheet.all, True)


def _wrong_separator(sheet: _Sheet, rng: random.Random) -> Variant:
    mark = rng.choice([m for m in (";", ",", "\t", " ", "  ", " ; ", ", ") if m != sheet.mark])
    lines = [line.replace(sheet.mark, mark) for line in sheet.lines]
    return _variant("wrong_separator", _joined(lines), sheet.all, True)


def _mark_swapped(line: str) -> str:
    return _DIGIT_MARK.sub(lambda m: "," if m[0] == "." else ".", line)


def _decimal_swapped(sheet: _Sheet, rng: random.Random) -> Variant:
    """In all rows or some, the other decimal mark; where commas part the columns, in quotes too."""
    some = rng.choice((1.0, 1.0, 0.5, 0.2))
    quoted = sheet.mark == "," and rng.random() < 0.5
    lines = []
    for line in sheet.lines:
        swap = rng.random() < some
        cells = [_mark_swapped(c) if swap else c for c in line.split(sheet.mark)]
        if quoted:
            cells = [f'"{c}"' if "," in c else c for c in cells]
        lines.append(sheet.mark.join(cells))
    return _variant("decimal_swapped", _joined(lines), sheet.all, True)


def _columns_reordered(sheet: _Sheet, rng: random.Random) -> Variant:
    table = sheet.table()
    width = max(map(len, table))
    order = list(range(width))
    rng.shuffle(order)
    padded = [row + [""] * (width - len(row)) for row in table]
    rows = [[row[n] for n in order] if len(row) > 1 else row for row in padded]
    return _variant("columns_reordered", sheet.with_table(rows), sheet.all, True)


def _doubled(sheet: _Sheet, rng: random.Random) -> Variant:
    lines = list(sheet.lines)
    if rng.random() < 0.5:
        return _variant("doubled", _joined(lines + lines), sheet.all, True)
    for _ in range(rng.randint(1, 3)):
        lines.insert(rng.randrange(len(lines)), rng.choice(sheet.lines))
    return _variant("doubled", _joined(lines), sheet.all, True)


# What loses or alters some.


def _keeping(kind: str, sheet: _Sheet, lines: list[str], hurt: set[int]) -> Variant:
    intact = sheet.all - {n + 1 for n in hurt}
    return _variant(kind, _joined(lines), intact, not hurt)


def _cut(sheet: _Sheet, rng: random.Random) -> Variant:
    data = _joined(sheet.lines)
    end = rng.randrange(1, len(data))
    kept = data[:end].count(b"\n")
    return _variant("cut", data[:end], frozenset(range(1, kept + 1)), False)


def _rows_lost(sheet: _Sheet, rng: random.Random) -> Variant:
    lost = {rng.randrange(len(sheet.lines)) for _ in range(rng.randint(1, 3))}
    lines = [line for n, line in enumerate(sheet.lines) if n not in lost]
    return _keeping("rows_lost", sheet, lines, lost)


def _columns_dropped(sheet: _Sheet, rng: random.Random) -> Variant:
    """One column out of the table; what stands in the others is as good as before."""
    table = sheet.table()
    gone = rng.randrange(max(map(len, table)))
    rows = [[c for n, c in enumerate(row) if n != gone] for row in table]
    return _variant("columns_dropped", sheet.with_table(rows), sheet.all, False)


def _cell_dropped(sheet: _Sheet, rng: random.Random) -> Variant:
    """One cell out of one line, so that those behind it move."""
    at = rng.randrange(len(sheet.lines))
    cells = sheet.lines[at].split(sheet.mark)
    cells.pop(rng.randrange(len(cells)))
    lines = [*sheet.lines[:at], sheet.mark.join(cells), *sheet.lines[at + 1 :]]
    return _keeping("cell_dropped", sheet, lines, {at})


def _emptied(sheet: _Sheet, rng: random.Random) -> Variant:
    if rng.random() < 0.1:
        return _variant("emptied", rng.choice((b"", b"\n\n", b";;;\n", b" ")), frozenset(), False)
    lines, hurt = list(sheet.lines), set()
    for _ in range(rng.randint(1, 4)):
        at = rng.randrange(len(lines))
        cells = lines[at].split(sheet.mark)
        cells[rng.randrange(len(cells))] = rng.choice(("", "-", "n/a", "#NV", "#REF!", "nan", "?"))
        lines[at] = sheet.mark.join(cells)
        hurt.add(at)
    return _keeping("emptied", sheet, lines, hurt)


def _digit_changed(sheet: _Sheet, rng: random.Random) -> Variant:
    """A typing slip: a digit other, a mark lost, two digits swapped."""
    at = rng.choice(sheet.with_digits)
    line = sheet.lines[at]
    spots = [m.start() for m in re.finditer("[0-9]", line)]
    spot = rng.choice(spots)
    way = rng.randrange(3)
    if way == 0:
        line = line[:spot] + str(rng.randrange(10)) + line[spot + 1 :]
    elif way == 1:
        line = re.sub(r"(?<=[0-9])[.,](?=[0-9])", "", line, count=1)
    else:
        line = line[:spot] + line[spot : spot + 2][::-1] + line[spot + 2 :]
    hurt = {at} if line != sheet.lines[at] else set()
    return _keeping("digit_changed", sheet, [*sheet.lines[:at], line, *sheet.lines[at + 1 :]], hurt)


def _hurt_bytes(kind: str, sheet: _Sheet, pieces: list[tuple[int, int, bytes]]) -> Variant:
    """Bytes replaced: (start, end, by what), not overlapping, of the good file."""
    data = _joined(sheet.lines)
    hurt: set[int] = set()
    for start, end, new in sorted(pieces, reverse=True):
        first = data[:start].count(b"\n")
        hurt |= set(range(first, first + data[start : max(end, start + 1)].count(b"\n") + 2))
        data = data[:start] + new + data[end:]
    intact = sheet.all - {n + 1 for n in hurt}
    return _variant(kind, data, intact, False)


def _bytes_flipped(sheet: _Sheet, rng: random.Random) -> Variant:
    data = _joined(sheet.lines)
    spots = {rng.randrange(len(data)) for _ in range(rng.choice((1, 1, 2, 5, 20)))}
    pieces = [(s, s + 1, bytes([data[s] ^ (1 << rng.randrange(8))])) for s in spots]
    return _hurt_bytes("bytes_flipped", sheet, pieces)


def _junk_inserted(sheet: _Sheet, rng: random.Random) -> Variant:
    size = len(_joined(sheet.lines))
    at = rng.randrange(size)
    return _hurt_bytes("junk_inserted", sheet, [(at, at, rng.randbytes(rng.choice((1, 3, 40))))])


def _zero_bytes(sheet: _Sheet, rng: random.Random) -> Variant:
    at = rng.randrange(len(_joined(sheet.lines)))
    return _hurt_bytes("zero_bytes", sheet, [(at, at, b"\x00" * rng.choice((1, 1, 8, 512)))])


def _long_line(sheet: _Sheet, rng: random.Random) -> Variant:
    long = rng.choice(("x", "9", "1;", "1,", "\t", " ", '"')) * 100_000
    at = rng.randrange(len(sheet.lines))
    lines = list(sheet.lines)
    if rng.random() < 0.5:
        lines.insert(at, long)
        return _keeping("long_line", sheet, lines, set())
    lines[at] += long
    return _keeping("long_line", sheet, lines, {at})


def _zip_of_it(sheet: _Sheet, rng: random.Random) -> Variant:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        archive.writestr("xl/worksheets/sheet1.xml", _joined(sheet.lines))
    data = buffer.getvalue()
    return _variant("zip_of_it", data[: rng.randrange(4, len(data) + 1)], frozenset(), False)


_TEXT: tuple[Callable[[_Sheet, random.Random], Variant], ...] = (
    _re_encoded,
    _line_ends,
    _rows_shuffled,
    _wrong_separator,
    _decimal_swapped,
    _columns_reordered,
    _doubled,
    _cut,
    _rows_lost,
    _columns_dropped,
    _cell_dropped,
    _emptied,
    _digit_changed,
    _bytes_flipped,
    _junk_inserted,
    _zero_bytes,
    _long_line,
    _zip_of_it,
)


# Workbooks.


def _zip_cut(data: bytes, rng: random.Random) -> bytes:
    return data[: rng.randrange(4, len(data))]


def _zip_bytes_flipped(data: bytes, rng: random.Random) -> bytes:
    hurt = bytearray(data)
    for _ in range(rng.choice((1, 2, 10, 100))):
        hurt[rng.randrange(4, len(hurt))] ^= 1 << rng.randrange(8)
    return bytes(hurt)


def _zip_junk(data: bytes, rng: random.Random) -> bytes:
    at = rng.randrange(4, len(data))
    return data[:at] + rng.randbytes(rng.choice((1, 30, 400))) + data[at:]


def _part_damaged(data: bytes, rng: random.Random) -> bytes:
    """One part inside cut, flipped or emptied, and packed properly again."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    name = rng.choice(sorted(parts))
    part = parts[name]
    way = rng.randrange(4)
    if way == 0:
        parts[name] = part[: rng.randrange(len(part))]
    elif way == 1:
        spot = rng.randrange(len(part))
        parts[name] = part[:spot] + bytes([part[spot] ^ (1 << rng.randrange(7))]) + part[spot + 1 :]
    elif way == 2:
        parts[name] = re.sub(rb'="[^"]*"', b'="99999999"', part, count=rng.randint(1, 30))
    else:
        parts.pop(name)
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, part in parts.items():
            archive.writestr(name, part)
    return buffer.getvalue()


_WORKBOOK: tuple[Callable[[bytes, random.Random], bytes], ...] = (
    _zip_cut,
    _zip_bytes_flipped,
    _zip_junk,
    _part_damaged,
    _part_damaged,
)

"""One sheet of a workbook (.xlsx) as rows of text."""

from __future__ import annotations

import datetime
import io
import warnings
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from breathe.measured.sheet import RawSheet, Row, SheetError

_LARGEST_UNPACKED = 60_000_000
_MOST_ROWS = 100_000
_MOST_COLUMNS = 200


def read_workbook(path: Path, data: bytes, name: str | None) -> RawSheet:
    """The sheet called ``name``, or the first that says something.

    Formulas count by their stored values; one without is left as its text.

    Raises
    ------
    SheetError
        For a damaged workbook, or one without such a sheet.
    """
    try:
        return _read(path, data, name)
    except SheetError:
        raise
    except Exception:  # a damaged workbook fails in ever new ways inside the library
        raise SheetError(
            f"{path.name}: the workbook is damaged or of an unusual kind and cannot be read; open "
            "it in your spreadsheet and save the sheet as CSV"
        ) from None


def _read(path: Path, data: bytes, name: str | None) -> RawSheet:
    from openpyxl import load_workbook

    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        unpacked = sum(item.file_size for item in archive.infolist())
    if unpacked > _LARGEST_UNPACKED:
        raise SheetError(f"{path.name}: {unpacked / 1e6:.0f} MB unpacked; expected a small sheet")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        values = load_workbook(io.BytesIO(data), read_only=True, data_only=True)
        formulas = load_workbook(io.BytesIO(data), read_only=True, data_only=False)
        names = [sheet.title for sheet in values.worksheets]
        if name is not None and name not in names:
            has = ", ".join(f'"{n}"' for n in names)
            raise SheetError(f'{path.name}: no sheet "{name}"; the workbook has {has}')
        for chosen in [name] if name else names:
            rows = tuple(_rows(path, values[chosen], formulas[chosen]))
            if rows:
                return _raw(path, rows, chosen, names)
    where = f'the sheet "{name}"' if name else "the workbook"
    raise SheetError(f"{path.name}: {where} is empty; expected a sheet with figures")


def _rows(path: Path, values: Any, formulas: Any) -> Iterator[Row]:
    values.reset_dimensions()
    formulas.reset_dimensions()
    both = zip(
        values.iter_rows(values_only=True), formulas.iter_rows(values_only=True), strict=True
    )
    filled = 0  # blank rows and columns that bear a format alone do not count
    for n, (found, written) in enumerate(both, start=1):
        cells = [_text(w if v is None else v) for v, w in zip(found, written, strict=True)]
        while cells and not cells[-1]:
            cells.pop()
        filled += bool(cells)
        if filled > _MOST_ROWS or len(cells) > _MOST_COLUMNS:
            raise SheetError(
                f"{path.name}, row {n}: expected at most {_MOST_ROWS} rows and {_MOST_COLUMNS} "
                "columns; copy the part that matters to a sheet of its own"
            )
        if cells:
            yield Row(number=n, cells=tuple(cells))


def _text(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, float):
        return f"{value:.15g}"
    if isinstance(value, datetime.datetime) and value.time() == datetime.time():
        return value.date().isoformat()
    if isinstance(value, datetime.date | datetime.time):
        return value.isoformat()
    return " ".join(str(value).split())


def _raw(path: Path, rows: tuple[Row, ...], chosen: str, names: list[str]) -> RawSheet:
    others = ", ".join(f'"{n}"' for n in names if n != chosen)
    also = f" (not read: {others})" if others else ""
    return RawSheet(
        path=path,
        kind="workbook",
        encoding="workbook",
        separator="",
        decimal=".",
        rows=rows,
        understood=(f'workbook, sheet "{chosen}"{also}',),
    )

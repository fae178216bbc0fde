"""Samples of sheets as people keep them, invented, and a workbook."""

from __future__ import annotations

import io
from pathlib import Path

import openpyxl
import pytest

SAMPLES = Path(__file__).parent / "samples"


def flow_workbook() -> bytes:
    """A flow sheet as a workbook: the second sheet, the first being empty."""
    book = openpyxl.Workbook()
    sheet = book.create_sheet("Kopf 2")
    sheet["B2"] = "Prüfdruck 25 inH2O"
    for n, row in enumerate(
        [
            ("Hub\n[mm]", "Einlass l/s", "Auslass l/s"),
            (2.54, 28.6, 23.3),
            (5.08, 54.3, 43.3),
            (7.62, 76.5, 58.5),
            (10.16, 90.6, 66.5),
        ],
        start=4,
    ):
        for column, value in enumerate(row, start=2):
            sheet.cell(n, column, value)
    book.create_sheet("alt")["A1"] = "old figures"
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


@pytest.fixture
def samples() -> Path:
    return SAMPLES


@pytest.fixture
def written(tmp_path):
    """Writes a file and gives its path."""

    def write(content: str | bytes, name: str = "sheet.csv") -> Path:
        path = tmp_path / name
        path.unlink(missing_ok=True)  # a new file is quicker than a shortened one
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        return path

    return write

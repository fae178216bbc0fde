"""Pages on every kind of console: 80 columns, no wrapped cells, no sign that ends a run."""

from __future__ import annotations

import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from breathe.view.console import (
    MOST_COLUMNS,
    WIDTH,
    Grid,
    Item,
    carried,
    grid_text,
    show,
    split,
)


def wide_grid(columns: int) -> Grid:
    return Grid(
        title="Torque, Nm",
        header=("rpm", *(f"{220 + n}°" for n in range(columns)), "most"),
        rows=(("1500", *(f"{100 + n}* " for n in range(columns)), "228°"),),
        tail=1,
    )


def written(page, encoding: str) -> str:
    raw = io.BytesIO()
    stream = io.TextIOWrapper(raw, encoding=encoding, errors="strict", newline="\n")
    show(page, stream)
    return raw.getvalue().decode(encoding)


@pytest.mark.parametrize("encoding", ["utf-8", "cp1252", "cp437", "ascii", "latin-1"])
def test_no_sign_ends_a_run_even_where_errors_are_strict(encoding):
    text = written([wide_grid(3), Item("±5°, 5² · 3³ × 2 – Δ")], encoding)
    assert ("220 deg" if encoding == "ascii" else "220°") in text
    assert "?" not in text


def test_signs_written_out_only_where_they_must_be():
    assert carried("264°, ±5 %", "ascii") == "264 deg, +-5 %"
    assert carried("264°, ±5 %", "cp1252") == "264°, ±5 %"
    assert carried("264°", None) == "264 deg"
    assert carried("264°", "no such encoding") == "264 deg"


def test_pipe_and_terminal_say_the_same():
    plain, ruled = (grid_text(wide_grid(4), ruled=ruled) for ruled in (False, True))
    assert plain.splitlines() == [line for line in ruled.splitlines() if "─" not in line]
    in_ascii = grid_text(wide_grid(4), ruled=True, encoding="ascii")
    assert "---" in in_ascii and "─" not in in_ascii


def test_markup_in_cells_is_text():
    grid = Grid(title="[engine]", header=("[b]x[/b]",), rows=(("[red]",), (":smile:",)))
    assert grid_text(grid).splitlines() == ["[engine]", "[b]x[/b]", "   [red]", " :smile:"]


@given(st.integers(1, 30))
def test_blocks_fit_and_hold_every_column_once(columns):
    grid = wide_grid(columns)
    blocks = list(split(grid))
    assert [name for block in blocks for name in block.header[1:]] == list(grid.header[1:])
    assert all(block.header[0] == "rpm" for block in blocks)
    assert all(len(block.header) <= MOST_COLUMNS for block in blocks)
    assert all(len(line) <= WIDTH for line in grid_text(grid).splitlines())


def test_rows_stay_rows_in_each_block():
    lines = grid_text(wide_grid(12)).splitlines()
    assert sum(line.startswith("1500") for line in lines) == len(list(split(wide_grid(12)))) == 2


def test_a_line_never_ends_between_number_and_unit():
    text = written(["x" * 70 + " 12345 rpm and 25 degC " + "y" * 60 + " 300 Nm 5.0 %"], "utf-8")
    for line in text.splitlines():
        assert len(line) <= WIDTH
        assert not line.rstrip()[-1].isdigit()


def names_grid(name: str) -> Grid:
    return Grid(
        title="",
        header=("run", "begun", "cases", "engine"),
        rows=((name, "2026-01-31 12:00", "102 of 102", "an engine of a long name"),),
        left=frozenset({0, 1, 3}),
        folds=frozenset(range(4)),
    )


@given(st.text("abcdefgh_-", min_size=1, max_size=70), st.integers(48, 120))
def test_words_fold_before_a_table_is_cut(name, width):
    lines = grid_text(names_grid(name), width=width).splitlines()
    assert max(map(len, lines)) <= width
    assert sum("begun" in line and "engine" in line for line in lines) == 1
    # Nothing is lost: the letters of the first column, read downwards.
    starts = lines[0].index("begun")
    assert "".join(line[:starts].strip() for line in lines[1:]) == name


class Terminal(io.StringIO):
    encoding = "utf-8"

    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize(("columns", "prose"), [(60, 60), (80, 80), (200, 80), (10, 40)])
def test_prose_follows_a_narrow_terminal(monkeypatch, columns, prose):
    monkeypatch.setenv("COLUMNS", str(columns))
    terminal = Terminal()
    show([Item("word " * 60), wide_grid(8)], terminal)
    lines = terminal.getvalue().splitlines()
    assert prose - 5 < max(len(line) for line in lines if "word" in line) <= prose
    assert max(map(len, lines)) <= max(40, min(columns, 120))


def test_a_table_takes_the_room_a_wide_terminal_has(monkeypatch):
    monkeypatch.setenv("COLUMNS", "120")
    terminal = Terminal()
    long = Grid(title="", header=("a", "b"), rows=(("x" * 60, "y" * 50),))
    show([long], terminal)
    assert "x" * 60 + "  " + "y" * 50 in terminal.getvalue()

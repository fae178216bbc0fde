"""Marks of settings that do not clear, on INVENTED tables."""

from __future__ import annotations

from dataclasses import replace

import pytest

from breathe.view.console import Grid, Item
from breathe.view.marks import clearance_caution, marked
from breathe.view.tables import by_speed, comparison

GAP = "intake valve to piston 1.09 mm at 7.0 ATDC, too close: at least 2 mm"


@pytest.fixture
def bad(about):
    notes = tuple(
        replace(note, does_not_clear=GAP if note.label == "288°" else "") for note in about.settings
    )
    return replace(about, settings=notes, unknown_clearances=())


def texts(page) -> str:
    return " ".join(piece.text if isinstance(piece, Item) else "" for piece in page)


def test_a_setting_that_does_not_clear_is_drawn_and_marked(table, bad):
    page = comparison(table, bad)
    headings = [cell for piece in page if isinstance(piece, Grid) for cell in piece.header]
    assert "288°!" in headings and "288°" not in [cell.strip() for cell in headings]
    assert "276°!" not in headings
    assert f"! 288° does not clear: {GAP}" in texts(page)
    assert "1.09 mm" not in texts(comparison(table, bad, system="imperial"))


def test_its_wins_are_marked_and_the_best_without_it_told(table, bad):
    page = comparison(table, bad)
    torque = next(piece for piece in page if isinstance(piece, Grid) and "most" in piece.header)
    wins = {row[-1] for row in torque.rows}
    assert any("288°!" in cell for cell in wins) and not any(
        part == "288°" for cell in wins for part in cell.split(" = ")
    )
    assert "Without 288°, which does not clear: " in texts(page)
    # The figures themselves are all there.
    assert len(torque.rows) == len(by_speed(table, bad, "torque_Nm"))


def test_a_mark_that_wins_nowhere_is_said_shortly(table, about):
    notes = tuple(
        replace(note, does_not_clear=GAP if note.label == "228°" else "") for note in about.settings
    )
    worse = table.assign(torque_Nm=table["torque_Nm"].where(table["setting"] != "228°", 1.0))
    told = texts(comparison(worse, replace(about, settings=notes, unknown_clearances=())))
    assert "228° does not clear, and has the most torque nowhere." in told


def test_nothing_is_marked_where_all_clears_or_nothing_was_checked(table, about):
    for told in (about, replace(about, unknown_clearances=())):
        page = comparison(table, told)
        assert "!" not in "".join(
            cell for piece in page if isinstance(piece, Grid) for cell in piece.header
        )
        assert marked(page, told, "metric") == page


def test_none_that_clears_is_said(table, about):
    notes = tuple(replace(note, does_not_clear=GAP) for note in about.settings)
    told = texts(comparison(table, replace(about, settings=notes, unknown_clearances=())))
    assert "No setting clears: none of these is to be built as it stands." in told


def test_the_caution_says_what_was_not_checked(about, bad):
    assert "NOT CHECKED at any setting" in clearance_caution(about)
    some = replace(about, unknown_clearances=("valve to valve",))
    assert "NOT CHECKED: valve to valve, head to wall" in clearance_caution(some)
    assert clearance_caution(bad).startswith("Do not build 288°")
    good = replace(about, unknown_clearances=())
    for one in (some, bad, good):
        assert "two full turns by hand" in clearance_caution(one)
        assert "NOT CHECKED" in clearance_caution(one)

"""What a comparison page says, on invented numbers; wording is part of the interface."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from breathe.commands.options import SHOWN
from breathe.view.console import Grid, show
from breathe.view.tables import by_speed, comparison
from breathe.view.words import QUANTITIES, Quantity
from tests.view.conftest import make_about, make_table


def text_of(page) -> str:
    stream = io.StringIO()
    show(page, stream)
    return stream.getvalue()


@pytest.fixture(autouse=True)
def string_streams_carry_utf8(monkeypatch):
    """io.StringIO has no encoding of its own."""
    monkeypatch.setattr(
        "breathe.view.console._can_carry", lambda sign, encoding: True, raising=True
    )


def grid_titled(page, start: str) -> Grid:
    return next(p for p in page if isinstance(p, Grid) and p.title.startswith(start))


def test_page_fits_80_columns(table, about):
    assert max(map(len, text_of(comparison(table, about)).splitlines())) <= 80


def test_torque_marks_the_winner_and_ties_of_each_row(table, about):
    rows = {row[0]: row for row in grid_titled(comparison(table, about), "Torque").rows}
    assert rows["1500"] == ("1500", "181*", "173 ", "163 ", "150 ", "134 ", "116 ", "228°")
    assert rows["3000"][1:3] == ("190*", "189*") and rows["3000"][-1] == "228° = 240°"


def test_tie_of_many_is_counted(invent):
    make_about, make_table = invent
    table = make_table()
    table["torque_Nm"] = 100.0
    rows = grid_titled(comparison(table, make_about()), "Torque").rows
    assert {row[-1] for row in rows} == {"tie of 6"}


def test_difference_below_the_error_is_none(table, about):
    rows = {row[0]: row for row in grid_titled(comparison(table, about), "Difference").rows}
    # Invented: 228° and 264° at 1500 rpm give 181.3 and 150.4; at 5000 rpm 264° and 276° tie.
    assert rows["1500"][1] == "+31"
    assert rows["5000"][4] == "="


def test_units_follow_the_user(table, about):
    page = comparison(table, about, ("torque", "power", "exhaust", "bsfc"), "imperial")
    assert grid_titled(page, "Torque").title.split(";")[0].endswith("lb-ft")
    assert grid_titled(page, "Power").title.split(";")[0].endswith("hp")
    # 1100 K is 1520.33 degF; 270 g/kWh is 0.4439 lb/hp-h (exact unit conversions).
    assert grid_titled(page, "Exhaust").rows[0][1] == "1520"
    assert grid_titled(page, "Brake specific").rows[0][1] == "0.444"
    # 181.35 Nm is 133.76 lb-ft.
    assert grid_titled(page, "Torque").rows[0][1] == "133.7*"


def test_reference_state_of_volumetric_efficiency_is_named(table, about):
    title = grid_titled(comparison(table, about), "Volumetric").title
    assert "outside state (1013 mbar, 25 degC), %" in title


def test_compression_says_at_which_lift_closing_counts(table, about):
    table["effective_compression_ratio"] = 9.0
    title = grid_titled(comparison(table, about, ("cr",)), "Effective").title
    assert title.endswith("closing of the intake valve at 0.1 mm valve lift, :1")


def test_unsettled_cases_show_win_nothing_and_are_told(table, about):
    case = (table["setting"] == "228°") & (table["speed_rpm"] == 1500.0)
    table.loc[case, "settled"] = False
    page = comparison(table, about)
    row = grid_titled(page, "Torque").rows[0]
    assert row[1].strip() == "n/s" and row[-1] == "240°"
    assert grid_titled(page, "Difference").rows[0][1] == "n/s"
    told = " ".join(text_of(page).split())
    assert (
        "1 of 78 cases did not come to repeat cycle after cycle (1500 rpm 228°). It shows as n/s "
        "and wins nothing."
    ) in told


def test_cases_without_figures_are_missing_not_unsettled(table, about):
    case = (table["setting"] == "228°") & (table["speed_rpm"] == 1500.0)
    table.loc[case, "torque_Nm"] = np.nan
    table.loc[case, "volumetric_efficiency_ambient"] = np.nan
    table.loc[case, "settled"] = False
    table.loc[case, "remark"] = "it broke down"
    page = comparison(table, about)
    row = grid_titled(page, "Torque").rows[0]
    assert row[1].strip() == "-" and row[-1] == "240°"
    assert grid_titled(page, "Difference").rows[0][1] == "-"
    assert grid_titled(page, "Volumetric").rows[0][1].strip() == "-"
    told = " ".join(text_of(page).split())
    assert "1 case has no figures, shown as -; a remark below says why." in told
    assert "It broke down: 1 case (1500 rpm 228°)." in told
    assert "did not come to repeat" not in told


def test_unsettled_standard_leaves_no_difference(table, about):
    case = (table["setting"] == "264°") & (table["speed_rpm"] == 1500.0)
    table.loc[case, "settled"] = False
    assert set(grid_titled(comparison(table, about), "Difference").rows[0][1:]) == {"n/s"}


def test_missing_cases_crown_nobody(table, about):
    some = table[~((table["setting"] == "288°") & (table["speed_rpm"] == 7500.0))]
    page = comparison(some, about)
    assert grid_titled(page, "Torque").rows[-1][-2:] == ("- ", "-")
    told = text_of(page)
    assert "1 case is not computed yet, shown as -." in told
    assert "What was found is told when all cases are computed" in told


def test_subset_of_columns_prints_what_there_is(table, about):
    short = table[["setting", "speed_rpm", "torque_Nm"]]
    told = text_of(comparison(short, about, ("torque", "ve", "mach")))
    assert "Torque at the crank" in told
    assert "Peak flow Mach number at the intake valve: this run holds no such figure." in told


def test_remarks_are_gathered(table, about):
    table.loc[[0, 5], "remark"] = "intake valve choked"
    told = " ".join(text_of(comparison(table, about)).split())
    assert "Intake valve choked: 2 cases (1500 rpm 228°, 4000 rpm 228°)." in told


def test_speeds_above_the_limit_are_cautioned(table, invent):
    make_about, _ = invent
    told = " ".join(text_of(comparison(table, make_about(speed_limit_rpm=7000.0))).split())
    assert "1 of these speeds lies above the engine file's limit of 7000 rpm" in told


def test_assumptions_questions_and_cautions_are_told(table, invent):
    make_about, _ = invent
    told = text_of(comparison(table, make_about(questions=("engine.bore: inches?",))))
    assert told.index("intake runner length = 320 mm") < told.index("fuel.octane = 95")
    for words in ("engine.bore: inches?", "NOT CHECKED", "watch lambda", "Start retarded"):
        assert words in told


def test_one_setting_alone_has_no_difference(invent):
    make_about, make_table = invent
    told = text_of(comparison(make_table((264,)), make_about((264,))))
    assert "one setting alone has no other to differ from" in told


def test_many_settings_are_cut_into_blocks(invent):
    make_about, make_table = invent
    durations = tuple(range(220, 340, 8))
    told = text_of(comparison(make_table(durations), make_about(durations, standard="220°")))
    assert max(map(len, told.splitlines())) <= 80


@pytest.mark.parametrize(
    ("largest", "digits"), [(900.0, 0), (190.0, 0), (95.0, 1), (40.0, 1), (9.0, 2), (0.0, 1)]
)
def test_no_more_digits_than_the_error_leaves(largest, digits):
    quantity = Quantity(column="x", title="x")
    assert quantity.digits(np.array([largest, np.nan])) == digits


def test_help_names_every_figure():
    assert set(SHOWN.split(", ")) == {*QUANTITIES, "difference"}


def test_by_speed_puts_each_case_in_its_place(table, about):
    wide = by_speed(table, about, "torque_Nm")
    one = table[(table["setting"] == "276°") & (table["speed_rpm"] == 5000.0)]["torque_Nm"]
    assert wide.loc[5000.0, "276°"] == one.item()
    assert list(wide.columns) == [note.label for note in about.settings]


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(st.floats(0.0, 0.02), min_size=6, max_size=6),
    st.floats(1.0, 400.0),
    st.sampled_from(["metric", "imperial"]),
)
def test_no_star_is_hidden_by_rounding(below, level, system):
    table, about = make_table(speeds=(2000.0, 7000.0)), make_about(speeds=(2000.0, 7000.0))
    table.loc[table["speed_rpm"] == 2000.0, "torque_Nm"] = level * (1 - np.array(below))
    table["power_W"] = table["torque_Nm"] * table["speed_rpm"] * np.pi / 30
    table["volumetric_efficiency_ambient"] = table["torque_Nm"] / 200
    page = comparison(table, about, ("torque", "power", "ve"), system)
    for start in ("Torque", "Power", "Volumetric"):
        for row in grid_titled(page, start).rows:
            starred = {cell[:-1] for cell in row[1:-1] if cell.endswith("*")}
            assert starred and not starred & {cell[:-1] for cell in row[1:-1] if cell[-1] == " "}


def test_efficiency_has_a_decimal_and_equal_figures_share_the_star(table, about):
    row = next(r for r in grid_titled(comparison(table, about), "Vol").rows if r[0] == "3000")
    # Invented: 189.97, 189.08 and 185.66 Nm over 210 Nm.
    assert row[1:4] == ("90.5*", "90.0*", "88.4 ")


def test_a_difference_that_counts_is_never_shown_as_nought(table, about):
    table["torque_Nm"] = 100.0
    table.loc[table["setting"] == "240°", "torque_Nm"] = 99.4
    table.loc[table["speed_rpm"] == 1500.0, "torque_Nm"] *= 0.05
    rows = {row[0]: row for row in grid_titled(comparison(table, about), "Difference").rows}
    assert rows["1500"][2] == "-0.03" and rows["2000"][2] == "-0.60" and rows["2000"][1] == "="


def test_compression_of_a_setting_is_one_row(table, about):
    ratios = dict(zip(table["setting"].unique(), (10.1, 9.76, 9.22, 8.54, 7.72, 6.8), strict=True))
    table["effective_compression_ratio"] = table["setting"].map(ratios)
    # A case without figures or not settled has the same geometry.
    table.loc[0, "effective_compression_ratio"] = np.nan
    table.loc[1, "settled"] = False
    grid = grid_titled(comparison(table, about, ("cr",)), "Effective")
    assert grid.rows == (("any", "10.10", "9.76", "9.22", "8.54", "7.72", "6.80"),)


def test_compression_stands_beside_the_settings_where_it_is_known(about):
    ratios = (10.16, 9.76, 9.22, 8.54, 7.72, 6.8)
    notes = tuple(
        replace(note, effective_compression_ratio=ratio)
        for note, ratio in zip(about.settings, ratios, strict=True)
    )
    grid = grid_titled(comparison(pd.DataFrame(), replace(about, settings=notes)), "Cam settings")
    assert grid.header[3] == "eff. CR"
    assert [row[3] for row in grid.rows] == ["10.16", "9.76", "9.22", "8.54", "7.72", "6.80"]


def test_what_is_pushed_back_is_told_of_each_setting(table, about):
    # 1 % a step of duration, most at the lowest speed; the shortest has next to none.
    step = (table["setting"].str.rstrip("°").astype(float) - 228) / 12
    table["pushed_back_fraction"] = 0.04 * step * 1500 / table["speed_rpm"] + 1e-4
    told = " ".join(text_of(comparison(table, about)).split())
    assert "at the speed with most: 228° below 1 %, 240° 4 % at 1500 rpm" in told
    assert "288° 20 % at 1500 rpm. `breathe show RUN --show reversion` has the rest." in told
    table["pushed_back_fraction"] = 1e-3
    assert "pushed back" not in text_of(comparison(table, about))


def test_differences_may_be_from_another_setting(table, about):
    page = comparison(table, about, system="metric", against="240°")
    head = {row[0]: row[3] for row in grid_titled(page, "Cam settings").rows}
    assert head["240°"].endswith("(compared with)") and head["264°"].endswith("(standard)")
    grid = grid_titled(page, "Difference in torque from 240°")
    assert "240°" not in grid.header and "264°" in grid.header
    told = " ".join(text_of(page).split())
    assert "228° (12° shorter) against 240°:" in told and "over 240°:" in told


def test_one_speed_and_one_setting_are_singular(invent):
    make_about, make_table = invent
    told = text_of(comparison(make_table((264,), (3000.0,)), make_about((264,), (3000.0,))))
    assert "1 cam setting at 1 speed, full load" in told


def test_what_is_assumed_and_how_is_in_the_users_units(table, about):
    told = " ".join(text_of(comparison(table, about, system="imperial")).split())
    assert "intake runner length = 12.6 in: typical" in told
    assert "intake sleeve 0.472 in" in told and " mm" not in told


def test_no_solver_talk(table, about):
    told = text_of(comparison(table, about, ("torque", "cycles"))).lower()
    assert not any(word in told for word in ("settle", "balance", "residual", "e-1"))

"""What is said of single cases: plain words, each thing once, the right count."""

from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd
import pytest

from breathe.view.burned_gas import kept_burned_gas
from breathe.view.said import said
from breathe.view.tables import by_speed


def case(table: pd.DataFrame, speed: float, label: str) -> pd.Series:
    return (table["speed_rpm"] == speed) & (table["setting"] == label)


def test_a_run_as_it_should_be_needs_no_word(table, about):
    assert said(table, about) == []


def test_only_a_balance_worse_than_round_off_is_told(table, about):
    table.loc[case(table, 2000.0, "240°"), "mass_closure"] = -3e-4
    (told,) = said(table, about)
    assert told.startswith(
        "Mass or energy does not add up over the cycle, by up to 0.03 %, in 1 case (2000 rpm 240°)."
    )


def test_cases_that_do_not_repeat_say_by_how_much(table, about):
    rows = table["speed_rpm"] == 1500.0
    table.loc[rows, ["settled", "cycles", "settling_residual"]] = [False, 60, 0.0034]
    table.loc[rows, "remark"] = "not settled in 60 cycles (0.34% a cycle); residual above 25 %"
    repeat, rough = said(table, about)
    assert repeat == (
        "6 of 78 cases did not come to repeat cycle after cycle (1500 rpm 228°, 1500 rpm 240°, "
        "1500 rpm 252°, 1500 rpm 264° ...): after 60 engine cycles they still change by up to "
        "0.34 % from one to the next. They show as n/s and win nothing."
    )
    assert rough.startswith("Residual above 25 %: 6 cases (1500 rpm 228°, ")


def test_never_a_change_that_is_no_number(table, about):
    rows = case(table, 1500.0, "228°")
    table.loc[rows, ["settled", "cycles", "settling_residual"]] = [False, 60, np.inf]
    (told,) = said(table, about)
    assert ": after 60 engine cycles they still change. It shows" in told


def test_choking_is_told_with_its_length(table, about):
    table["choked_deg"] = 0.0
    table["remark"] = ""
    for label, angle in (("228°", 31.4), ("240°", 12.0), ("252°", 0.4)):
        table.loc[case(table, 7500.0, label), "choked_deg"] = angle
        table.loc[case(table, 7500.0, label), "remark"] = "intake valve chokes"
    (told,) = said(table, about)
    assert told == (
        "Intake valve chokes (flow at the speed of sound): 3 cases, longest first: 7500 rpm 228° "
        "for 31 deg crank, 7500 rpm 240° for 12 deg crank, 7500 rpm 252° for less than 1 deg crank."
    )


def test_an_older_run_without_the_length_still_says_that_it_chokes(table, about):
    table.loc[case(table, 7500.0, "228°"), "remark"] = "intake valve chokes"
    assert said(table, about) == ["Intake valve chokes: 1 case (7500 rpm 228°)."]


def test_spark_held_back_for_knock_is_told_in_degrees(table, invent):
    make_about, _ = invent
    about = make_about(ca50_best_deg=8.0)
    table["ca50_deg"], table["knock_index"] = 8.0, 0.7
    rows = table["speed_rpm"] <= 2000.0
    table.loc[rows, ["ca50_deg", "knock_index"]] = [11.0, 1.0]
    table.loc[case(table, 1500.0, "240°"), "ca50_deg"] = 14.2
    # Later for another reason than knock: not counted.
    table.loc[case(table, 7500.0, "240°"), "ca50_deg"] = 30.0
    (told,) = said(table, about)
    assert told.startswith(
        "Spark retarded from best torque to hold the knock index at 1: 12 of 78 cases, by up to "
        "6 deg crank (1500 rpm 240°)."
    )
    assert said(table, dataclasses.replace(about, ca50_best_deg=None)) == []


@pytest.fixture
def overlapping(invent):
    make_about, make_table = invent
    about, table = make_about(), make_table()
    notes = tuple(
        dataclasses.replace(note, overlap_deg=20.0 + 6.0 * place)
        for place, note in enumerate(about.settings)
    )
    return dataclasses.replace(about, settings=notes), table


def told_of_burned_gas(about, table) -> list[str]:
    torque, residual = (by_speed(table, about, name) for name in ("torque_Nm", "residual_fraction"))
    return kept_burned_gas(torque, residual, about)


def test_burned_gas_that_goes_with_lost_torque_is_told(overlapping):
    about, table = overlapping
    table.loc[case(table, 1500.0, "288°"), "residual_fraction"] = 0.152
    table.loc[case(table, 2000.0, "288°"), "residual_fraction"] = 0.11
    assert told_of_burned_gas(about, table) == [
        "At 1500 rpm the longer overlap of 288° (50° against 20°) keeps more burned gas than 228° "
        "(15 % of the charge against 5 %), and torque is less. Settings with less torque keep more "
        "burned gas at 2000 rpm too."
    ]


def test_a_longer_overlap_is_only_claimed_where_it_is_longer(overlapping):
    about, table = overlapping
    same = tuple(dataclasses.replace(note, overlap_deg=44.0) for note in about.settings)
    table.loc[case(table, 1500.0, "288°"), "residual_fraction"] = 0.152
    (told,) = told_of_burned_gas(dataclasses.replace(about, settings=same), table)
    assert told.startswith("At 1500 rpm 288° keeps more burned gas than 228° (15 %")


def test_three_points_or_no_loss_of_torque_are_not_told(overlapping):
    about, table = overlapping
    table.loc[case(table, 1500.0, "288°"), "residual_fraction"] = 0.079
    # 228° has most torque at 1500 rpm: what it keeps costs it nothing that shows.
    table.loc[case(table, 1500.0, "228°"), "residual_fraction"] = 0.20
    assert told_of_burned_gas(about, table) == []

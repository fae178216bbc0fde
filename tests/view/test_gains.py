"""Following the best of the settings: figures by hand arithmetic, words beside them."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from breathe.study.follow import follow_best
from breathe.view.gains import following

SPEEDS = [2000.0, 3000.0, 4000.0, 5000.0]


def curves(**by_label) -> pd.DataFrame:
    return pd.DataFrame(by_label, index=SPEEDS)


TRADE = curves(short=[110, 100, 90, 80], std=[100, 100, 95, 90], long=[80, 90, 100, 100.0])


def test_gains_by_hand():
    found = follow_best(TRADE, "std")
    # Best of each row: 110, 100, 100, 100, mean 102.5; means of the three: 95, 96.25, 92.5.
    assert found.mean_Nm == pytest.approx(102.5)
    assert found.best_fixed == ("std",)
    assert found.over_reference.mean_Nm == pytest.approx(6.25)
    assert found.over_reference.share == pytest.approx(6.25 / 96.25)
    assert (found.over_reference.most, found.over_reference.most_rpm) == pytest.approx(
        (1 / 9, 5000)
    )
    assert found.over_reference.least_rpm == 3000.0 and found.over_reference.least_none


def test_the_best_single_setting_may_be_another_than_the_standard():
    found = follow_best(TRADE, "long")
    assert found.best_fixed == ("std",)
    assert found.over_reference.mean_Nm == pytest.approx(10.0)
    assert found.over_best_fixed.mean_Nm == pytest.approx(6.25)


def test_all_are_judged_at_the_same_speeds():
    lost = TRADE.copy()
    lost.loc[2000.0, "long"] = np.nan
    found = follow_best(lost, "std")
    assert found.speeds_rpm == (3000.0, 4000.0, 5000.0)
    assert found.mean_Nm == pytest.approx(100.0)
    (told,) = following(lost, "std")
    assert "over the 3 speeds at which all settled (1 left out)" in told


def test_the_words():
    (told,) = following(TRADE, "long")
    assert told == (
        "A cam that followed the best of these 3 settings at each speed: mean torque 102.5 Nm over "
        "the 4 speeds run, +10.8 % (+10.0 Nm) over long: most +37.5 % at 2000 rpm, least no "
        "difference (below 0.5 %) at 4000 rpm. Over the best single one of them, std: +6.5 % "
        "(+6.2 Nm): most +11.1 % at 5000 rpm, least no difference (below 0.5 %) at 3000 rpm. This "
        "is among these settings only, each speed counting the same."
    )


def test_the_standard_may_itself_be_the_best_single_one():
    (told,) = following(TRADE, "std")
    assert "No single one of them has a larger mean than std." in told


def test_gain_in_the_users_units():
    (told,) = following(TRADE, "std", "imperial")
    # 102.5 Nm is 75.60 lb-ft, 6.25 Nm is 4.61 lb-ft (exact inch, pound and standard gravity).
    assert "mean torque 75.6 lb-ft" in told and "(+4.6 lb-ft)" in told


def test_no_gain_is_said_plainly():
    flat = curves(a=[100, 100, 100, 100.2], b=[100, 100.1, 100, 100], c=[90, 90, 90, 90.0])
    (told,) = following(flat, "c")
    assert "Over the best single one of them, a (b is as good): no difference (below 0.5 %)" in told
    assert "not shown to be worth it" in told
    (told,) = following(flat, "a")
    assert "no difference (below 0.5 %) over a:" in told


def test_one_speed_or_one_setting_has_nothing_to_follow():
    assert following(TRADE[["std"]], "std") == []
    assert following(TRADE * np.nan, "std") == []
    (told,) = following(TRADE.iloc[:1], "std")
    assert told.startswith("At a single speed a fixed setting is as good")

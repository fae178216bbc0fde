"""What each speed counts, as people write it."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from breathe.errors import BreatheError
from breathe.study.search.weights import weights_of

SPEEDS = tuple(1500.0 + 500.0 * n for n in range(13))


def shares(text: str | None) -> dict[float, float]:
    return dict(zip(SPEEDS, weights_of(text, SPEEDS).shares, strict=True))


def test_every_speed_counts_the_same_by_default():
    assert set(shares(None).values()) == {1 / 13}


def test_bands_share_their_weight_among_their_speeds():
    found = shares("10 % below 2500, 60 % 2500-5500, 30 % above")
    # 2 speeds below 2500, 7 from 2500 to 5500, 4 above.
    assert found[1500] == pytest.approx(0.05) and found[2500] == pytest.approx(0.6 / 7)
    assert found[5500] == pytest.approx(0.6 / 7) and found[6000] == pytest.approx(0.075)


@pytest.mark.parametrize(
    "text",
    [
        "10% under 2500 rpm; 60% from 2500 to 5500 rpm; 30% over 5500",
        "60 % 2500..5500, 30 % above 5500, 10 % below 2500",
        "10 below 2500, 60 2500-5500, 30 above",
        "10% <2500, 60% 2500–5500, 30% >5500",
    ],
)
def test_other_ways_to_write_the_same(text):
    assert shares(text) == pytest.approx(shares("10 % below 2500, 60 % 2500-5500, 30 % above"))


def test_more_than_a_hundred_per_cent_is_scaled_and_said():
    found = weights_of("30 % below 2500, 70 % 2500-5500, 30 % above", SPEEDS)
    assert sum(found.shares) == pytest.approx(1.0)
    assert found.notices == ("The weights add up to 130 %; they are scaled to 100 %.",)


def test_an_edge_of_two_bands_belongs_to_the_lower():
    found = shares("50 % 1500-3000, 50 % 3000-7500")
    assert found[3000] == pytest.approx(0.5 / 4) and found[3500] == pytest.approx(0.5 / 9)


def test_no_speed_is_lost_between_below_and_above():
    for text in ("50 % below 3500, 50 % above", "50 % under 3500, 50 % > 3500"):
        found = weights_of(text, SPEEDS)
        assert found.notices == ()
        assert dict(zip(SPEEDS, found.shares, strict=True))[3500] == pytest.approx(0.5 / 9)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("10 % below 1000, 90 % above", "widen --speeds"),
        ("90 % 2500-9000, 10 % below 2500", "widen --speeds"),
        ("spam", "'spam' is no share of a band of speeds"),
        ("50 % 3000-2000", "runs backwards"),
        ("50 % 1500-4000, 50 % 3000-5000", "overlap"),
        ("0 % below 2500", "every weight is 0"),
        ("40 % below, 60 % above", "it names no speed"),
    ],
)
def test_what_cannot_be_meant_is_asked_about(text, told):
    with pytest.raises(BreatheError, match="--weights") as error:
        weights_of(text, SPEEDS)
    assert told in str(error.value)


def test_a_sheet_of_rpm_and_weight(tmp_path):
    sheet = tmp_path / "band.csv"
    sheet.write_text("rpm;weight\n2000;0\n4000;1,0\n6000;0\n", encoding="utf-8")
    found = shares(str(sheet))
    assert found[4000] == pytest.approx(2 * found[3000]) and found[2000] == 0
    assert found[3000] == pytest.approx(found[5000])


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("rpm,weight\n1000,1\n3000,1\n", "widen --speeds"),
        ("rpm,weight\n2000,1\n3000,-1\n", "row 3: found weight -1"),
        ("rpm,weight\n2000,1\n", "found 1 rows"),
        ("rpm,weight\n2000,1\n3000,x\n", "row 3"),
        ("rpm,weight\n2000,1\n2000,2\n", "twice"),
        ("rpm,weight\n2000,0\n3000,0\n", "every weight is 0"),
    ],
)
def test_a_sheet_that_cannot_be_meant(tmp_path, text, told):
    sheet = tmp_path / "band.csv"
    sheet.write_text(text, encoding="utf-8")
    with pytest.raises(BreatheError) as error:
        weights_of(str(sheet), SPEEDS)
    assert told in str(error.value)


@given(st.lists(st.integers(1, 100), min_size=3, max_size=3))
def test_shares_add_up_to_one(parts):
    low, middle, high = parts
    text = f"{low} % below 2500, {middle} % 2500-5500, {high} % above"
    assert sum(weights_of(text, SPEEDS).shares) == pytest.approx(1.0)

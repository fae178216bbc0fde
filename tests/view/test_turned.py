"""The cam degreed in elsewhere, as the page tells it; all numbers are made up."""

from __future__ import annotations

import pandas as pd
import pytest

from breathe.study.answer import AxisNote, Best
from breathe.view.turned import turned_gaps, turned_grid, turned_words

SLEEVE = AxisNote(
    side="intake", kind="dwell", low_deg=0.0, high_deg=60.0, deg_per_m=5000.0, rest_deg=228.0
)


def answer(fixed_Nm: float, variable_Nm: float, *, turn: float = 6.0, gap: str = "") -> Best:
    """A fixed cam of 170 Nm and a variable one of 175 as filed, and where they are turned to."""
    turned = pd.DataFrame(
        {
            "role": ["fixed", "variable"],
            "turn_deg": [turn, -4.0],
            "dwell_deg": [12.0, float("nan")],
            "centreline_deg": [104.0, float("nan")],
            "as_filed_Nm": [170.0, 175.0],
            "turned_Nm": [fixed_Nm, variable_Nm],
            "does_not_clear": ["", gap],
        }
    )
    none = pd.DataFrame()
    return Best(
        axes=(SLEEVE,),
        standard="std",
        weights="",
        fixed_place_deg=(20.0,),
        by_speed=none,
        cams=none,
        steps=none,
        price=none,
        tops=none,
        clearing=pd.DataFrame(),
        turned=turned,
    )


def test_both_cams_and_the_gain_between_them_are_told():
    found = answer(173.0, 178.0)
    (told,) = turned_words(found)
    assert "variable over fixed is +2.9 % in the mean: " in told
    assert told.endswith("fixed 240°, 6° later (centreline 104 ATDC), variable 4° earlier.")
    grid = turned_grid(found, "metric")[0]
    assert grid.rows[0] == ("best fixed", "170", "240°, 6° later", "104 ATDC", "173", "+1.8")
    assert grid.rows[1] == ("variable", "175", "4° earlier", "-", "178", "+1.7")


def test_a_place_that_brings_nothing_is_none_and_its_gap_is_nobodys():
    found = answer(173.0, 175.2, gap="intake valve to piston 1.0 mm")
    assert turned_grid(found, "metric")[0].rows[1] == (
        "variable", "175", "as it is", "-", "175", "=",
    )  # fmt: skip
    assert turned_gaps(found) == []
    assert turned_words(found)[0].endswith("variable as it is.")
    (told,) = turned_words(answer(170.2, 175.2))
    assert "neither the best fixed cam nor the variable one has more in the mean" in told


def test_a_gap_and_an_end_are_told():
    found = answer(173.0, 178.0, turn=20.0, gap="intake valve to piston 1.0 mm")
    assert turned_gaps(found) == [("4° earlier", "intake valve to piston 1.0 mm")]
    assert turned_grid(found, "metric")[0].rows[1][2] == "4° earlier!"
    assert turned_words(found)[0].endswith("20° is the end of what was looked at.")


@pytest.mark.parametrize("system", ["metric", "imperial"])
def test_nothing_asked_nothing_told(system):
    found = answer(173.0, 178.0)
    empty = Best(**{name: getattr(found, name) for name in found.__dataclass_fields__}
                 | {"turned": pd.DataFrame()})  # fmt: skip
    assert turned_grid(empty, system) == [] and turned_words(empty) == []

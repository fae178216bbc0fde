"""Room along the shaft and within the cycle."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from breathe.engine.mechanics import ShaftRoom
from breathe.engine.parts import Cam, Sleeve
from breathe.valvetrain.dwell import lift_curve
from breathe.valvetrain.laws import LAWS
from breathe.valvetrain.lobe import lobe_from_law
from breathe.valvetrain.room import (
    added_room_deg,
    room_sum,
    travel_room_m,
    travel_until_unseated_m,
)

SLEEVE = Sleeve(travel_max_m=0.200, crank_deg_per_m=5000.0, closing_share=0.5)


@given(
    between=st.floats(0.01, 0.2),
    lobes=st.integers(1, 4),
    fixed=st.floats(0.005, 0.03),
    shared=st.booleans(),
)
def test_lobes_and_travel_fill_the_room(between, lobes, fixed, shared):
    room = ShaftRoom(
        between_bearings_m=between, lobes=lobes, fixed_per_lobe_m=fixed, shared_sleeve=shared
    )
    travel = travel_room_m(room)
    used = lobes * fixed + (1 if shared else lobes) * travel
    assert used == pytest.approx(between)
    assert added_room_deg(room, SLEEVE) == pytest.approx(5000 * travel)


def test_the_sum_in_words():
    room = ShaftRoom(between_bearings_m=0.038, lobes=2, fixed_per_lobe_m=0.0134)
    assert room_sum(room) == (
        "38.0 mm between bearing faces less 2 lobes x 13.4 mm fixed leaves 11.2 mm, "
        "for 2 sleeves 5.6 mm each"
    )
    assert room_sum(replace(room, shared_sleeve=True)).endswith("leaves 11.2 mm")
    assert room_sum(replace(room, lobes=1)).endswith("less 1 lobe x 13.4 mm fixed leaves 24.6 mm")


def test_a_shaft_without_lobes_is_refused():
    with pytest.raises(ValueError, match="found 0 lobes; expected 1 or more"):
        travel_room_m(ShaftRoom(between_bearings_m=0.04, lobes=0, fixed_per_lobe_m=0.01))


def test_the_longest_duration_is_where_the_lift_curve_is_refused():
    lobe = lobe_from_law(0.010, 130, LAWS["3-4-5"])
    cam = Cam(lobe=lobe, centreline_deg=110, lash_m=0, sleeve=SLEEVE)
    most = travel_until_unseated_m(260, SLEEVE)
    assert most == pytest.approx(0.056)
    lift_curve(cam, travel_m=most * (1 - 1e-9), side="intake")
    with pytest.raises(ValueError, match="expected at least 180 deg"):
        lift_curve(cam, travel_m=most * (1 + 1e-9), side="intake")

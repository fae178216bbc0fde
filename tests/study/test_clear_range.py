"""Room of the valves along an axis, on the gaps of an engine file."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from breathe.engine.read import read_engine
from breathe.study.checks.clear_range import clear_range, spare_room
from breathe.study.gear import gear_of

SINGLE = read_engine(Path(__file__).parents[2] / "engines" / "single_400.toml")


def test_the_safe_stretch_ends_where_the_gap_meets_its_rule():
    gear = gear_of(SINGLE)
    clear = clear_range(SINGLE, gear, 0, [0.0])
    assert clear.low_deg == 0.0 and 60.0 < clear.high_deg < 80.0
    assert clear.unknown == () and "intake valve to piston" in clear.beyond
    inside, beyond = (
        spare_room(SINGLE, gear.setting([clear.high_deg + off]))[0] for off in (-0.1, 0.5)
    )
    assert inside >= 0.0 > beyond


def test_an_engine_without_gaps_is_not_checked():
    bare = replace(SINGLE, mechanics=None)
    clear = clear_range(bare, gear_of(bare), 0, [0.0])
    assert clear.checked == () and len(clear.unknown) == 3
    assert (clear.low_deg, clear.high_deg) == (0.0, 80.0)

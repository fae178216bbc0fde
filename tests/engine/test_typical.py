"""Rules that size pipes nobody gave."""

from __future__ import annotations

import math

import pytest

from breathe.engine.assumed import FIRING_ORDERS
from breathe.engine.engine_classes import CLASS_TABLE
from breathe.engine.typical import (
    INTAKE_SOUND_SPEED,
    bell_diameter,
    bell_length,
    engelman_length,
)
from breathe.engine.typical_layout import exhaust_groups

# H. W. Engelman, ASME 73-WA/DGP-2, 1973, K 2.1, sound 350 m/s: a 716.6 cc cylinder, ratio 10, and
# pipe length [m], bore [m], speed [rpm] (recomputed; a wave calculation peaks within 6 %).
ENGELMAN = [(0.35, 0.048, 5476.0), (0.25, 0.050, 6748.0)]


@pytest.mark.parametrize(("length", "bore", "speed"), ENGELMAN)
def test_intake_length_is_engelmans(length, bore, speed):
    at = speed * INTAKE_SOUND_SPEED / 350.0
    found = engelman_length(at, math.pi / 4 * bore**2, 716.6e-6, 10.0)
    # 4e-3: those speeds carry the formula's constant rounded in inches, 0.15 % here, squared.
    assert found == pytest.approx(length, rel=4e-3)


# A. G. Bell, Four-Stroke Performance Tuning (formula from memory), exhaust opening 70 BBDC; inches.
@pytest.mark.parametrize(("speed", "inches"), [(4000, 50), (5000, 40), (6000, 32), (7000, 27)])
def test_exhaust_length_is_bells(speed, inches):
    # Half an inch: the table is in whole inches, and 39.5 was rounded up.
    assert bell_length(speed, 70) / 0.0254 == pytest.approx(inches, abs=0.5 + 1e-9)


def test_exhaust_bore_grows_with_the_cylinder_and_shrinks_with_length():
    assert bell_diameter(0.7, 500e-6) == pytest.approx(0.0433, abs=5e-4)
    assert bell_diameter(0.7, 700e-6) > bell_diameter(0.7, 500e-6) > bell_diameter(0.9, 500e-6)


@pytest.mark.parametrize("count", range(1, 17))
def test_collectors_take_at_most_four_and_leave_nobody_out(count):
    groups = exhaust_groups(count)
    assert [n for group in groups for n in group] == list(range(1, count + 1))
    assert max(len(group) for group in groups) <= 4


def parts_of(read_text, kind: str, cylinders: int = 4) -> set[str]:
    size = "bore = '86 mm'\nstroke = '80 mm'"
    engine = read_text(f"[engine]\ncylinders = {cylinders}\nclass = '{kind}'\n{size}\n")
    return {part.name for part in (*engine.pipes, *engine.chambers)}


@pytest.mark.parametrize("cylinders", [1, 2, 4, 6, 8])
@pytest.mark.parametrize("kind", CLASS_TABLE)
def test_only_a_race_engine_breathes_without_filter_and_silencer(read_text, kind, cylinders):
    names = parts_of(read_text, kind, cylinders)
    silenced = any(name.startswith("silencer") for name in names)
    assert (kind != "race 4V") == ("air filter" in names) == silenced


def test_the_cylinders_of_a_group_fire_apart():
    # An eight on a cross-plane crank fires a bank at gaps of 90, 180, 180 and 270 (geometry).
    order = FIRING_ORDERS[8]
    for group in exhaust_groups(8):
        slots = sorted(order.index(n) for n in group)
        gaps = [(b - a) % 8 for a, b in zip(slots, slots[1:] + slots[:1], strict=True)]
        assert sorted(gaps) == [1, 2, 2, 3]

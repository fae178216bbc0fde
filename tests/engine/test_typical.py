"""Rules that size pipes nobody gave."""

from __future__ import annotations

import math

import pytest

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

"""What a map is held inside."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from breathe.engine.read import read_engine
from breathe.errors import BreatheError
from breathe.study.checks.clear_range import Clear
from breathe.study.control.limits import (
    Limits,
    Vacuum,
    within_travel,
)
from breathe.study.gear import gear_of

ENGINES = Path(__file__).parents[2] / "engines"
SINGLE = read_engine(ENGINES / "single_400.toml")


def limits(**changed) -> Limits:
    clear = Clear(low_deg=0.0, high_deg=50.0, checked=("a",), unknown=(), beyond="too close")
    return replace(Limits(low_deg=0.0, high_deg=60.0, clear=clear), **changed)


def test_hysteresis_keeps_off_the_clearance_but_not_off_the_stop():
    assert limits(margin_deg=1.0).safe_deg == (0.0, 49.0)
    assert limits(high_deg=30.0, margin_deg=1.0).safe_deg == (0.0, 30.0)
    with pytest.raises(BreatheError, match="no position of the travel asked for clears: too close"):
        _ = limits(low_deg=55.0).safe_deg


def test_limits_of_a_cell():
    figures = {
        "residual_fraction": np.array([0.1, 0.3, 0.1, 0.1]),
        "knock_index": np.array([1.0, 1.0, 1.2, 1.0]),
        "burn_10_90_deg": np.array([30.0, 30.0, 30.0, 80.0]),
        "manifold_pressure_Pa": np.array([80e3, 60e3, 60e3, 60e3]),
    }
    kept = limits().allowed(figures, 2e5, 101e3)
    assert list(kept.places) == [True, False, False, False]
    assert [kept.broken_at(k) for k in (1, 2, 3)] == [("residual",), ("knock",), ("burning",)]
    servo = Vacuum(least_Pa=30e3, below_bmep_Pa=2.5e5)
    assert limits(vacuum=servo).allowed(figures, 2e5, 101e3).broken_at(0) == ("vacuum",)
    assert limits(vacuum=servo).allowed(figures, 3e5, 101e3).broken_at(0) == ()


def test_where_nothing_keeps_the_limits_the_gravest_is_kept_first():
    figures = {
        "residual_fraction": np.array([0.30, 0.305, 0.40, 0.29, 0.26]),
        "knock_index": np.array([1.0, 1.0, 1.0, 1.2, 1.0]),
        "burn_10_90_deg": np.full(5, 30.0),
        "manifold_pressure_Pa": np.full(5, 60e3),
    }
    kept = limits().allowed(figures, 2e5, 101e3)
    assert not kept.places.any()
    # Less burnt gas would be had with knock, or where nothing is known.
    known = np.array([True, True, True, True, False])
    assert list(kept.least_bad(known)) == [True, True, False, False, False]
    servo = limits(residual_most=0.5, vacuum=Vacuum(least_Pa=90e3, below_bmep_Pa=3e5))
    figures["manifold_pressure_Pa"] = np.array([60e3, 59e3, 40e3, 20e3, 40.5e3])
    kept = servo.allowed(figures, 2e5, 101e3)
    # The most vacuum that is to be had without knock, not the least burnt gas.
    assert list(kept.least_bad(np.full(5, True))) == [False, False, True, False, True]


def test_travel_beyond_the_axis_is_refused():
    axis = gear_of(SINGLE).axes[0]
    assert within_travel(axis, 0.0, 28.0) == (0.0, 28.0)
    with pytest.raises(BreatheError, match="found 0 to 20 mm"):
        within_travel(axis, 0.0, 100.0)

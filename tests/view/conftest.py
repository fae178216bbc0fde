"""INVENTED tables for tests of printing only: smooth curves that mean nothing physically."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from breathe.about import About, SettingNote

DURATIONS = (228, 240, 252, 264, 276, 288)
SPEEDS = tuple(float(speed) for speed in range(1500, 7501, 500))


def make_about(durations=DURATIONS, speeds=SPEEDS, **changes) -> About:
    """Of an invented engine; the standard is the 264 degree setting."""
    values = {
        "engine": "Invented four",
        "source_file": "invented.toml",
        "standard": "264°",
        "settings": tuple(
            SettingNote(
                label=f"{duration}°",
                intake_duration_deg=float(duration),
                exhaust_duration_deg=264.0,
                how=f"intake sleeve {(duration - 228) / 5:.1f} mm",
            )
            for duration in durations
        ),
        "speeds_rpm": speeds,
        "throttle": 1.0,
        "outside_pressure_Pa": 101_325.0,
        "outside_temperature_K": 298.15,
        "speed_limit_rpm": 7500.0,
        "checking_height_m": 1e-4,
        "assumed": (
            {"key": "fuel.octane", "value": "95", "reason": "not given", "source": "from memory"},
            {
                "key": "intake runner length",
                "value": "320 mm",
                "reason": "typical of the class",
                "source": "common practice, no source",
            },
        ),
        "questions": (),
    }
    return About(**(values | changes))


def make_table(durations=DURATIONS, speeds=SPEEDS) -> pd.DataFrame:
    """Torque peaks later the longer the duration; all numbers are made up."""
    rows = []
    for duration in durations:
        for speed in speeds:
            torque = 190 - ((speed - 4000 - (duration - 252) * 45) / 480) ** 2
            rows.append(
                {
                    "setting": f"{duration}°",
                    "speed_rpm": speed,
                    "throttle": 1.0,
                    "torque_Nm": torque,
                    "power_W": torque * speed * np.pi / 30,
                    "bmep_Pa": torque * 4 * np.pi / 0.0019982,
                    "volumetric_efficiency_ambient": torque / 210,
                    "residual_fraction": 0.05,
                    "exhaust_temperature_K": 1100.0,
                    "bsfc_kg_per_J": 270e-3 / 3.6e6,
                    "settled": True,
                    "cycles": 9,
                    "mass_closure": 2e-15,
                    "energy_closure": 4e-15,
                    "remark": "",
                }
            )
    return pd.DataFrame(rows)


@pytest.fixture
def about() -> About:
    return make_about()


@pytest.fixture
def table() -> pd.DataFrame:
    return make_table()


@pytest.fixture
def invent():
    """The two makers, for tests that want other settings or speeds."""
    return make_about, make_table

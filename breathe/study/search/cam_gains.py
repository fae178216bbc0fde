"""Mean torque and peak power of a few cams, and what the variable one gains over each."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from breathe.engine.parts import Floats


def cams_table(
    speeds: Sequence[float],
    shares: Sequence[float],
    variable: Floats,
    fixed: Sequence[tuple[str, str, Floats]],
) -> pd.DataFrame:
    """One row a cam: role, label, means, peak power, and what the variable one gains over it."""
    return pd.DataFrame(
        [
            {"role": role, "label": label, **_figures(speeds, shares, torque, variable)}
            for role, label, torque in [("variable", "", variable), *fixed]
        ]
    )


def _figures(
    speeds: Sequence[float], shares: Sequence[float], torque: Floats, variable: Floats
) -> dict[str, Any]:
    rpm = np.array(speeds)
    power, best_power = (t * rpm * (math.pi / 30) for t in (torque, variable))
    gain = variable / torque - 1
    known = np.isfinite(gain)
    most, least = (int(f(np.where(known, gain, v))) for f, v in
                   ((np.argmax, -np.inf), (np.argmin, np.inf)))  # fmt: skip
    mean, weighted = float(torque.mean()), float(torque @ np.array(shares))
    peak = int(np.argmax(np.where(known, power, -np.inf)))
    return {
        "mean_Nm": mean,
        "weighted_Nm": weighted,
        "peak_power_W": float(power[peak]),
        "peak_power_rpm": float(rpm[peak]),
        "gain_mean": float(variable.mean()) / mean - 1,
        "gain_weighted": float(variable @ np.array(shares)) / weighted - 1,
        "gain_peak_power": float(best_power.max() / power[peak]) - 1,
        "gain_most": float(gain[most]),
        "gain_most_rpm": float(rpm[most]),
        "gain_least": float(gain[least]),
        "gain_least_rpm": float(rpm[least]),
    }

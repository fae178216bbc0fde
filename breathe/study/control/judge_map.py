"""A tuner's own map held against the model, and what of it is not safe."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pandas as pd

from breathe.errors import BreatheError
from breathe.study.control.asked import Shown
from breathe.study.control.control import ControlMap
from breathe.study.control.limits import Limits
from breathe.study.control.typed_map import Measured, TypedMap

_SAME = 1e-6


def judged(found: ControlMap, typed: TypedMap) -> pd.DataFrame:
    """One row a cell of the typed map that is a cell of the new one too.

    ``given_up`` is the share of fuel or torque that its setting gives up against the best allowed.
    """
    question, rows = found.question, []
    for i, load in enumerate(typed.loads):
        for j, speed in enumerate(typed.speeds_rpm):
            row = _near(question.loads, load * typed.scale.si)
            column = _near(question.speeds_rpm, speed)
            setting = float(typed.cells[i, j])
            if row is None or column is None:
                continue
            cell = found.cells[row][column]
            degrees = found_degrees(setting, typed.unit, question.durations, found.axis.deg_per_m)
            rows.append(
                {
                    "speed_rpm": cell.speed_rpm,
                    "load": cell.load,
                    "kind": cell.kind,
                    "typed": setting,
                    "wanted": question.shown.of(cell.best_deg),
                    "given_up": cell.loss_at(degrees) if math.isfinite(setting) else math.nan,
                }
            )
    return pd.DataFrame(rows)


def _near(points: Sequence[float], wanted: float) -> int | None:
    place = int(np.argmin(np.abs(np.asarray(points) - wanted)))
    return place if math.isclose(points[place], wanted, rel_tol=_SAME) else None


def found_degrees(setting: float, unit: str, durations: Shown, deg_per_m: float) -> float:
    """Degrees along the axis of a setting in mm of travel, or as ``durations`` counts it."""
    return setting * 1e-3 * deg_per_m if unit == "mm" else durations.degrees(setting)


def refuse_unsafe(
    file: str,
    places: Sequence[tuple[str, float]],
    limits: Limits,
    shown: Shown,
    step: float,
) -> None:
    """Refuse settings beyond the travel or too close to piston or valve, all at once.

    Parameters
    ----------
    file : str
    places : sequence of (str, float)
        Cells by name, with degrees along the axis; nan is passed over.
    limits : Limits
    shown : Shown
    step : float
        Of the cells, in what is shown: the value offered is a whole one.

    Raises
    ------
    BreatheError
        Names every such cell with the nearest safe value.
    """
    low, high = limits.safe_deg
    told = []
    for name, degrees in places:
        if not math.isfinite(degrees) or low - _SAME <= degrees <= high + _SAME:
            continue
        end = shown.of(low if degrees < low else high) / step
        nearest = (math.ceil(end - _SAME) if degrees < low else math.floor(end + _SAME)) * step
        beyond_travel = not limits.low_deg - _SAME <= degrees <= limits.high_deg + _SAME
        why = "beyond the travel" if beyond_travel else limits.clear.beyond
        told.append(
            f"  {name}: found {shown.of(degrees):g}, {why}; nearest safe value "
            f"{nearest:g} {shown.unit}"
        )
    if told:
        count = f"{len(told)} cell{'s' if len(told) > 1 else ''}"
        raise BreatheError("\n".join([f"{file}: {count} refused, nothing is computed:", *told]))


def typed_places(typed: TypedMap, durations: Shown, deg_per_m: float) -> list[tuple[str, float]]:
    """Every filled cell with its degrees along the axis."""
    return [
        (
            typed.where(i, j),
            found_degrees(float(typed.cells[i, j]), typed.unit, durations, deg_per_m),
        )
        for i in range(len(typed.loads))
        for j in range(len(typed.speeds_rpm))
        if math.isfinite(typed.cells[i, j])
    ]


def measured_places(
    measured: Sequence[Measured], load_unit: str, durations: Shown, deg_per_m: float
) -> list[tuple[str, float]]:
    """Every measured setting with its degrees along the axis."""
    return [
        (
            f"row {one.row}, {one.speed_rpm:g} rpm, {one.load:g} {load_unit}",
            found_degrees(one.setting, one.unit, durations, deg_per_m),
        )
        for one in measured
    ]

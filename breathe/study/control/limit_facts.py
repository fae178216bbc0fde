"""Which limit holds a control map where, and what its fallback position costs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from breathe.study.control.cells import Cell
from breathe.study.control.control import ControlMap
from breathe.study.control.limits import Limits
from breathe.study.crossings import NUMERICAL_ERROR

_AT_END_DEG = 0.25
_WORTH_DEG = 12.0
"""An end of the travel binds where standing this far inside it would cost more than a tie."""


def limit_facts(found: ControlMap) -> list[dict[str, Any]]:
    """Every limit with its value and the cells it binds, as (speed, load) in SI.

    ``value`` is in SI or degrees; ``not_kept`` are cells where no setting keeps the limit.
    """
    limits, question = found.question.limits, found.question
    low, high = limits.safe_deg
    told: list[dict[str, Any]] = [
        {
            "limit": "travel",
            "value": [question.shown.of(limits.low_deg), question.shown.of(limits.high_deg)],
            "binds": _at_ends(found, limits.low_deg, limits.high_deg),
        }
    ]
    if limits.clear.checked:
        at_clear = _at_ends(
            found,
            low if low > limits.low_deg else -math.inf,
            high if high < limits.high_deg else math.inf,
        )
        value = [question.shown.of(limits.clear.low_deg), question.shown.of(limits.clear.high_deg)]
        told.append({"limit": "clearance", "value": value, "binds": at_clear})
    told += running_limits(limits, found.cells)
    if question.steepest is not None and len(question.speeds_rpm) > 1:
        binds = _slewing(found, 1, question.steepest, question.speeds_rpm)
        told.append({"limit": "slew", "value": question.steepest, "binds": binds})
    if question.steepest_over_load is not None:
        binds = _slewing(found, 0, question.steepest_over_load, question.loads)
        told.append(
            {"limit": "slew over load", "value": question.steepest_over_load, "binds": binds}
        )
    return told


def running_limits(limits: Limits, cells: Sequence[Sequence[Cell]]) -> list[dict[str, Any]]:
    """Limits that depend on speed and load, with the cells they bind; as `limit_facts`."""
    by_name = {
        "residual": limits.residual_most,
        "knock": limits.knock_most,
        "burning": None,
    }
    if limits.vacuum is not None:
        by_name["vacuum"] = limits.vacuum.least_Pa
    own = _own(cells)
    return [
        {
            "limit": name,
            "value": value,
            "binds": [_place(c) for c in own if name in c.bound and name not in c.broken],
            "not_kept": [_place(c) for c in own if name in c.broken],
        }
        for name, value in by_name.items()
    ]


def _own(cells: Sequence[Sequence[Cell]]) -> list[Cell]:
    """Cells with a torque of their own; the others are held from these."""
    return [c for line in cells for c in line if c.kind in ("part load", "full load")]


def _place(cell: Cell) -> list[float]:
    return [cell.speed_rpm, cell.load]


def _at_ends(found: ControlMap, low: float, high: float) -> list[list[float]]:
    """Cells whose best setting lies at an end, where it matters by more than a tie."""
    span = float(np.ptp(found.question.limits.safe_deg))
    inside = min(_WORTH_DEG, span)

    def held(cell: Cell) -> bool:
        if cell.best_deg <= low + _AT_END_DEG:
            return cell.loss_at(low + inside) > NUMERICAL_ERROR
        if cell.best_deg >= high - _AT_END_DEG:
            return cell.loss_at(high - inside) > NUMERICAL_ERROR
        return False

    return [_place(cell) for cell in _own(found.cells) if held(cell)]


def _slewing(
    found: ControlMap, axis: int, steepest: float, points: Sequence[float]
) -> list[list[float]]:
    """Cells from which the step to the next along an axis is as large as the actuator follows."""
    if len(points) < 2:
        return []
    step = np.abs(np.diff(found.smooth_deg, axis=axis))
    most = np.maximum(steepest * np.diff(np.array(points)) - found.question.step_deg, 1e-6)
    held = step >= 0.99 * (most if axis else most[:, None])
    return [_place(found.cells[i][j]) for i, j in np.argwhere(held)]


def pedal_facts(found: ControlMap) -> dict[str, Any] | None:
    """Where the lag costs most if load rises at once from the lowest row to full load."""
    question, slew = found.question, found.question.slew_deg_per_s
    full = [j for j, cell in enumerate(found.cells[-1]) if "full" in cell.kind]
    if slew is None or not full or len(found.cells) < 2:
        return None
    speeds = np.array([question.speeds_rpm[j] for j in full])
    start, end = found.values_deg[0, full], found.values_deg[-1, full]
    lost = 1.0 - found.full_torque(speeds, start) / found.full_torque(speeds, end)
    worst = int(np.argmax(lost))
    return {
        "speed_rpm": float(speeds[worst]),
        "from": question.shown.of(float(start[worst])),
        "to": question.shown.of(float(end[worst])),
        "from_load": question.loads[0],
        "to_load": question.loads[-1],
        "takes_s": abs(float(end[worst] - start[worst])) / slew,
        "lost_at_first": float(lost[worst]),
        "pedal_s": question.pedal_s,
        "followed": found.followed_over_load,
    }


def fallback_facts(found: ControlMap) -> dict[str, Any] | None:
    """Full-load torque that the fallback position costs at each speed, and how it burns lightly."""
    degrees = found.question.fallback_deg
    if degrees is None:
        return None
    lost = []
    for at in found.at_speeds:
        speed = np.array([at.speed_rpm])
        torque = float(found.full_torque(speed, np.array([degrees]))[0])
        most = float(np.nanmax(at.full["torque_Nm"]))
        lost.append(1.0 - torque / most)
    lightest = found.cells[0]
    residual = [cell.figure_at("residual_fraction", degrees) for cell in lightest]
    worst = int(np.argmax(lost))
    return {
        "shown": found.question.shown.of(degrees),
        "speed_rpm": [at.speed_rpm for at in found.at_speeds],
        "torque_lost": lost,
        "worst_lost": lost[worst],
        "worst_speed_rpm": found.at_speeds[worst].speed_rpm,
        "residual_most": float(np.max(residual)),
        "residual_speed_rpm": lightest[int(np.argmax(residual))].speed_rpm,
    }

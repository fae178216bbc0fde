"""Settings measured on the engine: what the map gives there, and what the model thinks of them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from breathe.errors import BreatheError
from breathe.study.control.control import ControlMap
from breathe.study.control.map_axes import LoadScale
from breathe.study.control.smooth_map import Anchor, Wanted, weights_at
from breathe.study.control.typed_map import Measured

_BESIDE = 0.5
"""Share of the last step of an axis by which a measured setting may lie beyond it: the edge, which
is held there, still speaks for it."""


def refuse_far_outside(
    file: str, measured: Sequence[Measured], speeds_rpm: Sequence[float], loads: Sequence[float],
    scale: LoadScale,
) -> None:  # fmt: skip
    """Refuse measured settings for which no cell of the map speaks, all at once.

    Parameters
    ----------
    file : str
    measured : sequence of Measured
    speeds_rpm : sequence of float
        Axis points.
    loads : sequence of float
        Axis points, SI.
    scale : LoadScale

    Raises
    ------
    BreatheError
        Names every such row and the axes.
    """
    shown = [load / scale.si for load in loads]
    far = [
        f"  row {one.row}: found {one.speed_rpm:g} rpm, {one.load:g} {scale.unit}"
        for one in measured
        if _beyond(speeds_rpm, one.speed_rpm) or _beyond(shown, one.load)
    ]
    if far:
        raise BreatheError(
            "\n".join(
                [
                    f"{file}: measured outside the map, which has {speeds_rpm[0]:g} to "
                    f"{speeds_rpm[-1]:g} rpm and {shown[0]:g} to {shown[-1]:g} {scale.unit}; "
                    "leave it out, or widen the axes:",
                    *far,
                ]
            )
        )


def _beyond(axis: Sequence[float], at: float) -> bool:
    if len(axis) < 2:
        return not math.isclose(axis[0], at, rel_tol=0.05)
    below, above = (_BESIDE * (axis[k + 1] - axis[k]) for k in (0, len(axis) - 2))
    return not axis[0] - below <= at <= axis[-1] + above


def anchor_facts(found: ControlMap) -> list[dict[str, Any]]:
    """Measured settings, what the map gives there, what the model wants and finds given up."""
    question, values = found.question, found.values_deg
    where = Wanted(
        speeds_rpm=np.array(question.speeds_rpm), loads=np.array(question.loads), best=values,
        low=values, high=values,
    )  # fmt: skip
    return [_told(found, one, weights_at(where, one).reshape(values.shape))
            for one in question.anchors]  # fmt: skip


def _told(found: ControlMap, one: Anchor, weights: np.ndarray) -> dict[str, Any]:
    """``weights`` (m, n): shares of the cells round the place."""
    shown = found.question.shown
    cells = [
        (float(w), cell)
        for line, ws in zip(found.cells, weights, strict=True)
        for cell, w in zip(line, ws, strict=True)
        if w > 1e-9
    ]
    # Fuel and torque do not mix, and light load is judged nowhere.
    kinds = {cell.kind for _, cell in cells}
    judged = kinds in ({"part load"}, {"full load"})
    return {
        "speed_rpm": one.speed_rpm,
        "load": one.load,
        "measured": shown.of(one.degrees),
        "map": shown.of(float(np.sum(weights * found.values_deg))),
        "of": "torque" if kinds == {"full load"} else "fuel",
        "wanted": shown.of(sum(w * c.best_deg for w, c in cells)) if judged else None,
        "given_up": sum(w * c.loss_at(one.degrees) for w, c in cells) if judged else None,
    }

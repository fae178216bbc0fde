"""What is left where valves must clear, as a page tells it: a table and a sentence."""

from __future__ import annotations

import numpy as np

from breathe.engine.quantities import System, user_unit
from breathe.study.answer import Best
from breathe.study.crossings import NUMERICAL_ERROR
from breathe.view.console import Grid, Piece
from breathe.view.figures import change, torque_texts
from breathe.view.places import degrees, in_words, place_of, travel
from breathe.view.tables import TIE


def clearing_grid(found: Best, system: System) -> list[Piece]:
    """The most torque among places that clear, at the speeds whose best does not."""
    if not len(found.clearing) or not found.clearing.moved.any():
        return []
    cams = found.clearing[found.clearing.role == "variable"]
    most = dict(zip(found.by_speed.speed_rpm, found.by_speed.torque_Nm, strict=True))
    moved = cams[cams.moved]
    torque = torque_texts(moved[["torque_Nm"]], system)["torque_Nm"]
    header = ["rpm", user_unit("torque", system)]
    for axis in found.axes:
        header.append(axis.side if axis.kind == "dwell" else f"{axis.side} turn")
        header += [user_unit("length", system)] if axis.deg_per_m else []
    rows = []
    for n, row in enumerate(moved.to_dict("records")):
        cells = [f"{row['speed_rpm']:.0f}", torque[n]]
        for axis, x in zip(found.axes, place_of(row, found.axes), strict=True):
            cells.append(degrees(axis, x))
            cells += [travel(axis, x, system)] if axis.deg_per_m else []
        rows.append((*cells, change(row["torque_Nm"] / most[row["speed_rpm"]] - 1)))
    if not rows:
        return []
    title = (
        "Where the best does not clear: most torque among places that do, read off the response, "
        f"and what it is to the best, %; {TIE} none found"
    )
    return [Grid(title=title, header=(*header, "change"), rows=tuple(rows)), ""]


def clearing_words(found: Best) -> list[str]:
    """What the variable cam gains when it and the fixed one must clear."""
    failing = bool((found.by_speed.does_not_clear != "").any()) or bool(found.fixed_does_not_clear)
    if not found.axes or not failing:
        return []
    if not len(found.clearing):
        return ["No place was found at which all clearances that are known keep their rule."]
    if found.speeds == 1:
        return []
    cams, fixed = (found.clearing[found.clearing.role == role] for role in ("variable", "fixed"))
    mean = float(np.dot(cams.torque_Nm, found.by_speed.weight))
    gain = change(mean / float(fixed.torque_Nm.iloc[0]) - 1)
    much = f"no more than the model can tell ({NUMERICAL_ERROR * 100:g} %)"
    place = in_words(found.axes, place_of(fixed.to_dict("records")[0], found.axes))
    free = float(np.dot(found.by_speed.torque_Nm, found.by_speed.weight))
    cost = change(mean / free - 1)
    costs = "as much as it" if cost == TIE else f"{cost} % against what it"
    return [
        f"Held to places that clear, the variable cam gains {much if gain == TIE else f'{gain} %'} "
        f"{'by your weights' if found.weights else 'in the mean'} over the best fixed one that "
        f"clears ({place}), and has {costs} would have with room enough."
    ]

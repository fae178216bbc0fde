"""Where the best setting stands at each speed, what is as good, and what standing off it costs."""

from __future__ import annotations

import numpy as np

from breathe.engine.quantities import System, user_unit
from breathe.study.answer import Best
from breathe.study.crossings import NUMERICAL_ERROR
from breathe.study.search.best import OFF_DEG
from breathe.view.console import Grid, Piece
from breathe.view.figures import change, torque_texts
from breathe.view.marks import MARK
from breathe.view.places import degrees, off_words, span, travel
from breathe.view.tables import TIE


def settings_tables(found: Best, system: System) -> list[Piece]:
    """Place, travel, what is as good and the price of 12 degrees, by speed; a table for each where
    several things move."""
    unit = user_unit("length", system)
    several = len(found.axes) > 1
    header, priced = ["rpm", *([user_unit("torque", system)] if several else [])], ["rpm"]
    for axis in found.axes:
        header += [axis.side if axis.kind == "dwell" else f"{axis.side} turn", "as good"]
        header += [unit] if axis.deg_per_m else []
        thing = f"{axis.side} {'duration' if axis.kind == 'dwell' else 'cam'}\n" if several else ""
        priced += [f"{thing}{off_words(axis, off)}" for off in (-OFF_DEG, OFF_DEG)]
    header += [] if several else [user_unit("torque", system)]
    torque = torque_texts(found.by_speed[["torque_Nm"]], system)["torque_Nm"]
    places, prices = [], []
    for n, row in enumerate(found.by_speed.to_dict("records")):
        cells = [f"{row['speed_rpm']:.0f}", *([torque[n]] if several else [])]
        mark = MARK if row["does_not_clear"] else ""
        for axis in found.axes:
            place, low, high = (
                row[f"{axis.column}{end}"] for end in ("_deg", "_low_deg", "_high_deg")
            )
            cells += [degrees(axis, place) + mark, span(axis, low, high)]
            cells += [travel(axis, place, system)] if axis.deg_per_m else []
        places.append(tuple(cells) if several else (*cells, torque[n]))
        prices.append((cells[0], *_prices(found, row["speed_rpm"])))
    title = (
        f"Best setting; as good: within {NUMERICAL_ERROR * 100:g} % of its torque"
        f"{', the rest standing' if several else ''}"
    )
    price = f"change in torque, %, {TIE} none found, end: beyond the gear"
    if several:
        return [
            Grid(title=title, header=tuple(header), rows=tuple(places)),
            "",
            Grid(
                title=f"{OFF_DEG:.0f}° off the best setting, the rest standing: {price}",
                header=tuple(priced),
                rows=tuple(prices),
            ),
        ]
    off = " and ".join(priced[1:])
    rows = tuple((*one, *other[1:]) for one, other in zip(places, prices, strict=True))
    return [Grid(title=f"{title}; {off}: {price}", header=(*header, *priced[1:]), rows=rows)]


def _prices(found: Best, speed_rpm: float) -> list[str]:
    """Change in torque with each axis off by 12 degrees to either side, at one speed."""
    price = found.price[found.price.speed_rpm == speed_rpm]
    cells = []
    for axis in found.axes:
        for off in (-OFF_DEG, OFF_DEG):
            lost = price[(price.axis == axis.name) & (price.off_deg == off)].change.iloc[0]
            cells.append("end" if not np.isfinite(lost) else change(lost))
    return cells

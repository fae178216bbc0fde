"""Axes of a map: what the load axis measures, axis points in order, and fewer of them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from breathe.engine.parts import Floats
from breathe.engine.units import SPELLINGS, UNITS
from breathe.errors import BreatheError

LoadAxis = Literal["bmep", "map", "throttle"]

_PRESSURES = UNITS["absolute pressure"]
_WORDS: dict[str, LoadAxis] = {
    "bmep": "bmep",
    "brake": "bmep",
    "map": "map",
    "manifold": "map",
    "boost": "map",
    "tps": "throttle",
    "throttle": "throttle",
    "opening": "throttle",
}
_NAMES: dict[LoadAxis, str] = {
    "bmep": "brake mean effective pressure",
    "map": "manifold pressure, absolute",
    "throttle": "throttle opening, share of its area",
}
_LOAD_EXAMPLES = '"map kPa", "bmep bar" or "throttle %"'
FULL_PERCENT = 105.0
"""Loads in per cent above this are no per cent."""
OUTSIDE_TRUST = {
    "idle": "idle is outside what is trusted: there the steadiness of burning decides, one cycle "
    "against the next, and this marches a mean cycle",
    "egr": "exhaust gas recirculation is outside what is trusted: burning with so much burnt gas "
    "lies beyond what the burn relation was fitted to, and no valve for it is in the model",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadScale:
    """What the load axis measures, in the user's unit."""

    axis: LoadAxis
    unit: str
    si: float
    """SI for one of the unit."""

    @property
    def name(self) -> str:
        return _NAMES[self.axis]

    def shown(self, load: float) -> str:
        """A load in the user's unit, such as '60 kPa'."""
        return f"{load / self.si:.4g} {self.unit}"

    def checked(self, loads: Sequence[float], where: str) -> tuple[float, ...]:
        """Loads in the user's unit as SI, found possible.

        Raises
        ------
        BreatheError
            A load that cannot be meant, with the likely slip.
        """
        if self.axis == "throttle" and max(loads) > FULL_PERCENT:
            raise BreatheError(
                f"{where}: found {max(loads):g} on an axis in %; expected at most 100. kPa? Then "
                'say --axis "map kPa"'
            )
        low, high = {"bmep": (0.05e5, 40e5), "map": (5e3, 4e5), "throttle": (1e-4, 1.05)}[self.axis]
        for load in loads:
            if not low <= load * self.si <= high:
                raise BreatheError(
                    f"{where}: found {load:g} {self.unit}; expected {low / self.si:.3g} to "
                    f"{high / self.si:.3g} {self.unit} on an axis of {self.name}"
                )
        return tuple(min(load * self.si, 1.0 if self.axis == "throttle" else np.inf)
                     for load in loads)  # fmt: skip


def load_scale(text: str, where: str = "--axis") -> LoadScale:
    """What a load axis measures, from words such as 'map kPa'.

    Raises
    ------
    BreatheError
        Idle or EGR asked for; a word or unit that is none; a pressure that may be either.
    """
    words = [w for w in re.split(r"[^\w%]+", text.lower().replace("\\", " ")) if w]
    refuse_outside_trust(words, where)
    units = {spelled.lower(): unit for spelled, unit in SPELLINGS.items() if unit in _PRESSURES}
    units |= {unit.lower(): unit for unit in _PRESSURES}
    axis = next((_WORDS[w] for w in words if w in _WORDS), None)
    unit = next((units[w] for w in words if w in units), None)
    percent = "%" in words or "percent" in words
    if axis == "throttle" or (percent and axis is None):
        return LoadScale(axis="throttle", unit="%", si=0.01)
    if percent and axis is not None:
        raise BreatheError(f"{where}: found {text!r}; expected {_LOAD_EXAMPLES}")
    if axis is None and unit in ("kPa", "mbar", "hPa", "mmHg", "inHg"):
        axis = "map"
    if axis is None:
        ask = f" {unit} of what: manifold or mean effective pressure?" if unit else ""
        raise BreatheError(f"{where}: found {text!r};{ask} expected {_LOAD_EXAMPLES}")
    unit = unit or ("bar" if axis == "bmep" else "kPa")
    return LoadScale(axis=axis, unit=unit, si=_PRESSURES[unit])


def refuse_outside_trust(words: Sequence[str], where: str) -> None:
    """Idle and EGR are asked for by name.

    Raises
    ------
    BreatheError
        With the reason.
    """
    for word, reason in OUTSIDE_TRUST.items():
        if word in words:
            raise BreatheError(f"{where}: {reason}")


def rising(points: Sequence[float], where: str) -> tuple[float, ...]:
    """Axis points as they are.

    Raises
    ------
    BreatheError
        One that does not rise, its position named; none at all.
    """
    if not points:
        raise BreatheError(f"{where}: found no axis point")
    for k in range(1, len(points)):
        if not points[k] > points[k - 1]:
            again = "again" if points[k] == points[k - 1] else f"after {points[k - 1]:g}"
            raise BreatheError(
                f"{where}: position {k + 1}: found {points[k]:g} {again}; expected axis points "
                "that rise strictly"
            )
    return tuple(points)


def best_points(points: Sequence[float], most: int, values: Floats | None = None) -> list[int]:
    """Which points of an axis to keep where fewer fit, both ends among them.

    One point after another is taken out that is missed least: where the values (or, without any,
    the axis itself, by how near its neighbours are) differ least from a straight line between
    those beside it.

    Parameters
    ----------
    points : (n,) sequence of float
        Rising.
    most : int
        How many may stay, at least 2.
    values : (k, n) float, optional
        Of the map over this axis.

    Returns
    -------
    list of int
        Positions kept, rising.
    """
    axis = np.asarray(points, dtype=float)
    kept = list(range(len(axis)))
    while len(kept) > max(most, 2):
        missed = [_missed(axis, values, kept, k) for k in range(1, len(kept) - 1)]
        del kept[1 + int(np.argmin(missed))]
    return kept


def _missed(axis: Floats, values: Floats | None, kept: Sequence[int], k: int) -> float:
    """How much is lost with one point: in value, or in width where there is none."""
    a, b = kept[k - 1], kept[k + 1]
    gone = range(a + 1, b)
    # Wide axes such as rpm are read by ratio: 800 to 1200 matters as much as 4000 to 6000.
    width = float(np.log(axis[b] / axis[a])) if axis[a] > 0 else float(axis[b] - axis[a])
    if values is None:
        return width
    share = (axis[list(gone)] - axis[a]) / (axis[b] - axis[a])
    line = values[:, [a]] + (values[:, [b]] - values[:, [a]]) * share
    return float(np.nanmax(np.abs(values[:, list(gone)] - line))) + 1e-3 * width


def fitted(points: Sequence[float], most: int, where: str, values: Floats | None = None) -> None:
    """Refuse an axis of more points than fit, with those worth keeping.

    Raises
    ------
    BreatheError
        Names the best points.
    """
    if len(points) <= most:
        return
    kept = [f"{points[k]:g}" for k in best_points(points, most, values)]
    raise BreatheError(
        f"{where}: {len(points)} points, and {most} fit. The {most} best are {','.join(kept)}"
    )

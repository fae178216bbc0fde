"""Torque over the axes of the valve gear at many speeds: what was run, and where to look next.

At each speed a few places are run, a smooth response is laid through them, its tops are run and the
response laid anew, until the top it predicts has been met by a case that was run.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from breathe.engine.parts import Operating, Setting
from breathe.study.compare import Row
from breathe.study.crossings import NUMERICAL_ERROR
from breathe.study.evaluate import Point
from breathe.study.gear import Axis, Gear, apart_deg
from breathe.study.search.surface import (
    Peak,
    Response,
    blend,
    least_figures,
    peaks,
    response,
)

Floats = NDArray[np.float64]
Place = tuple[float, ...]
Evaluate = Callable[[Sequence[Point]], Sequence[Row]]

PART = 0.1 * NUMERICAL_ERROR
"""Share of torque by which a prediction may miss what was run and still count as met."""
NEAR_DEG, FAR_DEG = 1.0, 4.0
"""A top nearer than this to a place that was run needs no case of its own; one farther does, even
if the response is flat there [deg crank]."""
_GAP_DEG = {1: 16.0, 2: 28.0}
"""Widest gap between the first places along an axis, by number of axes. The response over duration
bends over the whole of a sleeve's range (a 2 degree grid on the supplied engines: at most one hump
at a speed beside round-off), so cubics meet it within 0.3 % between such places."""
_MOST_ROUNDS = 8


def design(axes: Sequence[Axis], built_deg: Sequence[float] | None = None) -> list[Place]:
    """Where to look first: even places on one axis, a grid on two, corners and middles on more.

    Parameters
    ----------
    axes : sequence of Axis
    built_deg : sequence of float, optional
        Where each axis ends as built: the places up to there are those of the shorter axis, so that
        asking for more travel runs only what is new.
    """
    if len(axes) > 2:
        return _composite(axes)
    gap = _GAP_DEG[len(axes)]
    ends = built_deg or [axis.high_deg for axis in axes]
    lines = []
    for axis, end in zip(axes, ends, strict=True):
        line = _evenly(axis.low_deg, min(end, axis.high_deg), gap, least=3)
        if axis.high_deg > end:
            line = [*line, *_evenly(end, axis.high_deg, gap, least=2)[1:]]
        lines.append(line)
    return [rounded(place) for place in itertools.product(*lines)]


def _evenly(low: float, high: float, gap: float, least: int) -> list[float]:
    count = max(least, math.ceil((high - low) / gap - 1e-9) + 1)
    return [float(x) for x in np.linspace(low, high, count)]


def _composite(axes: Sequence[Axis]) -> list[Place]:
    """Corners, middles of the faces and the centre: the least that carries a second degree."""
    middle = [(axis.low_deg + axis.high_deg) / 2 for axis in axes]
    corners = itertools.product(*((axis.low_deg, axis.high_deg) for axis in axes))
    faces = [
        [*middle[:n], end, *middle[n + 1 :]]
        for n, axis in enumerate(axes)
        for end in (axis.low_deg, axis.high_deg)
    ]
    return [rounded(place) for place in [*corners, *faces, middle]]


def rounded(place: Iterable[float]) -> Place:
    """To a tenth of a crank degree, finer than anyone sets a cam."""
    return tuple(round(float(x), 1) + 0.0 for x in place)


def settled_torque(row: Mapping[str, object]) -> float:
    """Torque of a case [Nm]; nan if it did not come to repeat."""
    return float(row["torque_Nm"]) if row["settled"] else math.nan  # type: ignore[arg-type]


class Survey:
    """Places run at each speed, and the responses through them.

    Parameters
    ----------
    gear : Gear
        With one axis or more.
    speeds_rpm : sequence of float
    evaluate : callable
        Points -> rows, in their order.

    Attributes
    ----------
    torque_Nm : dict
        By speed, then by place; nan where a case gave no figure.
    """

    def __init__(self, gear: Gear, speeds_rpm: Sequence[float], evaluate: Evaluate) -> None:
        self.gear = gear
        self.speeds_rpm = tuple(speeds_rpm)
        self.torque_Nm: dict[float, dict[Place, float]] = {speed: {} for speed in speeds_rpm}
        self._evaluate = evaluate
        self._responses: dict[float, tuple[int, Response]] = {}

    @property
    def low_deg(self) -> list[float]:
        return [axis.low_deg for axis in self.gear.axes]

    @property
    def high_deg(self) -> list[float]:
        return [axis.high_deg for axis in self.gear.axes]

    def run(self, wanted: Iterable[tuple[float, Place]], also: Sequence[Point] = ()) -> list[Row]:
        """Run places at speeds in one go, and further points whose rows are returned."""
        new = [
            (speed, place)
            for speed, place in dict.fromkeys((s, rounded(p)) for s, p in wanted)
            if place not in self.torque_Nm[speed]
        ]
        points = [point_at(self.gear.setting(place), speed) for speed, place in new]
        if not points and not also:
            return []
        rows = self._evaluate([*points, *also])
        for (speed, place), row in zip(new, rows, strict=False):
            self.torque_Nm[speed][place] = settled_torque(row)
        return list(rows[len(new) :])

    def known(self, speed_rpm: float) -> bool:
        """Whether enough figures are there for a shape."""
        figures = [t for t in self.torque_Nm[speed_rpm].values() if math.isfinite(t)]
        return len(figures) >= least_figures(len(self.gear.axes))

    def response(self, speed_rpm: float) -> Response:
        """The response through all places run so far."""
        figures = self.torque_Nm[speed_rpm]
        kept = self._responses.get(speed_rpm)
        if kept is None or kept[0] != len(figures):
            kept = (len(figures), response(list(figures), list(figures.values())))
            self._responses[speed_rpm] = kept
        return kept[1]

    def starts(self, speeds_rpm: Iterable[float]) -> Floats:
        """Every place run at any of these speeds, (n, n_axes)."""
        places = {place for speed in speeds_rpm for place in self.torque_Nm[speed]}
        return np.array(sorted(places))

    def peaks(self, speed_rpm: float) -> list[Peak]:
        """Tops of the response at one speed, highest first."""
        begin = self.starts([speed_rpm])
        return peaks(self.response(speed_rpm), begin, self.low_deg, self.high_deg)

    def nearest_deg(self, speed_rpm: float, place: Place) -> float:
        """Crank degrees to the nearest place that gave a figure at this speed."""
        figures = self.torque_Nm[speed_rpm]
        return min(apart_deg(place, other) for other, t in figures.items() if math.isfinite(t))

    def tops(self) -> dict[float, Peak]:
        """Run until every speed's top is met; the highest top by speed."""
        waiting = [speed for speed in self.speeds_rpm if self.known(speed)]
        found: dict[float, Peak] = {}
        for _ in range(_MOST_ROUNDS):
            wanted = []
            for speed in list(waiting):
                tops = self.peaks(speed)
                found[speed] = tops[0]
                unmet = [rounded(top.place) for top in self._unmet(speed, tops)]
                wanted += [(speed, place) for place in unmet]
                if not unmet:
                    waiting.remove(speed)
            if not wanted:
                break
            self.run(wanted)
        return {speed: found[speed] for speed in self.speeds_rpm if speed in found}

    def _unmet(self, speed_rpm: float, tops: Sequence[Peak]) -> list[Peak]:
        """Tops that may be the highest and that no case was run at yet."""
        most = np.nanmax(list(self.torque_Nm[speed_rpm].values()))
        unmet = []
        for top in tops:
            apart = self.nearest_deg(speed_rpm, top.place)
            if top.value < tops[0].value * (1 - NUMERICAL_ERROR / 2) or apart <= NEAR_DEG:
                continue
            if apart > FAR_DEG or top.value > most * (1 + PART):
                unmet.append(top)
        return unmet

    def fixed_top(
        self, speeds_rpm: Sequence[float], shares: Sequence[float], begin: Floats | None = None
    ) -> Peak:
        """The one place with the largest weighted mean torque, from the responses as they are."""
        mean = blend([self.response(speed) for speed in speeds_rpm], shares)
        starts = self.starts(speeds_rpm) if begin is None else begin
        return peaks(mean, starts, self.low_deg, self.high_deg)[0]

    def fixed(self, speeds_rpm: Sequence[float], shares: Sequence[float]) -> Peak:
        """The same, run at every speed until the mean it predicts is met."""
        top = self.fixed_top(speeds_rpm, shares)
        for _ in range(_MOST_ROUNDS):
            place = rounded(top.place)
            wanted = [(s, place) for s in speeds_rpm if self.nearest_deg(s, place) > NEAR_DEG]
            self.run(wanted)
            met = sum(
                share * float(self.response(speed)(np.array([place]))[0])
                for speed, share in zip(speeds_rpm, shares, strict=True)
            )
            again = self.fixed_top(speeds_rpm, shares)
            if again.value <= met * (1 + PART):
                return Peak(place, met)
            top = again
        return top


def point_at(setting: Setting, speed_rpm: float) -> Point:
    """A setting at full load."""
    return Point(setting, Operating(speed_rpm=float(speed_rpm)))


def torque_at(survey: Survey, speeds_rpm: Sequence[float], places: Sequence[Place]) -> Floats:
    """Torque by the responses, (n_places, n_speeds)."""
    at = np.array(places, dtype=float)
    return np.stack([survey.response(speed)(at) for speed in speeds_rpm], axis=1)

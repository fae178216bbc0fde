"""The best place at each speed, and the best fixed one, among those at which the valves clear.

Most torque may stand where a valve touches, on two axes above all. Room is worked out on a coarse
lattice of the axes and laid smooth; the torque response is searched on a fine one where that leaves
room; and what is found there is checked itself. No case is run for it.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
import pandas as pd

from breathe.engine.parts import Engine, Floats
from breathe.study.checks.clear_range import spare_room
from breathe.study.gear import Axis, Gear
from breathe.study.search.place_gaps import gaps_of
from breathe.study.search.surface import Peak, response
from breathe.study.search.survey import Place, Survey, rounded, torque_at

_COARSE = {1: 9, 2: 5}
"""Places along an axis at which room is worked out, by number of axes; 3 on more."""
_FINE = {1: 161, 2: 41, 3: 15}
"""Places along an axis among which the best is sought; 8 on more."""
_MOST_TRIES = 12


def clearing(
    engine: Engine,
    survey: Survey,
    speeds_rpm: Sequence[float],
    shares: Sequence[float],
    places: Sequence[Place],
    gaps: Sequence[str],
) -> pd.DataFrame:
    """The variable cam and the best fixed one held to places that clear.

    Parameters
    ----------
    engine : Engine
    survey : Survey
    speeds_rpm : (n,) sequence of float
    shares : (n,) sequence of float
        What each speed counts; they add up to 1.
    places : (n + 1,) sequence of tuple
        Best place at each speed, then the best fixed one.
    gaps : (n + 1,) sequence of str
        The gap that fails at each; empty where none does.

    Returns
    -------
    DataFrame
        One row a speed, then one of the fixed cam with nan for its speed: role, speed, place along
        each axis, torque [Nm] (of the fixed cam the weighted mean). Empty where all places clear,
        or none of the axes' does.
    """
    if not any(gaps):
        return pd.DataFrame()
    gear = survey.gear
    lattice, room = _room(engine, gear)
    known = torque_at(survey, speeds_rpm, [rounded(p) for p in places])
    torque = torque_at(survey, speeds_rpm, [tuple(p) for p in lattice])
    wanted = [*torque.T, torque @ np.array(shares)]
    met = [*np.diag(known[:-1]), float(known[-1] @ np.array(shares))]
    rows = []
    for n, (place, gap) in enumerate(zip(places, gaps, strict=True)):
        peak = Peak(place, float(met[n]))
        if gap:
            found = _first_that_clears(engine, gear, lattice, room, wanted[n])
            if found is None:
                return pd.DataFrame()
            peak = found
        fixed = n == len(speeds_rpm)
        rows.append(
            {
                "role": "fixed" if fixed else "variable",
                "speed_rpm": np.nan if fixed else speeds_rpm[n],
                **{f"axis{k}_deg": x for k, x in enumerate(peak.place)},
                "torque_Nm": peak.value,
                "moved": bool(gap),
            }
        )
    return pd.DataFrame(rows)


def _room(engine: Engine, gear: Gear) -> tuple[Floats, Floats]:
    """A fine lattice of the axes, (m, n_axes), and the room over the rule at each place [m]."""
    count = len(gear.axes)
    coarse = _lattice(gear.axes, _COARSE.get(count, 3))
    room = response(coarse, [spare_room(engine, gear.setting(place))[0] for place in coarse])
    fine = _lattice(gear.axes, _FINE.get(count, 8))
    return fine, room(fine)


def _lattice(axes: Sequence[Axis], count: int) -> Floats:
    lines = [np.linspace(axis.low_deg, axis.high_deg, count) for axis in axes]
    return np.array(list(itertools.product(*lines)))


def _first_that_clears(
    engine: Engine, gear: Gear, lattice: Floats, room: Floats, torque: Floats
) -> Peak | None:
    """The place of most torque that clears; None where none of those tried does."""
    least = 0.0
    for _ in range(_MOST_TRIES):
        left = np.where(room >= least, torque, -np.inf)
        best = int(np.argmax(left))
        if not np.isfinite(left[best]):
            return None
        place = rounded(lattice[best])
        if not gaps_of(engine, gear, [place])[0]:
            return Peak(place, float(torque[best]))
        least = float(np.nextafter(max(room[best], 0.0), np.inf))
    return None

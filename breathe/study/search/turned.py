"""The cam degreed in elsewhere, once for all speeds: what a fixed and a variable one gain by that.

A fixed cam may be set in the engine at any centreline, and so may the one whose duration varies; a
gear without a phaser leaves that question open. Both are answered from one response over dwell and
turn at each speed.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from breathe.engine.parts import Engine, Floats
from breathe.study.gear import Axis, Gear
from breathe.study.search.place_gaps import gaps_of
from breathe.study.search.surface import Peak
from breathe.study.search.survey import FAR_DEG, Evaluate, Place, Survey, rounded, torque_at

TURN_DEG = 20.0
"""How far to either side of the file's own place, crank degrees."""
_SPREAD_DEG = 12.0
"""Apart along the dwell, two places at one turn carry its slope."""
_MOST_ROUNDS = 4
CASES_A_SPEED = 7
"""About how many further cases this takes."""


def can_turn(gear: Gear, speeds: int) -> bool:
    """Whether a turn is asked about: one sleeve of some range, no phaser, more than one speed."""
    if speeds < 2 or len(gear.axes) != 1:
        return False
    (axis,) = gear.axes
    return axis.kind == "dwell" and axis.high_deg - axis.low_deg >= _SPREAD_DEG


def turned(
    engine: Engine,
    survey: Survey,
    tops: Mapping[float, Peak],
    fixed: Peak,
    shares: Sequence[float],
    ask: Evaluate,
) -> pd.DataFrame:
    """Best turn of the best fixed cam and of the variable one.

    Parameters
    ----------
    engine : Engine
    survey : Survey
        Over one dwell axis, with what was run.
    tops : mapping
        By speed: best place of that axis.
    fixed : Peak
        Best place for all speeds.
    shares : (n_speeds,) sequence of float
        What each speed counts; they add up to 1.
    ask : callable

    Returns
    -------
    DataFrame
        A row for 'fixed' and 'variable': ``as_filed_Nm`` and ``turned_Nm`` are weighted means;
        ``turn_deg`` is in crank degrees, negative earlier; ``dwell_deg`` and ``centreline_deg``
        (after TDC for intake, before it for exhaust; nan for the variable cam) are those of the
        fixed cam turned; ``does_not_clear`` the gap that fails there.
    """
    (dwell,) = survey.gear.axes
    gear = Gear((dwell, Axis(dwell.side, "phase", -TURN_DEG, TURN_DEG)), survey.gear.steps)
    wider = Survey(gear, list(tops), ask)
    for speed in tops:
        wider.torque_Nm[speed] = {(*at, 0.0): t for at, t in survey.torque_Nm[speed].items()}
    wider.run((speed, place) for speed in tops for place in _first(dwell, tops[speed], fixed))
    still = [speed for speed in tops if wider.known(speed)]
    counted = np.array([share for speed, share in zip(tops, shares, strict=True) if speed in still])
    counted = counted / counted.sum() if counted.sum() > 0 else np.full(len(still), 1 / len(still))
    lines = _lines(gear)
    for _ in range(_MOST_ROUNDS):
        best_fixed, followed, torque = _best(wider, still, counted, lines)
        wanted = [(speed, rounded(best_fixed)) for speed in still]
        wanted += [(speed, rounded(place)) for speed, place in zip(still, followed, strict=True)]
        unmet = [(s, place) for s, place in wanted if wider.nearest_deg(s, place) > FAR_DEG]
        if not unmet:
            break
        wider.run(unmet)
    return _table(engine, gear, lines, torque, counted, best_fixed, followed)


def _first(dwell: Axis, top: Peak, fixed: Peak) -> list[Place]:
    """Places at both ends of the turn: the best fixed dwell, and one that keeps the closing."""
    places = []
    for turn in (-TURN_DEG, TURN_DEG):
        other = top.place[0] - turn
        if abs(other - fixed.place[0]) < _SPREAD_DEG / 2:
            other = fixed.place[0] - math.copysign(_SPREAD_DEG, turn)
        other = min(max(other, dwell.low_deg), dwell.high_deg)
        if abs(other - fixed.place[0]) < _SPREAD_DEG / 2:
            other = fixed.place[0] + math.copysign(_SPREAD_DEG, turn)
        places += [rounded((fixed.place[0], turn)), rounded((other, turn))]
    return places


def _lines(gear: Gear) -> tuple[Floats, Floats]:
    """Dwells and turns to look at, a degree apart."""
    dwell, turn = (np.arange(axis.low_deg, axis.high_deg + 1e-9, 1.0) for axis in gear.axes)
    return np.union1d(dwell, [gear.axes[0].high_deg]), turn


def _best(
    survey: Survey, speeds: Sequence[float], shares: Floats, lines: tuple[Floats, Floats]
) -> tuple[Place, list[Place], Floats]:
    """Best fixed place, places of the variable cam at its best turn, and all torque.

    The torque has the shape (n_dwells, n_turns, n_speeds).
    """
    dwells, turns = lines
    places = [(float(d), float(t)) for d in dwells for t in turns]
    torque = torque_at(survey, speeds, places).reshape(len(dwells), len(turns), len(speeds))
    d, t = np.unravel_index(int(np.argmax(torque @ shares)), (len(dwells), len(turns)))
    turn = int(np.argmax(torque.max(axis=0) @ shares))
    at = torque[:, turn, :].argmax(axis=0)
    followed: list[Place] = [(float(dwells[n]), float(turns[turn])) for n in at]
    return (float(dwells[d]), float(turns[t])), followed, torque


def _table(
    engine: Engine,
    gear: Gear,
    lines: tuple[Floats, Floats],
    torque: Floats,
    shares: Floats,
    fixed: Place,
    followed: Sequence[Place],
) -> pd.DataFrame:
    """As `turned` gives it."""
    own = int(np.argmin(np.abs(lines[1])))
    fixed_means, variable_means = torque @ shares, torque.max(axis=0) @ shares
    gaps = gaps_of(engine, gear, [fixed, *followed])
    return pd.DataFrame(
        {
            "role": ["fixed", "variable"],
            "turn_deg": [fixed[1], followed[0][1]],
            "dwell_deg": [fixed[0], math.nan],
            "centreline_deg": [centreline_deg(engine, gear.axes[0], *fixed), math.nan],
            "as_filed_Nm": [fixed_means[:, own].max(), variable_means[own]],
            "turned_Nm": [fixed_means.max(), variable_means.max()],
            "does_not_clear": [gaps[0], next((gap for gap in gaps[1:] if gap), "")],
        }
    )


def centreline_deg(engine: Engine, axis: Axis, dwell_deg: float, turn_deg: float) -> float:
    """Middle of the opening as a cam card has it: after TDC for intake, before it for exhaust."""
    cam = engine.intake_cam if axis.side == "intake" else engine.exhaust_cam
    assert cam.sleeve is not None
    later = dwell_deg * (cam.sleeve.closing_share - 0.5) + turn_deg
    return cam.centreline_deg + (later if axis.side == "intake" else -later)

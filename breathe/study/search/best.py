"""The best setting at each speed, the best fixed cam, and what one gains over the other."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from breathe.engine.parts import Engine, Floats, Setting
from breathe.errors import BreatheError
from breathe.study.answer import AxisNote, Best
from breathe.study.checks.clearance import does_not_clear
from breathe.study.choose import bare, default_speeds, speeds_of
from breathe.study.crossings import tied
from breathe.study.evaluate import Evaluator
from breathe.study.gear import Axis, Gear, gear_of, law_known
from breathe.study.search.cam_gains import cams_table
from breathe.study.search.clearing import clearing
from breathe.study.search.place_gaps import gaps_of, unknown
from breathe.study.search.steps import steps_table
from breathe.study.search.surface import Peak
from breathe.study.search.survey import (
    Evaluate,
    Place,
    Survey,
    design,
    point_at,
    settled_torque,
    torque_at,
)
from breathe.study.search.turned import CASES_A_SPEED, can_turn, turned
from breathe.study.search.weights import Weights, weights_of

OFF_DEG = 12.0
"""How wrong a setting is for its price, crank degrees."""
_SCAN_DEG = 0.5
_MOST_CANDIDATES = 160
_STILL_DEG = 0.5
"""An axis shorter than this does not move."""


@dataclass(frozen=True, slots=True)
class Searched:
    """What a search over the axes found; `reach` goes on from here."""

    survey: Survey
    tops: Mapping[float, Peak]
    """By speed; a speed without enough figures is missing."""
    fixed: Peak
    steps_Nm: Mapping[str, Floats]
    """(n_speeds of ``tops``,) torque of settings that no axis leads to, by label."""

    @property
    def speeds_rpm(self) -> tuple[float, ...]:
        return tuple(self.tops)


def moving(engine: Engine) -> Gear:
    """The engine's gear without what hardly moves."""
    gear = gear_of(engine)
    axes = tuple(axis for axis in gear.axes if axis.high_deg - axis.low_deg > _STILL_DEG)
    return gear if axes == gear.axes else Gear(axes, gear_of(engine).steps)


def best(
    engine: Engine,
    speeds_rpm: Sequence[float] | None = None,
    weights: str | None = None,
    *,
    evaluate: Evaluate | None = None,
    threads: int | None = None,
) -> Best:
    """Search the best setting at each speed, full load, and the best fixed one.

    Parameters
    ----------
    engine : Engine
    speeds_rpm : sequence of float, optional
        By default round steps up to the engine's limit.
    weights : str, optional
        What each speed counts, as `weights.weights_of` takes it; by default all the same.
    evaluate : callable, optional
        Points -> rows; by default an `Evaluator` of this engine.
    threads : int, optional

    Returns
    -------
    Best
        Tidy tables in SI, units in the column names.

    Raises
    ------
    BreatheError
        Speeds or weights that cannot be meant; too few cases settled, at every speed.
    """
    speeds = default_speeds(engine) if speeds_rpm is None else speeds_of(sorted(speeds_rpm))
    counted = weights_of(weights, speeds)
    ask = evaluate or Evaluator(engine, threads=threads)
    gear = moving(engine)
    if not gear.axes:
        return _among_settings(engine, speeds, counted, ask)
    found = searched(engine, gear, speeds, counted, ask)
    return _along_axes(engine, gear, speeds, counted, found, ask)


def about_cases(engine: Engine, speeds_rpm: Sequence[float], *, turning: bool = True) -> int:
    """Roughly how many cases a search takes, turned cams among them; only for the time left."""
    gear = moving(engine)
    beside = len([s for s in engine.settings if gear.place(s) is None])
    if not gear.axes:
        return len(speeds_rpm) * len(engine.settings)
    turns = CASES_A_SPEED if turning and can_turn(gear, len(speeds_rpm)) else 0
    return len(speeds_rpm) * (len(design(gear.axes)) + beside + len(gear.axes) + 1 + turns)


def searched(
    engine: Engine,
    gear: Gear,
    speeds: Sequence[float],
    weights: Weights,
    ask: Evaluate,
    built_deg: Sequence[float] | None = None,
) -> Searched:
    """Run until the top at each speed and the best fixed place are met.

    Raises
    ------
    BreatheError
        Too few cases settled, at every speed.
    """
    survey = Survey(gear, speeds, ask)
    beside = [s for s in engine.settings if gear.place(s) is None]
    standard = _standard(engine)
    placed = gear.place(standard)
    first = [(speed, place) for speed in speeds for place in design(gear.axes, built_deg)]
    also = [point_at(setting, speed) for setting in beside for speed in speeds]
    rows = survey.run(first, also)
    steps = {
        setting.label: [settled_torque(row) for row in rows[n * len(speeds) :][: len(speeds)]]
        for n, setting in enumerate(beside)
    }
    if placed is not None:
        survey.run((speed, placed) for speed in speeds)
    tops = survey.tops()
    at = [n for n, speed in enumerate(speeds) if speed in tops]
    if not at:
        raise _nothing_settled(engine, speeds)
    shares = shares_at(weights, at)
    fixed = survey.fixed(list(tops), shares)
    tops = survey.tops()  # the cases of the fixed place have changed the responses
    return Searched(
        survey, tops, fixed, {label: np.array(torque)[at] for label, torque in steps.items()}
    )


def _nothing_settled(engine: Engine, speeds: Sequence[float]) -> BreatheError:
    listed = ", ".join(f"{speed:.0f}" for speed in speeds)
    return BreatheError(
        f"{engine.source_file or engine.name}: too few cases settled at {listed} rpm to tell a "
        "best setting at any speed. `breathe compare` at these speeds says why of each case; "
        "`breathe explain` lists what is unusual in the engine file"
    )


def _standard(engine: Engine) -> Setting:
    return next(s for s in engine.settings if s.label == engine.standard)


def shares_at(weights: Weights, at: Sequence[int]) -> list[float]:
    """Weights of the speeds that gave an answer; all the same if those count nothing."""
    kept = np.array(weights.shares)[list(at)]
    kept = kept if kept.sum() > 0 else np.ones(len(kept))
    return [float(share) for share in kept / kept.sum()]


# --- Along axes -----------------------------------------------------------------------------------


def _along_axes(
    engine: Engine,
    gear: Gear,
    speeds: Sequence[float],
    weights: Weights,
    found: Searched,
    ask: Evaluate,
) -> Best:
    survey, at = found.survey, list(found.tops)
    shares = shares_at(weights, [n for n, speed in enumerate(speeds) if speed in found.tops])
    fixed = torque_at(survey, at, [found.fixed.place])[0]
    best_places = [*(found.tops[s].place for s in at), found.fixed.place]
    gaps = gaps_of(engine, gear, best_places)
    # Where a speed's own top is the fixed place, both may differ by what a top need not be met by.
    variable = np.maximum([found.tops[speed].value for speed in at], fixed)
    placed = gear.place(_standard(engine))
    standard = (
        found.steps_Nm[engine.standard] if placed is None else torque_at(survey, at, [placed])[0]
    )
    by_speed = pd.DataFrame({"speed_rpm": at, "weight": shares, "torque_Nm": variable})
    by_speed["fixed_torque_Nm"], by_speed["standard_torque_Nm"] = fixed, standard
    for n, axis in enumerate(gear.axes):
        low, high = zip(*(_as_good(survey, s, found.tops[s], n) for s in at), strict=True)
        column = f"{axis.side}_{axis.kind}"
        by_speed[f"{column}_deg"] = [found.tops[speed].place[n] for speed in at]
        by_speed[f"{column}_low_deg"], by_speed[f"{column}_high_deg"] = low, high
    by_speed["does_not_clear"] = gaps[:-1]
    others = [("other", *item) for item in found.steps_Nm.items() if item[0] != engine.standard]
    fixed_cams = [("fixed", "", fixed), ("standard", engine.standard, standard), *others]
    places, torque = _candidates(found)
    return Best(
        axes=tuple(axis_note(engine, axis) for axis in gear.axes),
        standard=engine.standard,
        weights=weights.asked,
        fixed_place_deg=found.fixed.place,
        by_speed=by_speed,
        cams=cams_table(at, shares, variable, fixed_cams),
        steps=steps_table(at, shares, torque, fixed @ np.array(shares), variable, places=places),
        price=_price(survey, at, found.tops),
        tops=_other_tops(survey, found.tops),
        turned=turned(engine, survey, found.tops, found.fixed, shares, ask)
        if can_turn(gear, len(at))
        else pd.DataFrame(),
        clearing=clearing(engine, survey, at, shares, best_places, gaps),
        fixed_does_not_clear=gaps[-1],
        unknown_clearances=unknown(engine),
        notices=weights.notices,
        left_out_rpm=tuple(s for s in speeds if s not in found.tops),
        settings_in_file=len(engine.settings),
    )


def _as_good(survey: Survey, speed: float, top: Peak, axis: int) -> tuple[float, float]:
    """Ends of the stretch along an axis, through the top, on which torque ties with it."""
    low, high = survey.low_deg[axis], survey.high_deg[axis]
    line = np.unique(np.append(np.arange(low, high, _SCAN_DEG), [top.place[axis], high]))
    places = np.tile(np.array(top.place), (len(line), 1))
    places[:, axis] = line
    good = tied(survey.response(speed)(places), top.value)
    here = int(np.argmin(np.abs(line - top.place[axis])))
    good[here] = True
    below, above = np.flatnonzero(~good[:here]), np.flatnonzero(~good[here:])
    first = int(below[-1]) + 1 if len(below) else 0
    last = here + int(above[0]) - 1 if len(above) else len(line) - 1
    return float(line[first]), float(line[last])


def _other_tops(survey: Survey, tops: Mapping[float, Peak]) -> pd.DataFrame:
    """Further humps that tie with the best, out of the stretch round it."""
    rows = []
    for speed, top in tops.items():
        for other in survey.peaks(speed)[1:]:
            if not tied(other.value, top.value):
                continue
            spans = [_as_good(survey, speed, top, n) for n in range(len(top.place))]
            if any(not a <= x <= b for x, (a, b) in zip(other.place, spans, strict=True)):
                rows.append({"speed_rpm": speed, "torque_Nm": other.value}
                            | {f"axis{n}_deg": x for n, x in enumerate(other.place)})  # fmt: skip
    return pd.DataFrame(rows)


def _price(survey: Survey, speeds: Sequence[float], tops: Mapping[float, Peak]) -> pd.DataFrame:
    """Share of torque lost by standing `OFF_DEG` off along each axis; nan beyond its ends."""
    rows = []
    for speed, (n, axis), off in itertools.product(
        speeds, enumerate(survey.gear.axes), (-OFF_DEG, OFF_DEG)
    ):
        place = list(tops[speed].place)
        place[n] += off
        inside = axis.low_deg <= place[n] <= axis.high_deg
        there = float(survey.response(speed)(np.array([place]))[0]) if inside else math.nan
        rows.append(
            {
                "speed_rpm": speed,
                "axis": axis.name,
                "off_deg": off,
                "change": there / tops[speed].value - 1,
            }
        )
    return pd.DataFrame(rows)


def _candidates(found: Searched) -> tuple[list[Place], Floats]:
    """Places to choose steps from, and the torque there: a lattice, all tops, the best fixed."""
    survey, axes = found.survey, found.survey.gear.axes
    count = max(2, round(_MOST_CANDIDATES ** (1 / len(axes))))
    lines = [np.linspace(axis.low_deg, axis.high_deg, count) for axis in axes]
    lattice = [tuple(float(x) for x in place) for place in itertools.product(*lines)]
    places = [*lattice, *(top.place for top in found.tops.values()), found.fixed.place]
    return places, torque_at(survey, list(found.tops), places)


# --- Among the settings of the file ---------------------------------------------------------------


def _among_settings(
    engine: Engine, speeds: Sequence[float], weights: Weights, ask: Evaluate
) -> Best:
    """No axis: the file's settings are ranked, and stepping between them is the variable cam."""
    labels = [setting.label for setting in engine.settings]
    rows = ask([point_at(setting, speed) for setting in engine.settings for speed in speeds])
    table = np.array([settled_torque(row) for row in rows]).reshape(len(labels), len(speeds))
    known = np.flatnonzero(np.isfinite(table).all(axis=0))
    if not len(known):
        raise _nothing_settled(engine, speeds)
    table, at = table[:, known], [speeds[int(n)] for n in known]
    shares = shares_at(weights, [int(n) for n in known])
    variable = table.max(axis=0)
    means = table @ np.array(shares)
    order = np.argsort(-means, kind="stable")
    by_speed = pd.DataFrame({"speed_rpm": at, "weight": shares, "torque_Nm": variable})
    by_speed["fixed_torque_Nm"] = table[order[0]]
    by_speed["standard_torque_Nm"] = table[labels.index(engine.standard)]
    failing = does_not_clear(engine, engine.settings) if engine.mechanics is not None else {}
    winners = [labels[int(n)] for n in table.argmax(axis=0)]
    by_speed["does_not_clear"] = [failing.get(label, "") for label in winners]
    by_speed["setting"] = [
        ", ".join(labels[int(m)] for m in highest if tied(table[m, n], variable[n]))
        for n, highest in enumerate(np.argsort(-table, axis=0, kind="stable").T)
    ]
    ranked = [
        ("standard" if labels[n] == engine.standard else "other", labels[n], table[n])
        for n in order
        if n != order[0] or labels[n] == engine.standard
    ]
    ranked.insert(0, ("fixed", labels[order[0]], table[order[0]]))
    return Best(
        axes=(),
        standard=engine.standard,
        weights=weights.asked,
        fixed_place_deg=(),
        by_speed=by_speed,
        cams=cams_table(at, shares, variable, ranked),
        steps=steps_table(at, shares, table, float(means.max()), variable, labels=labels),
        price=pd.DataFrame(),
        tops=pd.DataFrame(),
        turned=pd.DataFrame(),
        clearing=pd.DataFrame(),
        fixed_does_not_clear=failing.get(labels[order[0]], ""),
        unknown_clearances=unknown(engine),
        notices=weights.notices,
        left_out_rpm=tuple(s for n, s in enumerate(speeds) if n not in known),
        settings_in_file=len(labels),
    )


# --- Axes as a page names them -------------------------------------------------------------------


def axis_note(engine: Engine, axis: Axis) -> AxisNote:
    """An axis as a page names it."""
    return AxisNote(
        side=axis.side,
        kind=axis.kind,
        low_deg=axis.low_deg,
        high_deg=axis.high_deg,
        deg_per_m=axis.deg_per_m if law_known(engine, axis) else 0.0,
        rest_deg=rest_duration_deg(engine, axis) if axis.kind == "dwell" else None,
    )


def rest_duration_deg(engine: Engine, axis: Axis) -> float | None:
    """Duration without travel, as the engine file counts it; None if it does not.

    A label of a setting counts that is a number of degrees and that moves nothing but this sleeve;
    without one the cam card does.
    """
    travel = f"{axis.side}_travel_m"
    for setting in engine.settings:
        moved = getattr(setting, travel)
        if setting != Setting(label=setting.label, **{travel: moved}):
            continue
        if axis.side == "exhaust" and not moved:
            continue  # the duration is the intake's
        try:
            named = float(bare(setting.label))
        except ValueError:
            continue
        if 100 < named < 500:
            return named - moved * axis.deg_per_m
    cards = [card for card in engine.cards if card.side == axis.side]
    return cards[0].closes_deg - cards[0].opens_deg if cards else None

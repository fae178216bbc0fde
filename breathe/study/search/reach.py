"""What range of travel brings: gain against range, the best place of it, and what fits."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
import pandas as pd

from breathe.engine.cams import STAND_IN_DEG_PER_M
from breathe.engine.mechanics import SideMechanics
from breathe.engine.parts import Cam, Engine, Floats, Side, Sleeve
from breathe.errors import BreatheError
from breathe.study.answer import Reach
from breathe.study.choose import default_speeds, speeds_of
from breathe.study.compare import Row
from breathe.study.evaluate import Evaluator, Point
from breathe.study.gear import Gear
from breathe.study.search.best import (
    Searched,
    axis_note,
    moving,
    searched,
    shares_at,
)
from breathe.study.search.place_gaps import gaps_of, unknown
from breathe.study.search.range_room import fit, in_room
from breathe.study.search.ranges import STEP_DEG, Window, knee_deg, listed, windows_of
from breathe.study.search.survey import Evaluate
from breathe.study.search.weights import weights_of
from breathe.valvetrain.dwell import lift_curve
from breathe.valvetrain.room import longest_duration_deg

Hold = Literal["opening", "centre", "closing"]

NEARLY_ALL = 0.9
_AT_REST_DEG = 0.5
"""A best dwell below this is none."""
_CLOSING_SHARE = {"opening": 1.0, "centre": 0.5, "closing": 0.0}


@dataclass(frozen=True, slots=True)
class Asked:
    """An engine with its gear as long as the question, beside the engine as built."""

    built: Engine
    longer: Engine
    gear: Gear
    built_deg: tuple[float, ...]
    """Empty where the file has no sleeve and one is imagined."""


def reach(
    engine: Engine,
    speeds_rpm: Sequence[float] | None = None,
    weights: str | None = None,
    *,
    up_to_deg: float | None = None,
    hold: Hold | None = None,
    evaluators: Callable[[Engine], Evaluate] | None = None,
    threads: int | None = None,
) -> Reach:
    """Gain of every range of travel over none, full load, from the search that `best` makes.

    Parameters
    ----------
    engine : Engine
    speeds_rpm, weights
        As for `best`.
    up_to_deg : float, optional
        Longest range to ask about, crank degrees of added duration; by default what the sleeve has.
        A longer sleeve, or one the file does not have, is imagined.
    hold : 'opening', 'centre' or 'closing', optional
        Point of the intake opening that its sleeve keeps; by default the file's, and the opening
        of a sleeve the file does not have.
    evaluators : callable, optional
        Engine -> evaluator; by default an `Evaluator` of each.
    threads : int, optional

    Returns
    -------
    Reach
        Tidy tables in SI, units in the column names.

    Raises
    ------
    BreatheError
        Nothing moves and no range is asked about; a range no lobe can have; too few cases settled,
        at every speed.
    """
    speeds = default_speeds(engine) if speeds_rpm is None else speeds_of(sorted(speeds_rpm))
    counted = weights_of(weights, speeds)
    wanted = asked_about(engine, up_to_deg, hold)
    ask = _split(wanted, evaluators or (lambda one: Evaluator(one, threads=threads)))
    found = searched(wanted.longer, wanted.gear, speeds, counted, ask, wanted.built_deg or None)
    notes = [axis_note(wanted.longer, axis) for axis in wanted.gear.axes]
    shares = np.array(shares_at(counted, [n for n, x in enumerate(speeds) if x in found.tops]))
    along = [
        _along(wanted, found, n, shares, up_to_deg, note.deg_per_m) for n, note in enumerate(notes)
    ]
    return Reach(
        axes=tuple(notes),
        built_deg=wanted.built_deg,
        held=hold or "",
        weights=counted.asked,
        by_range=pd.concat([table for table, _ in along], ignore_index=True),
        by_axis=pd.DataFrame([row for _, row in along]),
        speeds_rpm=found.speeds_rpm,
        unknown_clearances=unknown(engine),
        notices=counted.notices,
        left_out_rpm=tuple(speed for speed in speeds if speed not in found.tops),
    )


# --- What is asked about --------------------------------------------------------------------------


def asked_about(engine: Engine, up_to_deg: float | None, hold: Hold | None) -> Asked:
    """The engine with every sleeve as long as asked.

    Raises
    ------
    BreatheError
        As `reach`.
    """
    engine = _holding(engine, hold)
    gear = moving(engine)
    if not any(axis.kind == "dwell" for axis in gear.axes) and up_to_deg is not None:
        cam = engine.intake_cam
        travel = up_to_deg / STAND_IN_DEG_PER_M
        sleeve = Sleeve(
            travel_max_m=travel,
            crank_deg_per_m=STAND_IN_DEG_PER_M,
            closing_share=_CLOSING_SHARE[hold or "opening"],
            law_known=False,
        )
        longer = replace(engine, intake_cam=replace(cam, sleeve=sleeve))
        _check_seats(longer, "intake", up_to_deg)
        return Asked(engine, longer, moving(longer), ())
    if not gear.axes:
        raise BreatheError(
            f"{engine.source_file or engine.name}: nothing moves, so there is no range of travel "
            'to judge. Give --up-to "60 deg crank" to ask what a sleeve on the intake cam would '
            "bring."
        )
    longer = engine
    for axis in gear.axes:
        if axis.kind == "dwell" and up_to_deg is not None and up_to_deg > axis.high_deg:
            longer = lengthened(longer, axis.side, up_to_deg)
            _check_seats(longer, axis.side, up_to_deg)
    built = tuple(axis.high_deg for axis in gear.axes)
    return Asked(engine, longer, moving(longer), built)


def _holding(engine: Engine, hold: Hold | None) -> Engine:
    """The engine with the intake sleeve it has holding another point."""
    sleeve = engine.intake_cam.sleeve
    if hold is None or sleeve is None:
        return engine
    other = replace(sleeve, closing_share=_CLOSING_SHARE[hold])
    return replace(engine, intake_cam=replace(engine.intake_cam, sleeve=other))


def lengthened(engine: Engine, side: Side, degrees: float) -> Engine:
    """The engine with a sleeve that adds up to ``degrees`` of duration."""
    cam: Cam = engine.intake_cam if side == "intake" else engine.exhaust_cam
    assert cam.sleeve is not None
    travel = degrees / cam.sleeve.crank_deg_per_m
    longer = replace(cam, sleeve=replace(cam.sleeve, travel_max_m=travel))
    if side == "intake":
        return replace(engine, intake_cam=longer)
    return replace(engine, exhaust_cam=longer)


def _check_seats(engine: Engine, side: Side, degrees: float) -> None:
    cam = engine.intake_cam if side == "intake" else engine.exhaust_cam
    curve = lift_curve(cam, side=side)
    room = longest_duration_deg() - float(curve.x[-1] - curve.x[0])
    if degrees > room:
        raise BreatheError(
            f"--up-to: found {degrees:g} deg crank; the {side} lobe can take {max(room, 0.0):.0f} "
            "at most, or its valve is hardly seated"
        )


def _split(wanted: Asked, evaluators: Callable[[Engine], Evaluate]) -> Evaluate:
    """Points that the engine as built can take are asked of it, so that they are known again."""
    own = evaluators(wanted.built)
    if wanted.longer is wanted.built:
        return own
    other = evaluators(wanted.longer)

    def ask(points: Sequence[Point]) -> list[Row]:
        inside = [_within(wanted.built, point) for point in points]
        ours = iter(own([p for p, mine in zip(points, inside, strict=True) if mine]))
        theirs = iter(other([p for p, mine in zip(points, inside, strict=True) if not mine]))
        return [next(ours if mine else theirs) for mine in inside]

    return ask


def _within(engine: Engine, point: Point) -> bool:
    for cam, travel in (
        (engine.intake_cam, point.setting.intake_travel_m),
        (engine.exhaust_cam, point.setting.exhaust_travel_m),
    ):
        room = 0.0 if cam.sleeve is None else cam.sleeve.travel_max_m
        if travel > room * (1 + 1e-9):
            return False
    return True


def _ends_that_fail(
    wanted: Asked, found: Searched, axis: int, windows: Sequence[Window]
) -> list[str]:
    """The gap that fails at the low or the high end of each range, the rest at the fixed place."""
    ends = []
    for one in windows:
        for x in (one.low_deg, one.high_deg):
            place = list(found.fixed.place)
            place[axis] = x
            ends.append(place)
    gaps = gaps_of(wanted.longer, wanted.gear, ends)
    return [low or high for low, high in zip(gaps[::2], gaps[1::2], strict=True)]


def _mechanics(engine: Engine, side: Side) -> SideMechanics | None:
    return engine.mechanics.of(side) if engine.mechanics is not None else None


# --- Tables ---------------------------------------------------------------------------------------


def _along(
    wanted: Asked,
    found: Searched,
    n: int,
    shares: Floats,
    up_to_deg: float | None,
    rate: float,
) -> tuple[pd.DataFrame, dict[str, Any]]:
    """The ranges of the axis ``n`` listed, and what they come to; ``rate`` as for `_by_range`."""
    axis = wanted.gear.axes[n]
    windows = windows_of(found, n, shares, up_to_deg if axis.kind == "dwell" else None)
    shown, side = listed(windows), _mechanics(wanted.built, axis.side)
    table = _by_range(axis.name, shown, rate, side)
    table["does_not_clear"] = _ends_that_fail(wanted, found, n, shown)
    row = _by_axis(axis.name, table, windows)
    row["shortest_best"] = sum(top.place[n] < _AT_REST_DEG for top in found.tops.values())
    if rate and side is not None and side.room is not None:
        row |= in_room(rate, side, side.room, windows)
    return table, row


def _by_range(
    name: str, windows: Sequence[Window], rate: float, side: SideMechanics | None
) -> pd.DataFrame:
    """One row a range; ``rate`` [deg crank/m] is 0 where there is no travel to tell."""
    rows: list[dict[str, Any]] = []
    for before, one in zip([None, *windows], windows, strict=False):
        gain = one.mean_Nm / windows[0].mean_Nm - 1
        wider = one.range_deg - before.range_deg if before else math.nan
        added = gain - rows[-1]["gain"] if before else math.nan
        rows.append(
            {
                "axis": name,
                "range_deg": one.range_deg,
                "low_deg": one.low_deg,
                "high_deg": one.high_deg,
                "weighted_Nm": one.mean_Nm,
                "gain": gain,
                "added_per_12_deg": added * STEP_DEG / wider,
                "added_per_m": added * rate / wider if rate else math.nan,
                "travel_m": one.range_deg / rate if rate else math.nan,
                **fit(one.range_deg, rate, side),
            }
        )
    return pd.DataFrame(rows)


def _by_axis(name: str, table: pd.DataFrame, windows: Sequence[Window]) -> dict[str, Any]:
    none = windows[0].mean_Nm
    whole = windows[-1].mean_Nm - none
    enough = next(one for one in windows if one.mean_Nm - none >= NEARLY_ALL * whole)
    return {
        "axis": name,
        "whole_gain": whole / none,
        "knee_deg": knee_deg(table),
        "nearly_all_deg": enough.range_deg,
        "nearly_all_low_deg": enough.low_deg,
        "nearly_all_high_deg": enough.high_deg,
        "nearly_all_gain": enough.mean_Nm / none - 1,
    }

"""A finished control map as plain tables and facts: kept with a run, printed without the engine."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
import pandas as pd

from breathe.cycle.compression import compression_from
from breathe.engine.parts import Engine, Setting
from breathe.study.answer import Kept
from breathe.study.control.anchors import anchor_facts
from breathe.study.control.asked import Question, setting_at
from breathe.study.control.cases import MOST_DETAILED, Check
from breathe.study.control.cells import Cell, bmep_of
from breathe.study.control.control import ControlMap
from breathe.study.control.equal_torque import cell_figures, side_by_side
from breathe.study.control.gear_change import (
    Actuator,
    Change,
    Traverse,
    change_gear,
    time_to_cross_s,
)
from breathe.study.control.judge_map import judged
from breathe.study.control.limit_facts import fallback_facts, limit_facts, pedal_facts
from breathe.study.control.map_file import Table
from breathe.study.control.smooth_map import Step, steepest
from breathe.study.control.typed_map import TypedMap
from breathe.study.crossings import NUMERICAL_ERROR
from breathe.study.fingerprint import fingerprint
from breathe.study.gear import Gear
from breathe.valvetrain.dwell import lift_curve
from breathe.valvetrain.timing import SEAT_HEIGHT_M

_BDC_DEG = 540.0
_LATER_DEG = 20.0
_TRAVERSE_STEP_S = 0.025


@dataclass(frozen=True, slots=True, kw_only=True)
class Control(Kept):
    """A control map. Tables in SI, units in the column names; settings in what is shown."""

    cells: pd.DataFrame
    """One row a cell."""
    equal: pd.DataFrame
    """One row a setting and cell at equal torque; empty for a map of many cells."""
    start: pd.DataFrame
    """One row a cell of the tuner's own map, judged; empty without one."""
    change: pd.DataFrame
    """The traverse of a gear change; empty without a slew limit."""
    facts: dict[str, Any]
    """Axes, limits, steps, actuator, fallback, checks, fingerprints."""
    notices: tuple[str, ...] = ()

    def main_table(self) -> pd.DataFrame:
        return self.cells

    def table(self, column: str = "setting") -> Table:
        """One column over the axes; units of the file."""
        shown, load = self.facts["shown"], self.facts["load"]
        wide = self.cells.pivot(index="load", columns="speed_rpm", values=column)
        return Table(
            name=shown["name"],
            unit=shown["unit"],
            load_name=load["name"],
            load_unit=load["unit"],
            speeds_rpm=tuple(float(x) for x in wide.columns),
            loads=tuple(round(float(x) / load["si"], 6) for x in wide.index),
            values=wide.to_numpy(dtype=float),
            step=self.facts["step"],
        )


def answer_of(
    found: ControlMap,
    change: Change | None = None,
    start: TypedMap | None = None,
    notices: Sequence[str] = (),
) -> Control:
    """A finished map as it is kept.

    Parameters
    ----------
    found : ControlMap
    change : Change, optional
        A gear change to drive the map through.
    start : TypedMap, optional
        The tuner's own map, to be judged.
    notices : sequence of str
        What was understood and done on the way.
    """
    question = found.question
    facts: dict[str, Any] = {
        "shown": asdict(question.shown),
        "load": {**asdict(question.scale), "name": question.scale.name},
        "moves": found.axis.name,
        "stands_deg": {
            axis.name: (question.stand_deg or (0.0,) * len(found.gear.axes))[n]
            for n, axis in enumerate(found.gear.axes)
            if n != question.axis
        },
        "deg_per_mm": found.axis.deg_per_m / 1e3,
        "step": question.step,
        "give_up": question.give_up,
        "tie": NUMERICAL_ERROR,
        "part_load_lambda": question.part_load_lambda,
        "full_load_lambda": found.engine.fuel.lambda_full_load,
        "safe": [question.shown.of(x) for x in question.limits.safe_deg],
        "limits": limit_facts(found),
        "clear": asdict(question.limits.clear),
        "vacuum": asdict(question.limits.vacuum) if question.limits.vacuum else None,
        "fallback": fallback_facts(found),
        "steepest": _steepest(found),
        "actuator": _actuator(found),
        "pedal": pedal_facts(found),
        "throttle_needed": _throttle_needed(found),
        "checks": check_facts(found.checks, found.cells),
        "anchors": anchor_facts(found),
        "model_runs": len(found.keys),
        # The gaps decide the safe range, which no cycle knows.
        "engine_fingerprint": fingerprint(found.engine, found.engine.mechanics),
        "data_fingerprint": fingerprint(*found.keys, *question.anchors),
    }
    return Control(
        cells=_cells(found),
        equal=_equal(found),
        start=judged(found, start) if start is not None else pd.DataFrame(),
        change=_traverse(found, change),
        facts=facts,
        notices=tuple(notices),
    )


def _cells(found: ControlMap) -> pd.DataFrame:
    """One row a cell; without figures where a cell only holds what its neighbour wants."""
    question = found.question
    support, against, given_up = found.support(), found.against_standard(), found.given_up
    flat, (low, high) = found.flat_deg, found.cell_range_deg
    checks = {(c.row, c.column): c for c in found.checks}
    rows = []
    for i, line in enumerate(found.cells):
        for j, cell in enumerate(line):
            x = float(found.values_deg[i, j])
            figures = cell_figures(
                found.engine,
                cell,
                cell.figures_at(x),
                checks.get((i, j)),
                given_up=float(given_up[i, j]),
                as_good_deg=float(flat[i, j]),
                against_standard=float(against[i, j]),
            )
            rows.append(
                {
                    "speed_rpm": cell.speed_rpm,
                    "load": cell.load,
                    "kind": cell.kind,
                    "support": support[i][j],
                    "setting": round(question.shown.of(x), 6),
                    "wanted": question.shown.of(cell.best_deg),
                    "low": question.shown.of(float(low[i, j])),
                    "high": question.shown.of(float(high[i, j])),
                    "travel_m": x / found.axis.deg_per_m if found.axis.deg_per_m else math.nan,
                    **figures,
                    "held_by": ", ".join(cell.bound),
                    "not_kept": ", ".join(cell.broken),
                }
            )
    return pd.DataFrame(rows)


def _equal(found: ControlMap) -> pd.DataFrame:
    """Settings side by side at equal torque, for a map of few cells."""
    if found.values_deg.size > MOST_DETAILED:
        return pd.DataFrame()
    return side_by_side(found.engine, found.cells, found.at_speeds, found.slower)


def _steepest(found: ControlMap) -> dict[str, Any]:
    question = found.question
    loads = [x / question.scale.si for x in question.loads]
    values = found.values_deg
    told: dict[str, Any] = {"speed": None, "load": None}
    if len(question.speeds_rpm) > 1:
        told["speed"] = _step(steepest(values, question.speeds_rpm, loads, 1))
    if len(loads) > 1:
        told["load"] = _step(steepest(values, question.speeds_rpm, loads, 0))
    return told


def _step(step: Step) -> dict[str, Any]:
    return {"per_unit": step.per_unit, "from": list(step.from_), "to": list(step.to)}


def _actuator(found: ControlMap) -> dict[str, Any]:
    question = found.question
    slew = question.slew_deg_per_s
    low, high = question.limits.safe_deg
    return {
        "slew_deg_per_s": slew,
        "hysteresis_deg": question.hysteresis_deg,
        "rev_rate_rpm_per_s": question.rev_rate_rpm_per_s,
        "steepest_deg_per_rpm": question.steepest,
        "followed": found.followed,
        "cross_s": time_to_cross_s(high - low, slew) if slew else None,
        "used_cross_s": time_to_cross_s(float(np.ptp(found.values_deg)), slew) if slew else None,
        "used_deg": float(np.ptp(found.values_deg)),
    }


def closing_deg(engine: Engine, gear: Gear, question: Question, degrees: float) -> float:
    """Where the intake valve closes after BDC on its card: at the seat height, lash not off."""
    setting: Setting = setting_at(gear, question, degrees)
    cam = setting.intake_cam or engine.intake_cam
    curve = lift_curve(
        cam,
        travel_m=setting.intake_travel_m,
        shift_deg=setting.intake_shift_deg,
        stretch=setting.intake_stretch,
        side="intake",
    )
    crossings = curve.solve(SEAT_HEIGHT_M, extrapolate=False)
    return float(np.nanmax(crossings)) - _BDC_DEG


def stroke_left(engine: Engine, closing_abdc_deg: float) -> float:
    """Share of the swept volume still to be compressed where the intake valve closes [-]."""
    ratio = compression_from(engine.cylinder, _BDC_DEG + closing_abdc_deg)
    return (ratio - 1.0) / (engine.cylinder.compression_ratio - 1.0)


def _throttle_needed(found: ControlMap) -> dict[str, Any] | None:
    """The latest closing, what it leaves, and the load that the open throttle then still gives."""
    question, engine = found.question, found.engine
    if found.axis.side != "intake":
        return None
    longest = question.limits.safe_deg[1]
    closes = closing_deg(engine, found.gear, question, longest)
    open_ = {
        at.speed_rpm: bmep_of(engine, at.sweeps[-1].most_Nm)
        for at in found.at_speeds
        if math.isfinite(at.sweeps[-1].most_Nm)
    }
    if not open_:
        return None
    speed = min(open_, key=lambda n: open_[n])
    return {
        "setting": question.shown.of(longest),
        "closes_abdc_deg": closes,
        "stroke_left": stroke_left(engine, closes),
        "later_abdc_deg": closes + _LATER_DEG,
        "later_stroke_left": stroke_left(engine, closes + _LATER_DEG),
        "open_bmep_Pa": open_[speed],
        "open_speed_rpm": speed,
        "open_bmep_most_Pa": max(open_.values()),
        "open_most_speed_rpm": max(open_, key=lambda n: open_[n]),
    }


def check_facts(checks: Sequence[Check], cells: Sequence[Sequence[Cell]]) -> dict[str, Any]:
    """How far cells that were run lie off what the curves say."""
    good = [c for c in checks if c.settled]
    if not good:
        return {"count": len(checks), "settled": 0}

    def worst(name: str) -> dict[str, Any]:
        one = max(good, key=lambda c: abs(getattr(c, name)))
        cell = cells[one.row][one.column]
        return {"off": getattr(one, name), "speed_rpm": cell.speed_rpm, "load": cell.load}

    return {
        "count": len(checks),
        "settled": len(good),
        "torque": worst("torque_off"),
        "fuel": worst("fuel_off"),
    }


def _traverse(found: ControlMap, change: Change | None) -> pd.DataFrame:
    slew = found.question.slew_deg_per_s
    if change is None or slew is None:
        return pd.DataFrame()
    question = found.question
    table = Table(
        name="", unit="deg", load_name="", load_unit="", speeds_rpm=question.speeds_rpm,
        loads=question.loads, values=found.values_deg, step=question.step_deg,
    )  # fmt: skip
    actuator = Actuator(slew_per_s=slew, hysteresis=question.hysteresis_deg)
    return thinned(change_gear(table, change, actuator, found.full_torque), question)


def thinned(traverse: Traverse, question: Question) -> pd.DataFrame:
    """A gear change as it is kept, in what is shown."""
    every = round(_TRAVERSE_STEP_S / float(np.diff(traverse.time_s[:2])[0]))
    frame = pd.DataFrame(
        {
            "time_s": traverse.time_s,
            "speed_rpm": traverse.speed_rpm,
            "load": traverse.load,
            "target": question.shown.zero + traverse.target * question.shown.per_deg,
            "actual": question.shown.zero + traverse.actual * question.shown.per_deg,
            "torque_lost": traverse.torque_lost,
        }
    )[::every]
    return frame.assign(
        behind_s=traverse.behind_s, worst=traverse.worst, mean_after=traverse.mean_after
    ).reset_index(drop=True)

"""Finished maps that belong together as plain tables and facts: kept with a run."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from breathe.engine.parts import Floats
from breathe.study.answer import Kept
from breathe.study.control.answer import Control, answer_of, thinned
from breathe.study.control.control import ControlMap
from breathe.study.control.gear_change import Actuator, Change, Traverse, course, follow
from breathe.study.control.joint import JointMap
from breathe.study.control.map_file import Table, look_up
from breathe.study.crossings import NUMERICAL_ERROR


@dataclass(frozen=True, slots=True, kw_only=True)
class JointControl(Kept):
    """Control maps of several actuators. Tables in SI, with a column ``actuator``."""

    cells: pd.DataFrame
    """One row a cell and actuator."""
    change: pd.DataFrame
    """The gear change, one row a time and actuator; empty without a slew limit."""
    facts: dict[str, Any]
    """``tables``: those of each `Control`, by actuator; ``joint``: what belongs to all."""
    notices: tuple[str, ...] = ()

    def main_table(self) -> pd.DataFrame:
        return self.cells

    @property
    def actuators(self) -> tuple[str, ...]:
        return tuple(self.facts["tables"])

    def control(self, actuator: str) -> Control:
        """One of the maps, as if it stood alone."""
        return Control(
            cells=_of(self.cells, actuator),
            equal=pd.DataFrame(),
            start=pd.DataFrame(),
            change=_of(self.change, actuator),
            facts=self.facts["tables"][actuator],
        )


def _of(frame: pd.DataFrame, actuator: str) -> pd.DataFrame:
    if not len(frame):
        return pd.DataFrame()
    some = frame[frame["actuator"] == actuator]
    return some.drop(columns="actuator").reset_index(drop=True)


def joint_answer(
    found: JointMap,
    fallback_deg: Sequence[float | None],
    change: Change | None = None,
    notices: Sequence[str] = (),
) -> JointControl:
    """Finished maps as they are kept.

    Parameters
    ----------
    found : JointMap
    fallback_deg : (k,) sequence of float or None
        Where each actuator goes without power.
    change : Change, optional
        A gear change to drive the maps through, all actuators at once.
    notices : sequence of str
    """
    parts = {table.axis.name: answer_of(table) for table in found.tables}
    fallback = _fallback(found, fallback_deg)
    pedal, stands = _pedal(found), _stands(found)
    tables = {}
    for n, (name, part) in enumerate(parts.items()):
        own = {**fallback, "shown": fallback["shown"][n]} if fallback else None
        tables[name] = part.facts | {
            "fallback": own,
            "pedal": None,
            "throttle_needed": None,
            "stands_deg": stands,
            "moves_with": [other for other in parts if other != name],
        }
    cells = [part.cells.assign(actuator=name) for name, part in parts.items()]
    return JointControl(
        cells=pd.concat(cells, ignore_index=True),
        change=_changes(found, change),
        facts={"tables": tables, "joint": _joint_facts(found, fallback, pedal)},
        notices=tuple(notices),
    )


def _joint_facts(
    found: JointMap, fallback: dict[str, Any] | None, pedal: dict[str, Any] | None
) -> dict[str, Any]:
    """What belongs to all maps together."""
    question = found.asked.common
    given_up = found.tables[0].given_up
    own = np.isfinite(found.alone[0])
    most = float(given_up[own].max()) if own.any() else 0.0
    return {
        "alone": {
            table.axis.name: _alone(found, found.alone[n]) for n, table in enumerate(found.tables)
        },
        "boxes_tried": found.boxes_tried,
        "whole_travel": [
            question.limits.clear.low_deg <= question.limits.low_deg
            and question.limits.clear.high_deg >= question.limits.high_deg
            for question in found.asked.questions
        ],
        "given_up_most": most,
        "given_up_over": bool(most > question.give_up + NUMERICAL_ERROR / 5),
        "fallback": fallback,
        "pedal": pedal,
    }


def _alone(found: JointMap, lost: Floats) -> dict[str, Any]:
    """Mean and most that an actuator alone gives up, at part and at full load."""
    told: dict[str, Any] = {}
    kinds = np.array([[cell.kind for cell in line] for line in found.cells])
    for kind in ("part load", "full load"):
        chosen = np.char.find(kinds, kind) >= 0
        if kind == "full load":  # what lies above full load holds its setting: once a speed
            chosen &= np.cumsum(chosen, axis=0) == 1
        here = lost[chosen]
        told[kind] = {
            "cells": int(here.size),
            "mean": float(here.mean()) if here.size else None,
            "most": float(here.max()) if here.size else None,
        }
    return told


def _stands(found: JointMap) -> dict[str, float]:
    gear = found.asked.gear
    return {
        axis.name: gear.stand_deg[n]
        for n, axis in enumerate(gear.whole.axes)
        if n not in gear.moves
    }


def _fallback(found: JointMap, places: Sequence[float | None]) -> dict[str, Any] | None:
    """What it costs at full load if all actuators lose power, and how that burns lightly."""
    if any(x is None for x in places):
        return None
    place = np.array([places], dtype=float)
    lost = [
        1.0 - float(at.full_at(place)[0, 0]) / float(at.full["torque_Nm"].max())
        for at in found.speeds
    ]
    light = [cell.read(place)[0]["residual_fraction"] for cell in found.cells[0]]
    worst, most = int(np.argmax(lost)), int(np.argmax([x[0] for x in light]))
    pairs = zip(found.asked.questions, place[0], strict=True)
    return {
        "shown": [question.shown.of(float(x)) for question, x in pairs],
        "torque_lost": lost,
        "worst_lost": lost[worst],
        "worst_speed_rpm": found.speeds[worst].speed_rpm,
        "residual_most": float(light[most][0]),
        "residual_speed_rpm": found.speeds[most].speed_rpm,
    }


def _pedal(found: JointMap) -> dict[str, Any] | None:
    """Where the lag costs most if load rises at once from the lowest row to full load."""
    question, values = found.asked.common, found.values_deg
    full = [j for j, cell in enumerate(found.cells[-1]) if "full" in cell.kind]
    slews = [one.slew_deg_per_s for one in found.asked.questions]
    if not full or len(found.cells) < 2 or any(not slew for slew in slews):
        return None
    lost, takes = [], []
    for j in full:
        start, end = values[:, 0, j], values[:, -1, j]
        torque = found.speeds[j].full_at(np.array([start, end]))[:, 0]
        lost.append(1.0 - float(torque[0] / torque[1]))
        takes.append(max(abs(end - start) / np.array(slews, dtype=float)))
    worst = int(np.argmax(lost))
    return {
        "speed_rpm": question.speeds_rpm[full[worst]],
        "from_load": question.loads[0],
        "to_load": question.loads[-1],
        "takes_s": float(takes[worst]),
        "lost_at_first": lost[worst],
        "pedal_s": question.pedal_s,
        "followed": all(table.followed_over_load for table in found.tables),
    }


def _changes(found: JointMap, change: Change | None) -> pd.DataFrame:
    """A gear change with all actuators behind their targets at once.

    The pedal is lifted while the gear is open; torque lost is that of the places all of them have
    reached, against the places the maps ask for.
    """
    slews = [table.question.slew_deg_per_s for table in found.tables]
    if change is None or any(slew is None for slew in slews):
        return pd.DataFrame()
    loads = found.asked.common.loads
    time, speed, load = course(change, loads[0], loads[-1])
    shut = (time >= 0.0) & (time < change.lasts_s)
    target = np.stack([look_up(_degrees(one), speed, load) for one in found.tables], axis=1)
    actual = np.stack(
        [follow(target[:, n], _actuator(one)) for n, one in enumerate(found.tables)], axis=1
    )
    wanted, got = found.full_torque(speed, target), found.full_torque(speed, actual)
    lost = np.where(shut, 0.0, np.maximum(1.0 - got / wanted, 0.0))
    frames = []
    for n, table in enumerate(found.tables):
        traverse = Traverse(
            time_s=time, speed_rpm=speed, load=load, target=target[:, n], actual=actual[:, n],
            torque_lost=lost,
        )  # fmt: skip
        frames.append(thinned(traverse, table.question).assign(actuator=table.axis.name))
    return pd.concat(frames, ignore_index=True)


def _degrees(table: ControlMap) -> Table:
    """A map in degrees along its axis."""
    question = table.question
    return Table(
        name="", unit="deg", load_name="", load_unit="", speeds_rpm=question.speeds_rpm,
        loads=question.loads, values=table.values_deg, step=question.step_deg,
    )  # fmt: skip


def _actuator(table: ControlMap) -> Actuator:
    question = table.question
    return Actuator(slew_per_s=question.slew_deg_per_s or 0.0, hysteresis=question.hysteresis_deg)

"""The map on a gear change: where the actuator should be, where it is, what the lag costs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from breathe.engine.parts import Floats
from breathe.study.control.map_file import Table, look_up

STEP_S = 1e-3
BEFORE_S, AFTER_S = 0.1, 0.6
"""Time shown before the change begins and after it has ended."""

TorqueAt = Callable[[Floats, Floats], Floats]
"""Full-load torque [Nm] at speeds [rpm] and cell values, arrays of one shape."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One gear change, driven at full load, the pedal lifted while the gear is open."""

    from_rpm: float
    to_rpm: float
    lasts_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Actuator:
    """What moves the cam, in the unit of the map's cells."""

    slew_per_s: float
    hysteresis: float
    """It stays where it is until the target is farther off than this."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Traverse:
    """The change over time, (n,) each."""

    time_s: Floats
    speed_rpm: Floats
    load: Floats
    target: Floats
    actual: Floats
    torque_lost: Floats
    """Share of full-load torque that the lag costs while the pedal is down [-]; 0 otherwise."""

    @property
    def behind_s(self) -> float:
        """Time after the change during which the lag costs more than a tie, 0.5 %."""
        return float(np.sum(self.torque_lost > 0.005) * STEP_S)

    @property
    def worst(self) -> float:
        return float(self.torque_lost.max())

    @property
    def mean_after(self) -> float:
        """Mean torque lost over the half second after the change [-]."""
        after = self.time_s >= self.time_s[-1] - AFTER_S
        within = after & (self.time_s <= self.time_s[-1] - AFTER_S + 0.5)
        return float(self.torque_lost[within].mean())


def change_gear(table: Table, change: Change, actuator: Actuator, torque: TorqueAt) -> Traverse:
    """Follow the map through a gear change.

    Parameters
    ----------
    table : Table
    change : Change
    actuator : Actuator
    torque : callable
        Full-load torque at speeds and cell values.
    """
    time, speed, load = course(change, table.loads[0], table.loads[-1])
    shut = (time >= 0.0) & (time < change.lasts_s)
    target = look_up(table, speed, load)
    actual = follow(target, actuator)
    wanted, got = torque(speed, target), torque(speed, actual)
    lost = np.where(shut, 0.0, np.maximum(1.0 - got / wanted, 0.0))
    return Traverse(
        time_s=time, speed_rpm=speed, load=load, target=target, actual=actual, torque_lost=lost
    )


def course(change: Change, lowest: float, highest: float) -> tuple[Floats, Floats, Floats]:
    """Time [s], speed [rpm] and load of a change; the highest load while the gear is in."""
    time = np.arange(-BEFORE_S, change.lasts_s + AFTER_S, STEP_S)
    share = np.clip(time / change.lasts_s, 0.0, 1.0)
    speed = change.from_rpm + share * (change.to_rpm - change.from_rpm)
    shut = (time >= 0.0) & (time < change.lasts_s)
    return time, speed, np.where(shut, lowest, highest)


def follow(target: Floats, actuator: Actuator) -> Floats:
    """Where an actuator of limited speed and with hysteresis is, a step of `STEP_S` at a time.

    Parameters
    ----------
    target : (n,) float
        Where the map wants it, from where it stands at first; in the unit of the actuator's slew.
    actuator : Actuator

    Returns
    -------
    (n,) float
    """
    most = actuator.slew_per_s * STEP_S
    actual, moving = float(target[0]), False
    course = np.empty_like(target)
    for k, wanted in enumerate(target):
        away = float(wanted) - actual
        moving = abs(away) > (1e-9 if moving else actuator.hysteresis)
        if moving:
            actual += float(np.clip(away, -most, most))
        course[k] = actual
    return course


def time_to_cross_s(span: float, slew_per_s: float) -> float:
    """Time from one end of a span to the other [s]; span and slew in one unit."""
    return span / slew_per_s

"""INVENTED torque over the settings of an engine, in place of the simulation."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from breathe.study.evaluate import Point


class Invented:
    """An evaluator that counts its cases; ``torque`` takes added dwell [deg], turn [deg], rpm."""

    def __init__(self, torque: Callable[[float, float, float], float], deg_per_m: float) -> None:
        self.torque, self.deg_per_m = torque, deg_per_m
        self.points: list[Point] = []

    def __call__(self, points: Sequence[Point]) -> list[dict]:
        self.points += points
        return [self.row(point) for point in points]

    def row(self, point: Point) -> dict:
        setting, speed = point.setting, point.operating.speed_rpm
        dwell = setting.intake_travel_m * self.deg_per_m
        torque = self.torque(dwell, setting.intake_shift_deg, speed)
        if setting.intake_cam is not None or setting.intake_stretch != 1.0:
            torque = 0.9 * self.torque(30.0, 0.0, speed)
        return {
            "setting": setting.label,
            "speed_rpm": speed,
            "torque_Nm": torque,
            "settled": math.isfinite(torque),
            "remark": "",
        }


def one_hump(dwell: float, turn: float, speed: float) -> float:
    """Best dwell rises from 10 to 50 degrees over 2000 to 6000 rpm; 12 degrees off cost 1.4 %."""
    best = 10 + (speed - 2000) / 100
    return 180.0 - 0.018 * (dwell - best) ** 2 - 0.02 * (turn + 5) ** 2


def flat(dwell: float, turn: float, speed: float) -> float:
    return 180.0 - 0.0001 * (dwell - 30) ** 2


def two_humps(dwell: float, turn: float, speed: float) -> float:
    """At 12 and 48 degrees; the second wins above 4000 rpm."""
    more = (speed - 4000) / 1000
    return (
        100
        + 10 * math.exp(-(((dwell - 12) / 12) ** 2))
        + (10 + more) * math.exp(-(((dwell - 48) / 12) ** 2))
    )

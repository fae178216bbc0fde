"""INVENTED figures of a simple engine in place of the simulation: quick, smooth, with known best
settings. For tests of what is done with cases, never of what an engine does."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from breathe.engine.parts import Engine
from breathe.study.evaluate import Point

OUTSIDE_PA = 101_325.0


def best_full_load_deg(speed_rpm: float) -> float:
    """Added duration of most torque at full load."""
    return 10.0 + 40.0 * (speed_rpm - 1000.0) / 6000.0


class InventedEngine:
    """Rows of points of an engine with an intake sleeve.

    The manifold fills with the opening, the torque asked is indicated work less pumping and
    friction, and fuel goes with the gross work: so at part load the setting that fills worst, and
    needs most manifold pressure, burns least.
    """

    def __init__(self, engine: Engine, *, residual_per_deg: float = 0.0) -> None:
        self.engine = engine
        self.residual_per_deg = residual_per_deg
        self.asked: list[Point] = []

    def __call__(self, points: Sequence[Point]) -> list[dict[str, Any]]:
        self.asked += points
        return [self.row(point) for point in points]

    def added_deg(self, point: Point) -> float:
        sleeve = self.engine.intake_cam.sleeve
        assert sleeve is not None
        return point.setting.intake_travel_m * sleeve.crank_deg_per_m

    def filled(self, point: Point) -> float:
        """Filling as a share of the best setting's."""
        away = self.added_deg(point) - best_full_load_deg(point.operating.speed_rpm)
        return 1.0 - (away / 100.0) ** 2

    def row(self, point: Point) -> dict[str, Any]:
        at, added = point.operating, self.added_deg(point)
        filled = self.filled(point)
        manifold = OUTSIDE_PA * (1.0 - math.exp(-at.throttle * 3000.0 / at.speed_rpm / 0.04))
        rich = 1.0 if at.lambda_ else 1.03
        gross = 13e5 * filled * rich * manifold / OUTSIDE_PA
        pmep, fmep = -(OUTSIDE_PA - manifold) - 0.05e5, 1.0e5
        bmep = gross + pmep - fmep
        torque = bmep * self.engine.displacement_m3 / (4 * math.pi)
        power = torque * at.speed_rpm * math.pi / 30
        fuel = gross * self.engine.displacement_m3 * at.speed_rpm / 120 / 0.36 / 43e6
        lack = 1.0 - manifold / OUTSIDE_PA
        return {
            "setting": point.setting.label,
            "speed_rpm": at.speed_rpm,
            "throttle": at.throttle,
            "torque_Nm": torque,
            "power_W": power,
            "bmep_Pa": bmep,
            "imep_net_Pa": gross + pmep,
            "pmep_Pa": pmep,
            "fmep_Pa": fmep,
            "residual_fraction": 0.05 + 0.2 * lack + self.residual_per_deg * added * lack,
            "knock_index": 0.5,
            "ca50_deg": 8.0,
            "burn_10_90_deg": 25.0,
            "manifold_pressure_Pa": manifold,
            "effective_compression_ratio": 10.0 - 0.04 * added,
            "pushed_back_fraction": 0.0,
            "bsfc_kg_per_J": fuel / power if power > 0 else math.nan,
            "settled": True,
            "cycles": 10,
            "remark": "",
        }

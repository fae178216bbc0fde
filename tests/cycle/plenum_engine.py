"""The small engine of the checks without pipes, and its two valves."""

from __future__ import annotations

import math

import numpy as np

from breathe.cycle.piston import bore_area, slider_crank
from breathe.cycle.plenums import Fire, PlenumCase, ValveAreas, Walls, reservoir
from breathe.engine.parts import Cylinder
from breathe.gas.mixture import Charge, charge

GRID = 2880


def sine_valve(
    count: int, diameter_m: float, lift_m: float, opens_deg: float, closes_deg: float
) -> ValveAreas:
    """sin^2 lift; 0.70 on the lesser of curtain and 0.85 of the throat circle of the head."""
    angle = np.arange(GRID) * (720.0 / GRID)
    share = np.mod(angle - opens_deg, 720.0) / (closes_deg - opens_deg)
    lift = np.where(share < 1, lift_m * np.sin(math.pi * np.minimum(share, 1.0)) ** 2, 0.0)
    area = np.minimum(math.pi * diameter_m * lift, 0.85 * math.pi / 4 * diameter_m**2)
    area = 0.70 * count * area
    return ValveAreas(float(opens_deg), float(closes_deg), area, area)


CYLINDER = Cylinder(bore_m=0.062, stroke_m=0.056, rod_m=0.100, compression_ratio=11.0)


def small_engine(speed_rpm: float, intake_bar: float, frozen: bool = True) -> PlenumCase:
    gas: Charge = charge("iso-octane", 1.0, 0.0)
    crank = slider_crank(CYLINDER)
    area = bore_area(crank)
    return PlenumCase(
        crank=crank,
        speed_rpm=float(speed_rpm),
        charge=gas,
        intake=reservoir(intake_bar * 1e5, 310.0, 0.0, gas),
        exhaust=reservoir(1.05e5, 1000.0, 1.0, gas),
        intake_valve=sine_valve(2, 0.024, 0.008, 350.0, 590.0),
        exhaust_valve=sine_valve(2, 0.0205, 0.0072, 130.0, 370.0),
        fire=Fire(-22.0, 50.0, 6.908, 2.0, 1.0 - math.exp(-6.908)),
        walls=Walls(area, area, 450.0, 450.0, 450.0),
        heat_multiplier=1.0,
        frozen=frozen,
    )

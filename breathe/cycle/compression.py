"""Compression counted from where the intake valve closes."""

from __future__ import annotations

from breathe.cycle.piston import slider_crank, volume
from breathe.engine.parts import Cylinder, LiftEvent
from breathe.valvetrain.timing import seat_timing


def effective_compression_ratio(cylinder: Cylinder, intake: LiftEvent) -> float:
    """Cylinder volume where the intake valve falls to the seat height, over that at TDC [-].

    The height is `valvetrain.timing.SEAT_HEIGHT_M`; the little lift below it lasts some tens of
    degrees and holds back next to nothing, so that counting from last lift would tell of less
    compression than a gauge shows (common practice, no source).
    """
    return compression_from(cylinder, seat_timing(intake, "intake").closes_deg)


def compression_from(cylinder: Cylinder, closes_deg: float) -> float:
    """Cylinder volume at a crank angle [deg] over that at TDC [-]."""
    crank = slider_crank(cylinder)
    return float(volume(crank, float(closes_deg))) / crank.clearance_m3

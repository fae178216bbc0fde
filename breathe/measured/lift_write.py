"""A measured lobe written out: the clean curve an engine file takes, and readings beside it."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

import numpy as np

from breathe.measured.lift_words import WRITTEN_ANGLE, WRITTEN_LIFT
from breathe.measured.lobe import MeasuredLobe

CURVE_STEP_DEG = 1.0


def curve_csv(measured: MeasuredLobe) -> str:
    """The smoothed lobe each crank degree, down to zero on both sides.

    Angles count from firing TDC where the sheet or the user said where TDC is, else from the nose;
    the heading says which, so that the file reads back as it is.
    """
    lobe, placed = measured.lobe, measured.placed
    known = placed.sure and placed.zero in ("firing", "overlap")
    offset = measured.smoothed.nose_deg + placed.shift_deg if known else 0.0
    # Whole crank degrees of the lobe and its first and last lift; a little base circle around.
    inside = np.arange(np.ceil(lobe.angle_deg[0]), lobe.angle_deg[-1], CURVE_STEP_DEG)
    ends = lobe.angle_deg[[0, -1]]
    around = np.arange(1.0, 6.0)
    angle = np.concatenate([ends[0] - around[::-1], inside, ends[1] + around])
    lift = np.interp(angle, lobe.angle_deg, lobe.lift_m, left=0.0, right=0.0)
    side = f"{placed.side} " if placed.side else ""
    heading = [
        WRITTEN_ANGLE.format("firing TDC" if known else "nose"),
        f"{side}{WRITTEN_LIFT}",
    ]
    rows = [(f"{a + offset:.3f}", f"{x * 1e3:.5f}") for a, x in zip(angle, lift, strict=True)]
    return _text([heading, *rows])


def readings_csv(measured: MeasuredLobe) -> str:
    """Each reading used, the curve there, and the difference; crank degrees from the nose."""
    readings, smoothed = measured.readings, measured.smoothed
    lift = readings.lift_m - smoothed.base_m
    heading = ["row", "angle from nose [deg crank]", "reading [mm]", "smoothed [mm]"]
    rows = [
        (
            str(row),
            f"{angle - smoothed.nose_deg:.3f}",
            f"{read * 1e3:.4f}",
            f"{(read - residual) * 1e3:.4f}",
            f"{-residual * 1e3:+.4f}",
        )
        for row, angle, read, residual in zip(
            readings.row, readings.angle_deg, lift, smoothed.residual_m, strict=True
        )
    ]
    return _text([[*heading, "change by smoothing [mm]"], *rows])


def _text(rows: Sequence[Sequence[str]]) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue()

"""A lobe from a measured sheet: read, smoothed, placed in the cycle and questioned."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from breathe.engine.parts import Floats, Lobe, Side
from breathe.measured.lift_file import Asked, LiftReadings, read_lift_file
from breathe.measured.sheet import SheetError
from breathe.measured.told import in_lines
from breathe.measured.zero import Placed, place_zero, told_from_overlap
from breathe.valvetrain.lift import Smoothed, lobe_as_written, lobe_from_table

MOST_MISSING = 0.2
"""Share of a flank without readings beyond which acceleration is refused."""
FINEST_DIAL_M = 0.5e-6
_SEAT_M = 0.1e-3
_PLAIN = ("encoding: UTF-8", "columns parted by commas", "decimal point")
"""What needs no asking back."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredLobe:
    """A lobe and all that is known of how it came about."""

    readings: LiftReadings
    smoothed: Smoothed
    placed: Placed
    step_deg: float
    """Usual step between readings [deg crank]."""
    gaps_deg: Floats
    """(m, 2) stretches without readings on the open lobe, crank degrees from the nose."""
    missing: tuple[float, float]
    """Share of the opening and of the closing flank without readings."""
    questions: tuple[str, ...]

    @property
    def lobe(self) -> Lobe:
        return self.smoothed.lobe

    def told(self) -> list[str]:
        """What an engine file's reader asks back: what was understood, changed and is odd."""
        name, readings = self.readings.name, self.readings
        worst = int(np.argmax(np.abs(self.smoothed.residual_m)))
        lines = [f"{name}: {line}" for line in readings.understood if line not in _PLAIN]
        lines += [f"{name}: {line}" for line in in_lines(readings.row_notes)]
        if not readings.written:
            lines.append(
                f"{name}: {readings.rows_used} of {readings.rows_read} rows smoothed; the line "
                f"passes {self.smoothed.residual_rms_m * 1e3:.3f} mm (rms) from the readings, at "
                f"most {abs(self.smoothed.residual_m[worst]) * 1e3:.3f} mm, in row "
                f"{readings.row[worst]}"
            )
        return lines + [f"{name}: {line}" for line in (self.placed.words, *self.questions)]

    @property
    def centreline_deg(self) -> float | None:
        """Nose from overlap TDC as a card writes it, where sheet or user say where TDC is, or the
        nose is where a lobe of the known side can be for one meaning of the wheel's 0 alone."""
        if self.placed.zero not in ("firing", "overlap"):
            return None
        if not self.placed.sure and self.readings.side is None:
            return None
        return abs(self.smoothed.nose_deg + self.placed.shift_deg - 360.0)


def measured_lobe(path: Path, asked: Asked | None = None) -> MeasuredLobe:
    """Lobe from a measured sheet of any layout.

    Raises
    ------
    SheetError
        One message: what is wrong with the file, what was found, what is expected.
    """
    asked = asked or Asked()
    readings = read_lift_file(path, asked)
    try:
        smoothed = _smoothed(readings)
    except ValueError as error:
        raise SheetError(f"{path.name}: {error}") from None
    placed = place_zero(
        smoothed.nose_deg,
        asked=asked.zero,
        said=readings.zero,
        side=None if readings.zero else readings.side,
        wheel=readings.wheel,
    )
    if readings.dead_centres:
        after = told_from_overlap(smoothed.nose_deg + placed.shift_deg - 360.0)
        placed = replace(placed, words=f"nose {after}")
    step = readings.step_deg
    _refuse_other_side(readings, smoothed, placed, asked.side)
    gaps = _gaps(readings, smoothed, step)
    missing = _missing(gaps, smoothed, step)
    to_wheel = 2.0 if readings.wheel == "cam" else 1.0
    return MeasuredLobe(
        readings=readings,
        smoothed=smoothed,
        placed=placed,
        step_deg=step,
        gaps_deg=gaps,
        missing=missing,
        questions=(
            *readings.questions,
            *smoothed.notes,
            *_about_scatter(readings, smoothed),
            *_about_gaps(gaps, missing, smoothed.nose_deg, to_wheel),
        ),
    )


def _smoothed(readings: LiftReadings) -> Smoothed:
    made_from = f"measured: {readings.name}"
    if readings.written:
        return lobe_as_written(readings.angle_deg, readings.lift_m, made_from=made_from)
    return lobe_from_table(
        readings.angle_deg,
        readings.lift_m,
        made_from=made_from,
        resolution_m=readings.resolution_m,
    )


def _refuse_other_side(
    readings: LiftReadings, smoothed: Smoothed, placed: Placed, wanted: Side | None
) -> None:
    """An exhaust lobe's nose lies before overlap TDC, an intake lobe's after it."""
    if wanted is None:
        return
    other: Side = "exhaust" if wanted == "intake" else "intake"
    after = smoothed.nose_deg + placed.shift_deg - 360.0
    told = f"{abs(after):.0f} {'ATDC' if after > 0 else 'BTDC'}"
    if placed.sure and placed.zero in ("firing", "overlap"):
        if (after > 0) != (wanted == "intake"):
            raise SheetError(
                f"{readings.name}: expected the {wanted} lobe; the nose is at {told}, as of an "
                f"{other} lobe. The other lobe's file or column?"
            )
        return
    if placed.zero != "arbitrary" or placed.sure or readings.wheel == "cam":
        return
    guess = place_zero(smoothed.nose_deg, asked=None, said=None, side=other, wheel="crank")
    if guess.zero in ("firing", "overlap"):
        where = "before" if other == "exhaust" else "after"
        raise SheetError(
            f"{readings.name}: expected the {wanted} lobe; {guess.words.partition(';')[0]}: "
            f"centreline {where} TDC: this looks like the {other} lobe. The other lobe's file or "
            "column? If the wheel's 0 is no TDC, say so with --zero arbitrary"
        )


def _about_scatter(readings: LiftReadings, smoothed: Smoothed) -> list[str]:
    if readings.written:
        return [
            "a curve that `breathe lobe` wrote: taken as it is, not smoothed again; the doubt of "
            "its readings is told where it was written"
        ]
    if smoothed.curve.scatter_m > FINEST_DIAL_M:
        return []
    return [
        "the readings are smoother than any dial: a computed or already smoothed curve; the doubt "
        "of how it was measured is not in it"
    ]


def _gaps(readings: LiftReadings, smoothed: Smoothed, step_deg: float) -> Floats:
    """(m, 2) stretches without readings on the open lobe, crank degrees from the nose."""
    lobe = smoothed.lobe
    angle = readings.angle_deg - smoothed.nose_deg
    first, last = lobe.angle_deg[lobe.lift_m > _SEAT_M][[0, -1]]
    wide = np.diff(angle) > 1.6 * step_deg
    within = (angle[1:] > first) & (angle[:-1] < last)
    at = np.flatnonzero(wide & within)
    return np.column_stack([angle[at], angle[at + 1]])


def _missing(gaps: Floats, smoothed: Smoothed, step_deg: float) -> tuple[float, float]:
    """Share of the opening and of the closing flank without readings."""
    lobe = smoothed.lobe
    first, last = lobe.angle_deg[lobe.lift_m > _SEAT_M][[0, -1]]
    unread = [0.0, 0.0]
    for start, end in gaps:
        middle = (start + end) / 2
        unread[int(middle > 0)] += float(end - start) - step_deg
    return unread[0] / -float(first), unread[1] / float(last)


def _about_gaps(
    gaps: Floats, missing: tuple[float, float], nose_deg: float, to_wheel: float
) -> list[str]:
    told = [f"{a:.4g} to {b:.4g}" for a, b in (gaps + nose_deg) / to_wheel]
    notes = [f"no readings from {', '.join(told[:6])} deg of the wheel"] if told else []
    return notes + [
        f"{share * 100:.0f} % of the {name} flank has no readings: wider doubt there"
        for name, share in zip(("opening", "closing"), missing, strict=True)
        if share > MOST_MISSING
    ]

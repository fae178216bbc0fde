"""What a measured lobe is: durations, nose, flanks, velocity and acceleration, each with its doubt.

The doubt of an angle is the smoothing spline's 95 % interval of lift divided by the slope there,
together with the wheel's own error; that of velocity and acceleration is the spline's interval of
the derivative.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import PPoly

from breathe.engine.parts import Floats
from breathe.measured.lobe import MOST_MISSING, MeasuredLobe

CHECKING_HEIGHTS_M = (0.1e-3, 1.0e-3, 0.05 * 0.0254)
WHEEL_DEG = 0.25
"""What a reading of the wheel is off by that its neighbours share; degrees of the wheel, so twice
as many crank degrees on the cam (common practice, no source: 0.25 to 0.5)."""
DIAL_M = 0.01e-3
"""What all readings of the dial may be off by together: one division (common practice, no source:
a lift reading is good to 0.02 mm)."""
COARSEST_STEP_DEG = 10.0
"""Crank degrees; beyond, even clean readings give acceleration 2 % off and worse."""
MOST_DOUBT, WARN_DOUBT = 0.35, 0.10
"""Share of the peak: above the first acceleration is refused, above the second warned of."""
_GRID_DEG = 0.25


@dataclass(frozen=True, slots=True)
class Figure:
    """A value and half of its 95 % interval."""

    value: float
    doubt: float


@dataclass(frozen=True, slots=True, kw_only=True)
class AtHeight:
    """The opening at one checking height, crank degrees."""

    height_m: float
    duration: Figure
    before_nose: Figure
    after_nose: Figure
    middle: Figure
    """Middle of the opening, from the nose."""
    guessed: bool
    """The readings stop above this height, or it is lost in their scatter."""

    @property
    def difference_deg(self) -> float:
        """Closing flank's length less the opening's."""
        return self.after_nose.value - self.before_nose.value


@dataclass(frozen=True, slots=True, kw_only=True)
class Peak:
    """Where a derivative is greatest; per *cam* degree."""

    value: float
    """Metres per cam degree, or per cam degree squared."""
    doubt: float
    from_nose_deg: float
    """Cam degrees."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Motion:
    """Velocity or acceleration."""

    opening: Peak
    closing: Peak
    nose: Peak | None = None
    """Greatest deceleration."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """Is it what was ordered?"""

    ordered_deg: float
    height_m: float
    found: Figure

    @property
    def difference_deg(self) -> float:
        return self.found.value - self.ordered_deg

    @property
    def agrees(self) -> bool:
        return abs(self.difference_deg) <= self.found.doubt


@dataclass(frozen=True, slots=True, kw_only=True)
class LobeFigures:
    """All that is told of a measured lobe."""

    measured: MeasuredLobe
    heights: tuple[AtHeight, ...]
    peak_m: Figure
    nose_deg: Figure
    """On the sheet's wheel, crank degrees."""
    flanks_apart_m: float
    """Greatest difference of lift at equal angles before and after the nose."""
    flanks_apart_at_deg: float
    velocity: Motion
    acceleration: Motion | None
    acceleration_words: str
    """Why it is refused, or what to mind; '' if neither."""
    largest_change_m: float
    """Of the smoothing, signed: smoothed less reading."""
    largest_change_row: int
    largest_change_at_deg: float
    """From the nose."""
    verdict: Verdict | None


def lobe_figures(
    measured: MeasuredLobe,
    *,
    heights_m: Sequence[float] = (),
    ordered: tuple[float, float] | None = None,
) -> LobeFigures:
    """Figures of a measured lobe.

    Parameters
    ----------
    measured : MeasuredLobe
    heights_m : sequence of float
        Checking heights beside the usual three.
    ordered : (duration, height), optional
        What the card says [deg crank, m].
    """
    wanted = sorted({*CHECKING_HEIGHTS_M, *heights_m})
    full = float(measured.lobe.lift_m.max())
    rows = tuple(_at_height(measured, one) for one in wanted if one < 0.98 * full)
    curve, nose = measured.smoothed.curve, measured.smoothed.nose_deg
    velocity, acceleration = _motion(measured, 1), _motion(measured, 2)
    words = _acceleration_words(measured, acceleration)
    residual = measured.smoothed.residual_m
    worst = int(np.argmax(np.abs(residual)))
    apart, at = _flanks_apart(measured)
    verdict = None
    if ordered is not None and ordered[1] < 0.98 * full:
        found = _at_height(measured, ordered[1]).duration
        verdict = Verdict(ordered_deg=ordered[0], height_m=ordered[1], found=found)
    return LobeFigures(
        measured=measured,
        heights=rows,
        peak_m=Figure(full, float(np.hypot(curve.doubt(np.array([nose]))[0], DIAL_M))),
        nose_deg=Figure(nose, _at_height(measured, 0.9 * full).middle.doubt),
        flanks_apart_m=apart,
        flanks_apart_at_deg=at,
        velocity=velocity,
        acceleration=None if words.startswith("refused") else acceleration,
        acceleration_words=words,
        largest_change_m=-float(residual[worst]),
        largest_change_row=measured.readings.row[worst],
        largest_change_at_deg=float(measured.readings.angle_deg[worst] - nose),
        verdict=verdict,
    )


def _wheel_doubt(measured: MeasuredLobe) -> float:
    return WHEEL_DEG * (2.0 if measured.readings.wheel == "cam" else 1.0)


def _event_doubts(
    measured: MeasuredLobe, height_m: float
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Doubt of opening and closing at a height [deg crank]: their own, and by the dial's zero."""
    curve = measured.smoothed.curve
    pieces = curve.pieces
    peak = measured.smoothed.nose_deg
    height = max(height_m, measured.smoothed.floor_m)
    at = pieces.solve(height, extrapolate=False)
    before, after = at[at < peak], at[at > peak]
    opens = float(before.max()) if len(before) else float(curve.at_deg[0])
    closes = float(after.min()) if len(after) else float(curve.at_deg[-1])
    both = np.array([opens, closes])
    slope = np.maximum(np.abs(pieces(both, nu=1)), 1e-9)
    doubt = np.hypot(curve.doubt(both) / slope, _wheel_doubt(measured))
    dial = DIAL_M / slope
    return (float(doubt[0]), float(doubt[1])), (float(dial[0]), float(dial[1]))


def _at_height(measured: MeasuredLobe, height_m: float) -> AtHeight:
    lobe = measured.lobe
    top = int(np.argmax(lobe.lift_m))
    before = -float(np.interp(height_m, lobe.lift_m[: top + 1], lobe.angle_deg[: top + 1]))
    after = float(np.interp(height_m, lobe.lift_m[top:][::-1], lobe.angle_deg[top:][::-1]))
    (opens, closes), (dial_opens, dial_closes) = _event_doubts(measured, height_m)
    # A wrong zero moves both events: apart for the duration, one against the other for the middle.
    both, dial = float(np.hypot(opens, closes)), dial_opens + dial_closes
    ends = measured.readings.lift_m[[0, -1]] - measured.smoothed.base_m
    return AtHeight(
        height_m=height_m,
        duration=Figure(before + after, float(np.hypot(both, dial))),
        before_nose=Figure(before, float(np.hypot(opens, dial_opens))),
        after_nose=Figure(after, float(np.hypot(closes, dial_closes))),
        middle=Figure((after - before) / 2, float(np.hypot(both, dial_opens - dial_closes)) / 2),
        guessed=bool(height_m < max(float(ends.max()), measured.smoothed.floor_m)),
    )


def _motion(measured: MeasuredLobe, order: int) -> Motion:
    """Peaks of a derivative on both flanks, from the smoothed curve above its ramp."""
    curve, nose = measured.smoothed.curve, measured.smoothed.nose_deg
    pieces: PPoly = curve.pieces
    crossings = pieces.solve(measured.smoothed.floor_m, extrapolate=False)
    before, after = crossings[crossings < nose], crossings[crossings > nose]
    first = float(before.max()) if len(before) else float(curve.at_deg[0])
    last = float(after.min()) if len(after) else float(curve.at_deg[-1])
    up, down = np.arange(first, nose, _GRID_DEG), np.arange(nose, last, _GRID_DEG)
    towards = (1.0, -1.0) if order == 1 else (1.0, 1.0)
    opening, closing = (
        _peak(measured, at, order, sign) for at, sign in zip((up, down), towards, strict=True)
    )
    if order == 1:
        return Motion(opening=opening, closing=closing)
    return Motion(
        opening=opening,
        closing=closing,
        nose=_peak(measured, np.concatenate([up, down]), 2, -1.0),
    )


def _peak(measured: MeasuredLobe, at: Floats, order: int, sign: float) -> Peak:
    curve, nose = measured.smoothed.curve, measured.smoothed.nose_deg
    value = curve.spline.derivative(order)(at)
    worst = int(np.argmax(sign * value))
    to_cam = 2.0**order
    return Peak(
        value=float(value[worst]) * to_cam,
        doubt=float(curve.doubt(at[[worst]], order)[0]) * to_cam,
        from_nose_deg=float(at[worst] - nose) / 2,
    )


def _acceleration_words(measured: MeasuredLobe, found: Motion) -> str:
    """Why acceleration is refused ('refused: ...'), or a warning, or ''."""
    for name, share in zip(("opening", "closing"), measured.missing, strict=True):
        if share > MOST_MISSING:
            return f"refused: {share * 100:.0f} % of the {name} flank has no readings"
    if measured.step_deg > COARSEST_STEP_DEG + 1e-6:
        return (
            f"refused: steps of {measured.step_deg / 2:.3g} cam deg are too coarse; expected at "
            f"most {COARSEST_STEP_DEG / 2:g}"
        )
    share = max(peak.doubt / abs(peak.value) for peak in (found.opening, found.closing))
    window = measured.smoothed.curve.window_deg / 2
    scatter = measured.smoothed.curve.scatter_m * 1e3
    why = f"readings scatter by {scatter:.3f} mm at steps of {measured.step_deg / 2:.3g} cam deg"
    if share > MOST_DOUBT:
        return f"refused: {why}, so it would be sure to {share * 100:.0f} % only"
    if share > WARN_DOUBT:
        return f"{why}: sure to {share * 100:.0f} % only, averaged over about {window:.0f} cam deg"
    return ""


def _flanks_apart(measured: MeasuredLobe) -> tuple[float, float]:
    """Greatest difference of lift, opening less closing, at equal angles from the nose."""
    lobe = measured.lobe
    reach = min(-lobe.angle_deg[0], lobe.angle_deg[-1])
    at = np.arange(0.0, reach, 0.5)
    opening = np.interp(-at, lobe.angle_deg, lobe.lift_m)
    closing = np.interp(at, lobe.angle_deg, lobe.lift_m)
    worst = int(np.argmax(np.abs(opening - closing)))
    return float(opening[worst] - closing[worst]), float(at[worst])

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
from breathe.valvetrain.lift import Smoothed
from breathe.valvetrain.smoothing import second_difference_noise

CHECKING_HEIGHTS_M = (0.1e-3, 1.0e-3, 0.05 * 0.0254)
WHEEL_DEG = 0.25
"""What a reading of the wheel is off by that its neighbours share; degrees of the wheel, so twice
as many crank degrees on the cam (common practice, no source: 0.25 to 0.5)."""
DIAL_M = 0.01e-3
"""What all readings of the dial may be off by together: one division (common practice, no source:
a lift reading is good to 0.02 mm)."""
COARSEST_STEP_DEG = 10.0
"""Crank degrees."""
AT_COARSEST = 0.02
"""Share by which acceleration from clean readings is off at the coarsest step (recomputed for a
quintic flank; 0.005 at half of it)."""
MOST_DOUBT, WARN_DOUBT = 0.35, 0.10
"""Share of the peak: above the first acceleration is refused, above the second warned of."""
_GRID_DEG = 0.25
NOSE_DEG = 10.0
"""Crank degrees on either side of the nose, or beyond its dwell, over which its acceleration is
averaged, or `Smooth.window_deg` if that is more: the curve through readings waves by more there
than a nose does, and its greatest would be that of a wave."""
LEAST_DWELL_DEG = 4.0
"""Crank degrees below which a broad nose and a dwell cannot be told apart."""
_NEAR_FULL = np.linspace(0.01, 0.04, 7)
"""Shares of full lift by which flanks have fallen where the dwell is sought."""


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
    """The readings stop above this height or have a gap there, or their scatter hides it."""

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
    """Mean about the nose, outside its dwell."""


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
class Dwell:
    """Full lift held between two flanks, crank degrees."""

    first: Figure
    last: Figure
    """From the nose."""
    opening_deg: float
    closing_deg: float
    """Width of each flank, from the lowest checking height to the dwell."""

    @property
    def length(self) -> Figure:
        return Figure(
            self.last.value - self.first.value,
            float(np.hypot(self.first.doubt, self.last.doubt)),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class LobeFigures:
    """All that is told of a measured lobe."""

    measured: MeasuredLobe
    heights: tuple[AtHeight, ...]
    peak_m: Figure
    nose_deg: Figure
    """On the sheet's wheel, crank degrees."""
    dwell: Dwell | None
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
    rows = tuple(_of_measured(measured, one) for one in wanted if one < 0.98 * full)
    curve, nose = measured.smoothed.curve, measured.smoothed.nose_deg
    dwell = _dwell(measured)
    velocity, acceleration = _velocity(measured), _acceleration(measured, dwell)
    words = _acceleration_words(measured, acceleration)
    residual = measured.smoothed.residual_m
    worst = int(np.argmax(np.abs(residual)))
    apart, at = _flanks_apart(measured)
    verdict = None
    if ordered is not None and ordered[1] < 0.98 * full:
        found = _of_measured(measured, ordered[1]).duration
        verdict = Verdict(ordered_deg=ordered[0], height_m=ordered[1], found=found)
    return LobeFigures(
        measured=measured,
        heights=rows,
        peak_m=Figure(full, float(np.hypot(curve.doubt(np.array([nose]))[0], DIAL_M))),
        nose_deg=Figure(nose, _of_measured(measured, 0.9 * full).middle.doubt),
        dwell=dwell,
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


def _event_doubts(smoothed: Smoothed, height_m: float) -> tuple[Floats, Floats]:
    """Doubt of opening and closing at a height [deg crank]: by the curve, by the dial's zero."""
    curve, nose = smoothed.curve, smoothed.nose_deg
    pieces = curve.pieces
    at = pieces.solve(max(height_m, smoothed.floor_m), extrapolate=False)
    before, after = at[at < nose], at[at > nose]
    opens = float(before.max()) if len(before) else float(curve.at_deg[0])
    closes = float(after.min()) if len(after) else float(curve.at_deg[-1])
    both = np.array([opens, closes])
    slope = np.maximum(np.abs(pieces(both, nu=1)), 1e-9)
    return curve.doubt(both) / slope, DIAL_M / slope


def at_height(
    smoothed: Smoothed, height_m: float, *, wheel_doubt_deg: float, unread: Floats | None = None
) -> AtHeight:
    """The opening at one checking height.

    Parameters
    ----------
    smoothed : Smoothed
    height_m : float
        Below full lift.
    wheel_doubt_deg : float
        Of each event, by the wheel [deg crank].
    unread : (m, 2) array, optional
        Stretches without readings, from the nose.
    """
    lobe = smoothed.lobe
    top = int(np.argmax(lobe.lift_m))
    before = -float(np.interp(height_m, lobe.lift_m[: top + 1], lobe.angle_deg[: top + 1]))
    after = float(np.interp(height_m, lobe.lift_m[top:][::-1], lobe.angle_deg[top:][::-1]))
    own, dial = _event_doubts(smoothed, height_m)
    own = np.hypot(own, wheel_doubt_deg)
    both = float(np.hypot(*own))
    each = np.hypot(own, dial)
    ends = smoothed.curve.lift_m[[0, -1]]
    gaps = [] if unread is None else [tuple(gap) for gap in unread]
    # A wrong zero moves both events: apart for the duration, one against the other for the middle.
    return AtHeight(
        height_m=height_m,
        duration=Figure(before + after, float(np.hypot(both, dial.sum()))),
        before_nose=Figure(before, float(each[0])),
        after_nose=Figure(after, float(each[1])),
        middle=Figure((after - before) / 2, float(np.hypot(both, dial[0] - dial[1])) / 2),
        guessed=bool(height_m < max(float(ends.max()), smoothed.floor_m))
        or any(low < event < high for low, high in gaps for event in (-before, after)),
    )


def _of_measured(measured: MeasuredLobe, height_m: float) -> AtHeight:
    return at_height(
        measured.smoothed,
        height_m,
        wheel_doubt_deg=_wheel_doubt(measured),
        unread=measured.gaps_deg,
    )


def _dwell(measured: MeasuredLobe) -> Dwell | None:
    """Where full lift is held, or None where it is not for `LEAST_DWELL_DEG`.

    Beyond the dwell lift falls as the square of the angle, so the angles at which it has fallen by
    a few shares of full lift lie on a straight line over the roots of those shares, and that line
    starts at the end of the dwell (geometry of any nose that is round).
    """
    smoothed = measured.smoothed
    curve, nose = smoothed.curve, smoothed.nose_deg
    full = float(curve.spline(nose))
    first = last = 0.0
    for _ in range(3):
        fallen = [curve.pieces.solve((1 - x) * full, extrapolate=False) - nose for x in _NEAR_FULL]
        roots = np.sqrt(_NEAR_FULL)
        first = min(float(np.polyfit(roots, [at[at < 0].max() for at in fallen], 1)[1]), 0.0)
        last = max(float(np.polyfit(roots, [at[at > 0].min() for at in fallen], 1)[1]), 0.0)
        inside = nose + np.linspace(first, last, 31) * 0.8
        full = float(np.mean(curve.spline(inside)))
    doubts = _event_doubts(smoothed, (1 - float(_NEAR_FULL[0])) * full)[0]
    # The line is drawn twice as far as from its first point to its last: so is the doubt there.
    ends = 2 * np.hypot(doubts, _wheel_doubt(measured))
    found = Figure(first, float(ends[0])), Figure(last, float(ends[1]))
    if last - first < max(LEAST_DWELL_DEG, float(np.hypot(*ends))):
        return None
    seat = _of_measured(measured, CHECKING_HEIGHTS_M[0])
    return Dwell(
        first=found[0],
        last=found[1],
        opening_deg=seat.before_nose.value + first,
        closing_deg=seat.after_nose.value - last,
    )


def _flank_grids(measured: MeasuredLobe) -> tuple[Floats, Floats]:
    """Angles up the opening and down the closing flank, above the ramp, on the sheet's wheel."""
    curve, nose = measured.smoothed.curve, measured.smoothed.nose_deg
    pieces: PPoly = curve.pieces
    crossings = pieces.solve(measured.smoothed.floor_m, extrapolate=False)
    before, after = crossings[crossings < nose], crossings[crossings > nose]
    first = float(before.max()) if len(before) else float(curve.at_deg[0])
    last = float(after.min()) if len(after) else float(curve.at_deg[-1])
    return np.arange(first, nose, _GRID_DEG), np.arange(nose, last, _GRID_DEG)


def _velocity(measured: MeasuredLobe) -> Motion:
    up, down = _flank_grids(measured)
    return Motion(opening=_peak(measured, up, 1, 1.0), closing=_peak(measured, down, 1, -1.0))


def _acceleration(measured: MeasuredLobe, dwell: Dwell | None) -> Motion:
    up, down = _flank_grids(measured)
    return Motion(
        opening=_peak(measured, up, 2, 1.0),
        closing=_peak(measured, down, 2, 1.0),
        nose=_at_nose(measured, dwell),
    )


def _at_nose(measured: MeasuredLobe, dwell: Dwell | None) -> Peak:
    """Mean acceleration about the nose: what velocity falls by there over the angle it takes."""
    curve, nose = measured.smoothed.curve, measured.smoothed.nose_deg
    reach = max(NOSE_DEG, curve.window_deg)
    first, last = (dwell.first.value, dwell.last.value) if dwell else (0.0, 0.0)
    ends = nose + np.array([first - reach, last + reach])
    before, after = curve.spline.derivative(1)(ends)
    return Peak(
        value=float(after - before) / (2 * reach) * 4,
        doubt=float(np.hypot(*curve.doubt(ends, 1))) / (2 * reach) * 4,
        from_nose_deg=0.0,
    )


def _peak(measured: MeasuredLobe, at: Floats, order: int, sign: float) -> Peak:
    curve, nose = measured.smoothed.curve, measured.smoothed.nose_deg
    value = curve.spline.derivative(order)(at)
    worst = int(np.argmax(sign * value))
    to_cam = 2.0**order
    coarse = AT_COARSEST * (measured.step_deg / COARSEST_STEP_DEG) ** 2 if order == 2 else 0.0
    return Peak(
        value=float(value[worst]) * to_cam,
        doubt=float(np.hypot(curve.doubt(at[[worst]], order)[0], coarse * value[worst])) * to_cam,
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
    flanks = (found.opening, found.closing)
    share = max(peak.doubt / max(abs(peak.value), 1e-12) for peak in flanks)
    curve, step = measured.smoothed.curve, measured.step_deg / 2
    raw = second_difference_noise(curve.scatter_m, step) / max(peak.value for peak in flanks)
    why = (
        f"scatter and steps of {step:.3g} cam deg leave a doubt of {share * 100:.0f} % of the peak "
        f"(differences of the readings themselves: {raw * 100:.0f} %)"
    )
    if share > MOST_DOUBT:
        return f"refused: {why}"
    if share > WARN_DOUBT:
        return f"{why}, averaged over about {curve.window_deg / 2:.0f} cam deg"
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

"""Measured lift: from readings to a smoothed lobe, with what smoothing changed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import PPoly

from breathe.engine.parts import Floats, Lobe
from breathe.valvetrain.lobe import NODE_DEG, RAMP_LENGTH, Flank, join_flanks, ramp_below
from breathe.valvetrain.smoothing import Smooth, smooth

FEWEST_ROWS = 12
NOISE_FLOOR_M = 0.03e-3
"""Below this lift, or three times the scatter, the ramp is lost in the base circle."""
BASE_BAND_M = 0.05e-3
OPEN_END_M = 0.5e-3
"""A sheet that starts or ends above this lift has not been measured down to the ramp."""
WIDEST_SCATTER_M = 0.1e-3
WRONG_ZERO_M = 0.02e-3
"""A base circle this far from zero is taken for a wrong zero; nearer, for scatter."""
MOST_READINGS = 500
LONGEST_RAMP_DEG = 60.0
EQUAL_LIFTS = np.linspace(0.80, 0.95, 7)
"""Shares of full lift at which the flanks are averaged to find the nose."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Smoothed:
    """A lobe through readings, and how far it passes from them."""

    lobe: Lobe
    curve: Smooth
    """Through the readings less ``base_m``, on their own wheel."""
    nose_deg: float
    """Where on the readings' own wheel the lobe's angle 0 lies."""
    residual_m: Floats
    """(n,) reading less lobe, on the base circle too."""
    base_m: float
    """Taken off all readings: the level of the base circle."""
    floor_m: float
    """Below this lift the lobe follows a ramp, not the readings."""
    notes: tuple[str, ...]

    @property
    def residual_rms_m(self) -> float:
        return float(np.sqrt(np.mean(self.residual_m**2)))


def lobe_from_table(
    angle_deg: Floats, lift_m: Floats, *, made_from: str, resolution_m: float = 0.0
) -> Smoothed:
    """Smooth readings into a lobe.

    A cubic smoothing spline whose stiffness is chosen by cross-validation (``smoothing.smooth``)
    needs no guess of the scatter and passes through clean readings. Below ``NOISE_FLOOR_M`` or
    three times the scatter a ramp leads down to the base circle, which is set to zero. The nose is
    the mean of both flanks at equal lifts near full lift.

    Parameters
    ----------
    angle_deg : (n,) array
        Rising, crank degrees from any zero.
    lift_m : (n,) array
        At the valve, zero lash.
    made_from : str
        For the lobe.
    resolution_m : float
        To which readings are rounded.

    Raises
    ------
    ValueError
        If there are too few readings, they do not rise in angle, start or end far above the base
        circle, scatter widely, or fall on the way up.
    """
    angle, raw = np.asarray(angle_deg, dtype=np.float64), np.asarray(lift_m, dtype=np.float64)
    _check_table(angle, raw)
    base, notes = _base_level(raw)
    lift = raw - base
    curve = _smooth(angle, lift, resolution_m)
    pieces, scatter = curve.pieces, curve.scatter_m
    peak = _peak(pieces)
    floor = max(NOISE_FLOOR_M, 3 * scatter)
    notes += _open_ends(lift)
    opening, starts = _measured_flank(pieces, floor, peak, float(angle[0]))
    closing, ends = _measured_flank(pieces, floor, peak, float(angle[-1]))
    _check_rise(opening, closing, scatter)
    _check_beyond(angle, lift, (starts, ends))
    nose = _equal_lift_nose(pieces, peak)
    joined = join_flanks(opening, closing, made_from=made_from)
    lobe = Lobe(
        angle_deg=joined.angle_deg + (peak - nose), lift_m=joined.lift_m, made_from=made_from
    )
    drawn = np.interp(angle - nose, lobe.angle_deg, lobe.lift_m, left=0.0, right=0.0)
    within = (angle > starts) & (angle < ends)
    drawn[within] = curve.spline(angle[within])
    return Smoothed(
        lobe=lobe,
        curve=curve,
        nose_deg=nose,
        residual_m=lift - drawn,
        base_m=base,
        floor_m=floor,
        notes=tuple(notes),
    )


def lobe_as_written(angle_deg: Floats, lift_m: Floats, *, made_from: str) -> Smoothed:
    """A curve that was smoothed before, as it is: zero at both ends, straight between its rows.

    Parameters
    ----------
    angle_deg, lift_m : (n,) arrays
        As for `lobe_from_table`.
    made_from : str

    Raises
    ------
    ValueError
        As `lobe_from_table`; also if the curve does not end on the base circle.
    """
    angle, lift = np.asarray(angle_deg, dtype=np.float64), np.asarray(lift_m, dtype=np.float64)
    _check_table(angle, lift)
    if max(lift[0], lift[-1]) > 0:
        raise ValueError("found a written curve cut off above the base circle; expected 0 mm there")
    curve = smooth(*_thinned(angle, lift))
    nose = _equal_lift_nose(curve.pieces, _peak(curve.pieces))
    first, last = np.flatnonzero(lift > 0)[[0, -1]]
    own = slice(int(first) - 1, int(last) + 2)
    return Smoothed(
        lobe=Lobe(angle_deg=angle[own] - nose, lift_m=lift[own], made_from=made_from),
        curve=curve,
        nose_deg=nose,
        residual_m=np.zeros(len(lift)),
        base_m=0.0,
        floor_m=NOISE_FLOOR_M,
        notes=(),
    )


def _thinned(angle_deg: Floats, lift_m: Floats) -> tuple[Floats, Floats]:
    """Means of neighbouring readings where there are more than the smoothing needs."""
    group = int(np.ceil(len(angle_deg) / MOST_READINGS))
    if group == 1:
        return angle_deg, lift_m
    cuts = np.arange(0, len(angle_deg), group)
    count = np.diff(np.append(cuts, len(angle_deg)))
    return np.add.reduceat(angle_deg, cuts) / count, np.add.reduceat(lift_m, cuts) / count


def _smooth(angle_deg: Floats, lift_m: Floats, resolution_m: float) -> Smooth:
    """Smoothing spline; refuses wild scatter."""
    curve = smooth(*_thinned(angle_deg, lift_m), resolution_m=resolution_m)
    apart = float(np.sqrt(np.mean((lift_m - curve.spline(angle_deg)) ** 2)))
    if apart > WIDEST_SCATTER_M:
        raise ValueError(
            f"found readings that scatter by {apart * 1e3:.2f} mm (rms) about any smooth line; "
            f"expected at most {WIDEST_SCATTER_M * 1e3:.2f} mm. Two units in one column?"
        )
    return curve


def _measured_flank(
    pieces: PPoly, floor_m: float, peak_deg: float, end_deg: float
) -> tuple[Flank, float]:
    """Flank from the peak towards ``end_deg`` with a ramp below the noise floor, and its join."""
    outward = -1.0 if end_deg < peak_deg else 1.0
    crossings = np.sort(outward * (pieces.solve(floor_m, extrapolate=False) - peak_deg))
    beyond = crossings[crossings > 0]
    # A sheet that stops above the floor gets its ramp from its last reading.
    join = peak_deg + outward * float(beyond[0]) if len(beyond) else end_deg
    height = float(pieces(join))
    velocity = max(-outward * float(pieces(join, nu=1)), RAMP_LENGTH * height / LONGEST_RAMP_DEG)
    ramp = ramp_below(height, velocity, float(pieces(join, nu=2)))
    count = int(np.ceil(abs(peak_deg - join) / NODE_DEG)) + 1
    at = np.linspace(join, peak_deg, count)
    angle = np.concatenate([ramp.angle_deg, ramp.angle_deg[-1] + np.abs(at[1:] - join)])
    return Flank(angle, np.concatenate([ramp.lift_m, pieces(at[1:])])), join


def _peak(pieces: PPoly) -> float:
    """Angle of the greatest lift."""
    flat = pieces.derivative().roots(extrapolate=False)
    flat = flat[np.isfinite(flat)]
    if not len(flat):
        raise ValueError(
            "found a lift that only rises or only falls; expected a nose between flanks"
        )
    return float(flat[np.argmax(pieces(flat))])


def _equal_lift_nose(pieces: PPoly, peak_deg: float) -> float:
    """Nose as the trade finds it: midway between equal lifts on both flanks."""
    full = float(pieces(peak_deg))
    middles = []
    for share in EQUAL_LIFTS:
        crossings = pieces.solve(share * full, extrapolate=False)
        before, after = crossings[crossings < peak_deg], crossings[crossings > peak_deg]
        if len(before) and len(after):
            middles.append((before.max() + after.min()) / 2)
    return float(np.mean(middles)) if middles else peak_deg


def _base_level(lift_m: Floats) -> tuple[float, list[str]]:
    """Level of the base circle, from the readings at both ends where there are some on it."""
    near = lift_m <= lift_m.min() + BASE_BAND_M
    if near.sum() < 4 or not (near[0] and near[-1]):
        return 0.0, []
    level = float(np.median(lift_m[near]))
    if lift_m.min() <= WRONG_ZERO_M and level >= -WRONG_ZERO_M:
        return 0.0, []
    return level, [
        f"the base circle reads {level * 1e3:+.3f} mm: taken as zero; base circle run-out or "
        "wrong zero?"
    ]


def _open_ends(lift_m: Floats) -> list[str]:
    """Notes on a sheet that stops above the base circle; refuses one that stops far above."""
    notes = []
    for which, lift in (("first", lift_m[0]), ("last", lift_m[-1])):
        found = f"the {which} reading is {lift * 1e3:.2f} mm"
        if lift > OPEN_END_M:
            raise ValueError(
                f"found that {found}; expected readings down to the base circle, or at least to "
                f"{OPEN_END_M * 1e3:.1f} mm"
            )
        if lift > BASE_BAND_M:
            notes.append(
                f"{found}, above the base circle: a ramp is added below it, so seat duration is a "
                "guess. Base circle run-out or wrong zero?"
            )
    return notes


def _check_table(angle_deg: Floats, lift_m: Floats) -> None:
    if len(angle_deg) != len(lift_m):
        raise ValueError(f"found {len(angle_deg)} angles and {len(lift_m)} lifts; expected as many")
    if len(angle_deg) < FEWEST_ROWS:
        raise ValueError(
            f"found {len(angle_deg)} readings; expected at least {FEWEST_ROWS} over the whole lobe"
        )
    if not (np.all(np.isfinite(angle_deg)) and np.all(np.isfinite(lift_m))):
        raise ValueError("found a reading that is not a number")
    if np.any(np.diff(angle_deg) <= 0):
        bad = int(np.argmax(np.diff(angle_deg) <= 0)) + 1
        raise ValueError(
            f"found angle {angle_deg[bad]:g} after {angle_deg[bad - 1]:g}; expected rising angles"
        )
    if angle_deg[-1] - angle_deg[0] > 720:
        raise ValueError(
            f"found angles over {angle_deg[-1] - angle_deg[0]:g} deg crank; expected at most 720. "
            "Cam degrees are doubled: is the unit right?"
        )
    if lift_m.max() < 0.5e-3 or lift_m.max() > 50e-3:
        raise ValueError(
            f"found a greatest lift of {lift_m.max() * 1e3:.3g} mm; expected 0.5 to 50 mm. "
            "Is the unit right?"
        )


def _check_beyond(angle_deg: Floats, lift_m: Floats, span_deg: tuple[float, float]) -> None:
    """Refuse readings with a second rise beyond the flanks."""
    outside = (angle_deg < span_deg[0]) | (angle_deg > span_deg[1])
    second = np.where(outside, lift_m, 0.0)
    if second.max() > OPEN_END_M:
        raise ValueError(
            f"found a second rise, to {second.max() * 1e3:.2f} mm at "
            f"{angle_deg[second.argmax()]:g} deg crank; expected one lobe. Two lobes in one sheet?"
        )


def _check_rise(opening: Flank, closing: Flank, scatter_m: float) -> None:
    """Refuse a flank whose lift falls on its way up by more than scatter explains."""
    for name, flank in (("opening", opening), ("closing", closing)):
        fall = np.maximum.accumulate(flank.lift_m) - flank.lift_m
        worst = int(np.argmax(fall))
        if fall[worst] > max(0.02e-3, 3 * scatter_m):
            raise ValueError(
                f"found a dip of {fall[worst] * 1e3:.2f} mm near {flank.lift_m[worst] * 1e3:.2f} "
                f"mm on the {name} flank; expected lift to rise steadily to the nose. "
                "A misread row, or two lobes in one sheet?"
            )

"""Measured lift: from readings to a smoothed lobe, with what smoothing changed."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.interpolate import BSpline, PPoly, make_smoothing_spline

from breathe.engine.parts import Floats, Lobe, Side
from breathe.valvetrain.lobe import NODE_DEG, RAMP_LENGTH, Flank, join_flanks, ramp_below
from breathe.valvetrain.sheet import read_sheet

FEWEST_ROWS = 12
NOISE_FLOOR_M = 0.03e-3
"""Below this lift, or three times the scatter, the ramp is lost in the base circle."""
BASE_BAND_M = 0.05e-3
OPEN_END_M = 0.5e-3
"""A sheet that starts or ends above this lift has not been measured down to the ramp."""
WIDEST_SCATTER_M = 0.1e-3
MISREAD_M = 0.15e-3
"""A reading this far from the cubic through two neighbours on each side is taken for a slip, if it
also stands out eightfold from how far the others are (common practice, no source)."""
LONGEST_RAMP_DEG = 60.0
EQUAL_LIFTS = np.linspace(0.80, 0.95, 7)
"""Shares of full lift at which the flanks are averaged to find the nose."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Smoothed:
    """A lobe through readings, and how far it passes from them."""

    lobe: Lobe
    nose_deg: float
    """Where on the readings' own wheel the lobe's angle 0 lies."""
    residual_m: Floats
    """(n,) reading less lobe, on the base circle too."""
    base_m: float
    """Taken off all readings: the level of the base circle."""
    notes: tuple[str, ...]

    @property
    def residual_rms_m(self) -> float:
        return float(np.sqrt(np.mean(self.residual_m**2)))


def read_lobe(path: Path, side: Side, rocker_ratio: float = 1.0) -> tuple[Lobe, tuple[str, ...]]:
    """Lobe from a measured sheet, and what was noticed on the way.

    Parameters
    ----------
    path : Path
        As for ``read_sheet``.
    side : 'intake' or 'exhaust'
        To question a sheet that looks like the other side's.
    rocker_ratio : float
        Multiplies the readings: 1 if they were taken at the valve.

    Raises
    ------
    OSError
        If the file cannot be opened.
    ValueError
        One message with every fault, by row.
    """
    sheet = read_sheet(path)
    try:
        smoothed = lobe_from_table(
            sheet.angle_deg,
            sheet.lift_m * rocker_ratio,
            made_from=f"measured: {path.name}",
            row=sheet.row,
        )
    except ValueError as error:
        raise ValueError(f"{path.name}: {error}") from None
    worst = int(np.argmax(np.abs(smoothed.residual_m)))
    rms, most = smoothed.residual_rms_m, smoothed.residual_m[worst]
    notes = [
        f"{path.name}: {len(sheet.row)} rows smoothed; the line passes {rms * 1e3:.3f} mm (rms) "
        f"from the readings, at most {abs(most) * 1e3:.3f} mm, in row {sheet.row[worst]}",
        *smoothed.notes,
    ]
    other = "exhaust" if side == "intake" else "intake"
    window = (200.0, 320.0) if side == "intake" else (400.0, 520.0)
    whole_cycle = sheet.angle_deg[0] >= 0 and sheet.angle_deg[-1] - sheet.angle_deg[0] > 360
    if whole_cycle and window[0] <= smoothed.nose_deg <= window[1]:
        notes.append(
            f"the nose is at {smoothed.nose_deg:.0f} deg: if 0 is firing TDC this is the {other} "
            f"lobe, read here as {side}"
        )
    return smoothed.lobe, tuple(notes)


def lobe_from_table(
    angle_deg: Floats, lift_m: Floats, *, made_from: str, row: tuple[int, ...] = ()
) -> Smoothed:
    """Smooth readings into a lobe.

    A cubic smoothing spline whose stiffness is chosen by generalised cross-validation, so it
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
    row : (n,) int, optional
        What messages call each reading; counted from 1 unless given.

    Raises
    ------
    ValueError
        If there are too few readings, they do not rise in angle, start or end far above the base
        circle, stand out from their neighbours or scatter widely, or fall on the way up.

    References
    ----------
    P. Craven and G. Wahba, Smoothing noisy data with spline functions, Numerische Mathematik 31,
    1979 (from memory).
    """
    angle, raw = np.asarray(angle_deg, dtype=np.float64), np.asarray(lift_m, dtype=np.float64)
    _check_table(angle, raw)
    _check_misread(angle, raw, row or tuple(range(1, len(raw) + 1)))
    base, notes = _base_level(raw)
    lift = raw - base
    spline, scatter = _smooth(angle, lift)
    pieces = PPoly.from_spline(spline.tck)
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
    drawn[within] = spline(angle[within])
    return Smoothed(
        lobe=lobe, nose_deg=nose, residual_m=lift - drawn, base_m=base, notes=tuple(notes)
    )


def _smooth(angle_deg: Floats, lift_m: Floats) -> tuple[BSpline, float]:
    """Smoothing spline and its rms distance from the readings; refuses wild scatter."""
    spline = make_smoothing_spline(angle_deg, lift_m)
    scatter = float(np.sqrt(np.mean((lift_m - spline(angle_deg)) ** 2)))
    if scatter > WIDEST_SCATTER_M:
        raise ValueError(
            f"found readings that scatter by {scatter * 1e3:.2f} mm (rms) about any smooth line; "
            f"expected at most {WIDEST_SCATTER_M * 1e3:.2f} mm"
        )
    return spline, scatter


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
    if abs(level) < 0.005e-3:
        return level, []
    return level, [
        f"the base circle reads {level * 1e3:+.3f} mm: taken as zero; a wrong zero, or run-out?"
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
                "guess. A wrong zero, or run-out?"
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


def _check_misread(angle_deg: Floats, lift_m: Floats, row: tuple[int, ...]) -> None:
    """Refuse readings that stand out from their neighbours."""
    neighbours = (-2, -1, 1, 2)
    middle = np.arange(2, len(lift_m) - 2)
    expected = np.zeros(len(middle))
    for k in neighbours:
        others = [other for other in neighbours if other != k]
        # Lagrange's weight of this neighbour at the angle left out.
        weight = np.prod(
            [
                (angle_deg[middle] - angle_deg[middle + other])
                / (angle_deg[middle + k] - angle_deg[middle + other])
                for other in others
            ],
            axis=0,
        )
        expected += weight * lift_m[middle + k]
    off = np.abs(lift_m[middle] - expected)
    limit = max(MISREAD_M, 8 * float(np.median(off)))
    peak = (off >= np.roll(off, 1)) & (off >= np.roll(off, -1))
    bad = np.flatnonzero((off > limit) & peak)
    if len(bad):
        raise ValueError(
            "; ".join(
                f"row {row[middle[i]]}: found a lift of {lift_m[middle[i]] * 1e3:.2f} mm; its "
                f"neighbours suggest {expected[i] * 1e3:.2f} mm"
                for i in bad[:8]
            )
            + ". A misread or mistyped row?"
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

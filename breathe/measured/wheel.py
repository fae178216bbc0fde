"""The wheel of a lift sheet: order, turns, sweeps, and whether it is on the cam or the crank."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar

from breathe.engine.parts import Floats, Side
from breathe.measured.lift_words import AngleCell, Wheel

IN_ORDER_SHARE = 0.85
"""Readings that must rise or fall in step for the rest to be taken as slips."""
CAM_BELOW_DEG, CRANK_ABOVE_DEG = 170.0, 200.0
"""No cam opens a valve for less than 170 deg crank, and none for more than 200 deg cam
(common practice, no source)."""
CRANK_SPAN_DEG = (170.0, 420.0)
"""Seat durations taken without asking."""
SHORTEST_DEG = 120.0
"""Seat duration taken where the user insists."""
CARD_MATCH = 0.12
"""Share by which a measured span may differ from the card's duration and still match."""
MOST_BACKLASH_DEG = 8.0

Indices = NDArray[np.intp]


class WheelError(ValueError):
    """What is wrong with the angles, without the file's name."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ordered:
    """Readings in the order of the wheel."""

    sweeps: tuple[Indices, ...]
    """Places of the readings of each sweep, by rising angle."""
    angle_deg: Floats
    """(n,) of all readings, turns added."""
    out_of_order: tuple[int, ...]
    """Places of readings that fit into no sweep."""
    notes: tuple[str, ...]


def crank_angles(cells: Sequence[AngleCell], side: Side) -> Floats:
    """Crank degrees, 360 at overlap TDC, of readings told from dead centres.

    Bottom dead centre is the one of that side: 540 after the intake stroke, 180 before the
    exhaust stroke. A reading without a dead centre is NaN.
    """
    centres = {"TDC": 360.0, "BDC": 540.0 if side == "intake" else 180.0, "": np.nan}
    return np.array([centres[cell.centre] + cell.deg for cell in cells])


def side_by_order(cells: Sequence[AngleCell], lift_m: Floats) -> Side:
    """The side for which the readings, as written, jump about the wheel least."""
    way = {}
    sides: tuple[Side, Side] = ("intake", "exhaust")
    for side in sides:
        angle = crank_angles(cells, side)
        way[side] = float(np.abs(np.diff(angle[np.isfinite(angle)])).sum())
    if way["intake"] != way["exhaust"]:
        return "intake" if way["intake"] < way["exhaust"] else "exhaust"
    at_peak = cells[int(np.argmax(lift_m))]
    return "exhaust" if at_peak.centre == "TDC" and at_peak.deg < 0 else "intake"


def in_order(angle_deg: Floats, lift_m: Floats, row: Sequence[int]) -> Ordered:
    """Find one sweep of the wheel, or two, among readings as they were written.

    Raises
    ------
    WheelError
        Where angles go back and forth without a pattern, naming rows.
    """
    every = np.arange(len(angle_deg))
    for angle, note in ((angle_deg, ""), *_unwrapped(angle_deg, lift_m)):
        notes = (note,) if note else ()
        for falling in (False, True):
            kept = _in_step(angle, every, falling=falling)
            if len(kept) >= IN_ORDER_SHARE * len(every):
                told = (*notes, "the wheel was read backwards: turned about") if falling else notes
                return _one_sweep(angle, kept[::-1] if falling else kept, every, told)
    two = _two_sweeps(angle_deg)
    if two is not None:
        return two
    back = np.flatnonzero(np.diff(angle_deg) < 0) + 1
    rows = ", ".join(str(row[i]) for i in back[:10])
    more = f" and {len(back) - 10} more" if len(back) > 10 else ""
    raise WheelError(
        f"found angles that go back without a pattern, in rows {rows}{more}; expected the wheel "
        "turned one way, or once up and once down"
    )


def _one_sweep(angle: Floats, kept: Indices, every: Indices, notes: tuple[str, ...]) -> Ordered:
    left = tuple(int(i) for i in np.setdiff1d(every, kept))
    return Ordered(sweeps=(kept,), angle_deg=angle, out_of_order=left, notes=notes)


def _in_step(angle: Floats, places: Indices, *, falling: bool) -> Indices:
    """The longest run of ``places``, gaps allowed, along which angles never turn back."""
    values = -angle[places] if falling else angle[places]
    tails: list[float] = []
    at: list[int] = []
    before = np.full(len(values), -1)
    for i, value in enumerate(values):
        k = bisect_right(tails, value)
        before[i] = at[k - 1] if k else -1
        tails[k : k + 1] = [float(value)]
        at[k : k + 1] = [i]
    found, i = [], at[-1] if at else -1
    while i >= 0:
        found.append(i)
        i = int(before[i])
    return places[np.array(found[::-1], dtype=np.intp)]


def _unwrapped(angle: Floats, lift_m: Floats) -> list[tuple[Floats, str]]:
    """The readings with a turn added where the wheel passed its zero, if that is what a jump is."""
    period = 720.0 if angle.max() > 361 else 360.0
    step = np.diff(angle)
    for sign in (1.0, -1.0):
        jumps = np.flatnonzero(sign * step < -0.75 * period)
        if len(jumps) != 1:
            continue
        cut = int(jumps[0]) + 1
        # A second sweep jumps back as well, but begins on the base circle like the first.
        again = angle[cut:].max() > angle[:cut].min() and angle[:cut].max() > angle[cut:].min()
        if again and lift_m[:cut].max() > 0.6 * lift_m.max() < lift_m[cut:].max() / 0.6 * 0.6**2:
            continue
        turned = angle.copy()
        turned[cut:] += sign * period
        return [(turned, f"the wheel passes its zero: {period:g} added from there on")]
    return []


def _two_sweeps(angle: Floats) -> Ordered | None:
    """Up and down, down and up, or the same way twice."""
    n = len(angle)
    best: Ordered | None = None
    cuts = {
        int(np.argmax(angle)) + 1,
        int(np.argmin(angle)) + 1,
        int(np.argmin(np.diff(angle))) + 1,
    }
    cuts |= {int(np.argmax(np.diff(angle))) + 1}
    for cut in cuts:
        halves = np.arange(cut), np.arange(cut, n)
        if min(len(half) for half in halves) < 0.25 * n:
            continue
        runs = [
            max(
                (_in_step(angle, half, falling=f)[:: -1 if f else 1] for f in (False, True)),
                key=len,
            )
            for half in halves
        ]
        kept = sum(len(run) for run in runs)
        if kept < IN_ORDER_SHARE * n or (best and kept <= sum(map(len, best.sweeps))):
            continue
        left = np.setdiff1d(np.arange(n), np.concatenate(runs))
        best = Ordered(
            sweeps=(runs[0], runs[1]),
            angle_deg=angle,
            out_of_order=tuple(int(i) for i in left),
            notes=(),
        )
    return best


def whole_turn_cut(angle_deg: Floats, lift_m: Floats, period_deg: float) -> int | None:
    """Where to cut a sheet over a whole turn whose lobe runs across its ends, or None.

    Returns the place of the first reading of the turned sheet: the middle of the longest stretch
    near the base circle.
    """
    step = float(np.median(np.diff(angle_deg)))
    whole = abs(angle_deg[-1] - angle_deg[0] - period_deg) < 3 * step
    shut = lift_m < 0.05 * lift_m.max()
    if not whole or (shut[0] and shut[-1]) or not shut.any():
        return None
    edges = np.flatnonzero(np.diff(np.concatenate([[0], shut.astype(int), [0]])))
    starts, ends = edges[::2], edges[1::2]
    longest = int(np.argmax(ends - starts))
    return int((starts[longest] + ends[longest]) // 2)


def backlash_deg(up: tuple[Floats, Floats], down: tuple[Floats, Floats]) -> tuple[float, float]:
    """Constant angle between two sweeps of one lobe, and what is left between them.

    Parameters
    ----------
    up, down : (angle, lift)
        Each rising in angle; angles in the sheet's degrees, lifts in metres.

    Returns
    -------
    float, float
        Degrees by which ``down`` lies later, and the rms lift left between the sweeps [m].
    """
    grid = up[0]

    def apart(shift: float) -> float:
        moved = np.interp(grid, down[0] - shift, down[1], left=np.nan, right=np.nan)
        both = np.isfinite(moved)
        if both.sum() < 0.5 * min(len(up[0]), len(down[0])):
            return 1.0
        return float(np.mean((moved[both] - up[1][both]) ** 2))

    tried = np.linspace(-MOST_BACKLASH_DEG, MOST_BACKLASH_DEG, 161)
    first = float(tried[int(np.argmin([apart(float(shift)) for shift in tried]))])
    found: Any = minimize_scalar(apart, bounds=(first - 0.2, first + 0.2), method="bounded")
    return float(found.x), float(np.sqrt(found.fun))


def opened_span(angle_deg: Floats, lift_m: Floats, height_m: float) -> tuple[float, float] | None:
    """Angles between which straight lines through the readings stay above a height."""
    top = int(np.argmax(lift_m))
    below = lift_m <= height_m
    before, after = np.flatnonzero(below[:top]), np.flatnonzero(below[top:])
    if not len(before) or not len(after):
        return None
    i, j = int(before[-1]), top + int(after[0])
    opens = np.interp(height_m, lift_m[[i, i + 1]], angle_deg[[i, i + 1]])
    closes = np.interp(height_m, lift_m[[j, j - 1]], angle_deg[[j, j - 1]])
    return float(opens), float(closes)


def cam_or_crank(
    span_deg: float,
    height: str,
    *,
    asked: Wheel | None = None,
    said: tuple[Wheel, str] | None = None,
    ordered_deg: float | None = None,
) -> tuple[Wheel, str]:
    """Whether angles are cam or crank degrees, and why, in words.

    Parameters
    ----------
    span_deg : float
        Opened span on the wheel.
    height : str
        Where the span was taken, for the words.
    asked, said : optional
        By the user; by the sheet with the words that say it.
    ordered_deg : float, optional
        Duration on the card [deg crank].

    Raises
    ------
    WheelError
        Where it cannot be decided or what is said cannot be.
    """
    opened = f"opened span {span_deg:.1f} deg at {height}"
    if asked:
        return _as_stated(asked, f"--angles {asked}", opened, span_deg, SHORTEST_DEG)
    if said:
        return _as_stated(*said, opened, span_deg, CRANK_SPAN_DEG[0])
    found = _by_card(opened, span_deg, ordered_deg) if ordered_deg is not None else None
    if found:
        return found
    if not CRANK_SPAN_DEG[0] <= 2 * span_deg <= 2 * CRANK_SPAN_DEG[1]:
        raise WheelError(
            f"the {opened} is no duration in crank or cam degrees; expected "
            f"{CRANK_SPAN_DEG[0]:.0f} to {CRANK_SPAN_DEG[1]:.0f} deg crank. Are those angles?"
        )
    if span_deg < CAM_BELOW_DEG:
        return "cam", (
            f"{opened} is too short for crank degrees (twice that is {2 * span_deg:.1f}): taken "
            "as cam degrees; say otherwise with --angles crank"
        )
    if span_deg > CRANK_ABOVE_DEG:
        return "crank", (
            f"{opened} is too long for cam degrees: taken as crank degrees; say otherwise with "
            "--angles cam"
        )
    raise WheelError(
        f"cam or crank degrees? The {opened} is a duration of {span_deg:.0f} deg crank or of "
        f"{2 * span_deg:.0f}; say which with --angles cam or --angles crank"
    )


def _as_stated(
    wheel: Wheel, words: str, opened: str, span_deg: float, least_deg: float
) -> tuple[Wheel, str]:
    """What user or sheet say, unless it makes an impossible duration."""
    crank = span_deg * (2 if wheel == "cam" else 1)
    if least_deg <= crank <= CRANK_SPAN_DEG[1]:
        return wheel, f"{wheel} degrees ({words}); {opened}"
    other = "crank" if wheel == "cam" else "cam"
    raise WheelError(
        f"{words} means {wheel} degrees, but the {opened} would then be a duration of "
        f"{crank:.0f} deg crank; expected {least_deg:.0f} to {CRANK_SPAN_DEG[1]:.0f}. Is it "
        f"{other} degrees? Say so with --angles {other}"
    )


def _by_card(opened: str, span_deg: float, ordered_deg: float) -> tuple[Wheel, str] | None:
    """The wheel on which the span is near the card's duration, if there is one."""
    kinds: tuple[tuple[Wheel, Wheel, float], ...] = (("cam", "crank", 2.0), ("crank", "cam", 1.0))
    for wheel, other, to_crank in kinds:
        if abs(span_deg * to_crank - ordered_deg) < CARD_MATCH * ordered_deg:
            twice = f", twice that is {2 * span_deg:.1f} and" if wheel == "cam" else ""
            return wheel, (
                f"{opened}{twice} matches the card's {ordered_deg:.0f}: taken as {wheel} degrees; "
                f"say otherwise with --angles {other}"
            )
    return None

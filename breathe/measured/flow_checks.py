"""Whether coefficients can be those of a valve: one line each for what looks odd."""

from __future__ import annotations

from collections.abc import Sequence

from breathe.measured.flow_rows import Reading
from breathe.measured.remarks import Remarks
from breathe.measured.sheet import SheetError

SLIP = "one valve or two? inches or mm? l/s or cfm?"
_LEAST, _MOST = 0.05, 0.95
USUAL = (0.3, 0.8)
"""Coefficients on curtain area over the lifts of road and race heads: from memory."""
_LOW_LIFT, _HIGH_LIFT = (0.45, 0.75), (0.30, 0.65)
"""The same at low and at high lift: from memory."""
_LEAST_HIGHEST = 0.40
"""A valve whose best coefficient is lower is questioned."""
_FALL = 0.10
"""A flow that falls, or rises after a fall, by more is questioned."""
_OFF_LINE = 0.10
"""A row this far off the line through its neighbours is questioned."""
_MANY = 20
"""More odd rows than this are not sorted out one by one."""
_OFF_END = 0.30
"""The same for the first and last row against the only neighbour."""


def check_rows(
    file: str, readings: Sequence[Reading], coefficients: Sequence[float], remarks: Remarks
) -> None:
    """Questions about coefficients on the bench convention, one for each reading.

    Raises
    ------
    SheetError
        For a coefficient no valve has.
    """
    for reading, c in zip(readings, coefficients, strict=True):
        if not _LEAST <= c <= _MOST:
            raise SheetError(
                f"{file}, row {reading.number}: at lift {_lift(reading)} the coefficient on "
                f"curtain area is {c:.2f}; expected {_LEAST:g} to {_MOST:g}: {SLIP}"
            )
    low_all_over = low_highest(coefficients)
    if low_all_over:
        remarks.questions.append(low_all_over)
    outside = [n for n, c in enumerate(coefficients) if not USUAL[0] <= c <= USUAL[1]]
    if outside:
        low, high = (pick(coefficients[n] for n in outside) for pick in (min, max))
        span = f"{low:.2f}" if len(outside) == 1 else f"{low:.2f} to {high:.2f}"
        remarks.questions.append(
            f"{_rows(readings, outside)}: the coefficient on curtain area is {span}, outside the "
            f"usual {USUAL[0]:g} to {USUAL[1]:g}; {SLIP}"
        )
    flows = [r.flow for r in readings]
    falling = _falling(flows)
    left = [n for n in range(len(flows)) if n not in falling]
    odd = sorted(falling | _misfits([r.lift_m for r in readings], coefficients, left))
    if odd:
        remarks.questions.append(
            f"{_rows(readings, odd)}: the flow does not fit the rows around; a slip in typing, or "
            "a port that breaks away?"
        )


def low_highest(coefficients: Sequence[float]) -> str:
    """A question if even the highest coefficient on curtain area is low, or ''."""
    highest = max(coefficients, default=_LEAST_HIGHEST)
    if highest >= _LEAST_HIGHEST:
        return ""
    low, high = (f"{a:g} to {b:g}" for a, b in (_LOW_LIFT, _HIGH_LIFT))
    return (
        f"the highest coefficient on curtain area is {highest:.2f}; usual are {low} at low lift, "
        f"{high} at high lift; {SLIP}"
    )


def _lift(reading: Reading) -> str:
    return f"{reading.lift_m * 1e3:.2f} mm ({reading.lift_m / 0.0254:.3f} in)"


def _rows(readings: Sequence[Reading], which: Sequence[int]) -> str:
    shown = ", ".join(str(readings[n].number) for n in which[:8])
    more = " and more" if len(which) > 8 else ""
    if len(which) == 1:
        return f"row {shown} (lift {_lift(readings[which[0]])})"
    return f"rows {shown}{more}"


def _falling(flows: Sequence[float]) -> set[int]:
    """Rows where flow falls by much with rising lift, or falls before it rises by much."""
    odd = set()
    for n in range(1, len(flows)):
        rises = n + 1 < len(flows) and flows[n + 1] > (1 + _FALL) * flows[n]
        if flows[n] < (1 - _FALL) * flows[n - 1] or (flows[n] < flows[n - 1] and rises):
            odd.add(n)
    return odd


def _misfits(lifts: Sequence[float], coefficients: Sequence[float], left: list[int]) -> set[int]:
    """The fewest rows without which the others lie near lines through their neighbours."""
    odd: set[int] = set()
    flagged = _off_line(lifts, coefficients, left)
    while flagged:
        if len(flagged) > _MANY or len(left) < 3:
            return odd | flagged.keys()
        worst = min(flagged, key=lambda n: _misfit_without(lifts, coefficients, left, n))
        odd.add(worst)
        left = [n for n in left if n != worst]
        flagged = _off_line(lifts, coefficients, left)
    return odd


def _misfit_without(
    lifts: Sequence[float], coefficients: Sequence[float], left: Sequence[int], row: int
) -> tuple[int, float]:
    """How many rows are off and by how much together, once ``row`` is left out."""
    flagged = _off_line(lifts, coefficients, [n for n in left if n != row])
    return len(flagged), sum(flagged.values())


def _off_line(
    lifts: Sequence[float], coefficients: Sequence[float], left: Sequence[int]
) -> dict[int, float]:
    """Rows of ``left`` whose coefficient is too far off their neighbours in it, and how far."""
    far = {}
    for at, n in enumerate(left):
        if 0 < at < len(left) - 1:
            low, high, allowed = left[at - 1], left[at + 1], _OFF_LINE
            share = (lifts[n] - lifts[low]) / (lifts[high] - lifts[low])
            expected = coefficients[low] * (1 - share) + coefficients[high] * share
        elif len(left) > 1:
            expected, allowed = coefficients[left[1 if at == 0 else at - 1]], _OFF_END
        else:
            continue
        if abs(coefficients[n] / expected - 1) > allowed:
            far[n] = abs(coefficients[n] / expected - 1)
    return far

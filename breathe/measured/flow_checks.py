"""Whether coefficients can be those of a valve: one line each for what looks odd."""

from __future__ import annotations

from collections.abc import Sequence

from breathe.measured.flow_rows import Reading
from breathe.measured.remarks import Remarks
from breathe.measured.sheet import SheetError

_SLIP = "one valve or two? inches or mm? l/s or cfm?"
_LEAST, _MOST = 0.05, 0.95
_USUAL = (0.2, 0.8)
"""Coefficients on curtain area over the lifts of road and race heads: from memory."""
_FALL = 0.10
"""A flow that falls, or rises after a fall, by more is questioned."""
_OFF_LINE = 0.10
"""A row this far off the line through its neighbours is questioned."""
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
                f"curtain area is {c:.2f}; expected {_LEAST:g} to {_MOST:g}: {_SLIP}"
            )
    outside = [n for n, c in enumerate(coefficients) if not _USUAL[0] <= c <= _USUAL[1]]
    if outside:
        low, high = (pick(coefficients[n] for n in outside) for pick in (min, max))
        span = f"{low:.2f}" if len(outside) == 1 else f"{low:.2f} to {high:.2f}"
        remarks.questions.append(
            f"{_rows(readings, outside)}: the coefficient on curtain area is {span}, outside the "
            f"usual {_USUAL[0]:g} to {_USUAL[1]:g}; {_SLIP}"
        )
    flows = [r.flow for r in readings]
    odd = sorted(_falling(flows) | _off_line(readings, coefficients))
    if odd:
        remarks.questions.append(
            f"{_rows(readings, odd)}: the flow does not fit the rows around; a slip in typing, or "
            "a port that breaks away?"
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


def _off_line(readings: Sequence[Reading], coefficients: Sequence[float]) -> set[int]:
    """Rows whose coefficient is off the line between their neighbours."""
    odd = set()
    last = len(readings) - 1
    for n, c in enumerate(coefficients):
        if 0 < n < last:
            before, here, after = (r.lift_m for r in readings[n - 1 : n + 2])
            share = (here - before) / (after - before)
            line = coefficients[n - 1] * (1 - share) + coefficients[n + 1] * share
            if abs(c / line - 1) > _OFF_LINE:
                odd.add(n)
        elif last > 0:
            near = coefficients[1 if n == 0 else last - 1]
            if abs(c / near - 1) > _OFF_END:
                odd.add(n)
    return odd

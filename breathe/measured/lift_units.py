"""Lift readings in metres: the unit a cell names, else the user's, the heading's, or by size."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from breathe.engine.parts import Floats
from breathe.measured.lift_words import LIFT_UNITS_M, LiftCell

LIKELY = {"mm": (1.5, 25.0), "in": (0.06, 1.0), "thou": (60.0, 1000.0), "µm": (1500.0, 25000.0)}
"""Greatest lifts in each unit, 1.5 to 25 mm: no two overlap."""
NEARLY_ALL = 0.85


def readings_m(
    columns: Sequence[Sequence[LiftCell]], asked: str | None, heading: str
) -> tuple[tuple[str, float], list[Floats], str]:
    """Unit of the readings that name none, lifts in metres, and how the unit was known.

    Raises
    ------
    ValueError
        Where what is said cannot be, naming the option, or where no unit fits.
    """
    silent = [cell.value for cells in columns for cell in cells if not cell.unit]
    named = {cell.unit for cells in columns for cell in cells if cell.unit}
    if silent:
        unit, words = _unit(np.array(silent), asked, heading)
    else:
        unit = next(iter(sorted(named)))
        words = "each reading names its unit"
    if silent and named:
        words += f"; {', '.join(sorted(named))} where a reading says so"
    lifts = [
        np.array([cell.value * LIFT_UNITS_M[cell.unit or unit] for cell in cells])
        for cells in columns
    ]
    return (unit, LIFT_UNITS_M[unit]), lifts, f"lift: {words}"


def resolution_m(lift_m: Floats, unit_m: float) -> float:
    """To which readings are rounded, or 0 where they are not.

    The coarsest of 1, 0.1, 0.05 ... 0.001 of the unit that nearly all readings are multiples of.
    """
    in_unit = lift_m / unit_m
    for step in (1.0, 0.1, 0.05, 0.01, 0.005, 0.001, 0.0005, 0.0001):
        off = np.abs(in_unit / step - np.round(in_unit / step))
        if np.mean(off < 1e-3) > NEARLY_ALL and np.ptp(in_unit) > 10 * step:
            return step * unit_m
    return 0.0


def _unit(silent: Floats, asked: str | None, heading: str) -> tuple[str, str]:
    # Not the greatest of all: that one may be a slip.
    high = float(np.quantile(silent, 0.95))
    fits = [unit for unit, (low, top) in LIKELY.items() if low <= high <= top]
    if asked:
        return asked, f"{asked} (--lift-unit)"
    if heading:
        if heading not in fits and fits:
            raise ValueError(
                f"the heading says {heading}, but lifts go up to about {high:.4g}: is that "
                f"{fits[0]}? Say so with --lift-unit {fits[0]}, or --lift-unit {heading}"
            )
        return heading, f"{heading} by its heading"
    if not fits:
        raise ValueError(
            f"found lifts up to about {high:.4g} and no unit; expected 1.5 to 25 mm, 0.06 to 1 in, "
            "60 to 1000 thou. Is that column the lift?"
        )
    return fits[0], f"{fits[0]}, for the greatest readings are about {high:.4g}"

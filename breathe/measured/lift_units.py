"""Lift readings in metres: the unit a cell names, else the user's, the heading's, or by size."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from breathe.engine.parts import Floats
from breathe.measured.lift_words import LIFT_UNITS_M, LiftCell

LIKELY = {"mm": (1.5, 25.0), "in": (0.06, 1.0), "thou": (60.0, 1000.0), "µm": (1500.0, 25000.0)}
"""Greatest lifts in each unit, 1.5 to 25 mm: no two overlap."""


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

"""Changes in per cent and columns of torque, with as many digits as the model's error leaves."""

from __future__ import annotations

import math

import pandas as pd

from breathe.engine.quantities import System
from breathe.study.crossings import NUMERICAL_ERROR
from breathe.view.tables import TIE
from breathe.view.words import QUANTITIES


def change(share: float) -> str:
    """A change of torque in per cent, or that it is a tie.

    Examples
    --------
    >>> change(0.0312), change(-0.004), change(float("nan"))
    ('+3.1', '=', '-')
    """
    if not math.isfinite(share):
        return "-"
    # As `tied`: over the larger of both.
    if abs(share) <= NUMERICAL_ERROR * max(1.0, 1.0 + share):
        return TIE
    return f"{share * 100:+.1f}"


def percent(share: float) -> str:
    """A share in whole per cent."""
    return f"{share * 100:.0f} %" if math.isfinite(share) else "-"


def torque_texts(table: pd.DataFrame, system: System) -> dict[str, list[str]]:
    """Columns of torque [Nm] as text in the user's unit, with the digits that carry meaning."""
    torque = QUANTITIES["torque"]
    printed = torque.in_user_units(table.to_numpy(dtype=float), system)
    digits = torque.digits(printed)
    return {
        str(name): [f"{value:.{digits}f}" if math.isfinite(value) else "-" for value in column]
        for name, column in zip(table.columns, printed.T, strict=True)
    }

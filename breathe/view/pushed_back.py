"""Where each setting pushes charge back before the intake closes, and how much, in a sentence."""

from __future__ import annotations

import pandas as pd

from breathe.about import About
from breathe.view.findings import by_duration

TOLD = 0.01
"""Share of the charge trapped below which nobody counts it."""


def pushed_back(shares: pd.DataFrame, about: About) -> list[str]:
    """A sentence with the most of each setting and where; empty if there is next to none.

    Parameters
    ----------
    shares : DataFrame
        One row per speed, one column per setting; charge pushed back over charge trapped [-].
    about : About
        Tells the durations.
    """
    parts = []
    for label in by_duration(about):
        known = shares[label].dropna() if label in shares else pd.Series(dtype=float)
        if not len(known):
            continue
        most, speed = float(known.max()), known.index[int(known.argmax())]
        told = f"{most * 100:.0f} %" if most >= TOLD else f"below {TOLD * 100:.0f} %"
        parts.append((most, f"{label} {told}" + (f" at {speed:.0f} rpm" if most >= TOLD else "")))
    if not parts or max(most for most, _ in parts) < TOLD:
        return []
    return [
        "Charge pushed back before the intake closes, of what is trapped, at the speed with most: "
        f"{', '.join(text for _, text in parts)}. `breathe show RUN --show reversion` has the rest."
    ]

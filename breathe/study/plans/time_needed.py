"""How long a plan takes, from a few timed cases, and what a coarser one would."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class TimeNeeded:
    """An estimate."""

    cases: int
    """Still to run."""
    case_s: float
    """One case on its worker, mean over those timed."""
    build_s: float
    """Reading the engine of one what-if, here."""
    per_row: int
    """Cases of one what-if."""
    at_a_time: int

    @property
    def seconds(self) -> float:
        """Cases shared among the workers; engines are read here, one after another."""
        rows = self.cases / max(1, self.per_row)
        return self.cases * self.case_s / self.at_a_time + rows * self.build_s

    def of(self, rows: int, per_row: int) -> float:
        """Seconds of another plan of the same cases."""
        part = TimeNeeded(rows * per_row, self.case_s, self.build_s, per_row, self.at_a_time)
        return part.seconds


def span(seconds: float) -> str:
    """A length of time in words, no finer than an estimate is.

    Examples
    --------
    >>> span(42), span(400), span(7000), span(68400), span(400000)
    ('45 s', '7 min', '1.9 h', '19 h', '4.6 days')
    """
    if seconds < 90:
        return f"{max(5, 5 * round(seconds / 5))} s"
    if seconds < 5400:
        return f"{seconds / 60:.0f} min"
    hours = seconds / 3600
    if hours < 48:
        return f"{hours:.1f} h" if hours < 9.95 else f"{hours:.0f} h"
    return f"{hours / 24:.1f} days"

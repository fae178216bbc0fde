"""What there is to say about a sheet, collected while it is read."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(slots=True)
class Remarks:
    """One line each, with row numbers of the file."""

    notes: list[str] = field(default_factory=list)
    """What was done and what to know."""
    questions: list[str] = field(default_factory=list)
    """What looks odd but does not stop anything."""

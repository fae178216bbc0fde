"""What reading a sheet yields besides its readings: what was understood, and row by row what was
put right or left out."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from breathe.measured.sheet import SheetError


@dataclass(frozen=True, slots=True, kw_only=True)
class RowNote:
    """What was done to one row."""

    row: int
    done: Literal["repaired", "dropped"]
    why: str


@dataclass(slots=True)
class Told:
    """Collected on the way."""

    name: str
    understood: list[str] = field(default_factory=list)
    questions: list[str] = field(default_factory=list)
    rows: list[RowNote] = field(default_factory=list)

    def drop(self, row: int, why: str) -> None:
        self.rows.append(RowNote(row=row, done="dropped", why=why))

    def refuse(self, what: str) -> SheetError:
        """The error, file name first."""
        return SheetError(f"{self.name}: {what}")

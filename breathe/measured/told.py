"""What reading a sheet yields besides its readings: what was understood, and row by row what was
put right or left out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

from breathe.measured.sheet import SheetError


@dataclass(frozen=True, slots=True, kw_only=True)
class RowNote:
    """What was done to one row."""

    row: int
    done: Literal["repaired", "dropped", "blank"]
    """Blank: a dash stands where the reading would."""
    why: str


MOST_BLANKS = 12


def in_lines(notes: Sequence[RowNote]) -> list[str]:
    """A line for each row that was changed or left out, and one for all that are blank."""
    blank = [str(note.row) for note in notes if note.done == "blank"]
    lines = []
    if blank:
        dashes = ", ".join(sorted({f"'{note.why}'" for note in notes if note.done == "blank"}))
        more = f" and {len(blank) - MOST_BLANKS} more" if len(blank) > MOST_BLANKS else ""
        rows = f"{len(blank)} row{'s' if len(blank) > 1 else ''}"
        lines.append(f"{rows} blank ({dashes}): {', '.join(blank[:MOST_BLANKS])}{more}")
    return lines + [
        f"row {note.row} {note.done}: {note.why}" for note in notes if note.done != "blank"
    ]


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

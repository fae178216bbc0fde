"""What reading an engine file yields besides the engine: faults, questions, assumptions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from breathe.engine.parts import Assumed
from breathe.errors import BreatheError

COMMON_PRACTICE = "common practice, no source"
FROM_MEMORY = "from memory"


class EngineFileError(BreatheError):
    """An engine file that cannot be used; ``str()`` of it is the whole message.

    Parameters
    ----------
    file : str
        The file as the user named it.
    faults : sequence of str
        One line each; a single line that concerns the file itself has no place in front.
    about_file : bool
        Whether the one fault is about the file as a whole (missing, a photo, not text).
    """

    def __init__(self, file: str, faults: Sequence[str], *, about_file: bool = False) -> None:
        self.file = file
        self.faults = list(faults)
        if about_file:
            message = f"{file}: {self.faults[0]}"
        else:
            count = f"{len(self.faults)} fault{'s' if len(self.faults) != 1 else ''}"
            message = "\n".join([f"{file}: {count}", *(f"  {fault}" for fault in self.faults)])
        super().__init__(message)


@dataclass(slots=True)
class Findings:
    """Collected while a file is read; places are written as they stand in the file."""

    faults: list[str] = field(default_factory=list)
    questions: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    assumed: list[Assumed] = field(default_factory=list)
    faulty: set[str] = field(default_factory=set)
    """Tables with a fault, such as ``intake.cam``: what is built from them waits."""

    def fault(self, place: str, text: str, table: str = "") -> None:
        """Something that stops the run."""
        self.faults.append(f"{place}: {text}")
        if table:
            self.faulty.add(table)

    def ask(self, place: str, text: str) -> None:
        """Something odd that does not stop it."""
        self.questions.append(f"{place}: {text}")

    def note(self, place: str, text: str) -> None:
        """Something worth knowing that asks nothing."""
        self.notes.append(f"{place}: {text}")

    def assume(self, key: str, value: str, reason: str, source: str = COMMON_PRACTICE) -> None:
        """A value filled in for the user."""
        self.assumed.append(Assumed(key=key, value=value, reason=reason, source=source))

"""One table of an engine file whose missing keys are asked about, not filled in."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, TypeVar

from breathe.engine.findings import Findings
from breathe.engine.quantities import written

Part = TypeVar("Part")


@dataclass(frozen=True, slots=True)
class Given:
    """A table of checked values in SI, and where its findings go."""

    values: Mapping[str, Any]
    table: str
    findings: Findings

    @property
    def place(self) -> str:
        return f"[{self.table}]"

    def fault(self, key: str, text: str) -> None:
        self.findings.fault(f"{self.place} {key}".rstrip(), text, self.table)

    def ask(self, key: str, text: str) -> None:
        self.findings.ask(f"{self.place} {key}".rstrip(), text)

    def lacks(self, *keys: str, what: str) -> bool:
        """Whether one of the keys is missing; asked about, with what goes unchecked."""
        missing = [key for key in keys if key not in self.values]
        if missing:
            them = "them" if len(missing) > 1 else "it"
            self.ask(", ".join(missing), f"missing; without {them} {what} is NOT CHECKED")
        return bool(missing)

    def derive(self, key: str, value: float, dimension: str, reason: str, source: str) -> float:
        """A value worked out from the others, listed so that the user sees it."""
        self.findings.assume(f"{self.table}.{key}", written(value, dimension), reason, source)
        return value


def part(
    values: Mapping[str, Any],
    table: str,
    findings: Findings,
    build: Callable[[Given], Part | None],
) -> Part | None:
    """A part from its table; None if the file has no such table, or a fault in it."""
    inner: Any = values
    for name in table.split("."):
        inner = inner.get(name, {})
    if not inner or table in findings.faulty:
        return None
    return build(Given(inner, table, findings))

"""One result of the mechanical check: what was found, where, by which rule, and the verdict."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from breathe.engine.parts import Side

Topic = Literal[
    "valve to piston",
    "valve to valve",
    "spring",
    "surge",
    "contact",
    "seating",
    "sleeve",
    "room",
]
Verdict = Literal[
    "touches",
    "does not hold",
    "undercut",
    "jams",
    "too close",
    "does not fit",
    "little reserve",
    "above usual",
    "below usual",
    "top of usual",
    "question",
    "NOT CHECKED",
    "clears",
    "holds",
    "fits",
    "usual",
    "told",
]
WORST_FIRST: tuple[Verdict, ...] = (
    "touches",
    "does not hold",
    "undercut",
    "jams",
    "too close",
    "does not fit",
    "little reserve",
    "above usual",
    "below usual",
    "top of usual",
    "NOT CHECKED",
    "question",
)
"""Verdicts that ask for something to be done."""
SOUND: tuple[Verdict, ...] = ("clears", "holds", "fits", "usual")
FAILS = frozenset(WORST_FIRST[:6])
"""What is not to be built as it stands."""
JUDGED_TO_M = 1e-5
"""Gaps are judged as they are shown, to 0.01 mm."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One result; SI, with ``unit`` naming it ('deg crank', 'rpm' and '-' beside SI units)."""

    topic: Topic
    item: str
    side: Side | None = None
    """None where both sides are meant."""
    setting: str | None = None
    """Label of the cam setting; None where no setting matters."""
    case: str = ""
    """Tolerance case, such as 'cam early, no lash', or speed case, such as 'over-speed'."""
    speed_rpm: float | None = None
    """Engine speed it is worked out at, where speed matters."""
    value: float | None = None
    unit: str = "-"
    where: str = ""
    """Crank angle, or place on the lobe."""
    limit: float | None = None
    limit_is: Literal["least", "most"] = "least"
    rule: str = ""
    """Where the limit comes from."""
    verdict: Verdict = "told"
    note: str = ""
    """A word more on the verdict; the question, or the key that would let it be checked."""


def gap_verdict(gap_m: float, rule_m: float) -> Verdict:
    """Of a gap against the least that practice keeps, both as shown."""
    shown = round(gap_m / JUDGED_TO_M)
    if shown <= 0:
        return "touches"
    return "clears" if shown >= round(rule_m / JUDGED_TO_M) else "too close"


def guide_verdict(value: float, guide: tuple[float, float]) -> Verdict:
    """Of a value against the two ends of what is usual at most."""
    if value > guide[1]:
        return "above usual"
    return "top of usual" if value > guide[0] else "usual"


def rank(line: Line) -> int:
    """0 for the worst verdict, more for better ones."""
    known = WORST_FIRST.index(line.verdict) if line.verdict in WORST_FIRST else len(WORST_FIRST)
    if line.case == "over-speed" and line.verdict in FAILS:
        # What only a missed shift brings comes after what fails every day.
        return 2 * len(FAILS) - 1
    return 2 * known


def worst_of(lines: Iterable[Line]) -> Line | None:
    """The line of the worst verdict, of equal gaps or fits the one farthest beyond its limit.

    None if nothing asks for attention.
    """
    asking = [line for line in lines if line.verdict in WORST_FIRST]
    return min(asking, key=lambda line: (rank(line), _beyond(line)), default=None)


def _beyond(line: Line) -> float:
    """Value over limit, smaller is worse."""
    if line.value is None or not line.limit:
        return 0.0
    share = line.value / line.limit
    return share if line.limit_is == "least" else -share

"""What is asked of maps that several actuators follow together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from breathe.engine.parts import Floats, Setting
from breathe.errors import BreatheError
from breathe.study.control.asked import SWEEP_CASES, Question, Shown, place_label
from breathe.study.control.cells import fine_places
from breathe.study.control.joint_box import Box, around
from breathe.study.gear import Gear
from breathe.study.search.survey import design

CLOSER = 3
"""Sweeps at most that are added at a speed where its cells want to stand."""
_INSIDE_DEG = 1e-6
_LATTICE_DEG = {2: 1.0, 3: 4.0}
"""Step along axes whose best is looked for at once, by number of axes; 8 degrees on more."""


@dataclass(frozen=True, slots=True)
class Moved(Gear):
    """Some axes of a gear that move, each within a range; the others stand."""

    whole: Gear
    moves: tuple[int, ...]
    """Places of the axes in ``whole``."""
    stand_deg: tuple[float, ...]
    """(n,) of all axes of ``whole``; those that move are passed over."""
    shown: tuple[Shown, ...] = ()
    """How the places of those that move are written in labels; empty: as the whole gear does."""

    def setting(self, degrees: Sequence[float], label: str = "") -> Setting:
        place = list(self.stand_deg)
        for n, x in zip(self.moves, degrees, strict=True):
            place[n] = float(x)
        pairs = zip(self.shown, degrees, strict=True) if self.shown else ()
        shown = " / ".join(place_label(one, float(x)) for one, x in pairs)
        return self.whole.setting(place, label or shown)

    def within(self, low_deg: Sequence[float], high_deg: Sequence[float]) -> Moved:
        """The same held to a range along every axis that moves."""
        axes = tuple(
            replace(axis, low_deg=float(low), high_deg=float(high))
            for axis, low, high in zip(self.axes, low_deg, high_deg, strict=True)
        )
        return replace(self, axes=axes)


@dataclass(frozen=True, slots=True, kw_only=True)
class JointQuestion:
    """Maps of several actuators over the same speeds and loads."""

    gear: Moved
    """Its axes reach over all boxes."""
    questions: tuple[Question, ...]
    """(k,) one an axis of the gear, alike but for the axis, its limits and its actuator."""
    whole: Box
    """Travel that may be used with the margins beyond it, as far as the axes go."""
    boxes: tuple[Box, ...]
    """Those of it that clear, one of which is taken; largest first."""
    checked: tuple[str, ...]
    unknown: tuple[str, ...]
    """Clearances that were, and that could not be worked out."""

    @property
    def common(self) -> Question:
        """For what is the same on all."""
        return self.questions[0]

    def held_to(self, box: Box) -> JointQuestion:
        """The same with every axis held to its range of a box.

        Raises
        ------
        BreatheError
            Nothing of an axis is left inside the margin.
        """
        held = []
        for n, question in enumerate(self.questions):
            limits = question.limits
            low, high = box.low_deg[n], box.high_deg[n]
            # A side that keeps the margin beyond the travel is none; any other is inside of it.
            low = (
                max(low, limits.low_deg + _INSIDE_DEG)
                if low > self.whole.low_deg[n]
                else (limits.low_deg)
            )
            high = (
                min(high, limits.high_deg - _INSIDE_DEG)
                if high < self.whole.high_deg[n]
                else (limits.high_deg)
            )
            clear = replace(limits.clear, low_deg=low, high_deg=high, beyond=box.beyond[n])
            question = replace(question, limits=replace(limits, clear=clear))
            _ = question.limits.safe_deg
            held.append(question)
        return replace(self, questions=tuple(held), boxes=(box,))

    @property
    def safe_deg(self) -> list[tuple[float, float]]:
        """Ends of what every map may hold, (k,)."""
        return [question.limits.safe_deg for question in self.questions]

    def label(self, place: Sequence[float]) -> str:
        """A place as it is shown, such as '252° / -8°'."""
        return " / ".join(
            place_label(q.shown, x) for q, x in zip(self.questions, place, strict=True)
        )

    def setting(self, place: Sequence[float]) -> Setting:
        return self.gear.setting(place, label=self.label(place))

    def lines(self) -> list[Floats]:
        """Places along every axis at which the best of all at once is looked for."""
        step = _LATTICE_DEG.get(len(self.questions), 8.0)
        return [
            np.linspace(low, high, max(3, int(np.ceil((high - low) / step)) + 1))
            for low, high in self.safe_deg
        ]

    def fine(self, axis: int) -> Floats:
        """Places along one axis at which its cells are looked at."""
        return fine_places(self.questions[axis].limits)


def boxes_that_serve(
    boxes: Sequence[Box], asked: JointQuestion, fallback_deg: Sequence[float | None]
) -> tuple[Box, ...]:
    """Boxes that leave room inside the margins and hold the fallback.

    Raises
    ------
    BreatheError
        None does.
    """
    fits: list[Box] = []
    for box in boxes:
        try:
            held = asked.held_to(box)
        except BreatheError:
            continue
        low, high = zip(*held.safe_deg, strict=True)
        if Box(low, high).holds(fallback_deg):
            fits.append(box)
    if fits:
        return tuple(fits)
    raise BreatheError(
        "no ranges of these actuators were found in which every place of one clears with every "
        "place of the others"
        + (" and that hold the fallback" if any(x is not None for x in fallback_deg) else "")
        + ". Since any of them may lag, no maps are made that belong together; with one --actuator "
        "the others stand still (--stand). `breathe check` prints every clearance"
    )  # fmt: skip


def reach(gear: Moved, boxes: Sequence[Box]) -> Moved:
    """The gear held to what any of the boxes holds."""
    low, high = around(boxes)
    return gear.within([float(x) for x in low], [float(x) for x in high])


def planned_runs(asked: JointQuestion) -> int:
    """About how many cases the maps need."""
    question = asked.common
    sweeps = len(design(asked.gear.axes)) + CLOSER // 2 + 1
    cells = len(question.speeds_rpm) * len(question.loads)
    return len(question.speeds_rpm) * sweeps * (SWEEP_CASES + 1) + cells

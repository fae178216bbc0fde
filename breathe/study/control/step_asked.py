"""What a planner asks of a map of steps: which of a few cams to hold at each speed and load."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from breathe.engine.parts import Engine, Setting
from breathe.errors import BreatheError
from breathe.study.checks.clear_range import Clear
from breathe.study.checks.clearance import does_not_clear, unknown_clearances
from breathe.study.control.asked import SWEEP_CASES
from breathe.study.control.limits import KNOCK_MOST, Limits, Vacuum
from breathe.study.control.map_axes import LoadScale
from breathe.study.control.part_load import PART_LOAD_LAMBDA
from breathe.study.crossings import NUMERICAL_ERROR


@dataclass(frozen=True, slots=True, kw_only=True)
class StepQuestion:
    """What the planner asks for."""

    steps: tuple[Setting, ...]
    """In their order; step 1 is the first."""
    standard: Setting
    """What is compared with: one of the steps itself, or of another label."""
    does_not_clear: Mapping[str, str]
    """Labels of steps that are never held, and the gap in words."""
    unknown_clearances: tuple[str, ...]
    speeds_rpm: tuple[float, ...]
    """(n,) rising."""
    scale: LoadScale
    loads: tuple[float, ...]
    """(m,) rising: BMEP [Pa], manifold pressure [Pa] or opening [-]."""
    residual_most: float
    vacuum: Vacuum | None = None
    fallback: str | None = None
    """Label of the step without power."""
    give_up: float = NUMERICAL_ERROR
    """Share of torque or fuel that a cell may give up to switch less often [-]."""
    hysteresis_rpm: float = 0.0
    part_load_lambda: float = PART_LOAD_LAMBDA

    @property
    def held(self) -> tuple[Setting, ...]:
        """The steps that clear."""
        return tuple(one for one in self.steps if one.label not in self.does_not_clear)

    @property
    def numbers(self) -> tuple[int, ...]:
        """Numbers of the steps that clear, in their order."""
        kept = {one.label for one in self.held}
        return tuple(n for n, one in enumerate(self.steps, 1) if one.label in kept)

    def number(self, label: str) -> int:
        """Of a step by its label."""
        return 1 + [one.label for one in self.steps].index(label)

    @property
    def limits(self) -> Limits:
        """Those of running; clearance is judged step by step, and there is no travel."""
        nowhere = Clear(low_deg=0.0, high_deg=0.0, checked=(), unknown=self.unknown_clearances)
        return Limits(
            low_deg=0.0, high_deg=0.0, clear=nowhere, residual_most=self.residual_most,
            knock_most=KNOCK_MOST, vacuum=self.vacuum,
        )  # fmt: skip


def gaps_of_steps(
    engine: Engine, steps: tuple[Setting, ...]
) -> tuple[dict[str, str], tuple[str, ...]]:
    """Steps that do not clear, with the gap in words; and what could not be checked.

    Raises
    ------
    BreatheError
        Fewer than two clear: there is nothing to switch.
    """
    failing = does_not_clear(engine, steps)
    if len(steps) - len(failing) < 2:
        told = "; ".join(f"{label}: {gap}" for label, gap in failing.items())
        raise BreatheError(
            f"{engine.source_file or engine.name}: {len(steps) - len(failing)} of {len(steps)} "
            f"steps clear{'s' if len(steps) - len(failing) == 1 else ''}, so there is nothing to "
            f"switch between ({told})"
        )
    return failing, unknown_clearances(engine)


def planned_step_runs(question: StepQuestion) -> int:
    """About how many cases a map needs."""
    settings = len({one.label for one in (*question.held, question.standard)})
    sweeps = len(question.speeds_rpm) * settings * (SWEEP_CASES + 1)
    return sweeps + len(question.speeds_rpm) * len(question.loads)

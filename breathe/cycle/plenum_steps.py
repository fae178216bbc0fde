"""From one event to the next: the Rosenbrock method on the rates of a cylinder between plenums."""

from __future__ import annotations

from typing import NamedTuple

from breathe.cycle.plenum_rates import Segment, rates
from breathe.cycle.rosenbrock import (
    ALPHA,
    JACOBIAN,
    MOVED,
    NEW,
    RATE,
    SLOPE,
    SMALLEST_STEP,
    STAGE,
    Array,
    Y,
    difference,
    error_norm,
    finish_step,
    next_stride,
    nudge_unknown,
    solve_stage,
    stage_argument,
    start_step,
    step_factor,
)
from breathe.gas.mixture import Charge
from breathe.kernel import inlined, kernel


class Progress(NamedTuple):
    """What an integration took; not ``done`` when the step shrank to nothing or room ran out."""

    done: bool
    steps: int
    rejected: int
    next_step: float


@inlined
def differentiate(
    segment: Segment, charge: Charge, areas: Array, work: Array, angle: float, h: float
) -> None:
    """Rates, their Jacobian and their slope by angle, by forward differences."""
    rates(segment, charge, areas, angle, work, Y, RATE)
    for j in range(segment.core):
        kept = work[Y, j]
        nudge = nudge_unknown(work, j)
        rates(segment, charge, areas, angle, work, Y, MOVED)
        work[Y, j] = kept
        difference(work, JACOBIAN + j, nudge)
    nudge = 1e-4 * h
    rates(segment, charge, areas, angle + nudge, work, Y, MOVED)
    difference(work, SLOPE, nudge)


@inlined
def try_step(
    segment: Segment, charge: Charge, areas: Array, work: Array, angle: float, h: float
) -> None:
    """One step, after `differentiate`: fills the stages and the result."""
    core = segment.core
    start_step(work, core, h)
    solve_stage(work, 0, RATE, core, h)
    solve_stage(work, 1, RATE, core, h)
    for index in range(2, 4):
        stage_argument(work, index)
        rates(segment, charge, areas, angle + ALPHA[index] * h, work, STAGE, MOVED)
        solve_stage(work, index, MOVED, core, h)
    finish_step(work)


@kernel
def integrate(
    segment: Segment,
    charge: Charge,
    areas: Array,
    work: Array,
    trail: Array,
    begin: float,
    end: float,
    first_step: float,
    relative: float,
) -> Progress:
    """Carry the unknowns in ``work`` through a segment, from ``begin`` to ``end`` [deg].

    The end of each accepted step and the unknowns there are left in ``trail`` (room, 1 + unknowns).
    """
    angle, h, steps, rejected = begin, first_step, 0, 0
    while angle < end and steps < trail.shape[0]:
        left = end - angle
        stride = next_stride(left, min(h, segment.step_max_deg))
        differentiate(segment, charge, areas, work, angle, stride)
        while True:
            try_step(segment, charge, areas, work, angle, stride)
            error = error_norm(work, relative)
            factor = step_factor(error)
            if error <= 1.0:
                break
            rejected += 1
            stride *= factor
            h = stride
            if stride < SMALLEST_STEP:
                return Progress(False, steps, rejected, stride)
        angle = end if stride == left else angle + stride
        # A stride cut short by the end says little against a longer step.
        h = stride * factor if factor < 1.0 else max(h, stride * factor)
        trail[steps, 0] = angle
        for i in range(work.shape[1]):
            work[Y, i] = work[NEW, i]
            trail[steps, 1 + i] = work[NEW, i]
        steps += 1
    return Progress(angle >= end, steps, rejected, h)

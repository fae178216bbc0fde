"""When the charge burns: for best torque, or later by as much as knock asks for."""

from __future__ import annotations

import math

import numpy as np

from breathe.cycle.march import State
from breathe.engine.parts import Burn

KNOCK_PER_DEGREE = 0.054
"""Fall of the logarithm of the autoignition index for each degree of later burning: 0.045 to 0.061
in the supplied engines from 1500 to 3500 rpm (computed). It only sets how fast CA50 is found."""
LARGEST_MOVE_DEG, LAST_MOVE_DEG = 8.0, 0.25
"""Of CA50 from cycle to cycle, and in a settled one."""
KNOCK_WITHIN, KNOCK_HOLDS = 0.005, 0.004
"""How near to 1 the index of a settled cycle is, and from where on CA50 is left alone [-]: moved
further, it and the breathing would chase each other for ever."""
CALMER, CALMEST = 0.7, 0.25
"""The share of a move that is made shrinks by the one each time the index crosses the limit, down
to the other: the charge of the next cycles answers a later burn, so that full moves can overshoot
for ever."""
LATEST_CA50_DEG = 40.0
"""Later than this, knock is not avoided by retarding but by less compression."""


class Phasing:
    """Finds the CA50 of best torque, or the one later by as much as knock asks for."""

    def __init__(self, burn: Burn, ca50_deg: float) -> None:
        self._burn = burn
        self._used = [ca50_deg]
        """CA50 of each cycle so far, and of the one to come [deg]."""
        self._limits: list[float] = []
        """Where each cycle's index puts the knock limit [deg]."""
        self._share, self._excess = 1.0, 0.0
        """Of a move that is made; the cycle before's excess."""

    def settled(self, state: State) -> bool:
        """Whether CA50 stands still where it should be."""
        if self._burn.ca50_deg is not None:
            return True
        if len(self._used) < 2 or abs(self._used[-1] - self._used[-2]) >= LAST_MOVE_DEG:
            return False
        excess = _knock_excess(state)
        if self._used[-1] <= self._burn.ca50_best_deg:
            return excess < KNOCK_WITHIN
        return abs(excess) < KNOCK_WITHIN or self._used[-1] >= LATEST_CA50_DEG

    def next(self, state: State) -> float:
        """CA50 of the cycle to come [deg]."""
        if self._burn.ca50_deg is not None:
            return self._burn.ca50_deg
        # The index at hand is that of a burn phased one cycle before the last.
        now, then = self._used[-1], self._used[max(0, len(self._used) - 2)]
        excess = _knock_excess(state)
        self._limits.append(then + excess / KNOCK_PER_DEGREE)
        wanted = self._limits[-1]
        if abs(excess) < KNOCK_HOLDS and abs(now - then) < LAST_MOVE_DEG:
            wanted = now
        elif len(self._limits) > 1 and abs(wanted - self._limits[-2]) < 0.5:
            # Two cycles' mean, as those of a tuned engine alternate.
            wanted = 0.5 * (wanted + self._limits[-2])
        if excess * self._excess < 0.0:
            self._share = max(self._share * CALMER, CALMEST)
        self._excess = excess
        wanted = now + self._share * (wanted - now)
        wanted = float(np.clip(wanted, now - LARGEST_MOVE_DEG, now + LARGEST_MOVE_DEG))
        self._used.append(float(np.clip(wanted, self._burn.ca50_best_deg, LATEST_CA50_DEG)))
        return self._used[-1]


def _knock_excess(state: State) -> float:
    """Logarithm of the largest autoignition index [-], not below that of 0.1 (no fire yet)."""
    return math.log(max(float(np.max(state.shut.knock_last)), 0.1))

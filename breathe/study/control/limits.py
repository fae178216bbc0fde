"""What a control map is held inside: room for the valves, travel, burnt gas, knock, vacuum."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from breathe.cycle.burn import LONGEST_10_90_DEG
from breathe.cycle.remarks import ROUGH_RESIDUAL
from breathe.engine.parts import Floats
from breathe.errors import BreatheError
from breathe.study.checks.clear_range import Clear
from breathe.study.gear import Axis

KNOCK_MOST = 1.05
"""Index above which knock was not avoided by retarding; settled cases hold it at 1."""
_HARDLY = {"knock": 0.05, "burning": 1.0, "residual": 0.01, "vacuum": 1e3}
"""How much worse than the least bad place running does not tell, where no place keeps a limit:
index, crank degrees, share of the charge, Pa (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Vacuum:
    """Manifold vacuum to be kept at light load, for a brake servo and the like."""

    least_Pa: float
    """Outside less manifold pressure."""
    below_bmep_Pa: float
    """Only up to this load: no engine has vacuum at full load."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Everything a target may not pass. Degrees count along the axis from its zero."""

    low_deg: float
    high_deg: float
    """Travel that may be used: the axis's own, or less if asked."""
    clear: Clear
    margin_deg: float = 0.0
    """How far the gear may stand from its target: hysteresis. Clearance is kept with it."""
    residual_most: float = ROUGH_RESIDUAL
    knock_most: float = KNOCK_MOST
    vacuum: Vacuum | None = None

    @property
    def safe_deg(self) -> tuple[float, float]:
        """Ends that hold in every cell: travel, and clearance with the margin on it.

        Raises
        ------
        BreatheError
            Nothing is left between them.
        """
        low, high = self.low_deg, self.high_deg
        if self.clear.low_deg > low:
            low = self.clear.low_deg + self.margin_deg
        if self.clear.high_deg < high:
            high = self.clear.high_deg - self.margin_deg
        if low > high:
            raise BreatheError(
                f"no position of the travel asked for clears: {self.clear.beyond}. The rule, and "
                "every clearance of the engine file, are printed by `breathe check`"
            )
        return low, high

    def allowed(self, figures: Mapping[str, Floats], bmep_Pa: float, outside_Pa: float) -> Allowed:
        """Which places of a cell keep the limits that depend on speed and load.

        Parameters
        ----------
        figures : mapping
            Columns of `part_load.FIGURES` over the places (n,).
        bmep_Pa : float
            Load of the cell.
        outside_Pa : float
            Pressure of the outside air.
        """
        # What can wreck the engine stands first: it is given up last.
        over = {
            "knock": figures["knock_index"] - self.knock_most,
            "burning": figures["burn_10_90_deg"] - (LONGEST_10_90_DEG - 1e-6),
            "residual": figures["residual_fraction"] - self.residual_most,
        }
        if self.vacuum is not None and bmep_Pa <= self.vacuum.below_bmep_Pa:
            left = outside_Pa - figures["manifold_pressure_Pa"]
            over["vacuum"] = self.vacuum.least_Pa - left
        return Allowed(over)


@dataclass(frozen=True, slots=True)
class Allowed:
    """By how much each limit is passed at places (n,); gravest limit first."""

    over: Mapping[str, Floats]

    @property
    def places(self) -> NDArray[np.bool_]:
        """(n,) where all are kept."""
        return np.logical_and.reduce([over <= 0 for over in self.over.values()])

    def least_bad(self, known: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """(n,) places of those ``known`` that keep what can be kept, the gravest limit first, and
        hardly pass what cannot more than the least."""
        places = known.copy()
        for name, over in self.over.items():
            kept = places & (over <= 0)
            near = places & (over <= np.min(over[places]) + _HARDLY[name])
            places = kept if kept.any() else near
        return places

    def broken_at(self, place: int) -> tuple[str, ...]:
        return tuple(name for name, over in self.over.items() if over[place] > 0)


def steepest_deg_per_rpm(slew_deg_per_s: float, rev_rate_rpm_per_s: float) -> float:
    """Change of target over engine speed that the actuator follows while the engine revs up."""
    return slew_deg_per_s / rev_rate_rpm_per_s


def within_travel(axis: Axis, low_deg: float, high_deg: float) -> tuple[float, float]:
    """Part of the axis that may be used.

    Raises
    ------
    BreatheError
        It reaches beyond the axis, or is empty.
    """
    if not axis.low_deg - 1e-6 <= low_deg < high_deg <= axis.high_deg + 1e-6:
        found, has = f"{low_deg:g} to {high_deg:g}", f"{axis.low_deg:g} to {axis.high_deg:g}"
        if axis.kind == "dwell":
            ends = (1e3 * axis.travel_m(x) for x in (low_deg, high_deg, axis.high_deg))
            low_mm, high_mm, has_mm = (f"{x:.3g}" for x in ends)
            raise BreatheError(
                f"travel: found {low_mm} to {high_mm} mm ({found} deg crank); {axis.name} has 0 to "
                f"{has_mm} mm ({has})"
            )
        raise BreatheError(f"travel: found {found} deg crank; {axis.name} has {has}")
    return max(low_deg, axis.low_deg), min(high_deg, axis.high_deg)

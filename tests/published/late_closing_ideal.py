"""Load by late closing against load by the throttle in an ideal cycle of constant heat ratio.

Compression and expansion isentropic, heat added at top dead centre, blowdown at bottom dead centre
at constant volume. Throttled: the cylinder is filled to bottom dead centre at manifold pressure.
Late closing: filled at outside pressure, what is not wanted is pushed back until the valve closes.
Both draw in and push out at constant pressure.
"""

from __future__ import annotations

from dataclasses import dataclass

from scipy.optimize import brentq

R = 287.0


@dataclass(frozen=True)
class Ideal:
    """The set-up of the table in `tests/published/test_part_load.py`."""

    ratio: float = 10.0
    gamma: float = 1.3
    intake_K: float = 340.0
    heat_per_kg: float = 2.0e6
    outside_Pa: float = 1.0e5

    def net_mep_and_heat(self, start_Pa: float, start_volume: float) -> tuple[float, float]:
        """Net mean effective pressure [Pa] and heat over displacement [Pa].

        ``start_volume`` is where compression starts, over the volume at bottom dead centre; a
        throttled cycle starts at 1 below outside pressure, one of late closing below 1 at it.
        """
        bottom = self.ratio / (self.ratio - 1.0)  # displacement is 1
        top = bottom / self.ratio
        volume = start_volume * bottom
        mass = start_Pa * volume / (R * self.intake_K)
        heat = self.heat_per_kg * mass
        ready = start_Pa * (volume / top) ** self.gamma
        burnt = ready + (self.gamma - 1.0) * heat / top
        released = burnt * (top / bottom) ** self.gamma
        expansion = (burnt * top - released * bottom) / (self.gamma - 1.0)
        compression = (ready * top - start_Pa * volume) / (self.gamma - 1.0)
        pumping = self.outside_Pa - start_Pa  # strokes out and in
        pushed_back = start_Pa * (bottom - volume)
        return expansion - compression - pumping - pushed_back, heat

    def throttled(self, net_Pa: float) -> tuple[float, float]:
        """Manifold pressure [Pa] and heat over displacement [Pa] for a net mean pressure."""
        p = brentq(lambda p: self.net_mep_and_heat(p, 1.0)[0] - net_Pa, 1e3, 1.5e5)
        return float(p), self.net_mep_and_heat(float(p), 1.0)[1]

    def late(self, net_Pa: float) -> float:
        """Heat over displacement [Pa] for a net mean pressure by late closing."""
        v = brentq(lambda v: self.net_mep_and_heat(self.outside_Pa, v)[0] - net_Pa, 0.11, 1.0)
        return self.net_mep_and_heat(self.outside_Pa, float(v))[1]

    def fuel_saved(self, net_Pa: float) -> float:
        """Share of the fuel of the throttled cycle [-]."""
        return 1.0 - self.late(net_Pa) / self.throttled(net_Pa)[1]

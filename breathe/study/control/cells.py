"""What one cell of a control map wants: torque or fuel against the setting, inside the limits.

At full load the setting with most torque; below it the one that burns least fuel for the torque
asked, with the throttle wherever that needs it. Settings between those that were run are read off
curves through them.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import Akima1DInterpolator, PchipInterpolator

from breathe.engine.parts import Engine, Floats
from breathe.study.control.limits import Limits
from breathe.study.control.map_axes import LoadAxis
from breathe.study.control.part_load import FIGURES, Sweep

Kind = Literal["part load", "full load", "above full load", "too light"]

LIGHTEST_BMEP_PA = 1.0e5
"""Lightest load a cell is worked out at. Below are idle and overrun, where steadiness of burning
decides and not fuel at equal torque (common practice, no source)."""
FINE_DEG = 0.5
"""Step along the axis at which a cell is looked at."""
_APART_DEG = 1.0
"""Nearer than this to a setting that was run, the setting that just gives the torque tells no
more."""
_PATH = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class AtSpeed:
    """All that was run at one speed; n settings along the axis."""

    speed_rpm: float
    places_deg: Floats
    """(n,) along the axis, rising."""
    sweeps: tuple[Sweep, ...]
    """(n,) at the air ratio of part load."""
    full: Mapping[str, Floats]
    """(n,) figures at full load; nan where a case is of no use."""
    standard: Sweep
    """The engine file's standard setting at part load."""
    standard_full_Nm: float

    @property
    def least_Nm(self) -> float:
        """Least torque that half of the sweeps reach down to; the others are unknown there."""
        return float(np.nanmedian([sweep.least_Nm for sweep in self.sweeps]))

    def sweep_near(self, degrees: float) -> Sweep:
        """The sweep of the setting nearest to a place along the axis."""
        return self.sweeps[int(np.argmin(np.abs(self.places_deg - degrees)))]

    @property
    def most_Nm(self) -> float:
        """Most torque at the air ratio of part load."""
        return float(np.nanmax([sweep.most_Nm for sweep in self.sweeps]))


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """One place of the map, over the setting."""

    speed_rpm: float
    load: float
    """On the load axis, SI."""
    kind: Kind
    torque_Nm: float
    """What is asked; at full load the most there is."""
    degrees: Floats
    """(f,) along the axis, rising."""
    loss: Floats
    """(f,) fuel more, or torque less, than with the best allowed setting, as a share [-]."""
    figures: Mapping[str, Floats]
    """(f,) each."""
    allowed: NDArray[np.bool_]
    """(f,) residual, knock, burning and vacuum are kept; where no setting keeps them, the least
    bad."""
    best: int
    """Place of the best allowed setting."""
    bound: tuple[str, ...]
    """Limits that kept a better setting out."""
    broken: tuple[str, ...] = ()
    """Limits that no setting keeps here; the cheapest of the least bad is taken."""

    @property
    def best_deg(self) -> float:
        return float(self.degrees[self.best])

    def loss_at(self, degrees: float) -> float:
        """Share given up at a setting [-]."""
        return float(np.interp(degrees, self.degrees, self.loss))

    def figure_at(self, name: str, degrees: float) -> float:
        return float(np.interp(degrees, self.degrees, self.figures[name]))

    def figures_at(self, degrees: float) -> dict[str, float]:
        """All figures at a setting."""
        return {name: self.figure_at(name, degrees) for name in self.figures}

    def flat_deg(self, tie: float) -> float:
        """Half the width of the settings round the best that give up less than ``tie`` [deg]."""
        low, high = self._round_best(self.loss <= self.loss[self.best] + tie)
        return (high - low) / 2

    def range_deg(self) -> tuple[float, float]:
        """Ends of the allowed settings round the best; of all where none is allowed."""
        if self.broken:
            return float(self.degrees[0]), float(self.degrees[-1])
        return self._round_best(self.allowed)

    def _round_best(self, fit: NDArray[np.bool_]) -> tuple[float, float]:
        first = last = self.best
        while first > 0 and fit[first - 1]:
            first -= 1
        while last < len(fit) - 1 and fit[last + 1]:
            last += 1
        return float(self.degrees[first]), float(self.degrees[last])


def torque_of(engine: Engine, bmep_Pa: float) -> float:
    """Torque [Nm] of a brake mean effective pressure."""
    return bmep_Pa * engine.displacement_m3 / (4 * math.pi)


def bmep_of(engine: Engine, torque_Nm: float) -> float:
    """Brake mean effective pressure [Pa] of a torque."""
    return torque_Nm * 4 * math.pi / engine.displacement_m3


def fine_places(limits: Limits) -> Floats:
    """Places along the axis at which cells are looked at, both safe ends among them."""
    low, high = limits.safe_deg
    return np.linspace(low, high, max(2, math.ceil((high - low) / FINE_DEG - 1e-9) + 1))


def full_load(engine: Engine, at: AtSpeed, limits: Limits, load: float, kind: Kind) -> Cell:
    """The cell of most torque at a speed; ``load`` is the axis point it stands at, SI."""
    fine = fine_places(limits)
    figures = _along(at.places_deg, at.full, fine)
    torque = figures["torque_Nm"]
    top = float(np.nanmax(torque))
    return _cell(engine, at, limits, load, kind, top, fine, figures, -torque / top)


def part_load(
    engine: Engine,
    at: AtSpeed,
    limits: Limits,
    load: float,
    torque_Nm: float,
    kind: Kind = "part load",
) -> Cell:
    """The cell of least fuel for a torque that throttled sweeps reach; ``load`` as `full_load`."""
    fine = fine_places(limits)
    nodes, rows = _nodes(at, torque_Nm)
    columns = {name: np.array([row[name] for row in rows]) for name in FIGURES}
    inside = np.clip(fine, nodes[0], nodes[-1])
    figures = _along(nodes, columns, inside)
    most = curve(at.places_deg, np.array([sweep.most_Nm for sweep in at.sweeps]))(fine)
    short = np.maximum(1.0 - most / torque_Nm, 0.0)
    figures["torque_Nm"] = torque_Nm * (1.0 - short)
    fuel = figures["fuel_kg_per_s"]
    cost = fuel / float(fuel.min()) + short
    # A sweep that ends above the torque leaves its setting unknown here.
    cost[(inside != fine) & (short == 0.0)] = math.nan
    return _cell(engine, at, limits, load, kind, torque_Nm, fine, figures, cost)


def _cell(
    engine: Engine,
    at: AtSpeed,
    limits: Limits,
    load: float,
    kind: Kind,
    torque_Nm: float,
    fine: Floats,
    figures: Mapping[str, Floats],
    cost: Floats,
) -> Cell:
    """A cell; ``cost`` (f,) is in shares of the best's, nan where it is not known."""
    choice = cheapest(engine, limits, torque_Nm, figures, cost)
    return Cell(
        speed_rpm=at.speed_rpm,
        load=load,
        kind=kind,
        torque_Nm=torque_Nm,
        degrees=fine,
        loss=choice.cost - choice.cost[choice.best],
        figures=figures,
        allowed=choice.allowed,
        best=choice.best,
        bound=choice.bound,
        broken=choice.broken,
    )


@dataclass(frozen=True, slots=True)
class Choice:
    """The cheapest allowed of many places (f,), and what kept a cheaper one out."""

    cost: Floats
    """As given; where it was not known, the dearest."""
    allowed: NDArray[np.bool_]
    """Limits are kept; where no place keeps them, the least bad."""
    best: int
    bound: tuple[str, ...]
    broken: tuple[str, ...]


def cheapest(
    engine: Engine,
    limits: Limits,
    torque_Nm: float,
    figures: Mapping[str, Floats],
    cost: Floats,
) -> Choice:
    """Choose among places with ``figures`` (f,) each; ``cost`` (f,) is nan where not known."""
    known = np.isfinite(cost)
    cost = np.where(known, cost, np.nanmax(cost))
    kept = limits.allowed(figures, bmep_of(engine, torque_Nm), engine.air.pressure_Pa)
    allowed = kept.places & known
    free = int(np.argmin(cost))
    whole = bool(allowed.any())
    if not whole:
        allowed = kept.least_bad(known)
    best = int(np.argmin(np.where(allowed, cost, np.inf)))
    broken = () if whole else kept.broken_at(best)
    bound = () if best == free or cost[best] - cost[free] < 1e-6 else kept.broken_at(free)
    return Choice(cost, allowed, best, bound, broken)


def _nodes(at: AtSpeed, torque_Nm: float) -> tuple[Floats, list[Mapping[str, float]]]:
    """Settings that give the torque, with those between where the open throttle just does.

    The latter are where late closing alone controls the load.
    """
    reached = [
        (float(x), row)
        for x, sweep in zip(at.places_deg, at.sweeps, strict=True)
        if (row := sweep.at_torque(torque_Nm)) is not None
    ]
    open_ = {
        name: np.array([sweep.fully_open()[name] for sweep in at.sweeps if len(sweep.log_opening)])
        for name in FIGURES
    }
    places = np.array(
        [x for x, s in zip(at.places_deg, at.sweeps, strict=True) if len(s.log_opening)]
    )
    edge = []
    if len(places) > 1:
        rows = PchipInterpolator(places, np.stack(list(open_.values()), axis=1))
        for x in PchipInterpolator(places, open_["torque_Nm"]).solve(torque_Nm, extrapolate=False):
            if all(abs(x - known) > _APART_DEG for known, _ in reached):
                edge.append((float(x), dict(zip(open_, map(float, rows(x)), strict=True))))
    found = sorted([*reached, *edge], key=lambda pair: pair[0])
    return np.array([x for x, _ in found]), [row for _, row in found]


def _along(nodes: Floats, columns: Mapping[str, Floats], fine: Floats) -> dict[str, Floats]:
    """All figures along the axis, by curves through the settings that have them all."""
    table = np.stack(list(columns.values()), axis=1)
    whole = np.isfinite(table).all(axis=1)
    read = curve(nodes[whole], table[whole])(fine)
    return dict(zip(columns, read.T, strict=True))


def curve(nodes: Floats, values: Floats) -> Callable[[Floats], Floats]:
    """A curve through what is known, that may have its top between settings.

    Parameters
    ----------
    nodes : (n,) float
    values : (n,) or (n, k) float
        nan in the first kind is passed over.
    """
    known = np.isfinite(values if values.ndim == 1 else values[:, 0])
    x, y = nodes[known], values[known]
    if len(x) == 0:
        return lambda at: np.full((*np.shape(at), *values.shape[1:]), math.nan)
    if len(x) == 1:
        return lambda at: np.broadcast_to(y[0], (*np.shape(at), *values.shape[1:])).copy()
    if len(x) == 2:
        return PchipInterpolator(x, y, extrapolate=True)
    return Akima1DInterpolator(x, y, method="makima", extrapolate=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class Path:
    """What the best settings of one speed ask of manifold and throttle, from light to full load."""

    torque_Nm: Floats
    manifold_pressure_Pa: Floats
    log_opening: Floats


def path(engine: Engine, at: AtSpeed, limits: Limits) -> Path:
    """The best setting at a row of torques, as the driver would pass through them.

    On an axis of manifold pressure or throttle a cell says what the gauge reads, not what torque
    is asked. This tells which torque goes with it when every cell holds its best setting.
    """
    torque = path_torques(engine, at)
    cells = [part_load(engine, at, limits, 0.0, float(t)) for t in torque]
    best = [{name: cell.figures[name][cell.best] for name in cell.figures} for cell in cells]
    return path_through(torque, best)


def path_torques(engine: Engine, at: AtSpeed) -> Floats:
    """Torques [Nm] from the lightest that is trusted to the most at part load's air ratio."""
    return np.linspace(lightest_Nm(engine, at), at.most_Nm, _PATH)


def path_through(torque_Nm: Floats, best: Sequence[Mapping[str, float]]) -> Path:
    """What figures of the best settings at rising torques ask of manifold and throttle."""
    columns = [
        np.array([figures[name] for figures in best])
        for name in ("manifold_pressure_Pa", "log_opening")
    ]
    # Where the best setting jumps, the gauge may step back: the first torque it is read at counts.
    manifold, opening = (np.maximum.accumulate(column) for column in columns)
    return Path(torque_Nm=torque_Nm, manifold_pressure_Pa=manifold, log_opening=opening)


def cell_at(
    engine: Engine, at: AtSpeed, limits: Limits, axis: LoadAxis, load: float, way: Path | None
) -> Cell:
    """The cell at a speed and a point of the load axis.

    Parameters
    ----------
    engine : Engine
    at : AtSpeed
    limits : Limits
    axis : LoadAxis
    load : float
        BMEP [Pa], manifold pressure [Pa] or opening [-].
    way : Path or None
        Of this speed; needed unless the axis is 'bmep'.
    """
    kind, torque = asked_of(engine, at, axis, load, way)
    if "full" in kind:
        return full_load(engine, at, limits, load, kind)
    return part_load(engine, at, limits, load, torque, kind)


def asked_of(
    engine: Engine, at: AtSpeed, axis: LoadAxis, load: float, way: Path | None
) -> tuple[Kind, float]:
    """What a cell is, and the torque [Nm] it asks for; at full load nan. Parameters as
    `cell_at`."""
    if axis == "bmep":
        torque = torque_of(engine, load)
        if torque > at.most_Nm:
            most = float(np.nanmax(at.full["torque_Nm"]))
            return ("full load" if torque <= most * 1.001 else "above full load"), math.nan
    else:
        assert way is not None
        torque = torque_on(way, axis, load, engine.air.pressure_Pa)
        if math.isinf(torque) and torque > 0:
            return "full load", math.nan
    lightest = lightest_Nm(engine, at)
    if torque < lightest * (1 - 1e-9):
        return "too light", lightest
    return "part load", torque


def lightest_Nm(engine: Engine, at: AtSpeed) -> float:
    """Least torque at which a cell of this speed is trusted."""
    return max(at.least_Nm, torque_of(engine, LIGHTEST_BMEP_PA))


FULL_LOAD_SHARE = 0.98
"""Share of the outside pressure, or of the most a manifold reaches, from which a cell is full load
(common practice, no source)."""


def torque_on(way: Path, axis: LoadAxis, load: float, outside_Pa: float) -> float:
    """Torque that goes with a reading; -inf below the lightest, inf for full load."""
    if axis == "map":
        readings, wanted = way.manifold_pressure_Pa, load
        full = FULL_LOAD_SHARE * min(float(readings[-1]), outside_Pa)
    else:
        readings, wanted = way.log_opening, math.log(load)
        full = min(float(readings[-1]), -0.005)
    if wanted < readings[0]:
        return -math.inf
    if wanted >= full:
        return math.inf
    return float(np.interp(wanted, readings, way.torque_Nm))

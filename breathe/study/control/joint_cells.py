"""What one cell of maps that belong together wants: torque or fuel over all axes at once.

At full load the place with most torque; below it the one that burns least fuel for the torque
asked. Places between those that were run are read off the surfaces that `breathe best` uses. A
`Cell` along one axis is cut out of that, with each other axis where a map holds it, or free.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.linalg import LinAlgError
from scipy.interpolate import RBFInterpolator
from scipy.optimize import brentq

from breathe.engine.parts import Engine, Floats
from breathe.study.control.cells import AtSpeed, Cell, Kind, cheapest
from breathe.study.control.joint_asked import JointQuestion
from breathe.study.control.part_load import FIGURES, Sweep
from breathe.study.gear import apart_deg
from breathe.study.search.surface import Response, response

_APART_DEG = 3.0
"""Nearer than this to a place that was run, the place that just gives the torque tells no more."""
_NEAREST = 2
"""Places that give the torque, for each that does not, between which the edge is looked for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class JointSpeed(AtSpeed):
    """All that was run at one speed, and surfaces through it over the k axes.

    ``places_deg`` are the numbers of the sweeps, and ``full`` is read on the lattice of the
    ranges in use.
    """

    places: Floats
    """(n, k) of the sweeps."""
    full_at: Response
    """`FIGURES` at full load."""
    open_at: Response
    """The same at the air ratio of part load, with the throttle as far open as helps."""
    least_at: Response
    """Least torque that was run [Nm]."""
    open_most_Nm: float
    """Most torque with the throttle open, at the air ratio of part load, in the ranges in use."""

    @property
    def most_Nm(self) -> float:
        return self.open_most_Nm

    def sweep_by(self, place: Sequence[float]) -> Sweep:
        """The sweep run nearest to a place."""
        return self.sweeps[int(np.argmin(np.abs(self.places - np.asarray(place)).max(axis=1)))]


def joint_speed(
    asked: JointQuestion,
    speed_rpm: float,
    full: Mapping[tuple[float, ...], Mapping[str, float]],
    swept: Mapping[tuple[float, ...], Sweep],
    standard: tuple[Sweep, float],
) -> JointSpeed:
    """Surfaces through what was run at a speed.

    Parameters
    ----------
    asked : JointQuestion
        Held to one box.
    speed_rpm : float
    full : mapping
        Figures at full load by place.
    swept : mapping
        Sweeps by place; those without torque are left out.
    standard : (Sweep, float)
        Of the engine file's standard, and its full-load torque [Nm].
    """
    places = np.array(list(swept))
    lattice = np.array(list(itertools.product(*asked.lines())))
    full_at = surface(np.array(list(full)), np.array([_row(one) for one in full.values()]))
    open_rows = np.array([_row(sweep.fully_open()) for sweep in swept.values()])
    open_at = surface(places, open_rows)
    least = np.array([sweep.least_Nm for sweep in swept.values()])
    return JointSpeed(
        speed_rpm=speed_rpm,
        places_deg=np.arange(len(places), dtype=float),
        sweeps=tuple(swept.values()),
        full=dict(zip(FIGURES, full_at(lattice).T, strict=True)),
        standard=standard[0],
        standard_full_Nm=standard[1],
        places=places,
        full_at=full_at,
        open_at=open_at,
        least_at=surface(places, least),
        open_most_Nm=float(
            min(
                open_at(lattice)[:, FIGURES.index("torque_Nm")].max(),
                max(sweep.most_Nm for sweep in swept.values()),
            )
        ),
    )


def _row(figures: Mapping[str, float]) -> list[float]:
    return [figures[name] for name in FIGURES]


def surface(places: Floats, values: Floats) -> Response:
    """The surface of `breathe best`; where too few places carry it, or they lie on a line, one
    that is flat away from them. Places (n, n_axes) [deg crank], figures (n,) or (n, f)."""
    try:
        return response(places, values)
    except (ValueError, LinAlgError):
        return RBFInterpolator(places, values, kernel="linear", degree=0)


@dataclass(frozen=True, slots=True, kw_only=True)
class JointCell:
    """One place of the maps, over all axes."""

    at: JointSpeed
    load: float
    """On the load axis, SI."""
    kind: Kind
    torque_Nm: float
    """What is asked; at full load the most in the ranges in use."""
    near: Response
    """`FIGURES` at the torque asked; at full load those there."""
    fuel_kg_per_s: float
    """That cost is counted in shares of."""
    best: tuple[float, ...]
    """The best allowed place."""
    cost: float
    """There."""

    def read(self, places: Floats) -> tuple[dict[str, Floats], Floats]:
        """Figures (m,) each and cost (m,) at places (m, k); cost is nan where it is not known.

        Cost is a share of fuel, and where the torque is not reached what is missing of it beside;
        at full load torque with its sign turned.
        """
        figures = dict(zip(FIGURES, self.near(places).T, strict=True))
        if "full" in self.kind:
            return figures, -figures["torque_Nm"] / self.torque_Nm
        opened = dict(zip(FIGURES, self.at.open_at(places).T, strict=True))
        short = opened["torque_Nm"] < self.torque_Nm
        figures["torque_Nm"] = np.full(len(places), self.torque_Nm)
        figures = {name: np.where(short, opened[name], figures[name]) for name in figures}
        missing = 1.0 - figures["torque_Nm"] / self.torque_Nm
        fuel = figures["fuel_kg_per_s"] / np.where(short, 1.0 - missing, 1.0)
        cost = fuel / self.fuel_kg_per_s + missing
        # Sweeps that end above the torque leave their surroundings unknown here.
        unknown = ~short & (self.at.least_at(places) > self.torque_Nm)
        return figures, np.where(unknown, math.nan, cost)


Cells = tuple[tuple[JointCell, ...], ...]
"""(m, n) loads rising, speeds rising."""


def joint_cell(
    engine: Engine, asked: JointQuestion, at: JointSpeed, load: float, kind: Kind, torque_Nm: float
) -> JointCell:
    """A cell with its best place; ``torque_Nm`` is passed over at full load."""
    if "full" in kind:
        near, torque_Nm = at.full_at, float(np.nanmax(at.full["torque_Nm"]))
    else:
        near = _at_torque(at, torque_Nm)
    cell = JointCell(
        at=at, load=load, kind=kind, torque_Nm=torque_Nm, near=near, fuel_kg_per_s=1.0,
        best=(), cost=0.0,
    )  # fmt: skip
    lattice = np.array(list(itertools.product(*asked.lines())))
    figures, cost = cell.read(lattice)
    if "full" not in kind:
        least = float(np.nanmin(cost))
        cell, cost = replace(cell, fuel_kg_per_s=least), cost / least
    choice = cheapest(engine, asked.common.limits, torque_Nm, figures, cost)
    best = tuple(float(x) for x in lattice[choice.best])
    return replace(cell, best=best, cost=float(choice.cost[choice.best]))


def _at_torque(at: JointSpeed, torque_Nm: float) -> Response:
    """Figures at a torque, through the places that give it and those where the open throttle just
    does: there late closing alone controls the load."""
    rows = [sweep.at_torque(torque_Nm) for sweep in at.sweeps]
    nodes = [tuple(place) for place, row in zip(at.places, rows, strict=True) if row is not None]
    table = [_row(row) for row in rows if row is not None]
    short = [
        place
        for place, sweep in zip(at.places, at.sweeps, strict=True)
        if sweep.most_Nm < torque_Nm
    ]
    for edge in _edges(at, nodes, short, torque_Nm):
        if all(apart_deg(edge, other) > _APART_DEG for other in nodes):
            nodes.append(edge)
            table.append([float(x) for x in at.open_at(np.array([edge]))[0]])
    return surface(np.array(nodes), np.array(table)) if nodes else at.open_at


def _edges(
    at: JointSpeed,
    reached: Sequence[tuple[float, ...]],
    short: Sequence[Floats],
    torque_Nm: float,
) -> list[tuple[float, ...]]:
    """Places where the open throttle just gives a torque, on the way to where it does not."""
    torque = FIGURES.index("torque_Nm")
    found = []
    for place in short:
        nearest = sorted(reached, key=lambda other: float(np.sum((place - np.array(other)) ** 2)))
        for other in nearest[:_NEAREST]:
            way = np.array(other), place - np.array(other)

            def spare(share: float, way: tuple[Floats, Floats] = way) -> float:
                return float(at.open_at((way[0] + share * way[1])[None, :])[0, torque]) - torque_Nm

            if spare(0.0) > 0.0 > spare(1.0):
                share = float(brentq(spare, 0.0, 1.0, xtol=1e-4))
                found.append(tuple(float(x) for x in way[0] + share * way[1]))
    return found


def along(
    engine: Engine,
    asked: JointQuestion,
    cell: JointCell,
    axis: int,
    held_deg: Sequence[float | None],
) -> Cell:
    """The cell along one axis; loss is what a setting gives up against the best of all at once.

    Parameters
    ----------
    engine : Engine
    asked : JointQuestion
    cell : JointCell
    axis : int
    held_deg : (k,) sequence of float or None
        Where the other axes stand; with None an axis is free: each setting counts with the best
        allowed place of it. That of ``axis`` is passed over.
    """
    fine, lines = asked.fine(axis), asked.lines()
    held = list(held_deg)
    rest = [[None] if n == axis else [x] if x is not None else lines[n]
            for n, x in enumerate(held)]  # fmt: skip
    others = list(itertools.product(*rest))
    places = np.array([[x if n == axis else p[n] for n in range(len(p))]
                       for x in fine for p in others])  # fmt: skip
    figures, cost = cell.read(places)
    choice = cheapest(engine, asked.common.limits, cell.torque_Nm, figures, cost)
    shape = len(fine), len(others)
    allowed, dear = choice.allowed.reshape(shape), choice.cost.reshape(shape)
    some = allowed.any(axis=1)
    chosen = np.where(
        some, np.where(allowed, dear, np.inf).argmin(axis=1), dear.argmin(axis=1)
    ) + np.arange(len(fine)) * len(others)
    return Cell(
        speed_rpm=cell.at.speed_rpm,
        load=cell.load,
        kind=cell.kind,
        torque_Nm=cell.torque_Nm,
        degrees=fine,
        loss=(choice.cost[chosen] - cell.cost) / abs(cell.cost),
        figures={name: values[chosen] for name, values in figures.items()},
        allowed=np.asarray(some),
        best=choice.best // len(others),
        bound=choice.bound,
        broken=choice.broken,
    )

"""A bench for the pipe solver: ducts, chambers and outsides without an engine around them.

It only sets up, steps and measures; every flux, end and chamber is the program's own kernel, in
the order of a time step of the engine. The gas is ideal with constant heat capacities.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from breathe.cycle import cylinder
from breathe.gas import ends as pipe_ends
from breathe.gas import pipe, steps
from breathe.gas.burned_table import BurnedTable
from breathe.gas.mixture import Charge
from breathe.kernel import allocating, kernel

SHUT = "shut"
ENDLESS = "endless"
"""More of the same gas beyond the end: for tubes whose waves do not reach it."""


def ideal_gas(gamma: float = 1.4, R: float = 287.05) -> Charge:
    """A charge whose two gases are one ideal gas of constant cp."""
    polynomial = np.zeros((2, 7))
    polynomial[:, 0] = gamma * R / (gamma - 1)
    table = BurnedTable(np.zeros((39, 12, 8)))  # not read below 1500 K
    return Charge(
        polynomial, polynomial.copy(), R, R, table, 1.0, 0.0, 1.0, 15.0, 0.0, 1 / 0.029, 1 / 0.029
    )


@dataclass(frozen=True)
class Opening:
    """What a duct end meets: SHUT, ENDLESS, or the number of a volume (chambers first)."""

    to: str | int = SHUT
    share: float = 1.0


@dataclass
class Duct:
    """Cells of one duct, its walls (none by default) and its two ends."""

    length: float
    face_area: np.ndarray  # (cells + 1,)
    volume: np.ndarray  # (cells,)
    start: Opening = Opening()
    end: Opening = Opening()
    friction: float = 0.0  # multipliers
    heat: float = 0.0
    roughness: float = 0.0  # m
    wall_K: float = 300.0
    step: tuple[int, float, float] | None = None  # face, bore area left and right of it

    @property
    def cells(self) -> int:
        return len(self.volume)

    @property
    def cell_length(self) -> float:
        return self.length / self.cells

    @property
    def widening(self) -> np.ndarray:
        found = np.diff(self.face_area)
        if self.step is not None:
            face, before, after = self.step
            found[face - 1 if before > after else face] += before - after
        return found

    @property
    def x(self) -> np.ndarray:
        return (np.arange(self.cells) + 0.5) * self.cell_length


def straight(length: float, area: float, cells: int, **kwargs) -> Duct:
    volume = np.full(cells, area * length / cells)
    return Duct(length, np.full(cells + 1, area), volume, **kwargs)


def shaped(length: float, area: Callable, cells: int, **kwargs) -> Duct:
    """A duct of area(x), volumes by Simpson's rule."""
    dx = length / cells
    face = area(np.arange(cells + 1) * dx)
    middle = area((np.arange(cells) + 0.5) * dx)
    return Duct(length, face, dx / 6 * (face[:-1] + 4 * middle + face[1:]), **kwargs)


def stepped(length: float, areas: tuple[float, float], cells: int, **kwargs) -> Duct:
    """Two bores, joined half way; the gas passes the narrower section there."""
    half = cells // 2
    bore = np.repeat(areas, half)
    face = np.append(bore, bore[-1])
    face[half] = min(areas)
    return Duct(length, face, bore * length / (2 * half), step=(half, *areas), **kwargs)


class Profile(NamedTuple):
    x: np.ndarray
    density: np.ndarray
    velocity: np.ndarray
    pressure: np.ndarray
    temperature: np.ndarray


class Walls(NamedTuple):
    """What one compiled step needs besides the state."""

    volume: np.ndarray  # (chambers,)
    out_share: np.ndarray
    in_share: np.ndarray
    endless: np.ndarray  # (ends,) 1 where more of the same follows
    courant: float


@allocating
def longest_step(grid, flow, ends, content, walls):
    """Courant's limit in the ducts, and the time in which chambers even out."""
    quickest = pipe.fastest_signal(flow, grid) / walls.courant
    response = np.zeros(len(walls.volume))
    for k in range(len(ends.cell)):
        v = ends.reservoir[k]
        if v < len(response) and walls.out_share[k] > 0.0:
            thermal = content.pressure[v] * walls.volume[v] / content.mass[v]
            gamma = 1.0 + thermal / (content.temperature[v] * content.capacity[v])
            response[v] += ends.area[k] * np.sqrt(gamma * thermal) / walls.volume[v]
    for v in range(len(response)):
        quickest = max(quickest, response[v] / 0.7)
    return 1.0 / quickest, response


@kernel
def pass_on(flow, ends, passed, walls):
    """At endless ends, let the gas through as it comes."""
    for k in range(len(ends.cell)):
        if walls.endless[k] == 1.0:
            face = ends.face[k]
            inner = flow.left[:, face] if ends.outward[k] > 0.0 else flow.right[:, face]
            rho, u, p, energy = inner[0], inner[1], inner[2], inner[3]
            flow.flux[0, face] = rho * u
            flow.flux[1, face] = rho * u * u + p
            flow.flux[2, face] = u * (energy + p)
            flow.flux[3, face] = rho * u * inner[5]
            cell = ends.cell[k]
            passed.pressure[k] = flow.pressure[cell]
            passed.temperature[k] = flow.temperature[cell]
            passed.velocity[k] = ends.outward[k] * flow.velocity[cell]


@allocating
def step_once(grid, flow, ends, passed, reservoirs, content, charge, walls, at_most):
    """One time step of ducts and chambers; returns its length [s] and heat from duct walls [J]."""
    pipe.recover(flow, grid, charge)
    pipe.wall_rates(flow, grid)
    step, response = longest_step(grid, flow, ends, content, walls)
    step = min(step, at_most)
    for v in range(len(walls.volume)):
        cylinder.chamber_ahead(content, v, walls.volume[v], response[v], step, reservoirs, charge)
    pipe_ends.set_ghosts(flow, ends, passed)
    pipe.face_states(flow, grid, charge, step)
    steps.cross_steps(flow, grid)
    pipe.hllc_fluxes(flow)
    pipe_ends.end_fluxes(flow, ends, reservoirs, walls.out_share, walls.in_share, charge, passed)
    pass_on(flow, ends, passed, walls)
    content.mass_rate[:] = 0.0
    content.energy_rate[:] = 0.0
    for k in range(len(ends.cell)):
        content.mass_rate[ends.reservoir[k]] += passed.mass[k]
        content.energy_rate[ends.reservoir[k]] += passed.enthalpy[k]
    heat = step * pipe.wall_heat(flow, grid)
    pipe.advance(flow, grid, step)
    steps.push_steps(flow, grid, step)
    for v in range(len(walls.volume)):
        cylinder.advance_chamber(content, v, walls.volume[v], 0.0, 300.0, step, charge)
    return step, heat


@dataclass
class Rig:
    ducts: Sequence[Duct]
    charge: Charge
    chambers: Sequence[tuple[float, float, float]] = ()  # volume m3, Pa, K
    outsides: Sequence[tuple[float, float]] = ((1e5, 300.0),)  # Pa, K
    courant: float = 0.8
    time: float = 0.0
    heat: float = 0.0
    steps: int = 0
    trace: list = field(default_factory=list)

    def __post_init__(self) -> None:
        self.grid, self.first = _grid(self.ducts)
        self.flow = pipe.empty_flow(len(self.grid.volume))
        volumes = len(self.chambers) + len(self.outsides)
        self.reservoirs = pipe_ends.empty_reservoirs(volumes)
        self.content = cylinder.empty_content(volumes)
        for v, (size, p, T) in enumerate(self.chambers):
            cylinder.fill_volume(self.content, v, p, T, 0.0, size, self.charge)
        for v, (p, T) in enumerate(self.outsides, start=len(self.chambers)):
            cylinder.hold_outside(self.content, self.reservoirs, v, p, T, 0.0, self.charge)
        self._ends()
        for i in range(len(self.ducts)):
            self.fill(i, *self.outsides[0])

    def _ends(self) -> None:
        rows = []
        for duct, first in zip(self.ducts, self.first, strict=True):
            last = first + duct.cells - 1
            for opening, cell, out in ((duct.start, first, -1), (duct.end, last, 1)):
                face, ghost = (cell, cell - 1) if out < 0 else (cell + 1, cell + 1)
                to = opening.to if isinstance(opening.to, int) else 0
                share = opening.share if isinstance(opening.to, int) else 0.0
                area = self.grid.area[face]
                rows.append((cell, ghost, face, out, area, to, -1, share, share, opening.to))
        columns = list(zip(*rows, strict=True))
        kinds = [np.int64] * 3 + [np.float64] * 2 + [np.int64] * 2 + [np.float64] * 2
        arrays = [np.array(c, dtype=k) for c, k in zip(columns, kinds, strict=False)]
        self.ends = pipe_ends.Ends(*arrays)
        self.passed = pipe_ends.empty_end_flow(len(rows))
        self.walls = Walls(
            np.array([c[0] for c in self.chambers]),
            self.ends.out_share,
            self.ends.in_share,
            np.array([1.0 if to == ENDLESS else 0.0 for to in columns[-1]]),
            self.courant,
        )

    def fill(self, duct: int, pressure, temperature, velocity=0.0) -> None:
        """Set a duct's gas: numbers, or one value a cell."""
        n, first = self.ducts[duct].cells, self.first[duct]
        p, T, u = (np.broadcast_to(a, n) for a in (pressure, temperature, velocity))
        for i in (-1, *range(n), n):
            j = min(max(i, 0), n - 1)
            state = (float(p[j]), float(T[j]), float(u[j]), 0.0)
            pipe.fill(self.flow, self.charge, first + i, *state)
        for k in (2 * duct, 2 * duct + 1):
            cell = self.ends.cell[k]
            self.passed.pressure[k] = self.flow.pressure[cell]
            self.passed.temperature[k] = self.flow.temperature[cell]
            still = self.walls.endless[k] == 0.0 and self.ends.out_share[k] == 0.0
            self.passed.velocity[k] = (
                0.0 if still else self.ends.outward[k] * self.flow.velocity[cell]
            )

    def run(self, until: float, watch: Callable[[Rig], object] | None = None) -> Rig:
        """March to a time [s]; ``watch`` is asked after every step and its answers kept."""
        parts = (self.grid, self.flow, self.ends, self.passed, self.reservoirs, self.content)
        while self.time < until * (1 - 1e-12):
            step, heat = step_once(*parts, self.charge, self.walls, until - self.time)
            self.time += step
            self.heat += heat
            self.steps += 1
            if watch is not None:
                self.trace.append(watch(self))
        pipe.recover(self.flow, self.grid, self.charge)
        return self

    def profile(self, duct: int = 0) -> Profile:
        first = self.first[duct]
        cells = slice(first, first + self.ducts[duct].cells)
        flow = self.flow
        names = (flow.density, flow.velocity, flow.pressure, flow.temperature)
        return Profile(self.ducts[duct].x, *(a[cells].copy() for a in names))

    def totals(self) -> tuple[float, float]:
        """Mass [kg] and energy [J] in ducts and chambers."""
        mass, energy, _ = pipe.stored(self.flow, self.grid)
        n = len(self.chambers)
        return mass + self.content.mass[:n].sum(), energy + self.content.energy[:n].sum()


def _grid(ducts: Sequence[Duct]) -> tuple[pipe.Grid, list[int]]:
    columns: dict[str, list[np.ndarray]] = {}
    area, first, sudden, cursor = [], [], [], 0
    for duct in ducts:
        n = duct.cells
        diameter = np.sqrt(4 / np.pi * duct.volume / duct.cell_length)
        cells = {
            "volume": duct.volume,
            "per_length": np.full(n, 1 / duct.cell_length),
            "per_volume": 1 / duct.volume,
            "per_diameter": 1 / diameter,
            "roughness": duct.roughness / diameter,
            "wall_temperature": np.full(n, duct.wall_K),
            "friction_multiplier": np.full(n, duct.friction),
            "heat_multiplier": np.full(n, duct.heat),
            "widening": duct.widening,
        }
        for name, values in cells.items():
            columns.setdefault(name, []).append(np.pad(values, 1, mode="edge"))
        area.append(np.concatenate(([0.0], duct.face_area)))
        first.append(cursor + 1)
        if duct.step is not None:
            face, before, after = duct.step
            sudden.append((first[-1] + face, before / after))
        cursor += n + 2
    grid = pipe.Grid(
        first=np.array(first, dtype=np.int64),
        last=np.array([f + d.cells - 1 for f, d in zip(first, ducts, strict=True)], dtype=np.int64),
        area=np.concatenate([*area, np.zeros(1)]),
        step_face=np.array([face for face, _ in sudden], dtype=np.int64),
        step_ratio=np.array([ratio for _, ratio in sudden], dtype=np.float64),
        **{name: np.concatenate(parts) for name, parts in columns.items()},
    )
    return grid, first


def shock_tube(
    left: tuple[float, float, float],
    right: tuple[float, float, float],
    cells: int,
    until: float,
    diaphragm: float = 0.5,
) -> Rig:
    """Two uniform gases (density, velocity, pressure) in a tube from 0 to 1, gamma 1.4.

    R is 1e-3, which puts temperatures of order 1000 in units where pressure is of order 1.
    """
    charge = ideal_gas(1.4, 1e-3)
    duct = straight(1.0, 1.0, cells, start=Opening(ENDLESS), end=Opening(ENDLESS))
    rig = Rig([duct], charge, outsides=((1.0, 1000.0),))
    is_left = duct.x < diaphragm
    rho, u, p = (np.where(is_left, a, b) for a, b in zip(left, right, strict=True))
    rig.fill(0, p, p / (rho * 1e-3), u)
    return rig.run(until)


def rise(x: np.ndarray, start: float, stop: float) -> np.ndarray:
    """0 up to ``start``, 1 from ``stop`` on (or the other way round), smooth between."""
    s = np.clip((x - start) / (stop - start), 0.0, 1.0)
    return s * s * (3 - 2 * s)


class Still(NamedTuple):
    """Gas at rest a wave runs into, and its speed of sound."""

    pressure: float = 1e5
    temperature: float = 293.15
    R: float = 287.0

    @property
    def sound(self) -> float:
        return float(np.sqrt(1.4 * self.R * self.temperature))

    def wave(self, ratio: float, shape: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Pressure, temperature, velocity of a simple wave of crest p/p0 running to the right."""
        x = 1 + (ratio ** (1 / 7) - 1) * shape
        return self.pressure * x**7, self.temperature * x**2, 5 * self.sound * (x - 1)


def front_meets_end(ratio: float, end: Opening, cells: int = 200) -> Rig:
    """A long wave front of p/p0 = ``ratio`` runs into an end and stays: gas then stands still.

    The duct is 4 m, the front 1.4 m from foot to crest, so that it does not break before it
    arrives; behind it the crest goes on without end.
    """
    gas = Still()
    duct = straight(4.0, 1e-3, cells, start=Opening(ENDLESS), end=end)
    rig = Rig([duct], ideal_gas(1.4, gas.R), outsides=((gas.pressure, gas.temperature),))
    rig.fill(0, *gas.wave(ratio, rise(duct.x, 3.9, 2.5)))
    crest = gas.sound * (6 * ratio ** (1 / 7) - 5)
    return rig.run(1.8 / min(crest, gas.sound))


def end_mach(rig: Rig, end: int) -> float:
    """Mach number in the plane of an end, gamma 1.4, positive out of the duct."""
    sound = np.sqrt(1.4 * rig.charge.fresh_R * rig.passed.temperature[end])
    return float(rig.passed.velocity[end] / sound)

"""An engine, a cam setting and an operating point as flat arrays that kernels can read.

Volumes are numbered cylinders first, then chambers, then the outsides. Pipes that meet end to end
at a node of no volume become one run of cells, so that waves cross the joint undisturbed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from breathe.cycle.piston import SliderCrank, bore_area, mean_speed, slider_crank
from breathe.cycle.walls import Walls
from breathe.engine.parts import Case, Chamber, End, Engine, Pipe
from breathe.gas.burned_table import BurnedTable
from breathe.gas.ends import Ends
from breathe.gas.mixture import Charge, charge
from breathe.gas.pipe import Grid
from breathe.valvetrain.opening import effective_area

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Resolution:
    """How finely a cycle is computed."""

    intake_cell_m: float = 0.010
    exhaust_cell_m: float = 0.020
    """Twice the intake's: a wave crosses both in about the same time."""
    courant: float = 0.8
    """Largest share of a cell that a wave may cross in one step [-]."""
    step_deg: float = 1.0
    """Largest step in crank angle."""


class Timing(NamedTuple):
    """Crank angles of one cylinder, degrees from its own firing TDC."""

    intake_opens: float
    intake_closes: float
    exhaust_opens: float
    exhaust_closes: float


class Burning(NamedTuple):
    """What the burn kernel reads; see engine.parts.Burn and engine.parts.Fuel."""

    duration_10_90: float  # [deg] at the reference point
    speed_exponent: float
    shape: float  # Wiebe's a
    order: float  # Wiebe's m
    completeness: float
    octane: float
    equivalence: float


class Model(NamedTuple):
    """One case, ready to march."""

    grid: Grid
    ends: Ends
    throttled: Floats  # (n_end,) 1 where the load control acts
    charge: Charge
    crank: SliderCrank
    fires: Floats  # (n_cylinder,) [deg]
    opening: Floats  # (4, n) effective area [m2] over 720 deg: intake in, out; exhaust out, in
    timing: Timing
    burning: Burning
    walls: Walls
    chamber_volume: Floats  # (n_chamber,) [m3]
    chamber_wall: Floats  # (n_chamber,) wall area [m2]
    chamber_wall_K: Floats  # (n_chamber,)
    outside: Floats  # (n_outside, 3) pressure [Pa], temperature [K], burned fraction [-]
    run_hot: Floats  # (n_run,) 1 for exhaust pipes
    chamber_hot: Floats  # (n_chamber,) 1 on the exhaust side
    swept: float  # [m3] of one cylinder
    speed_rpm: float
    piston_speed: float  # [m/s]
    throttle: float  # opening, 0..1
    courant: float
    step_deg: float


def model(case: Case, resolution: Resolution | None = None) -> Model:
    """Flat arrays of ``case``.

    Raises
    ------
    ValueError
        If a pipe end names a node that does not exist.
    """
    resolution = resolution or Resolution()
    engine, operating = case.engine, case.operating
    crank = slider_crank(engine.cylinder)
    runs = joined_runs(engine)
    grid, ends, throttled = _flatten(engine, runs, resolution)
    lambda_ = operating.lambda_ or engine.fuel.lambda_full_load
    swept = crank.clearance_m3 * (engine.cylinder.compression_ratio - 1.0)
    burn, fuel = engine.burn, engine.fuel
    return Model(
        grid=grid,
        ends=ends,
        throttled=throttled,
        charge=_own(charge(fuel.name, 1.0 / lambda_, engine.air.humidity_kg_per_kg)),
        crank=crank,
        fires=np.array(engine.fires_at_deg, dtype=np.float64),
        opening=_openings(case),
        timing=Timing(
            case.intake.opens_deg,
            case.intake.closes_deg,
            case.exhaust.opens_deg,
            case.exhaust.closes_deg,
        ),
        burning=Burning(
            burn.duration_10_90_deg,
            burn.speed_exponent,
            burn.wiebe_a,
            burn.wiebe_m,
            burn.completeness,
            fuel.octane,
            1.0 / lambda_,
        ),
        walls=_walls(engine, crank),
        chamber_volume=np.array([c.volume_m3 for c in engine.chambers], dtype=np.float64),
        chamber_wall=np.array([_wall_area(c) for c in engine.chambers], dtype=np.float64),
        chamber_wall_K=np.array([c.wall_K or 300.0 for c in engine.chambers], dtype=np.float64),
        outside=_outside(engine),
        run_hot=np.array([float(run[0].pipe.side == "exhaust") for run in runs]),
        chamber_hot=np.array([float(c.side == "exhaust") for c in engine.chambers], dtype=float),
        swept=float(swept),
        speed_rpm=float(operating.speed_rpm),
        piston_speed=float(mean_speed(crank, float(operating.speed_rpm))),
        throttle=float(operating.throttle),
        courant=resolution.courant,
        step_deg=resolution.step_deg,
    )


def _own(shared: Charge) -> Charge:
    """A copy: threads that count references to the same arrays wait for each other."""
    return shared._replace(
        fresh=shared.fresh.copy(),
        burned=shared.burned.copy(),
        table=BurnedTable(*(array.copy() for array in shared.table)),
    )


def _outside(engine: Engine) -> Floats:
    """Outside states; gas drawn back in at a tailpipe end counts as burned, not as charge."""
    breathed = {end.node for p in engine.pipes if p.side == "intake" for end in (p.start, p.end)}
    rows = [
        (o.pressure_Pa, o.temperature_K, 0.0 if o.name in breathed else 1.0)
        for o in engine.outsides
    ]
    return np.array(rows, dtype=np.float64).reshape(-1, 3)


def _wall_area(chamber: Chamber) -> float:
    return 0.0 if chamber.wall_K is None else chamber.wall_area_m2


def _walls(engine: Engine, crank: SliderCrank) -> Walls:
    # A head is some 15 % larger than the bore section (pent roof; common practice, no source).
    cylinder, section = engine.cylinder, bore_area(crank)
    return Walls(
        1.15 * section, section,
        cylinder.head_wall_K, cylinder.piston_wall_K, cylinder.liner_wall_K,
    )  # fmt: skip


def _openings(case: Case) -> Floats:
    intake = effective_area(case.intake.lift_m, case.engine.intake_valve)
    exhaust = effective_area(case.exhaust.lift_m, case.engine.exhaust_valve)
    if len(case.intake.lift_m) != len(case.exhaust.lift_m):
        raise ValueError("intake and exhaust lift must have the same number of angles")
    return np.array([intake[0], intake[1], exhaust[0], exhaust[1]], dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Piece:
    """A pipe as part of a run, perhaps walked from its end to its start."""

    pipe: Pipe
    backwards: bool

    @property
    def start(self) -> End:
        return self.pipe.end if self.backwards else self.pipe.start

    @property
    def end(self) -> End:
        return self.pipe.start if self.backwards else self.pipe.end

    def diameter_at(self, distance_m: Floats) -> Floats:
        """Inside diameter [m] at distances [m] from this piece's start."""
        along = self.pipe.length_m - distance_m if self.backwards else distance_m
        return np.interp(along, self.pipe.station_m, self.pipe.diameter_m)


def joined_runs(engine: Engine) -> list[list[Piece]]:
    """Pipes in runs that end at volumes, valves or outsides; joints are inside the runs."""
    meets: dict[str, list[Piece]] = {}
    for pipe in engine.pipes:
        for piece in (Piece(pipe, False), Piece(pipe, True)):
            meets.setdefault(piece.start.node, []).append(piece)
    volumes = {c.name for c in engine.chambers} | {o.name for o in engine.outsides}

    def is_joint(node: str) -> bool:
        if node in volumes or _valve(node) is not None:
            return False
        if len(meets[node]) != 2:
            raise ValueError(
                f"node {node!r}: {len(meets[node])} pipe ends meet there; expected a chamber, "
                "an outside, a valve, or exactly two pipe ends"
            )
        return True

    runs, used = [], set[str]()
    for pipe in engine.pipes:
        for piece in (Piece(pipe, False), Piece(pipe, True)):
            if piece.pipe.name in used or is_joint(piece.start.node):
                continue
            run = [piece]
            used.add(piece.pipe.name)
            while is_joint(run[-1].end.node):
                here = run[-1]
                after = [m for m in meets[here.end.node] if m.pipe.name != here.pipe.name]
                run.append(after[0])
                used.add(after[0].pipe.name)
            runs.append(run)
    return runs


def _valve(node: str) -> int | None:
    """Number of a valve node: 2 * cylinder for intake, + 1 for exhaust; None if not a valve."""
    words = node.split()
    if len(words) == 3 and words[0] in ("intake", "exhaust") and words[1] == "valve":
        return 2 * (int(words[2]) - 1) + (words[0] == "exhaust")
    return None


SUDDEN = 0.001
"""Diameters at a joint that differ by more than this share make a sudden step in bore."""


class Step(NamedTuple):
    """A sudden step in bore, at a face of a run."""

    face: int
    before: float  # [m2] of the bore left of it
    after: float  # [m2] of the bore right of it


def _cells(
    run: list[Piece], resolution: Resolution
) -> tuple[dict[str, Floats], Floats, list[Step]]:
    """Per-cell arrays of one run of pieces, its face areas, and its sudden steps in bore."""
    columns: dict[str, list[Floats]] = {}
    faces: list[Floats] = []
    steps: list[Step] = []
    face = 0
    for piece in run:
        pipe = piece.pipe
        wanted = resolution.intake_cell_m if pipe.side == "intake" else resolution.exhaust_cell_m
        count = max(2, round(pipe.length_m / wanted))
        length = pipe.length_m / count
        edge = piece.diameter_at(np.linspace(0.0, pipe.length_m, count + 1))
        middle = piece.diameter_at(np.linspace(0.5 * length, pipe.length_m - 0.5 * length, count))
        area = np.pi / 4 * edge**2
        # Simpson: exact for a cone.
        volume = length / 6 * (area[:-1] + np.pi * middle**2 + area[1:])
        diameter = np.sqrt(4 * volume / (np.pi * length))
        cell = {
            "volume": volume,
            "per_length": np.full(count, 1 / length),
            "per_volume": 1 / volume,
            "per_diameter": 1 / diameter,
            "roughness": pipe.roughness_m / diameter,
            "wall_temperature": np.full(count, pipe.wall_K),
            "friction_multiplier": np.full(count, pipe.friction_multiplier),
            "heat_multiplier": np.full(count, pipe.heat_multiplier),
        }
        for name, values in cell.items():
            columns.setdefault(name, []).append(values)
        if faces:
            before, after = float(faces[-1][-1]), float(area[0])
            if max(before, after) > (1.0 + SUDDEN) ** 2 * min(before, after):
                steps.append(Step(face, before, after))
            # At a step in bore the gas passes the narrower section.
            area[0] = min(before, after)
            faces[-1] = faces[-1][:-1]
        faces.append(area)
        face += count
    edges = np.concatenate(faces)
    cells = {name: np.concatenate(parts) for name, parts in columns.items()}
    cells["widening"] = np.diff(edges)
    for step in steps:
        wide = step.face - 1 if step.before > step.after else step.face
        cells["widening"][wide] += step.before - step.after
    return cells, edges, steps


def _flatten(
    engine: Engine, runs: list[list[Piece]], resolution: Resolution
) -> tuple[Grid, Ends, Floats]:
    """All runs in one buffer, a ghost cell at each side of each."""
    columns: dict[str, list[Floats]] = {}
    area: list[Floats] = []
    first, last, rows, throttled = [], [], [], []
    step_face, step_ratio = [], []
    number = _volume_numbers(engine)
    cursor = 0
    for run in runs:
        cells, faces, steps = _cells(run, resolution)
        count = len(faces) - 1
        for name, values in cells.items():
            columns.setdefault(name, []).append(np.pad(values, 1, mode="edge"))
        # Faces left of the first ghost (closed), then those of the real cells.
        area.append(np.concatenate(([0.0], faces)))
        first.append(cursor + 1)
        last.append(cursor + count)
        step_face += [cursor + 1 + step.face for step in steps]
        step_ratio += [step.before / step.after for step in steps]
        for end, at_start in ((run[0].start, True), (run[-1].end, False)):
            cell = cursor + 1 if at_start else cursor + count
            face_area = faces[0] if at_start else faces[-1]
            rows.append(_end_row(end, at_start, cell, float(face_area), number))
            throttled.append(1.0 if end.throttled else 0.0)
        cursor += count + 2
    area.append(np.zeros(1))
    grid = Grid(
        first=np.array(first, dtype=np.int64),
        last=np.array(last, dtype=np.int64),
        area=np.concatenate(area),
        step_face=np.array(step_face, dtype=np.int64),
        step_ratio=np.array(step_ratio, dtype=np.float64),
        **{name: np.concatenate(parts) for name, parts in columns.items()},
    )
    fields: dict[str, Any] = {
        name: np.array([row[name] for row in rows], dtype=np.int64 if whole else np.float64)
        for name, whole in ((n, n in _INTEGER) for n in Ends._fields)
    }
    return grid, Ends(**fields), np.array(throttled)


def _volume_numbers(engine: Engine) -> dict[str, int]:
    """Number of each chamber and outside: cylinders come first."""
    names = [c.name for c in engine.chambers] + [o.name for o in engine.outsides]
    return {name: engine.cylinder_count + i for i, name in enumerate(names)}


def _end_row(
    end: End, at_start: bool, cell: int, area: float, number: dict[str, int]
) -> dict[str, float]:
    """One pipe end as the fields of `Ends`."""
    valve = _valve(end.node)
    if valve is None and end.node not in number:
        raise ValueError(f"node {end.node!r}: no such chamber, outside or valve")
    return {
        "cell": cell,
        "ghost": cell - 1 if at_start else cell + 1,
        "face": cell if at_start else cell + 1,
        "outward": -1.0 if at_start else 1.0,
        "area": area,
        "reservoir": valve // 2 if valve is not None else number[end.node],
        "valve": -1 if valve is None else valve,
        "out_share": end.out_coefficient,
        "in_share": end.in_coefficient,
    }


_INTEGER = {"cell", "ghost", "face", "reservoir", "valve"}

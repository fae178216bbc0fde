"""An engine as a page: what was read, worked out and assumed, without simulating."""

from __future__ import annotations

from collections.abc import Sequence

from breathe.engine.mechanics import Mechanics, SideMechanics
from breathe.engine.parts import Assumed, Cam, Engine, Pipe, Valve
from breathe.engine.quantities import System, from_si, user_unit, written
from breathe.study.describe import (
    CHECKING_HEIGHTS_M,
    CRANKING_EXPONENTS,
    SettingFacts,
    how,
)
from breathe.valvetrain.timing import SEAT_HEIGHT_M
from breathe.view import cautions
from breathe.view.bench_flow import bench_tables
from breathe.view.card import cards_as_read
from breathe.view.console import Grid, Item, Piece
from breathe.view.unit_text import in_user_units

_LEFT = frozenset({0})
_ENDS = frozenset({0, 3, 4})
"""Columns of names in the table of pipes."""


def explanation(
    engine: Engine, facts: Sequence[SettingFacts], system: System = "metric"
) -> list[Piece]:
    """The page of one engine; ``facts`` of the settings its file asks to compare."""
    return [
        *_read(engine, system),
        *bench_tables(engine),
        *_pipes(engine, system),
        *_settings(engine, facts, system),
        *_events(facts, system),
        *_compression(engine, facts, system),
        *_assumed(engine, system),
        *_notes(engine, system),
        *_questions(engine, system),
        Item(cautions.CLEARANCE),
    ]


def _read(engine: Engine, system: System) -> list[Piece]:
    cylinder = engine.cylinder
    count = engine.cylinder_count
    clearance = engine.swept_volume_m3 / (cylinder.compression_ratio - 1)
    fires = ", ".join(f"{angle:g}" for angle in engine.fires_at_deg)
    mean_speed = 2 * cylinder.stroke_m * engine.speed_limit_rpm / 60
    told = [
        f"{count} cylinder{'s' if count > 1 else ''}, bore {_length(cylinder.bore_m, system)}, "
        f"stroke {_length(cylinder.stroke_m, system)}, rod {_length(cylinder.rod_m, system)}: "
        f"{written(engine.displacement_m3, 'volume', system, digits=5)}",
        f"compression ratio {cylinder.compression_ratio:g}, clearance volume "
        f"{written(clearance, 'volume', system)} a cylinder",
        f"fires at {fires} deg crank",
        f"speed limit {engine.speed_limit_rpm:.0f} rpm, mean piston speed there "
        f"{written(mean_speed, 'velocity', system, digits=3)}",
        f"intake: {_valve(engine.intake_valve, system)}",
        f"exhaust: {_valve(engine.exhaust_valve, system)}",
        f"intake cam: {_cam(engine.intake_cam, 'ATDC', system)}",
        f"exhaust cam: {_cam(engine.exhaust_cam, 'BTDC', system)}",
        *cards_as_read(engine),
        *_mechanics(engine.mechanics, system),
        f"air: {written(engine.air.pressure_Pa, 'barometer', system)}, "
        f"{written(engine.air.temperature_K, 'temperature', system, digits=3)}, "
        f"{engine.air.humidity_kg_per_kg * 1e3:.1f} g water per kg of dry air",
        f"fuel: {engine.fuel.name}, lambda {engine.fuel.lambda_full_load:g} at full load, octane "
        f"{engine.fuel.octane:g}",
    ]
    source = f" ({engine.source_file})" if engine.source_file else ""
    return [f"{engine.name}{source}", *(Item(text, indent=2) for text in told), ""]


def _length(value: float, system: System) -> str:
    return written(value, "length", system)


def _valve(valve: Valve, system: System) -> str:
    plural = "s" if valve.count > 1 else ""
    return (
        f"{valve.count} valve{plural}, head {_length(valve.head_diameter_m, system)}, throat "
        f"{_length(valve.throat_diameter_m, system)}, stem "
        f"{_length(valve.stem_diameter_m, system)}, seat {valve.seat_angle_deg:g} deg"
    )


def _cam(cam: Cam, side_of_tdc: str, system: System) -> str:
    told = (
        f"{cam.lobe.made_from}; lift {_length(float(cam.lobe.lift_m.max()), system)}, lash "
        f"{_length(cam.lash_m, system)} not taken off these, centreline {cam.centreline_deg:g} deg "
        f"crank "
        f"{side_of_tdc}"
    )
    if cam.sleeve is not None:
        sleeve = cam.sleeve
        total = sleeve.travel_max_m * sleeve.crank_deg_per_m
        law = (
            f"sleeve travel {_length(sleeve.travel_max_m, system)}, "
            f"{written(sleeve.crank_deg_per_m, 'sleeve rate', system)}, so {total:.4g} deg crank "
            "in all"
            if sleeve.law_known
            else f"sleeve of {total:.4g} deg crank in all, its rate not known"
        )
        told += f"; {law}, {sleeve.closing_share * 100:.0f} % of it on the closing side"
    return f"{told}; {_turns(cam, side_of_tdc)}" if cam.phaser is not None else told


def _turns(cam: Cam, side_of_tdc: str) -> str:
    """What a phaser does to the cam at its shortest: from where to where the centreline goes."""
    assert cam.phaser is not None
    early, late = cam.phaser.earliest_deg, cam.phaser.latest_deg
    later = 1.0 if side_of_tdc == "ATDC" else -1.0
    ends = [cam.centreline_deg + later * turn for turn in (early, late)]
    return (
        f"phaser {-early:g} deg crank earlier to {late:g} later, {late - early:g} in all: "
        f"centreline {ends[0]:g} to {ends[1]:g} {side_of_tdc}"
    )


def _mechanics(mechanics: Mechanics | None, system: System) -> list[str]:
    """What the file says for the mechanical check, a line for each side."""
    if mechanics is None:
        return []
    told = []
    for side in ("intake", "exhaust"):
        parts = _parts(mechanics.intake if side == "intake" else mechanics.exhaust, system)
        told.append(f"{side} mechanics: {'; '.join(parts) or 'none given'}")
    pair = mechanics.valve_pair
    if pair is not None:
        told.append(
            f"seats {_length(pair.seat_centre_distance_m, system)} apart, stems "
            f"{pair.intake_angle_deg:g} and {pair.exhaust_angle_deg:g} deg from the bore"
        )
    built = mechanics.tolerances
    told.append(
        f"checked with the cam {built.cam_timing_deg:g} deg crank early and late, chain slack "
        f"{built.chain_slack_deg:g} deg crank, {(built.over_speed - 1) * 100:.3g} % over-speed"
    )
    return told


def _parts(given: SideMechanics, system: System) -> list[str]:
    told = []
    if given.spring is not None:
        spring = given.spring
        told.append(
            f"spring {written(spring.seat_load_N, 'force', system, digits=3)} at "
            f"{_length(spring.installed_height_m, system)}, "
            f"{written(spring.rate_N_per_m, 'spring rate', system, digits=3)}"
        )
    if given.train is not None:
        told.append(f"moving mass {written(given.train.moving_mass_kg, 'mass', system, digits=3)}")
    if given.follower is not None:
        follower = given.follower
        told.append(
            f"{follower.kind} ({follower.materials}), base circle radius "
            f"{_length(follower.base_circle_radius_m, system)}, rocker {follower.rocker_ratio:g}"
        )
    if given.piston_gap is not None:
        gap, count = given.piston_gap, len(given.piston_gap.gap_m)
        where = "at TDC" if count == 1 else f"at the least of {count} readings"
        told.append(
            f"seated valve to piston {_length(float(gap.gap_m.min()), system)} {where}, valve "
            f"{gap.valve_angle_deg:g} deg from the bore"
        )
    if given.room is not None:
        room = given.room
        told.append(
            f"{_length(room.between_bearings_m, system)} between bearings for {room.lobes} lobes"
        )
    return told


def _pipes(engine: Engine, system: System) -> list[Piece]:
    unit = user_unit("length", system)
    header = ("pipe", f"length {unit}", f"inside {unit}", "from", "to")
    rows = tuple(_pipe_row(pipe, unit) for pipe in engine.pipes)
    page: list[Piece] = [Grid(title="Pipes", header=header, rows=rows, left=_ENDS, folds=_ENDS)]
    if any(sum(pipe.end_correction_m) for pipe in engine.pipes):
        page.append(Item("+ is the air beyond open ends that swings with that inside the pipe."))
    if engine.chambers:
        told = (f"{one.name} {written(one.volume_m3, 'volume', system)}" for one in engine.chambers)
        page += ["", f"Chambers: {', '.join(told)}"]
    return [*page, ""]


def _pipe_row(pipe: Pipe, unit: str) -> tuple[str, ...]:
    ends = (pipe.diameter_m[0], pipe.diameter_m[-1])
    digits = 1 if unit == "mm" else 2
    inside = "-".join(
        dict.fromkeys(f"{from_si(value, 'length', unit):.{digits}f}" for value in ends)
    )
    length = f"{from_si(pipe.built_length_m, 'length', unit):.{digits - 1}f}"
    beyond = sum(pipe.end_correction_m)
    if beyond > 0:
        length += f"+{from_si(beyond, 'length', unit):.{digits - 1}f}"
    start, end = (
        f"{one.node}{' (throttled)' if one.throttled else ''}" for one in (pipe.start, pipe.end)
    )
    return pipe.name, length, inside, start, end


def _settings(engine: Engine, facts: Sequence[SettingFacts], system: System) -> list[Piece]:
    unit = user_unit("length", system)
    digits = 0 if unit == "mm" else 1
    rows = tuple(
        (
            one.setting.label,
            f"{one.intake_dwell_deg:.0f}",
            f"{one.exhaust_dwell_deg:.0f}",
            f"{from_si(one.intake_area_m_deg, 'length', unit):.{digits}f}",
            in_user_units(how(engine, one.setting), system)
            + (" (standard)" if one.setting.label == engine.standard else ""),
        )
        for one in facts
    )
    title = f"Cam settings: dwell in crank degrees, intake lift area in {unit} x crank degrees"
    header = ("setting", "intake dwell", "exhaust dwell", "area", "how")
    note = (
        "A duration in a setting's name counts at its cam's checking height, lash not taken off; "
        "the events below have it taken off."
    )
    left, folds = frozenset({0, 4}), frozenset({4})
    return [Grid(title=title, header=header, rows=rows, left=left, folds=folds), Item(note), ""]


def _events(facts: Sequence[SettingFacts], system: System) -> list[Piece]:
    page: list[Piece] = []
    header = ("setting", "IVO", "IVC", "intake", "EVO", "EVC", "exhaust", "overlap")
    for place, height in enumerate(CHECKING_HEIGHTS_M):
        rows = tuple(_event_row(one, place) for one in facts)
        title = (
            f"Events at {_height(height)} valve lift, lash taken off; durations and overlap in "
            "crank degrees"
        )
        page += [Grid(title=title, header=header, rows=rows, left=_LEFT), ""]
    return page


def _height(height: float) -> str:
    return f"{height * 1e3:.3g} mm ({from_si(height, 'length', 'in'):.3f} in)"


def _event_row(one: SettingFacts, place: int) -> tuple[str, ...]:
    cells = [one.setting.label]
    for side in (one.intake[place], one.exhaust[place]):
        if side is None:
            cells += ["not reached", "-", "-"]
        else:
            cells += [side.opens, side.closes, f"{side.duration_deg:.0f}"]
    overlap = one.overlap_deg[place]
    return (*cells, "-" if overlap is None else f"{round(overlap)}")


def _compression(engine: Engine, facts: Sequence[SettingFacts], system: System) -> list[Piece]:
    unit = user_unit("absolute pressure", system)
    digits = 1 if unit == "bar" else 0
    rows = []
    for one in facts:
        gauge = [
            from_si(value - engine.air.pressure_Pa, "absolute pressure", unit)
            for value in one.cranking_pressure_Pa
        ]
        intake, exhaust = one.intake[0], one.exhaust[0]
        rows.append(
            (
                one.setting.label,
                f"{intake.centreline_deg:.0f} ATDC" if intake else "-",
                f"{exhaust.centreline_deg:.0f} BTDC" if exhaust else "-",
                f"{one.lobe_separation_cam_deg:.1f}",
                f"{one.effective_compression_ratio:.2f}",
                f"{gauge[0]:.{digits}f} to {gauge[1]:.{digits}f}",
            )
        )
    header = ("setting", "intake", "exhaust", "separation", "eff. CR", f"cranking {unit} gauge")
    title = (
        "Centrelines (middle of the opening), lobe separation in cam degrees, effective "
        "compression ratio and cranking pressure"
    )
    low, high = CRANKING_EXPONENTS
    note = (
        f"Effective CR: cylinder volume at intake closing ({_height(SEAT_HEIGHT_M)}) over "
        "clearance volume. Cranking pressure: p0 (eff. CR)^n less p0, throttle open, "
        f"n = {low:g} to {high:g} for a warm engine in good order (common practice, no source)."
    )
    return [Grid(title=title, header=header, rows=tuple(rows), left=_LEFT), Item(note), ""]


def _assumed(engine: Engine, system: System) -> list[Piece]:
    if not engine.assumed:
        return ["Nothing was assumed: the file gives every value.", ""]
    by_source: dict[str, list[Assumed]] = {}
    for one in engine.assumed:
        by_source.setdefault(one.source, []).append(one)
    page: list[Piece] = [
        f"Assumed for you: {len(engine.assumed)} values, by source. What the engine file gives "
        "takes their place."
    ]
    for source, values in by_source.items():
        page.append(Item(f"{source}:", indent=2))
        page += [
            Item(in_user_units(f"{one.key} = {one.value}: {one.reason}", system), 4)
            for one in values
        ]
    if system == "imperial" and any("(m/s)" in one.value for one in engine.assumed):
        page.append(Item("Friction per piston speed stays in bar and m/s, as published.", indent=2))
    return [*page, ""]


def _notes(engine: Engine, system: System) -> list[Piece]:
    if not engine.notes:
        return []
    told = (in_user_units(one, system) for one in engine.notes)
    return ["Notes", *(Item(one, indent=2, hang=2) for one in told), ""]


def _questions(engine: Engine, system: System) -> list[Piece]:
    if not engine.questions:
        return []
    quoted = " (figures as in the file, or metric)" if system == "imperial" else ""
    questions = (Item(one, indent=2, hang=2) for one in engine.questions)
    return [f"Questions{quoted}", *questions, ""]

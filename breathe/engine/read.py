"""An engine file (TOML, with measured curves in files beside it) -> one `Engine` in SI.

Every fault is reported at once; what the file leaves out is filled in by class of engine and listed
in ``Engine.assumed``; odd but possible values become ``Engine.questions``.
"""

from __future__ import annotations

import difflib
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from breathe.engine.assumed import (
    LIMIT_OVER_PEAK_POWER,
    choose_class,
    fill_air,
    fill_burn,
    fill_cylinder,
    fill_friction,
    fill_fuel,
    fill_speed_limit,
    firing_order,
)
from breathe.engine.cams import Card, build_cam
from breathe.engine.check import Values, check_file, check_late
from breathe.engine.engine_classes import EngineClass
from breathe.engine.findings import EngineFileError, Findings
from breathe.engine.joints import check_joints
from breathe.engine.keys import ENGINE_FILE
from breathe.engine.mechanics_read import build_mechanics
from breathe.engine.network import build_network, exhaust_apart
from breathe.engine.open_file import load_toml
from breathe.engine.parts import Cylinder, Engine, Setting, Side, Valve
from breathe.engine.phaser import with_phaser
from breathe.engine.plausible import judge, judge_pipes
from breathe.engine.quantities import STANDARD_AMBIENT_PA, QuantityError, read_quantity
from breathe.engine.settings import Cams, build_settings
from breathe.engine.typical import Sizing, fill_sizes
from breathe.engine.typical_layout import built_as_named, fill_layout
from breathe.engine.valves import build_valve
from breathe.valvetrain.opening import throat_area

_SIDES: tuple[Side, Side] = ("intake", "exhaust")


def read_engine(path: str | os.PathLike[str]) -> Engine:
    """The engine a file describes.

    Parameters
    ----------
    path : path-like
        A TOML file; the supplied engines document the format.

    Returns
    -------
    Engine
        In SI, with ``assumed`` and ``questions`` filled.

    Raises
    ------
    EngineFileError
        For anything wrong with the file; its text names every fault with key, what was found and
        what is expected.
    """
    file = Path(path)
    raw = load_toml(file)
    if raw and not raw.keys() & ENGINE_FILE.keys():
        raise EngineFileError(str(file), [_other_toml(raw)], about_file=True)
    return engine_from_table(raw, file)


def engine_from_table(raw: dict[str, Any], file: Path) -> Engine:
    """The engine of a parsed file; ``file`` names it in messages and locates files beside it.

    Raises
    ------
    EngineFileError
        As `read_engine`.
    """
    findings = Findings()
    raw = one_spelling(raw)
    values = check_file(raw, findings, _ambient(raw))
    _check_firing(values, findings)
    judge(values, findings)
    kind = None
    if {"bore", "stroke", "cylinders"} <= values.get("engine", {}).keys():
        kind = choose_class(values, findings)
        fill_layout(values, built_as_named(kind, values), findings)
    check_late(values, findings)
    count = values.get("engine", {}).get("cylinders")
    if count is not None:
        check_joints(values, count, findings)
    engine = _build(values, kind, file, findings) if kind is not None else None
    if findings.faults or engine is None:
        raise EngineFileError(str(file), list(dict.fromkeys(findings.faults)))
    return engine


def _other_toml(raw: Mapping[str, Any]) -> str:
    tables = ", ".join(f"[{name}]" for name in list(raw)[:4])
    return (
        f"expected an engine file with a table [engine]; this is TOML of another kind ({tables}). "
        "`breathe new` writes one to fill in."
    )


def one_spelling(found: Any) -> Any:
    """The same table with "inlet" spelled "intake" in its keys and in the names of places."""
    if isinstance(found, list):
        return [one_spelling(item) for item in found]
    if not isinstance(found, dict):
        return found
    table = {}
    for key, value in found.items():
        name = "intake" if key == "inlet" and "intake" not in found else key
        if key in ("side", "from", "to"):
            table[name] = _respelled(value)
        else:
            table[name] = one_spelling(value)
    return table


def _respelled(value: Any) -> Any:
    if isinstance(value, list):
        return [_respelled(item) for item in value]
    if isinstance(value, str) and (value == "inlet" or value.startswith("inlet valve")):
        return value.replace("inlet", "intake", 1)
    return value


def _ambient(raw: Mapping[str, Any]) -> float:
    """Air pressure that gauge pressures stand on, before anything else is read [Pa]."""
    air = raw.get("air")
    try:
        return read_quantity(air["pressure"], "barometer") if air else STANDARD_AMBIENT_PA
    except (QuantityError, KeyError, TypeError):
        return STANDARD_AMBIENT_PA


def _check_firing(values: Values, findings: Findings) -> None:
    engine = values.get("engine", {})
    count, order = engine.get("cylinders"), engine.get("firing_order")
    if count and order and sorted(order) != list(range(1, count + 1)):
        found = "-".join(str(n) for n in order)
        text = f'found "{found}"; expected each of the {count} cylinders once'
        findings.fault("[engine] firing_order", text, "engine")
    gaps = engine.get("firing_intervals")
    if not (count and gaps):
        return
    place = "[engine] firing_intervals"
    if len(gaps) != count:
        text = f"found {len(gaps)}; expected {count}, from each firing to the next"
        findings.fault(place, text, "engine")
    elif abs(sum(gaps) - 720.0) > 0.01:
        text = f"they add up to {sum(gaps):g} deg crank; expected 720"
        findings.fault(place, text, "engine")


def fires_at(order: tuple[int, ...], intervals: tuple[float, ...]) -> tuple[float, ...]:
    """Crank angle 0..720 at which each cylinder fires, cylinder 1 at 0.

    Parameters
    ----------
    order : tuple of int
        Cylinder numbers as they fire.
    intervals : tuple of float
        Crank degrees from each firing in ``order`` to the next; they sum to 720.

    Examples
    --------
    >>> fires_at((1, 3, 4, 2), (180.0, 180.0, 180.0, 180.0))
    (0.0, 540.0, 180.0, 360.0)
    """
    at, angle = {}, 0.0
    for cylinder, gap in zip(order, intervals, strict=True):
        at[cylinder] = angle
        angle += gap
    return tuple((at[n] - at[1]) % 720.0 for n in range(1, len(order) + 1))


def _build(values: Values, kind: EngineClass, file: Path, findings: Findings) -> Engine | None:
    """The engine, or None when a fault keeps a part from being built."""
    cylinder = fill_cylinder(values, kind, findings)
    limit = fill_speed_limit(values, kind, findings)
    order = firing_order(values, findings)
    valves = {side: build_valve(values, side, kind, file.parent, findings) for side in _SIDES}
    cams = _cams(values, kind, valves, file.parent, findings)
    _check_fuel(values, findings)
    waiting = {"setting", "intake", "exhaust", "other_cam"} & findings.faulty
    settings, standard = ((), "") if waiting else build_settings(values, cams, findings)
    mechanics = build_mechanics(values, kind, cams.own, findings)
    if len(cams.own) < 2 or findings.faulty:
        return None
    air = fill_air(values, findings)
    fill_sizes(values, _sizing(values, kind, cylinder, valves["exhaust"], cams), findings)
    if findings.faults:
        return None
    judge_pipes(values, len(order), findings)
    network = exhaust_apart(build_network(values, len(order), air, findings))
    if findings.faults:
        return None
    count = len(order)
    intervals = values["engine"].get("firing_intervals", [720.0 / count] * count)
    fuel, friction = fill_fuel(values, findings), fill_friction(values, findings)
    burn = fill_burn(values, kind, findings)
    engine = Engine(
        name=values["engine"].get("name", file.stem.replace("_", " ")),
        cylinder=cylinder,
        cylinder_count=count,
        fires_at_deg=fires_at(order, tuple(intervals)),
        intake_valve=valves["intake"],
        exhaust_valve=valves["exhaust"],
        intake_cam=cams.own["intake"].cam,
        exhaust_cam=cams.own["exhaust"].cam,
        pipes=network.pipes,
        chambers=network.chambers,
        outsides=network.outsides,
        air=air,
        fuel=fuel,
        burn=burn,
        friction=friction,
        settings=settings,
        standard=standard,
        speed_limit_rpm=limit,
        mechanics=mechanics,
        assumed=tuple(findings.assumed),
        questions=tuple(dict.fromkeys(findings.questions)),
        notes=tuple(dict.fromkeys(findings.notes)),
        cards=tuple(read.card for read in cams.own.values() if read.card),
        source_file=str(file),
    )
    _check_lifts(engine, findings)
    return engine


def _cams(
    values: Values,
    kind: EngineClass,
    valves: Mapping[Side, Valve],
    folder: Path,
    findings: Findings,
) -> Cams:
    cams = Cams()
    for side in _SIDES:
        given = values.get(side, {})
        own = f"{side}.cam" not in findings.faulty and f"{side}.sleeve" not in findings.faulty
        if own:
            head = valves[side].head_diameter_m
            card = Card(side, f"[{side}.cam]", kind, head, folder, findings)
            read = build_cam(given.get("cam", {}), given.get("sleeve"), card)
            if read is not None:
                cams.own[side] = with_phaser(read, given.get("phaser"), side, findings)
    for row in values.get("other_cam", []):
        if not {"name", "side"} <= row.keys():
            continue
        if row["name"] in cams.others:
            findings.fault(row["place"], f'the name "{row["name"]}" is used twice', "other_cam")
        side = row["side"]
        head = valves[side].head_diameter_m
        card = Card(side, row["place"], kind, head, folder, findings)
        read = None
        if "other_cam" not in findings.faulty:
            shared = {k: v for k, v in values.get(side, {}).get("cam", {}).items() if k in _SHARED}
            read = build_cam({**shared, **row}, None, card)
        cams.others[row["name"]] = (side, read)
    return cams


_SHARED = ("lash", "rocker_ratio", "checked_at")
"""What a swapped cam takes over from the engine's own unless it says otherwise."""


def _check_fuel(values: Values, findings: Findings) -> None:
    from breathe.gas.fuels import FUELS

    name = values.get("fuel", {}).get("name")
    if name is not None and name not in FUELS:
        near = difflib.get_close_matches(name, FUELS, n=1, cutoff=0.5)
        hint = f'did you mean "{near[0]}"?' if near else f"supplied are {', '.join(FUELS)}"
        findings.fault("[fuel] name", f'found "{name}"; {hint}', "fuel")


def _sizing(
    values: Values, kind: EngineClass, cylinder: Cylinder, valve: Valve, cams: Cams
) -> Sizing:
    """What the pipes are sized by that the file does not give."""
    kind, exhaust = built_as_named(kind, values), cams.own["exhaust"]
    limit = values["engine"].get("speed_limit", kind.peak_power_rpm * LIMIT_OVER_PEAK_POWER)
    return Sizing(
        cylinder=cylinder,
        count=values["engine"]["cylinders"],
        kind=kind,
        peak_power_rpm=limit / LIMIT_OVER_PEAK_POWER,
        exhaust_opens_bbdc=exhaust.cam.centreline_deg + exhaust.duration_deg / 2 - 180.0,
        exhaust_throat_m2=valve.count * throat_area(valve),
    )


def _check_lifts(engine: Engine, findings: Findings) -> None:
    """Note each setting at which a valve would not seat long enough or never open."""
    for setting in engine.settings:
        for fault in _lift_faults(engine, setting):
            findings.fault(f'[[setting]] "{setting.label}"', fault)


def _lift_faults(engine: Engine, setting: Setting) -> list[str]:
    from breathe.valvetrain.dwell import event

    faults = []
    for side, cam, travel, shift, stretch in (
        (
            "intake",
            setting.intake_cam or engine.intake_cam,
            setting.intake_travel_m,
            setting.intake_shift_deg,
            setting.intake_stretch,
        ),
        (
            "exhaust",
            setting.exhaust_cam or engine.exhaust_cam,
            setting.exhaust_travel_m,
            setting.exhaust_shift_deg,
            setting.exhaust_stretch,
        ),
    ):
        try:
            event(cam, travel_m=travel, shift_deg=shift, stretch=stretch, side=side)  # type: ignore[arg-type]
        except ValueError as error:
            faults.append(str(error))
    return faults

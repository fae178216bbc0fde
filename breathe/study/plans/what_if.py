"""What-ifs: a row of a plan becomes an engine, a cam setting and cases, and cases an answer."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from breathe.cycle.layout import Resolution
from breathe.engine.findings import EngineFileError
from breathe.engine.open_file import load_toml
from breathe.engine.parts import Engine, Operating, Setting
from breathe.engine.quantities import UNITS, QuantityError, read_quantity
from breathe.engine.read import engine_from_table, one_spelling
from breathe.engine.values import read_value
from breathe.errors import BreatheError
from breathe.kernel import PROGRAM_HASH
from breathe.study.choose import setting_named
from breathe.study.compare import Job
from breathe.study.fingerprint import fingerprint
from breathe.study.plans.cam import RowFault, card_duration, centreline, event, own_duration
from breathe.study.plans.events import FROM, EventFault, placed_by_events
from breathe.study.plans.names import Target
from breathe.study.plans.sheet import Plan, PlanRow, value_in
from breathe.version import VERSION

LABEL = "what-if"
WAYS = ("duration", "added", "travel", "cam")
"""Ways to say which lobe stands; a row that gives one lets go of the file's."""
_INSTEAD = {
    "rate": ("lead",),
    "lead": ("rate",),
    "hold": ("closing_share",),
    "closing_share": ("hold",),
    "pressure": ("altitude",),
    "altitude": ("pressure",),
    "lift": ("lobe_lift",),
    "lobe_lift": ("lift",),
}
"""Keys that say the same thing: giving one takes the other out."""


@dataclass(frozen=True, slots=True)
class Built:
    """A what-if, ready to run."""

    engine: Engine
    setting: Setting
    questions: tuple[str, ...] = ()


@dataclass(slots=True)
class Base:
    """The engine file that all what-ifs start from."""

    file: Path
    raw: dict[str, Any]
    engine: Engine
    setting: Setting
    speeds_rpm: tuple[float, ...]
    throttle: float
    own: Mapping[str, Any] = field(default_factory=dict)
    """The setting as a row of the file."""
    key: str = ""
    """Name of all that decides a case besides its row."""


def base_of(
    file: Path, label: str | None, speeds: Callable[[Engine], tuple[float, ...]], throttle: float
) -> Base:
    """The engine file, read, with the cam setting that a blank cell keeps; ``throttle`` is the
    opening as a share of its area [-].

    Raises
    ------
    BreatheError
        A fault of the file, or no such setting.
    """
    from breathe.runs import source_files

    raw = one_spelling(load_toml(file))
    engine = engine_from_table(raw, file)
    setting = setting_named(engine, label or engine.standard, "--setting")
    base = Base(file, raw, engine, setting, speeds(engine), throttle)
    base.own = setting_row(base, setting)
    files = [path.read_bytes() for path in source_files(file)]
    base.key = fingerprint(engine, files, json.dumps(base.own), VERSION, PROGRAM_HASH)
    return base


def setting_row(base: Base, setting: Setting) -> dict[str, Any]:
    """A setting as a ``[[setting]]`` of the file."""
    for row in base.raw.get("setting", []):
        try:
            read = engine_from_table(_alone(base.raw, row), base.file).settings[0]
        except EngineFileError:
            continue
        if fingerprint(replace(read, label=setting.label)) == fingerprint(setting):
            return {side: dict(row[side]) for side in ("intake", "exhaust") if side in row}
    found: dict[str, Any] = {}
    for side in ("intake", "exhaust"):
        found[side] = {
            "travel": f"{getattr(setting, f'{side}_travel_m') * 1e3:.12g} mm",
            "shift": f"{getattr(setting, f'{side}_shift_deg'):.12g} deg crank",
            "stretch": getattr(setting, f"{side}_stretch"),
        }
        travel = getattr(setting, f"{side}_travel_m")
        sleeve = getattr(base.engine, f"{side}_cam").sleeve
        if travel == 0.0:
            del found[side]["travel"]
        elif not sleeve.law_known:
            del found[side]["travel"]
            found[side]["added"] = f"{travel * sleeve.crank_deg_per_m:.12g} deg crank"
    return found


def _alone(raw: Mapping[str, Any], row: Mapping[str, Any]) -> dict[str, Any]:
    """The file with this one setting."""
    engine = {key: value for key, value in raw["engine"].items() if key != "standard"}
    return {**raw, "engine": engine, "setting": [dict(row)]}


def build(base: Base, plan: Plan, row: PlanRow) -> Built:
    """The engine and setting of a row.

    Raises
    ------
    RowFault
        The engine file's rules refuse it.
    """
    raw = copy.deepcopy(base.raw)
    moves = copy.deepcopy(dict(base.own))
    wanted: dict[tuple[str, str], Any] = {}
    label = next((v for t, v in _given(plan, row) if t.path == ("setting",)), None)
    try:
        if label is not None:
            named = setting_named(base.engine, str(label), "setting")
            moves = setting_row(base, named)
        for target, value in _given(plan, row):
            if target.room == "file":
                _put(raw, target, value)
            elif target.room == "setting":
                side, key = target.path
                wanted[side, key] = value
        named = named if label is not None else base.setting
        _by_events(base, named, wanted)
        later = _move(base, moves, wanted)
        engine = engine_from_table(_alone(raw, {"label": LABEL, **moves}), base.file)
    except EngineFileError as error:
        # The row is a [[setting]] of the file here, of which its writer knows nothing.
        told = (fault.removeprefix(f'[[setting]] 1 "{LABEL}" ') for fault in error.faults)
        raise RowFault("; ".join(told)) from None
    except BreatheError as error:
        raise RowFault(str(error)) from None
    setting = _stand(engine, engine.settings[0], later)
    new = tuple(q for q in engine.questions if q not in base.engine.questions)
    return Built(engine, setting, new)


def _given(plan: Plan, row: PlanRow) -> Iterator[tuple[Target, Any]]:
    for n, value in row.given.items():
        yield plan.columns[n].target, value


def _put(raw: dict[str, Any], target: Target, value: Any) -> None:
    """Replace one value of the file, and take out what said the same in other words."""
    *above, key = target.path
    if above[0] in ("pipe", "chamber", "outside", "other_cam"):
        at = next(row for row in raw[above[0]] if row.get("name") == above[1])
        if above[0] == "pipe" and not _fits_pipe(at, key, value):
            return
    else:
        at = raw
        for name in above:
            at = at.setdefault(name, {})
    if "cam" in above or above[0] == "other_cam":
        _put_cam(at, key, above[0])
    for other in _INSTEAD.get(key, ()):
        at.pop(other, None)
    at[key] = value


def _fits_pipe(pipe: dict[str, Any], key: str, value: Any) -> bool:
    """False where the pipe was changed already: its stations keep their shares of the length."""
    if key == "diameter" and isinstance(pipe.get("diameter"), list):
        shown = ", ".join(map(str, pipe["diameter"]))
        raise RowFault(
            f'pipe "{pipe["name"]}" diameter: the file has a taper ({shown}); one value cannot say '
            "which end is meant"
        )
    stations = pipe.get("stations")
    if key != "length" or not stations:
        return True
    try:
        at = [read_quantity(station, "length") for station in stations]
        length = read_quantity(value, "length")
    except QuantityError as error:
        raise RowFault(f'pipe "{pipe["name"]}" length: {error}') from None
    pipe["stations"] = [f"{station / at[-1] * length * 1e3:.12g} mm" for station in at]
    pipe.pop("length", None)
    return False


def _put_cam(cam: dict[str, Any], key: str, side: str) -> None:
    """Let the card say nothing twice: duration and centreline, or opens and closes."""
    side = cam.get("side", side)
    if key in ("opens", "closes"):
        _keep_other_event(cam, key, side)
    if key in ("opens", "closes") and len({"opens", "closes"} & ({key} | cam.keys())) == 2:
        cam.pop("duration", None)
        cam.pop("centreline", None)
    if key == "centreline" and len({"opens", "closes"} & cam.keys()) == 1:
        cam.pop("opens", None)
        cam.pop("closes", None)
    if key not in ("duration", "centreline") or not {"opens", "closes"} <= cam.keys():
        return
    from breathe.engine.events import crank_angle, read_crank_point

    try:
        opens, closes = (
            crank_angle(read_crank_point(cam.pop(k)), side)  # type: ignore[arg-type]
            for k in ("opens", "closes")
        )
    except QuantityError as error:
        raise RowFault(str(error)) from None
    middle = (opens + closes) / 2 - 360.0
    cam["duration"] = f"{closes - opens:.12g} deg crank"
    cam["centreline"] = f"{abs(middle):.12g} {'ATDC' if middle > 0 else 'BTDC'}"


def _keep_other_event(cam: dict[str, Any], key: str, side: str) -> None:
    """Write down the event that stays, where the card has duration and centreline instead."""
    from breathe.engine.events import crank_angle, read_crank_point

    other = "closes" if key == "opens" else "opens"
    if other in cam or not {"duration", "centreline"} <= cam.keys():
        return
    try:
        middle = crank_angle(read_crank_point(cam["centreline"]), side)  # type: ignore[arg-type]
        half = read_quantity(cam["duration"], "angle") / 2
    except QuantityError as error:
        raise RowFault(str(error)) from None
    name, centre, way = FROM[side, other]
    angle = middle + (half if other == "closes" else -half)
    cam[other] = f"{way * (angle - centre):.12g} {name}"


def _by_events(base: Base, kept: Setting, wanted: dict[tuple[str, str], Any]) -> None:
    """Put a duration and a centreline where a row gives valve events."""
    for side in ("intake", "exhaust"):
        given = {k: wanted.pop((side, k), None) for k in ("opens", "closes")}
        given = {k: value for k, value in given.items() if value is not None}
        if not given:
            continue
        beside = [k for k in ("centreline", "shift", *WAYS[1:], "stretch") if (side, k) in wanted]
        if beside:
            raise RowFault(
                f"{side} {' and '.join(given)} beside {beside[0]}; give opens and closes, or one "
                "of them and duration"
            )
        if (side, "duration") in wanted:
            given["duration"] = wanted[side, "duration"]
        degrees = {k: read_quantity(value, "angle") for k, value in given.items()}
        stands = (own_duration(base.engine, kept, side), centreline(base.engine, kept, side))
        try:
            duration, middle = placed_by_events(side, degrees, stands)
        except EventFault as fault:
            raise RowFault(str(fault)) from None
        wanted[side, "duration"] = f"{duration:.12g} deg crank"
        wanted[side, "centreline"] = f"{middle:.12g} deg crank"


def _move(
    base: Base, moves: dict[str, Any], wanted: Mapping[tuple[str, str], Any]
) -> dict[tuple[str, str], float]:
    """Put what a row wants of the cams into its setting; returns what must wait for the engine."""
    later = {}
    for (side, key), value in wanted.items():
        move = moves.setdefault(side, {})
        if key in WAYS and not any(way in move and (side, way) in wanted for way in WAYS):
            for way in WAYS:
                move.pop(way, None)
        if key == "centreline":
            if (side, "shift") in wanted:
                raise RowFault(f"{side} centreline and shift say the same; give one")
            later[side, key] = read_quantity(value, "angle")
        elif key == "duration" and base.raw.get(side, {}).get("sleeve") is None:
            move.pop("stretch", None)
            later[side, key] = read_quantity(value, "angle")
        else:
            move[key] = value
    return later


def _stand(engine: Engine, setting: Setting, later: Mapping[tuple[str, str], float]) -> Setting:
    """The setting with its lobes ground longer and its centrelines where they are wanted."""
    changes: dict[str, Any] = {}
    for (side, key), value in later.items():
        if key == "duration":
            changes[f"{side}_stretch"] = value / card_duration(engine, side)
        else:
            unmoved: dict[str, Any] = {f"{side}_shift_deg": 0.0}
            here = centreline(engine, replace(setting, **unmoved), side)
            towards = 1.0 if side == "intake" else -1.0
            changes[f"{side}_shift_deg"] = towards * (value - here)
    return replace(setting, **changes)


def operatings(base: Base, plan: Plan, row: PlanRow) -> tuple[Operating, ...]:
    """Speeds and throttle of a row: its own, or those of the run."""
    speeds, throttle = base.speeds_rpm, base.throttle
    for target, value in _given(plan, row):
        if target.path == ("speed",):
            speeds = (read_quantity(value, "speed"),)
        if target.path == ("throttle",):
            throttle = read_quantity(value, "share")
    return tuple(Operating(speed_rpm=float(speed), throttle=throttle) for speed in speeds)


def row_key(base: Base, plan: Plan, row: PlanRow) -> str:
    """Short name of all that a row changes, the same for rows that change the same."""
    changes = sorted((t.room, ".".join(t.path), str(v)) for t, v in _given(plan, row))
    changes = [change for change in changes if change[1] not in ("speed", "throttle")]
    return fingerprint(base.key, [list(change) for change in changes])


def jobs_of(
    base: Base, plan: Plan, row: PlanRow, built: Built | None, resolution: Resolution | None = None
) -> list[Job]:
    """The cases of a row; without ``built`` only their keys are of use."""
    grid, key = resolution or Resolution(), row_key(base, plan, row)
    engine, setting = (built.engine, built.setting) if built else (base.engine, base.setting)
    return [
        Job(engine, setting, at, grid, fingerprint(key, at, grid))
        for at in operatings(base, plan, row)
    ]


def kept_value(base: Base, target: Target) -> float | str | None:
    """What a blank cell of a column stands for, SI or words; None where one number cannot say."""
    if target.path == ("throttle",):
        return base.throttle
    if target.path == ("setting",):
        return base.setting.label
    if target.room == "setting":
        side, key = target.path
        return _kept_move(base, side, key)
    if target.room != "file":
        return None
    written = value_in(base.raw, target.path)
    if written is None or isinstance(written, list | dict):
        return None
    try:
        value = read_value(written, target.rule, base.engine.air.pressure_Pa)
    except QuantityError:
        return None
    if isinstance(value, bool) or target.rule.kind not in (*UNITS, "number", "whole", "text"):
        return str(written)
    return float(value) if isinstance(value, int | float) else str(value)


def _kept_move(base: Base, side: str, key: str) -> float | str | None:
    setting, cam = base.setting, getattr(base.setting, f"{side}_cam")
    if key == "centreline":
        return centreline(base.engine, setting, side)
    if key == "shift":
        return float(getattr(setting, f"{side}_shift_deg"))
    if key == "cam":
        return str(base.own.get(side, {}).get("cam", "own"))
    if cam is not None:  # another lobe: no duration of this one is like it
        return None
    if key == "duration":
        return own_duration(base.engine, setting, side)
    travel = float(getattr(setting, f"{side}_travel_m"))
    sleeve = getattr(base.engine, f"{side}_cam").sleeve
    added = travel * sleeve.crank_deg_per_m if sleeve else 0.0
    stretch = float(getattr(setting, f"{side}_stretch"))
    if key in ("opens", "closes"):
        return event(base.engine, setting, side, key)
    return {"travel": travel, "added": added, "stretch": stretch}.get(key)

"""A commented engine file from the little a user knows: what is missing stands there as assumed.

Answers have the keys of the engine file ("engine.bore", "intake.cam.lift"), so that there is one
vocabulary; "card" takes a whole cam card such as "20-60 / 60-20".
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from breathe.engine.assumed import OUTSIDE_AIR
from breathe.engine.findings import EngineFileError, Findings
from breathe.engine.keys import ENGINE_FILE, Key
from breathe.engine.parts import Assumed, Chamber, End, Engine, Pipe
from breathe.engine.read import engine_from_table

WIDTH = 30
"""Column at which a line's comment starts."""


@dataclass(frozen=True, slots=True)
class Question:
    """One thing worth asking before an engine file is written."""

    key: str
    text: str
    example: str
    required: bool = False


QUESTIONS: tuple[Question, ...] = (
    Question("engine.name", "Name of the engine", "Blue four"),
    Question("engine.cylinders", "Number of cylinders", "4", required=True),
    Question("engine.bore", "Bore", "86 mm", required=True),
    Question("engine.stroke", "Stroke", "86 mm", required=True),
    Question("engine.compression_ratio", "Compression ratio", "10.5"),
    Question("engine.rod", "Rod length, centre to centre", "145 mm"),
    Question("engine.speed_limit", "Highest engine speed", "7000 rpm"),
    Question("intake.valve.count", "Intake valves per cylinder", "2"),
    Question("intake.valve.head_diameter", "Intake valve head", "34 mm"),
    Question("exhaust.valve.count", "Exhaust valves per cylinder", "2"),
    Question("exhaust.valve.head_diameter", "Exhaust valve head", "29.5 mm"),
    Question("card", "Cam card: opens-closes of intake / exhaust", "20-60 / 60-20"),
    Question("intake.cam.checking_height", "Lift at which the card counts the intake", "0.10 mm"),
    Question("exhaust.cam.checking_height", "Lift at which it counts the exhaust", "0.10 mm"),
    Question("intake.cam.lift", "Intake valve lift", "9.5 mm"),
    Question("exhaust.cam.lift", "Exhaust valve lift", "9.5 mm"),
    Question("intake.cam.lash", "Intake valve clearance", "0.20 mm"),
    Question("intake.sleeve.travel", "Travel of the intake sleeve, if it has one", "12 mm"),
    Question("intake.sleeve.rate", "Duration it adds", "5.0 deg crank/mm"),
)
"""What to ask, in order; every answer but the required ones may be left out."""

_CARD = re.compile(r"\s*(-?\d+(?:[.,]\d+)?)\s*[-/]\s*(-?\d+(?:[.,]\d+)?)\s*")
_MECHANICAL: Mapping[str, str] = {
    f"{side}.{table}": ""
    for side in ("intake", "exhaust")
    for table in ("shaft_room", "spring", "train", "follower", "clearance")
} | {"valve_pair": "", "tolerance": ""}
_HEADS: Mapping[str, str] = {
    "engine": "",
    "intake.valve": "Valves of each cylinder",
    "exhaust.valve": "",
    "intake.cam": "Cams: lift at the valve with zero lash",
    "exhaust.cam": "",
    "intake.sleeve": "Sliding sleeve: travel opens dwell between flanks that never change",
    "exhaust.sleeve": "",
    **_MECHANICAL,
    "throttle": "",
    "air": "The day, fuel, burning, friction, inner walls",
    "fuel": "",
    "burn": "",
    "friction": "",
    "walls": "",
}


def new_engine_text(answers: Mapping[str, Any]) -> str:
    """Text of an engine file with the user's answers and, commented out, all that is assumed.

    Parameters
    ----------
    answers : mapping of str to str, int or float
        Keys as in `QUESTIONS` or any other key of the engine file, dotted; ``None`` and empty text
        are left out.

    Raises
    ------
    EngineFileError
        As `read.read_engine`, for answers that make no engine.
    """
    table = _as_table(answers)
    engine = engine_from_table(table, Path("new engine"))
    assumed: dict[str, list[Assumed]] = defaultdict(list)
    for item in engine.assumed:
        assumed[item.key.rpartition(".")[0]].append(item)
    parts = [
        "# An engine file. A line with # before its key is assumed: put your own value there and",
        "# take the # away. Pipes matter most: 20 mm of intake length can move the best duration",
        "# by 20 degrees.",
        "",
    ]
    for name, head in _HEADS.items():
        lines = _table_lines(name, _below(table, name), assumed[name])
        if lines:
            parts += [f"# {head}", ""] if head else []
            parts += [*lines, ""]
    parts += ["# Pipes and chambers", "", *_network_lines(engine)]
    parts += ["# Settings to compare", "", *_setting_lines(engine)]
    return "\n".join(parts).rstrip() + "\n"


def _as_table(answers: Mapping[str, Any]) -> dict[str, Any]:
    given = {k: v for k, v in answers.items() if v is not None and v != ""}
    card = given.pop("card", None)
    if card is not None:
        given = {**_card_events(str(card)), **given}
    table: dict[str, Any] = {}
    for key, value in given.items():
        *path, last = key.split(".")
        inner = table
        for name in path:
            inner = inner.setdefault(name, {})
            if not isinstance(inner, dict):
                raise EngineFileError("new engine", [f"{key}: {name} has a value already"])
        inner[last] = _plain(value, _rule(path, last))
    return table


def _card_events(card: str) -> dict[str, str]:
    """The four events of "20-60 / 60-20": IVO BTDC, IVC ABDC, EVO BBDC, EVC ATDC."""
    halves = re.split(r"\s/\s|\s*[;|]\s*", card)
    found = [_CARD.fullmatch(half) for half in halves]
    if len(found) != 2 or not all(found):
        text = f'found "{card}"; expected intake / exhaust such as "20-60 / 60-20"'
        raise EngineFileError("new engine", [f"card: {text}"])
    events = [angle for match in found if match for angle in match.groups()]
    keys = ("intake.cam.opens", "intake.cam.closes", "exhaust.cam.opens", "exhaust.cam.closes")
    words = ("BTDC", "ABDC", "BBDC", "ATDC")
    return {k: f"{a} {w}" for k, a, w in zip(keys, events, words, strict=True)}


def _rule(path: list[str], last: str) -> Key | None:
    rule: Any = ENGINE_FILE
    for name in [*path, last]:
        rule = rule.get(name) if isinstance(rule, dict) else None
    return rule if isinstance(rule, Key) else None


def _plain(value: Any, rule: Key | None) -> Any:
    """Typed text as a number where a key wants a bare one."""
    if not isinstance(value, str) or rule is None:
        return value
    text = value.strip()
    if rule.kind == "whole" and re.fullmatch(r"\d{1,3}", text):
        return int(text)
    if rule.kind == "switch" and text in ("true", "false"):
        return text == "true"
    if rule.kind == "number" and re.fullmatch(r"-?\d+(?:[.,]\d+)?", text):
        return float(text.replace(",", "."))
    return text


def _below(table: Mapping[str, Any], path: str) -> Mapping[str, Any]:
    inner: Any = table
    for name in path.split("."):
        inner = inner.get(name, {})
    return {k: v for k, v in inner.items() if not isinstance(v, dict)}


def _table_lines(name: str, given: Mapping[str, Any], assumed: list[Assumed]) -> list[str]:
    """One table: the given lines, and the assumed ones commented out."""
    path = name.split(".")
    known = [(item, _rule(path, item.key.rpartition(".")[2])) for item in assumed]
    # What has no key of its own, such as the shape of a flank, is told but cannot be typed in.
    lines = [f"{key} = {_toml(value)}" for key, value in given.items()]
    for item, rule in known:
        key = item.key.rpartition(".")[2]
        note = f"# assumed: {item.reason}"
        if rule is None or (rule.kind != "text" and not _typable(item.value, rule)):
            lines.append(f"# ({key.replace('_', ' ')}: {item.value}; {item.reason})")
        else:
            value = _toml(_plain(item.value, rule))
            lines.append(f"# {key} = {value}".ljust(WIDTH) + f"  {note}")
    if not lines:
        return []
    return [f"[{name}]" if given else f"# [{name}]", *lines]


def _typable(value: str, rule: Key) -> bool:
    from breathe.engine.check import check_value

    return check_value(_plain(value, rule), rule, Findings()) is not None


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int | float):
        return str(value)
    if isinstance(value, list):
        return f"[{', '.join(_toml(v) for v in value)}]"
    text = str(value).replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c.isprintable() else " " for c in text) + '"'


def _network_lines(engine: Engine) -> list[str]:
    """Blocks of the assumed pipes and chambers, commented out; a family of pipes is one block."""
    families: dict[str, list[Pipe]] = defaultdict(list)
    for pipe in engine.pipes:
        families[_family(pipe, engine)].append(pipe)
    blocks = [_pipe_lines(name, pipes, engine) for name, pipes in families.items()]
    blocks += [_chamber_lines(chamber) for chamber in engine.chambers]
    throttled = [n for n, pipes in families.items() if pipes[0].start.throttled]
    if throttled:
        share = families[throttled[0]][0].start.out_coefficient
        blocks.append(
            ["[throttle]", f'pipe = "{throttled[0]}"', 'end = "from"', f"coefficient = {share:g}"]
        )
    return [line for block in blocks for line in [*(f"# {text}" for text in block), ""]]


def _family(pipe: Pipe, engine: Engine) -> str:
    stem = re.sub(r" \d+$", "", pipe.name)
    alike = [p for p in engine.pipes if re.sub(r" \d+$", "", p.name) == stem]
    return stem if len(alike) == engine.cylinder_count else pipe.name


def _pipe_lines(name: str, pipes: list[Pipe], engine: Engine) -> list[str]:
    first = pipes[0]
    lines = ["[[pipe]]", f'name = "{name}"', f'side = "{first.side}"']
    repeated = len(pipes) == engine.cylinder_count and name != first.name
    if repeated:
        lines.append('each = "cylinder"')
    volumes = {c.name for c in engine.chambers} | {o.name for o in engine.outsides}
    for key, ends in (("from", [p.start for p in pipes]), ("to", [p.end for p in pipes])):
        lines.append(f"{key} = {_toml(_nodes(ends, repeated, volumes))}")
    lines.append(f'length = "{first.built_length_m * 1e3:.1f} mm"')
    lines.append(f'diameter = "{first.diameter_m[0] * 1e3:.1f} mm"')
    for key, end in (("from", first.start), ("to", first.end)):
        if end.mouth:
            lines.append(f'{key}_mouth = "{end.mouth}"')
    lines.append(f'wall = "{first.wall_K - 273.15:.0f} degC"')
    lines.append(f'roughness = "{first.roughness_m * 1e3:g} mm"')
    lines.append(f"heat_multiplier = {first.heat_multiplier:g}")
    return lines


def _nodes(ends: list[End], repeated: bool, volumes: set[str]) -> str | list[str]:
    """One name for all ends of a family if a number is all that differs, else their list."""
    names = [OUTSIDE_AIR if e.node.startswith(OUTSIDE_AIR) else e.node for e in ends]
    if not repeated or len(set(names)) == 1:
        return names[0]
    if names[0] in volumes:
        return names
    stem = names[0].rpartition(" ")[0]
    return stem if " valve " in names[0] else f"{stem} {{n}}"


def _chamber_lines(chamber: Chamber) -> list[str]:
    return [
        "[[chamber]]",
        f'name = "{chamber.name}"',
        f'side = "{chamber.side}"',
        f'volume = "{chamber.volume_m3 * 1e6:.0f} cc"',
    ]


def _setting_lines(engine: Engine) -> list[str]:
    """The settings that were filled in, as real lines to edit."""
    lines = []
    for setting in engine.settings:
        lines += ["[[setting]]", f'label = "{setting.label}"']
        if setting.intake_travel_m:
            lines.append(f'intake.travel = "{setting.intake_travel_m * 1e3:.4g} mm"')
        if setting.intake_stretch != 1:
            text = f"intake.stretch = {setting.intake_stretch:.4f}".ljust(WIDTH)
            lines.append(f"{text}  # the lobe ground longer (above 1) or shorter")
        lines.append("")
    return lines

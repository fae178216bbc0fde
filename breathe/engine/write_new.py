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

from breathe.engine.card_text import EXAMPLE, CardTextError, read_card_text
from breathe.engine.findings import EngineFileError, Findings
from breathe.engine.keys import ENGINE_FILE, Key
from breathe.engine.parts import Assumed, Engine
from breathe.engine.read import engine_from_table
from breathe.engine.toml_lines import WIDTH, remarked, toml
from breathe.engine.write_pipes import network_lines


@dataclass(frozen=True, slots=True)
class Question:
    """One thing worth asking before an engine file is written."""

    key: str
    text: str
    example: str
    required: bool = False
    unless: str = ""
    """Not asked once this key is answered."""
    only_with: str = ""
    """Asked only once this key is answered."""
    asked: bool = True
    """Else an option alone."""


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
    Question("card", "Cam card: opens-closes of intake / exhaust", EXAMPLE),
    Question("intake.cam.checking_height", "Lift at which the card counts its degrees", "0.10 mm"),
    Question("intake.cam.lash", "Valve clearance (lash)", "0.20 mm"),
    Question("intake.cam.lift", "Intake valve lift", "9.5 mm", unless="intake.cam.lobe_lift"),
    Question(
        "intake.cam.lobe_lift", "Lift of the lobe instead", "6.3 mm", unless="intake.cam.lift"
    ),
    Question("intake.cam.rocker_ratio", "Rocker ratio", "1.5", only_with="intake.cam.lobe_lift"),
    Question("exhaust.cam.lift", "Exhaust valve lift, if another", "9.5 mm"),
    Question(
        "exhaust.cam.checking_height",
        "Exhaust lift the card counts at, if another",
        "0.10 mm",
        asked=False,
    ),
    Question("exhaust.cam.lash", "Exhaust valve clearance, if another", "0.25 mm", asked=False),
    Question("exhaust.cam.lobe_lift", "Exhaust lobe lift, if another", "6.3 mm", asked=False),
    Question("exhaust.cam.rocker_ratio", "Exhaust rocker ratio, if another", "1.5", asked=False),
    Question("intake.sleeve.travel", "Travel of the intake sleeve, if it has one", "12 mm"),
    Question(
        "intake.sleeve.rate",
        "Duration it adds",
        "5.0 deg crank/mm",
        only_with="intake.sleeve.travel",
    ),
)
"""What to ask, in order; every answer but the required ones may be left out."""

_ONE_CARD = ("checking_height", "checked_at", "lash", "lift", "lobe_lift", "rocker_ratio")
"""What a card says of both cams, unless the exhaust's own is given."""
_LIFTS = frozenset({"lift", "lobe_lift"})
_MECHANICAL: Mapping[str, str] = {
    f"{side}.{table}": ""
    for side in ("intake", "exhaust")
    for table in ("shaft_room", "spring", "train", "follower", "clearance")
} | {"valve_pair": "", "tolerance": ""}
_HEADS: Mapping[str, str] = {
    "engine": "",
    "intake.valve": "Valves of each cylinder",
    "intake.valve.flow": "",
    "exhaust.valve": "",
    "exhaust.valve.flow": "",
    "intake.cam": "Cams: lift at the valve with zero lash",
    "exhaust.cam": "",
    "intake.sleeve": "Sliding sleeve: travel opens dwell between flanks that never change",
    "exhaust.sleeve": "",
    "intake.phaser": "",
    "exhaust.phaser": "",
    **_MECHANICAL,
    "air": "The day, fuel, burning, friction, inner walls",
    "fuel": "",
    "burn": "",
    "friction": "",
    "walls": "",
}


def new_engine_text(answers: Mapping[str, Any], folder: Path | None = None) -> str:
    """Text of an engine file with the user's answers and, commented out, all that is assumed.

    Each commented key stands below its own header, so that any of them can be given alone.

    Parameters
    ----------
    answers : mapping of str to str, int or float
        Keys as in `QUESTIONS` or any other key of the engine file, dotted; ``None`` and empty text
        are left out.
    folder : Path, optional
        Where the text is to stand, and so files it names beside it; by default the one worked in.

    Raises
    ------
    EngineFileError
        As `read.read_engine`, for answers that make no engine.
    """
    given, notes = _with_card(answers)
    table = _as_table(given)
    engine = engine_from_table(table, (folder or Path()) / "new engine")
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
        lines = _table_lines(name, _below(table, name), assumed[name], notes)
        if lines:
            parts += [f"# {head}", ""] if head else []
            parts += [*lines, ""]
    parts += ["# Pipes and chambers", "", *network_lines(engine, _below(table, "throttle"))]
    parts += ["# Settings to compare", "", *_setting_lines(engine)]
    return "\n".join(parts).rstrip() + "\n"


def _with_card(answers: Mapping[str, Any]) -> tuple[dict[str, Any], dict[str, str]]:
    """The answers with those of a cam card spelled out, and remarks on some of their keys."""
    given = {k: v for k, v in answers.items() if v is not None and v != ""}
    text = given.pop("card", None)
    if text is None:
        return given, {}
    try:
        card = read_card_text(str(text))
    except CardTextError as error:
        raise EngineFileError("new engine", [f"card: {error}"]) from None
    read = {**card.events, **{f"intake.cam.{k}": v for k, v in card.figures.items()}}
    notes = {
        f"{side}.cam.{key}": f"the card names no unit: {unit} taken"
        for key, unit in card.guessed.items()
        for side in ("intake", "exhaust")
        if f"{side}.cam.{key}" not in given
    }
    given = {**{k: v for k, v in read.items() if k not in given}, **given}
    own = {key for key in _ONE_CARD if f"exhaust.cam.{key}" in given}
    for key in _ONE_CARD:
        value = given.get(f"intake.cam.{key}")
        if value is None or key in own or (key in _LIFTS and own & _LIFTS):
            continue
        given[f"exhaust.cam.{key}"] = value
        notes.setdefault(f"exhaust.cam.{key}", "one card for both cams")
    return given, notes


def _as_table(given: Mapping[str, Any]) -> dict[str, Any]:
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


def _table_lines(
    name: str, given: Mapping[str, Any], assumed: list[Assumed], notes: Mapping[str, str]
) -> list[str]:
    """One table: the given lines, and the assumed ones commented out."""
    path = name.split(".")
    lines = [
        remarked(f"{key} = {toml(value)}", notes.get(f"{name}.{key}", ""))
        for key, value in given.items()
    ]
    # What has no key of its own, such as the shape of a flank, is told but cannot be typed in.
    for item in assumed:
        key = item.key.rpartition(".")[2]
        rule = _rule(path, key)
        if rule is None or (rule.kind != "text" and not _typable(item.value, rule)):
            lines.append(f"# ({key.replace('_', ' ')}: {item.value}; {item.reason})")
        else:
            value = toml(_plain(item.value, rule))
            lines.append(remarked(f"# {key} = {value}", f"assumed: {item.reason}"))
    return [f"[{name}]", *lines] if lines else []


def _typable(value: str, rule: Key) -> bool:
    from breathe.engine.check import check_value

    return check_value(_plain(value, rule), rule, Findings()) is not None


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

"""Holds a TOML table against the keys an engine file may have, and turns values into SI.

All faults are collected, none stops the check. Each names its place as it stands in the file, what
was found and what is expected.
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from breathe.engine.findings import Findings
from breathe.engine.keys import ENGINE_FILE, SIDES, Key, Table
from breathe.engine.quantities import (
    EXAMPLES,
    STANDARD_AMBIENT_PA,
    UNITS,
    MissingUnitError,
    QuantityError,
    from_si,
    shown,
    split_number,
)
from breathe.engine.values import as_float, nearest_name, read_value, span_text, wanted

Values = dict[str, Any]
"""Checked values in SI, nested as the file is; faulty and missing keys are left out."""

_LENGTH_SLIPS = ("mm", "in", "thou", "m")


@dataclass(frozen=True, slots=True)
class _Place:
    """Where a table stands in the file, as shown and as a dotted path."""

    header: str
    path: str
    prefix: str = ""

    def shown(self, key: str = "") -> str:
        return f"{self.header} {self.prefix}{key}".rstrip()


def check_file(raw: dict[str, Any], findings: Findings, ambient_Pa: float) -> Values:
    """The values of a whole engine file in SI.

    Parameters
    ----------
    raw : dict
        As parsed from TOML.
    findings : Findings
        Receives the faults and questions.
    ambient_Pa : float
        Air pressure that gauge pressures stand on [Pa].
    """
    values: Values = {}
    for name, found in raw.items():
        rule = ENGINE_FILE.get(name)
        if rule is None:
            findings.fault(_top_level(name, found), _not_a_table(name), name)
        elif isinstance(rule, list):
            values[name] = _check_list(name, found, rule[0], findings, ambient_Pa)
        elif isinstance(rule, dict):
            place = _Place(f"[{name}]", name)
            values[name] = _check_table(found, rule, place, findings, ambient_Pa)
            if name == "throttle":
                _mark(values[name], found, place.header)
    if "engine" not in raw:
        findings.fault("[engine]", "missing; it needs cylinders, bore and stroke", "engine")
    _ask_turns(values, findings)
    return values


def _ask_turns(values: Values, findings: Findings) -> None:
    """Settings that stand where the phaser of that side does not turn its cam."""
    for row in values.get("setting", []):
        for side in SIDES:
            phaser = values.get(side, {}).get("phaser", {})
            shift = row.get(side, {}).get("shift", 0.0)
            key, end = ("earliest", phaser.get("earliest")) if shift < 0 else (
                "latest", phaser.get("latest"))  # fmt: skip
            if end is not None and abs(shift) > abs(end) + 1e-9:
                text = (
                    f"{shift:g} deg crank is beyond the phaser, {key} {end:g}: taken as a fixed "
                    "cam set there, which the phaser does not reach. Cam or crank degrees?"
                )
                findings.ask(f"{row['place']} {side}.shift", text)


def _top_level(name: str, found: object) -> str:
    if isinstance(found, dict):
        return f"[{name}]"
    return f"[[{name}]]" if isinstance(found, list) else name


def _not_a_table(name: str) -> str:
    near = difflib.get_close_matches(name, ENGINE_FILE, n=1)
    homes = _homes(name)
    if homes:
        return f"stands before any table; it belongs in {homes}"
    tables = ", ".join(ENGINE_FILE)
    sided = [path for path, _ in _all_tables(ENGINE_FILE) if path in {f"{s}.{name}" for s in SIDES}]
    if sided:
        return f"not a table by itself; write {' or '.join(f'[{path}]' for path in sided)}"
    if name == "inlet":
        near = ["intake"]
    hint = f"did you mean {near[0]}?" if near else f"the tables are {tables}"
    return f"not a table of an engine file; {hint}"


def _homes(key: str) -> str:
    return ", ".join(
        f"[{path}]" for path, table in _all_tables(ENGINE_FILE) if isinstance(table.get(key), Key)
    )


def _all_tables(table: Table, path: str = "") -> Iterator[tuple[str, Table]]:
    for name, rule in table.items():
        below = f"{path}.{name}" if path else name
        if isinstance(rule, dict):
            yield below, rule
            yield from _all_tables(rule, below)
        elif isinstance(rule, list):
            yield f"[{below}]", rule[0]


def _check_list(
    name: str, found: object, rule: Table, findings: Findings, ambient_Pa: float
) -> list[Values]:
    rows = found if isinstance(found, list) else [found]
    if not all(isinstance(row, dict) for row in rows):
        text = f"found {shown(found)}; expected tables headed [[{name}]]"
        findings.fault(f"[[{name}]]", text, name)
        return []
    checked = []
    for number, row in enumerate(rows, 1):
        title = row.get("name", row.get("label"))
        named = f' "{title}"' if isinstance(title, str) and 0 < len(title) <= 30 else ""
        place = _Place(f"[[{name}]] {number}{named}", name)
        values = _check_table(row, rule, place, findings, ambient_Pa)
        _mark(values, row, place.header)
        checked.append(values)
    return checked


def _mark(values: Values, found: object, header: str) -> None:
    """Where a row stands in the file, and which keys it has there, right or wrong."""
    values["place"] = header
    values["found"] = tuple(found) if isinstance(found, dict) else ()


def check_late(values: Values, findings: Findings) -> None:
    """Note what rows lack that no typical part of their name has given them."""
    for table in ("pipe", "chamber", "throttle"):
        rule, rows = ENGINE_FILE[table], values.get(table, [])
        keys = rule[0] if isinstance(rule, list) else rule
        assert isinstance(keys, dict)
        late = {key: k for key, k in keys.items() if isinstance(k, Key) and k.late}
        for row in rows if isinstance(rows, list) else [rows]:
            to_come = ("diameter", "volume") if row.get("typical") else ()
            for key in [k for k in late if k not in (*row["found"], *row, *to_come)]:
                text = f"missing; {_missing(key, late[key])}"
                findings.fault(f"{row['place']} {key}", text, table)


def _check_table(
    found: object, rule: Table, place: _Place, findings: Findings, ambient_Pa: float
) -> Values:
    if not isinstance(found, dict):
        text = f"found {shown(found)}; expected a table headed {place.header}"
        findings.fault(place.shown(), text, place.path)
        return {}
    values: Values = {}
    for key, item in found.items():
        inner = rule.get(key)
        if inner is None:
            findings.fault(place.shown(key), _unknown(key, rule, place), place.path)
        elif isinstance(inner, Key):
            value = _check_value(item, inner, place, key, findings, ambient_Pa)
            if value is not None:
                values[key] = value
        elif isinstance(inner, dict):
            below = _below(place, key)
            values[key] = _check_table(item, inner, below, findings, ambient_Pa)
    for key, inner in rule.items():
        if isinstance(inner, Key) and inner.required and key not in found:
            findings.fault(place.shown(key), f"missing; {_missing(key, inner)}", place.path)
    return values


def _below(place: _Place, key: str) -> _Place:
    path = f"{place.path}.{key}"
    if place.header.startswith("[["):
        return _Place(place.header, path, f"{place.prefix}{key}.")
    return _Place(f"[{path}]", path)


def _unknown(key: str, rule: Table, place: _Place) -> str:
    near = nearest_name(key, rule, 0.6)
    start = f"not a key of {place.header.split(' ')[0]}"
    if near:
        return f"{start}; did you mean {near}?"
    homes = _homes(key)
    if homes:
        return f"{start}; it belongs in {homes}"
    return f"{start}; its keys are {', '.join(rule)}"


def _check_value(
    found: object, rule: Key, place: _Place, key: str, findings: Findings, ambient_Pa: float
) -> Any:
    is_list = isinstance(found, list)
    if is_list and rule.many == "one" and rule.kind not in ("firing order", "cylinders"):
        text = f"found a list; expected one value, {wanted(rule)}"
        findings.fault(place.shown(key), text, place.path)
        return None
    if rule.many == "list" and not is_list:
        text = f"found {shown(found)}; expected a list in [ ], each {wanted(rule)}"
        findings.fault(place.shown(key), text, place.path)
        return None
    if not isinstance(found, list) or rule.kind in ("firing order", "cylinders"):
        return _check_one(found, rule, place, key, findings, ambient_Pa)
    if not found:
        findings.fault(place.shown(key), "found an empty list", place.path)
        return None
    items = [
        _check_one(item, rule, place, f"{key}, value {n}", findings, ambient_Pa)
        for n, item in enumerate(found, 1)
    ]
    return None if any(item is None for item in items) else items


def check_value(found: object, rule: Key, findings: Findings) -> Any:
    """One value held against its rule alone: SI, or None with the fault noted."""
    return _check_value(found, rule, _Place("", ""), "", findings, STANDARD_AMBIENT_PA)


def _check_one(
    found: object, rule: Key, place: _Place, key: str, findings: Findings, ambient_Pa: float
) -> Any:
    """One value in SI within its range, or None after noting the fault."""
    try:
        value = read_value(found, rule, ambient_Pa)
    except QuantityError as error:
        likely = _likely(found, rule)
        text = f"{error}{likely}"
        if likely and isinstance(error, MissingUnitError):
            text = f"{error.found}{likely}"
        findings.fault(place.shown(key), text, place.path)
        return None
    if rule.refuse is None:
        return value
    number = from_si(value, rule.kind, rule.unit) if rule.unit else value
    if _outside(number, rule.refuse):
        text = (
            f"found {shown(found)}; expected {span_text(rule.refuse, rule)}{_likely(found, rule)}"
        )
        findings.fault(place.shown(key), text, place.path)
        return None
    if rule.ask is not None and _outside(number, rule.ask) and not _is_plain_zero(rule, number):
        slip = f" {rule.slip[0].upper()}{rule.slip[1:]}" if rule.slip else ""
        text = f"{_bare(found)} is outside the usual {span_text(rule.ask, rule)}.{slip}"
        findings.ask(place.shown(key), text)
    return value


def _is_plain_zero(rule: Key, number: float) -> bool:
    return number == 0 and "0 is" in rule.slip


def _outside(number: float, span: tuple[float, float]) -> bool:
    slack = 1e-9 * max(abs(span[0]), abs(span[1]))
    return not span[0] - slack <= number <= span[1] + slack


def _bare(found: object) -> str:
    return found.strip() if isinstance(found, str) else str(found)


def _missing(key: str, rule: Key) -> str:
    if rule.kind in EXAMPLES and rule.many == "one":
        return f'write {key} = "{EXAMPLES[rule.kind]}" with your own value'
    return f"expected {wanted(rule)}"


def _likely(found: object, rule: Key) -> str:
    """A guess at what was meant, as a question; empty if there is none."""
    if isinstance(found, bool) or not isinstance(found, int | float | str):
        return ""
    try:
        parted = split_number(found) if isinstance(found, str) else (as_float(found), "")
    except QuantityError:
        return ""
    span = rule.ask or rule.refuse
    if parted is None or span is None or not math.isfinite(parted[0]):
        return ""
    number = parted[0]
    if rule.kind == "number":
        tries = [number / 10, number / 100]
        near = next((t for t in tries if not _outside(t, span)), None)
        return "" if near is None else f"; is that {near:g}?"
    if rule.kind == "length":
        return _likely_length(number, parted[1], rule, span)
    if not parted[1] and len(UNITS.get(rule.kind, ())) and not _outside(number, span):
        return f'; is that {number:g} {rule.unit}? Write "{number:g} {rule.unit}"'
    return ""


def _likely_length(number: float, spelled: str, rule: Key, span: tuple[float, float]) -> str:
    for unit in (rule.unit, *_LENGTH_SLIPS):
        meant = from_si(number * UNITS["length"][unit], "length", rule.unit)
        if unit != spelled and not _outside(meant, span):
            also = "" if unit == rule.unit else f" ({meant:.3g} {rule.unit})"
            return f'; is that {number:g} {unit}{also}? Write "{number:g} {unit}"'
    return ""

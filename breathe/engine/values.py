"""One value of an engine file, of any kind a key may have, into SI."""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Iterable
from typing import Any

from breathe.engine.events import read_crank_point
from breathe.engine.keys import Key
from breathe.engine.quantities import (
    UNITS,
    QuantityError,
    read_quantity,
    shown,
    split_number,
)

_CODES = {"\b": r"\b", "\t": r"\t", "\n": r"\n", "\f": r"\f", "\r": r"\r"}
"""What TOML makes of a backslash before these letters, and what was typed."""


def read_value(found: object, rule: Key, ambient_Pa: float) -> Any:
    if rule.kind in UNITS:
        return read_quantity(found, rule.kind, ambient_Pa=ambient_Pa)
    if rule.kind == "number":
        return _number(found, rule)
    if rule.kind == "whole":
        return _whole(found, rule)
    if rule.kind == "switch":
        return _switch(found, rule)
    if rule.kind == "point":
        return read_crank_point(found)
    if rule.kind == "firing order":
        return _firing_order(found)
    if rule.kind == "cylinders":
        return _cylinders(found)
    if not isinstance(found, str) or not found.strip():
        raise QuantityError(f"found {shown(found)}; expected {wanted(rule)}")
    if rule.kind == "file":
        return _file_name(found)
    text = " ".join(found.split())
    if rule.kind == "choice" and text not in rule.choices:
        near = nearest_name(text, rule.choices, 0.5)
        hint = f'; did you mean "{near}"?' if near else f"; expected {wanted(rule)}"
        raise QuantityError(f"found {shown(found)}{hint}")
    return text


def _file_name(found: str) -> str:
    """A path as it stands, unless a backslash in it was read as the start of a code."""
    if not found.isprintable():
        path = "".join(_CODES.get(c, c) for c in found)
        hint = ""
        if path.isprintable():
            hint = f": \"{path.replace(chr(92), '/')}\" or '{path}'"
        raise QuantityError(
            f"found {found!r}; in double quotes a backslash starts a code, such as \\r. Write "
            f"forward slashes, or single quotes{hint}"
        )
    return found.strip()


def _number(found: object, rule: Key) -> float:
    value = found
    if isinstance(found, str):
        parted = split_number(found)
        value = parted[0] if parted and parted[1] in ("", ":1", ": 1") else found
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise QuantityError(f"found {shown(found)}; expected {wanted(rule)}")
    if not math.isfinite(as_float(value)):
        raise QuantityError(f"found {shown(found)}; expected {wanted(rule)}")
    return as_float(value)


def as_float(value: int | float) -> float:
    try:
        return float(value)
    except OverflowError:
        return math.inf


def _whole(found: object, rule: Key) -> int:
    if isinstance(found, bool) or not isinstance(found, int):
        raise QuantityError(f"found {shown(found)}; expected {wanted(rule)}")
    return found


def _switch(found: object, rule: Key) -> bool:
    if not isinstance(found, bool):
        raise QuantityError(f"found {shown(found)}; expected {wanted(rule)}")
    return found


def _firing_order(found: object) -> list[int]:
    items = re.split(r"[-\s,]+", found.strip()) if isinstance(found, str) else found
    if isinstance(items, list) and items and all(_is_cylinder(item) for item in items):
        return [int(item) for item in items]
    raise QuantityError(f'found {shown(found)}; expected cylinder numbers such as "1-3-4-2"')


def _cylinders(found: object) -> str | list[int]:
    if found == "cylinder":
        return "cylinder"
    if isinstance(found, list) and found and all(_is_cylinder(item) for item in found):
        return [int(item) for item in found]
    raise QuantityError(
        f'found {shown(found)}; expected "cylinder" (one for each) or a list such as [1, 4]'
    )


def _is_cylinder(item: object) -> bool:
    if isinstance(item, str):
        return bool(re.fullmatch(r"[0-9]{1,2}", item))
    return isinstance(item, int) and not isinstance(item, bool) and 0 <= item < 100


def wanted(rule: Key) -> str:
    """What a key expects, for messages."""
    if rule.kind == "choice":
        return "one of " + ", ".join(f'"{c}"' for c in rule.choices)
    if rule.kind in ("number", "whole") and rule.refuse:
        kind = "a whole number" if rule.kind == "whole" else "a number"
        return f"{kind} from {span_text(rule.refuse, rule)}"
    if rule.kind in UNITS and rule.refuse:
        return f"{span_text(rule.refuse, rule)} with its unit"
    if rule.kind == "point":
        return 'crank degrees from a dead centre, such as "22 BTDC"'
    plain = {
        "text": "text in quotes",
        "file": "a file's name in quotes",
        "switch": "true or false, without quotes",
    }
    return plain.get(rule.kind, f"a value of kind {rule.kind}")


def nearest_name(word: str, names: Iterable[str], cutoff: float) -> str | None:
    """The name that begins with ``word``, or else the most alike; letter case does not count."""
    by_small = {name.lower(): name for name in names}
    begins = [small for small in by_small if small.startswith(word.lower())]
    near = begins or difflib.get_close_matches(word.lower(), by_small, n=1, cutoff=cutoff)
    return by_small[near[0]] if near else None


def span_text(span: tuple[float, float], rule: Key) -> str:
    return f"{span[0]:g} to {span[1]:g} {rule.unit}".rstrip()

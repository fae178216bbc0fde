"""Lines of an engine file as `breathe new` writes them."""

from __future__ import annotations

from typing import Any

WIDTH = 30
"""Column at which a line's remark starts."""


def toml(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int | float):
        return str(value)
    if isinstance(value, list):
        return f"[{', '.join(toml(v) for v in value)}]"
    text = str(value).replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c.isprintable() else " " for c in text) + '"'


def remarked(line: str, remark: str) -> str:
    """A line with a remark behind it, if there is one."""
    return f"{line.ljust(WIDTH)}  # {remark}" if remark else line

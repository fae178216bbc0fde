"""A short name for everything that decides a number, so that equal inputs are known again."""

from __future__ import annotations

import hashlib
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np

from breathe.engine.parts import Engine

_TOLD_NOT_USED = {
    "assumed", "questions", "notes", "cards", "source_file", "settings", "standard", "name",
    "made_from", "mechanics",
}  # fmt: skip


def fingerprint(*things: Any) -> str:
    """Hash of dataclasses, arrays, numbers and words by content, 16 hexadecimal digits.

    What an `Engine` only tells the user (its name, what was assumed) does not count, nor do its
    mechanics, which no cycle knows: two engines that compute alike are alike.
    """
    digest = hashlib.sha256()
    for thing in things:
        _feed(digest, thing)
    return digest.hexdigest()[:16]


def _feed(digest: Any, thing: Any) -> None:
    if isinstance(thing, np.ndarray):
        digest.update(np.ascontiguousarray(thing).tobytes())
    elif is_dataclass(thing) and not isinstance(thing, type):
        digest.update(type(thing).__name__.encode())
        for field in fields(thing):
            if not (isinstance(thing, Engine) or field.name == "made_from") or (
                field.name not in _TOLD_NOT_USED
            ):
                digest.update(field.name.encode())
                _feed(digest, getattr(thing, field.name))
    elif isinstance(thing, tuple | list):
        digest.update(str(len(thing)).encode())
        for item in thing:
            _feed(digest, item)
    else:
        digest.update(repr(thing).encode())
    digest.update(b";")

"""Which valve duration suits which engine speed and load.

>>> import breathe                                              # doctest: +SKIP
>>> engine = breathe.read_engine("engines/single_400.toml")     # doctest: +SKIP
>>> breathe.compare(engine, [3000, 6000]).table                 # doctest: +SKIP

Names load on first use, so that importing the package costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from breathe.version import VERSION as __version__

if TYPE_CHECKING:
    from breathe.engine.read import read_engine
    from breathe.study.compare import compare, trace

_WHERE = {
    "read_engine": "breathe.engine.read",
    "compare": "breathe.study.compare",
    "trace": "breathe.study.compare",
}

__all__ = ["__version__", "compare", "read_engine", "trace"]


def __getattr__(name: str) -> Any:
    if name not in _WHERE:
        raise AttributeError(f"module 'breathe' has no attribute {name!r}")
    return getattr(import_module(_WHERE[name]), name)

"""Which valve duration suits which engine speed and load.

>>> import breathe                                              # doctest: +SKIP
>>> engine = breathe.read_engine("engines/single_400.toml")     # doctest: +SKIP
>>> breathe.compare(engine, [3000, 6000]).table                 # doctest: +SKIP
>>> breathe.trace(engine, "260°", 6000).trace                   # doctest: +SKIP

What the user can put right is raised as `breathe.BreatheError`. Names load on first use, so that
importing the package costs nothing.
"""

from __future__ import annotations

import importlib as _importlib
import typing as _typing

from breathe.errors import BreatheError
from breathe.version import VERSION as __version__

if _typing.TYPE_CHECKING:
    from breathe.engine.read import read_engine
    from breathe.study.checks.check import check
    from breathe.study.compare import compare, trace
    from breathe.study.search.best import best
    from breathe.study.search.reach import reach

_WHERE = {
    "best": "breathe.study.search.best",
    "reach": "breathe.study.search.reach",
    "read_engine": "breathe.engine.read",
    "check": "breathe.study.checks.check",
    "compare": "breathe.study.compare",
    "trace": "breathe.study.compare",
}

__all__ = [
    "BreatheError",
    "__version__",
    "best",
    "check",
    "compare",
    "reach",
    "read_engine",
    "trace",
]


def __getattr__(name: str) -> _typing.Any:
    if name not in _WHERE:
        raise AttributeError(f"module 'breathe' has no attribute {name!r}")
    return getattr(_importlib.import_module(_WHERE[name]), name)


def __dir__() -> list[str]:
    return sorted(__all__)

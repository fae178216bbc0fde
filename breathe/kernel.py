"""The one decorator for compiled functions, and the folder their machine code is kept in.

A compiled function remembers only its own file, not the kernels it calls, so a change elsewhere
would go on giving old numbers. The cache folder is therefore named by the program's version and a
hash of every kernel source: any change starts a fresh one.
"""

from __future__ import annotations

import hashlib
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar, cast

from breathe.version import VERSION

Function = TypeVar("Function", bound=Callable[..., Any])

ROOMS = ("gas", "cycle", "valvetrain")


def source_hash(package: Path) -> str:
    """Hash of this file and all kernel sources below ``package``, 12 hexadecimal digits."""
    digest = hashlib.sha256()
    for file in package.glob("kernel.py"):
        digest.update(file.read_bytes())
    for room in ROOMS:
        for path in sorted((package / room).glob("*.py")):
            digest.update(path.name.encode())
            digest.update(path.read_bytes())
    return digest.hexdigest()[:12]


PROGRAM_HASH = source_hash(Path(__file__).parent)
"""Of the sources of this process: what computes its numbers."""


def user_cache() -> Path:
    """The user's own cache folder, by the custom of each system."""
    if sys.platform == "win32":
        base = os.environ.get("LOCALAPPDATA") or str(Path.home() / "AppData" / "Local")
    elif sys.platform == "darwin":
        base = str(Path.home() / "Library" / "Caches")
    else:
        base = os.environ.get("XDG_CACHE_HOME") or str(Path.home() / ".cache")
    return Path(base) / "breathe"


def cache_folder() -> Path:
    """Where compiled kernels of exactly this source are kept."""
    return user_cache() / f"{VERSION}-{PROGRAM_HASH}"


def is_compiled() -> bool:
    """Whether an earlier run left compiled kernels for this source."""
    folder = Path(os.environ.get("NUMBA_CACHE_DIR") or cache_folder())
    return any(folder.rglob("march*.nbc"))


def _usable(folder: Path) -> bool:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        probe = folder / f"probe-{os.getpid()}"
        probe.write_bytes(b"")
        probe.unlink()
    except OSError:
        return False
    return True


if "NUMBA_CACHE_DIR" not in os.environ:
    _folder = cache_folder()
    if _usable(_folder):
        os.environ["NUMBA_CACHE_DIR"] = str(_folder)

try:
    import numba
    from numba.core.options import DefaultOptions
except (ImportError, OSError) as error:  # a missing C++ runtime shows as OSError on Windows
    raise SystemExit(
        f"breathe needs numba, which does not load here: {error}\n"
        "Install it with: python -m pip install numba. On Windows also install the "
        "'Visual C++ 2015-2022 runtime' if it is missing."
    ) from None

_CACHE = _usable(Path(os.environ.get("NUMBA_CACHE_DIR", "")))


# Arrays are borrowed from the caller: counting every array of a named tuple in and out at each call
# costs as much as the physics of a small engine. The switch is numba's own but not documented, so
# its absence must do no harm. Said both ways, since a callee would otherwise do as its caller.
_COUNTS = hasattr(DefaultOptions, "_nrt")
_BORROW: dict[str, bool] = {"_nrt": False} if _COUNTS else {}
_OWN: dict[str, bool] = {"_nrt": True} if _COUNTS else {}


def _compiled(function: Function, **options: Any) -> Function:
    # Division follows numpy (no exception), as loops with a raising division do not vectorise.
    options |= {"nogil": True, "no_cfunc_wrapper": True, "error_model": "numpy"}
    return cast(Function, numba.njit(cache=_CACHE, **options)(function))


def kernel(function: Function) -> Function:
    """Compile ``function`` on first call; keep the code on disk; let other threads run meanwhile.

    It may make no arrays, only write into those it is given.
    """
    return _compiled(function, **_BORROW)


def inner(function: Function) -> Function:
    """A `kernel` that only other kernels call: with many arrays its entry from Python takes longer
    to compile than the function itself, and is left out."""
    return _compiled(function, no_cpython_wrapper=True, **_BORROW)


def inlined(function: Function) -> Function:
    """A small `kernel` whose code is put into its callers, where a call would take as long as its
    work."""
    return _compiled(function, forceinline=True, **_BORROW)


def allocating(function: Function) -> Function:
    """A `kernel` that makes arrays of its own; only another one may call it for such an array."""
    return _compiled(function, **_OWN)

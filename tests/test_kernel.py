"""Compiled code must never outlive the source it came from."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from breathe import kernel

PACKAGE = Path(kernel.__file__).parent
SOURCES = sorted(
    p.relative_to(PACKAGE) for room in kernel.ROOMS for p in (PACKAGE / room).glob("*.py")
)


@pytest.mark.parametrize("changed", SOURCES, ids=str)
def test_a_change_of_any_kernel_source_starts_a_new_cache(changed: Path, tmp_path: Path) -> None:
    for room in kernel.ROOMS:
        shutil.copytree(PACKAGE / room, tmp_path / room, ignore=shutil.ignore_patterns("*.pyc"))
    before = kernel.source_hash(tmp_path)
    with (tmp_path / changed).open("a", encoding="utf-8") as file:
        file.write("# changed\n")
    assert kernel.source_hash(tmp_path) != before


def test_every_kernel_stands_in_a_room_that_counts() -> None:
    users = {
        p.relative_to(PACKAGE).parts[0]
        for p in PACKAGE.rglob("*.py")
        if re.search(r"import [\w, ]*\bkernel$", p.read_text(encoding="utf-8"), re.MULTILINE)
        and p.parent != PACKAGE
    }
    assert users <= set(kernel.ROOMS)


def test_cache_folder_is_named_by_version_and_source() -> None:
    assert kernel.cache_folder().name == f"{kernel.VERSION}-{kernel.PROGRAM_HASH}"

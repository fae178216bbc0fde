"""Write the files of maps that belong together, prove them together, and print their page."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np

from breathe.commands.control_facts import file_facts
from breathe.errors import BreatheError
from breathe.run import Run
from breathe.study.control.answer import Control
from breathe.study.control.joint_answer import JointControl
from breathe.study.control.map_file import (
    Proof,
    Table,
    csv_text,
    json_lines,
    map_content,
    prove,
    read_back,
    write_map,
)
from breathe.view.console import Item, Piece

_SHARED = ("engine", "data", "made_by", "date", "air_ratio", "cautions", "stands_deg_crank")
"""Facts that are the same for all maps of a file, and stand there once."""


def print_joint(run: Run, typed: dict[str, Any], names: tuple[str, ...]) -> None:
    """Write what is to be written, then print the page."""
    from breathe.commands.searching import print_answer

    told: list[Piece] = []
    if typed["write"]:
        found = JointControl.from_json(run.answer() or "")
        told = [Item(text) for path in typed["write"] for text in written(found, run, path, typed)]
    print_answer(run, typed["units"], csv=typed["csv"], names=names, told=told)


def csv_paths(path: Path, actuators: tuple[str, ...]) -> list[Path]:
    """A file for each actuator: its name stands before the ending."""
    return [path.with_name(f"{path.stem}_{one.replace(' ', '_')}{path.suffix}")
            for one in actuators]  # fmt: skip


def all_paths(paths: tuple[Path, ...], actuators: tuple[str, ...]) -> tuple[Path, ...]:
    """Every file that will be written."""
    found: list[Path] = []
    for path in paths:
        found += csv_paths(path, actuators) if path.suffix.lower() == ".csv" else [path]
    return tuple(found)


def written(found: JointControl, run: Run, path: Path, typed: dict[str, Any]) -> list[str]:
    """Write one file, or one for each actuator; read back from the disk and proved together.

    Raises
    ------
    BreatheError
        It cannot be written, does not come back as it was, or a look-up of any map leaves the
        range in which every place of one clears with every place of the others. All are taken
        away again then.
    """
    parts = [found.control(name) for name in found.actuators]
    is_csv = path.suffix.lower() == ".csv"
    paths = csv_paths(path, found.actuators) if is_csv else [path]
    texts = _csv_texts(parts, typed) if is_csv else [_json_text(found, parts, run, typed)]
    for one, text in zip(paths, texts, strict=True):
        write_map(one, text, replace=typed["overwrite"])
    back = _back(parts, [one.read_text(encoding="utf-8") for one in paths], typed)
    proofs = [_proof(part, table) for part, table in zip(parts, back, strict=True)]
    same = all(
        table.values.shape == part.table().values.shape
        and np.allclose(table.values, part.table().values, atol=1e-6)
        for part, table in zip(parts, back, strict=True)
    )
    if not (same and all(proof.holds for proof in proofs)):
        for one in paths:
            one.unlink(missing_ok=True)
        raise BreatheError(
            f"{' and '.join(map(str, paths))}: taken away again: read back, "
            + (_ranges(found, proofs) if same else "not what was written")
        )
    return [_told(found, paths, typed, proofs)]


def _csv_texts(parts: list[Control], typed: dict[str, Any]) -> list[str]:
    comma = typed["decimal_comma"]
    return [csv_text(part.table(), typed["rows"], decimal_comma=comma) for part in parts]


def _json_text(found: JointControl, parts: list[Control], run: Run, typed: dict[str, Any]) -> str:
    """All maps, with what belongs to all of them once."""
    maps, shared = [], {}
    for part in parts:
        table = part.table()
        facts = file_facts(part, run, table, _proof(part, table), typed["rows"])
        shared = {name: facts[name] for name in _SHARED}
        own = {name: value for name, value in facts.items() if name not in _SHARED}
        maps.append(map_content(table, own, typed["rows"]))
    content = {
        "what": "control maps of cam actuators that belong together",
        "together": {
            "actuators": list(found.actuators),
            "use": "run all of these maps at once; none holds without the others",
            "ranges": "every place inside the safe_range of one map was checked with every place "
            "inside those of the others, for the clearances each map names"
            if parts[0].facts["clear"]["checked"]
            else "travel alone: clearance NOT CHECKED",
        },
        **shared,
        "maps": maps,
    }
    return json_lines(content)


def _back(parts: list[Control], texts: list[str], typed: dict[str, Any]) -> list[Table]:
    """The tables as they stand in the files."""
    if texts[0].lstrip().startswith("{"):
        maps = json.loads(texts[0])["maps"]
        return [
            read_back(json.dumps(one), part.table()) for one, part in zip(maps, parts, strict=True)
        ]
    return [
        read_back(text, part.table(), decimal_comma=typed["decimal_comma"])
        for text, part in zip(texts, parts, strict=True)
    ]


def _proof(part: Control, table: Table) -> Proof:
    safe = sorted(part.facts["safe"])
    low, high = part.table("low").values, part.table("high").values
    return prove(table, (safe[0], safe[1]), low, high)


def _ranges(found: JointControl, proofs: list[Proof]) -> str:
    words = []
    for name, proof in zip(found.actuators, proofs, strict=True):
        facts = found.facts["tables"][name]
        low, high = proof.output_limits(facts["step"])  # as the file has them
        words.append(
            f"{name} {proof.lowest:g} to {proof.highest:g}, safe {low:g} to {high:g} "
            f"{facts['shown']['unit']}"
        )
    return "; ".join(words)


def _told(
    found: JointControl, paths: list[Path], typed: dict[str, Any], proofs: list[Proof]
) -> str:
    """What was written, and what the proof of it found."""
    loads, speeds = found.control(found.actuators[0]).table().values.shape
    checked = found.facts["tables"][found.actuators[0]]["clear"]["checked"]
    clears = (
        "ranges in which every place of one clears with every place of the other"
        if checked
        else "travel (clearance NOT CHECKED)"
    )
    told = (
        f"Written: {' and '.join(map(str, paths))} ({typed['rows']}, {loads} loads x {speeds} "
        f"speeds). Read back and looked up together at {proofs[0].looked_up} places, beyond the "
        f"edges too and in whole steps rounded down, to the nearest and up; all within the {clears}"
        f": {_ranges(found, proofs)}. Outside the axes: hold the edge."
    )
    limits = [
        f"{name} {low:g} and {high:g}"
        for name, proof in zip(found.actuators, proofs, strict=True)
        if proof.needs_output_limits
        for low, high in [proof.output_limits(found.facts["tables"][name]["step"])]
    ]
    if limits:
        told += (
            " A controller that rounds the products of its four cells one by one could leave "
            f"them: set its output limits to {'; '.join(limits)}."
        )
    return told

"""Damaged lift sheets: never a trace, never a silent wrong answer.

A damaged copy is *right* if its durations are those of the good sheet, *noted* if anything was told
of it that is not told of the good sheet (a row put right or left out, a gap, a repeat, a question),
*refused* with one line, or *misread*: other durations and not a word.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest

from breathe.engine.cams import lobe_width
from breathe.measured.lift_file import Asked
from breathe.measured.lobe import MeasuredLobe, measured_lobe
from breathe.measured.sheet import SheetError
from breathe.study.lobe import lobe_figures
from tests.measured.damage import Variant, labelled
from tests.measured.lift_samples import bench_notes, bench_sheet, european_sheet, several_lobes

SAMPLES = Path(__file__).parent / "samples"
GOOD = {
    "F1": (european_sheet(), Asked()),
    "F2": (bench_notes(), Asked()),
    "F3": (several_lobes(), Asked(side="intake")),
    "S3": (bench_sheet(), Asked(ordered_deg=264)),
}
NO_LOBE = [
    "f1_lift.csv",
    "f2_bench_notes.csv",
    "f3_lobes.txt",
    "f4_flow.txt",
    "f6_dyno.csv",
    "f7_dyno.csv",
    "f8_map.csv",
]
WITHIN_DEG = (1.0, 0.5, 0.5)
"""Crank degrees at 0.1, 1.0 and 1.27 mm that count as the same."""
FEW, MANY = 54, 500


def durations(lobe: MeasuredLobe) -> list[float]:
    return [lobe_width(lobe.lobe, height) for height in (0.1e-3, 1.0e-3, 1.27e-3)]


def told(lobe: MeasuredLobe) -> set[str]:
    """What a user reads of rows, gaps, repeats and questions; figures that always vary left out."""
    readings = lobe.readings
    varying = ("opened span", "greatest readings", "encoding", "columns", "decimal", "row ")
    lines = [u for u in readings.understood if not any(word in u for word in varying)]
    return {*lines, *lobe.questions, *(f"{note.done}: {note.why}" for note in readings.row_notes)}


def outcome(variant: Variant, good: MeasuredLobe, asked: Asked, path: Path) -> str:
    path.write_bytes(variant.data)
    try:
        found = measured_lobe(path, asked)
    except SheetError as error:
        assert "\n" not in str(error) and str(error).startswith(path.name)
        return "refused"
    figures = lobe_figures(found)
    noted = "noted" if told(found) - told(good) else "silent"
    off = [abs(a - b) for a, b in zip(durations(found), durations(good), strict=True)]
    if all(a <= within for a, within in zip(off, WITHIN_DEG, strict=True)):
        return f"right, {noted}"
    doubts = [one.duration.doubt for one in figures.heights]
    if all(a <= doubt for a, doubt in zip(off, doubts, strict=True)):
        return f"right within its doubt, {noted}"
    return "off, noted" if noted == "noted" else "misread"


def count(name: str, variants: int, path: Path) -> Counter[str]:
    text, asked = GOOD[name]
    path.write_text(text, encoding="utf-8")
    good = measured_lobe(path, asked)
    seen: Counter[str] = Counter()
    for variant in labelled(text.encode(), variants):
        result = outcome(variant, good, asked, path)
        assert result != "misread", (variant.kind, variant.data[:2000])
        seen[result] += 1
    return seen


@pytest.mark.parametrize("name", GOOD)
def test_damaged_lobes(name, tmp_path):
    seen = count(name, FEW, tmp_path / "lobe.csv")
    assert seen["right, silent"] + seen["right, noted"] > FEW / 3


@pytest.mark.slow
@pytest.mark.parametrize("name", GOOD)
def test_many_damaged_lobes(name, tmp_path):
    seen = count(name, MANY, tmp_path / "lobe.csv")
    print(name, dict(seen))
    assert sum(seen.values()) == MANY
    assert seen["right, silent"] + seen["right, noted"] > MANY / 2
    assert seen["off, noted"] < MANY / 25


@pytest.mark.parametrize("name", NO_LOBE)
def test_damage_never_makes_a_lobe_of_what_is_none(name, tmp_path):
    path = tmp_path / "lobe.csv"
    for variant in labelled((SAMPLES / name).read_bytes(), MANY):
        path.write_bytes(variant.data)
        with pytest.raises(SheetError):
            measured_lobe(path)


def test_the_check_can_fail(tmp_path):
    """A reader that believed every figure would be caught: a lobe shrunk by 3 %."""
    path = tmp_path / "lobe.csv"
    text, asked = GOOD["F3"]
    path.write_text(text, encoding="utf-8")
    good = measured_lobe(path, asked)
    lines = text.splitlines()
    wider = [
        f"{int(line.split(chr(9))[0]) * 0.97:g}\t" + line.split("\t", 1)[1] for line in lines[1:]
    ]
    silent = Variant(
        kind="stretched",
        data="\n".join([lines[0], *wider]).encode(),
        intact=frozenset(),
        whole=False,
    )
    assert outcome(silent, good, asked, path) == "misread"

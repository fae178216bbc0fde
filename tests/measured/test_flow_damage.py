"""A damaged flow sheet gives its figures or a refusal: never other figures without a word.

How "other figures" is told. The generator says which lines of the good sheet still hold all their
figures. So for every result:

- where only the writing changed, its rows are those of the good sheet, and what is missing is named
  as dropped;
- what it repeats back (test pressure, air, valves) is that of the good sheet, or the lines that say
  so were hurt; and with that the same, no more rows are wrong than lines of figures were hurt, and
  no good line is missing unless a hurt one now has its lift and both are named. Where the names
  themselves were hurt, more may be wrong, but not without a question.

What is left is a slip within one line that yields a likely figure, which nobody can see.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import pytest

from breathe.measured.flow_sheet import FlowSheet, read_flow_sheet
from breathe.measured.sheet import SheetError
from tests.measured.conftest import flow_workbook
from tests.measured.damage import Variant, labelled

CASES = [
    ("f4_flow.txt", "intake", 0.034, None),
    ("f4_flow.txt", "exhaust", 0.0295, None),
    ("kopf_25inch_l-s.csv", "intake", 0.034, 2),
    ("kopf_25inch_l-s.csv", "exhaust", 0.0295, 2),
]
THREE_DIGITS = """Kopf 3; beide Ventile, Prüfdruck 700 mmWS; Temp 22 °C
Hub;Serie;Einlass;Auslass;Aus/Ein
mm;l/s;l/s;l/s;%
1,250;14,112;15,237;12,520;82,2
2,500;27,900;29,850;24,260;81,3
5,000;52,405;56,125;45,310;80,7
7,500;72,318;79,440;61,905;77,9
10,000;88,015;94,010;70,225;74,7
"""
"""Three digits behind each comma: with points for commas, any figure may be thousands."""
CASES += [("kopf_3.csv", "intake", 0.034, None), ("kopf_3.csv", "exhaust", 0.0295, None)]
NO_FLOW = ["f1_lift.csv", "f2_bench_notes.csv", "f3_lobes.txt", "f6_dyno.csv", "f7_dyno.csv"]
NO_FLOW += ["f8_map.csv"]


@dataclass(frozen=True)
class Good:
    """The undamaged sheet."""

    by_line: dict[int, tuple[float, float]]
    """Line -> (lift, coefficient), rounded, of the rows it gives."""
    figures: frozenset[int]
    """Lines with figures, used or not."""
    words: frozenset[int]
    """The lines above."""
    said: tuple[float, float, int]


def row_values(sheet: FlowSheet) -> dict[int, tuple[float, float]]:
    return {r.number: (round(r.lift_m, 9), round(r.coefficient, 9)) for r in sheet.rows}


def said(sheet: FlowSheet) -> tuple[float, float, int]:
    return (sheet.test_pressure_Pa, sheet.density_kg_m3, sheet.valves)


def good_of(sheet: FlowSheet, lines: int) -> Good:
    by_line = row_values(sheet)
    return Good(
        by_line=by_line,
        figures=frozenset(range(min(by_line), lines + 1)),
        words=frozenset(range(1, min(by_line))),
        said=said(sheet),
    )


def verdict(variant: Variant, sheet: FlowSheet, good: Good) -> str:
    """What a result is worth; raises where it is silently wrong."""
    found = list(row_values(sheet).values())
    wrong = [row for row in found if row not in good.by_line.values()]
    missing = [n for n, row in good.by_line.items() if n in variant.intact and row not in found]
    context = f"{variant.kind}: {variant.data[:2000]!r}\n{sheet.notes} {sheet.questions}"
    named = sum(note.count("row ") for note in sheet.notes if note.startswith("dropped"))
    if variant.whole:
        assert not wrong and len(missing) <= named, context
        return "fewer rows, all right" if missing else "right"
    if said(sheet) != good.said:
        # A line of words was hurt, or the remark in a line of figures that names the valves.
        assert variant.intact < good.figures | good.words, context
        assert any("no temperature" in n or "valve" in n or "Pa" in n for n in sheet.notes), context
        return "on other words, said"
    hurt = good.figures - variant.intact
    if len(wrong) > len(hurt) and good.words - variant.intact:
        assert sheet.questions, context  # a name torn in two may shift the others
        return "names hurt, asked"
    merged = any("are one lift" in said for said in (*sheet.notes, *sheet.questions))
    assert len(wrong) <= len(hurt) and (not missing or merged), context
    asked = "asked" if sheet.questions else "not asked"
    if wrong:
        return f"a slip in a line, {asked}"
    return "right" if len(found) == len(good.by_line) else "fewer rows, all right"


@pytest.mark.parametrize(("name", "side", "head", "valves"), CASES)
def test_no_damage_gives_other_figures_silently(samples, written, name, side, head, valves):
    data = THREE_DIGITS.encode() if name == "kopf_3.csv" else (samples / name).read_bytes()
    named = {"side": side, "head_diameter_m": head, "valves": valves}
    good = good_of(read_flow_sheet(written(data, name), **named), data.count(b"\n"))
    tally: Counter[str] = Counter()
    for variant in labelled(data):
        try:
            sheet = read_flow_sheet(written(variant.data, name), **named)
        except SheetError as error:
            assert str(error).startswith(name) and "\n" not in str(error)
            tally["refused"] += 1
            continue
        tally[verdict(variant, sheet, good)] += 1
    print(name, side, dict(tally))
    assert sum(tally.values()) == 500
    assert tally["right"] > 200  # it is no feat to refuse everything


@pytest.mark.parametrize("name", NO_FLOW)
def test_damage_makes_no_flow_sheet_of_another(samples, written, name):
    for variant in labelled((samples / name).read_bytes()):
        with pytest.raises(SheetError) as refused:
            read_flow_sheet(written(variant.data, name), side="intake", head_diameter_m=0.034)
        assert str(refused.value).startswith(name) and "\n" not in str(refused.value)


def test_a_damaged_workbook_is_refused_or_right(written):
    """Cut, flipped or patched archives; a part altered inside and packed anew may hold anything."""
    named = {"side": "intake", "head_diameter_m": 0.034, "valves": 2}
    good = row_values(read_flow_sheet(written(flow_workbook(), "a.xlsx"), **named))
    tally: Counter[str] = Counter()
    for variant in labelled(flow_workbook()):
        try:
            sheet = read_flow_sheet(written(variant.data, "a.xlsx"), **named)
        except SheetError as error:
            assert str(error).startswith("a.xlsx") and "\n" not in str(error)
            tally["refused"] += 1
            continue
        if variant.kind != "part damaged":
            assert row_values(sheet) == good, variant.kind
        tally["right" if row_values(sheet) == good else "other"] += 1
    print("workbook", dict(tally))
    assert tally["right"] > 50

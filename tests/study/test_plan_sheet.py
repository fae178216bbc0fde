"""Plans as people write them: which key a column means, units, mixed units, rows refused."""

from __future__ import annotations

from pathlib import Path

import openpyxl
import pytest

from breathe.engine.open_file import load_toml
from breathe.study.plans.names import NameFault, Names
from breathe.study.plans.sheet import Plan, PlanError, drawn, read_plan

ENGINES = Path(__file__).parents[2] / "engines"
RAW = load_toml(ENGINES / "single_400.toml")


def plan_of(folder: Path, text: str) -> Plan:
    path = folder / "plan.csv"
    path.write_text(text, encoding="utf-8")
    return read_plan(path, RAW)


@pytest.mark.parametrize(
    ("typed", "path"),
    [
        ("engine.compression_ratio", ("engine", "compression_ratio")),
        ("CR", ("engine", "compression_ratio")),
        ("pipe.intake runner.length", ("pipe", "intake runner", "length")),
        ("Runner", ("pipe", "intake runner", "length")),
        ("runner diameter", ("pipe", "intake runner", "diameter")),
        ("primary", ("pipe", "header", "length")),
        ("airbox", ("chamber", "airbox", "volume")),
        ("duration", ("intake", "duration")),
        ("Inlet Duration", ("intake", "duration")),
        ("exhaust.cam.duration", ("exhaust", "cam", "duration")),
        ("centerline", ("intake", "centreline")),
        ("intake.cam.centreline", ("intake", "cam", "centreline")),
        ("bore", ("engine", "bore")),
        ("exhaust lift", ("exhaust", "cam", "lift")),
        ("rpm", ("speed",)),
        ("throttle", ("throttle",)),
        ("octane", ("fuel", "octane")),
        ("IVC", ("intake", "closes")),
        ("EVO", ("exhaust", "opens")),
        ("intake.cam.closes", ("intake", "cam", "closes")),
    ],
)
def test_names_people_type(typed: str, path: tuple[str, ...]) -> None:
    assert Names(RAW).find(typed).path == path


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ("runer", 'did you mean runner (of "intake runner")?'),
        ("compresion ratio", "did you mean compression ratio (engine.compression_ratio)?"),
        ("port", "may mean pipe.intake port.length or pipe.exhaust port.length"),
        ("lobe separation", "give intake and exhaust centreline: their mean is"),
        ("overlap", "or give IVO and EVC"),
        ("spark", "no key of the engine file"),
        ("flow lift", ""),
    ],
)
def test_an_unknown_name_tells_the_nearest(typed: str, told: str) -> None:
    with pytest.raises(NameFault) as fault:
        Names(RAW).find(typed)
    assert told in str(fault.value)


def test_all_unknown_columns_are_named_at_once(tmp_path: Path) -> None:
    with pytest.raises(PlanError) as fault:
        plan_of(tmp_path, "runer [mm],CR,compression,spark\n1,2,3,4\n")
    lines = str(fault.value).splitlines()
    assert lines[0] == "plan.csv: 3 faults in the row of names"
    assert lines[1].startswith('  column 1 "runer [mm]": ') and "did you mean runner" in lines[1]
    assert 'column 3 "compression": means the same as "CR"' in lines[2]
    assert 'column 4 "spark"' in lines[3]
    assert "lists all columns; the file's parts are snorkel, intake runner" in lines[4]


@pytest.mark.parametrize(
    ("header", "cell", "expected"),
    [
        ("runner [mm]", "250", "250 mm"),
        ("runner (in)", "10", "10 in"),
        ("runner_mm", "250", "250 mm"),
        ("runner", "250", "250 mm"),  # as the engine file writes it
        ("runner", "9.8 in", "9.8 in"),
        ("duration", "260", "260 deg crank"),
        ("duration [°]", "260", "260 deg crank"),
        ("duration [deg cam]", "130", "130 deg cam"),
        ("intake.cam.centreline", "104", "104 ATDC"),
        ("CR", "10.5:1", "10.5:1"),
        ("throttle", "50", "50 %"),
        ("barometer [mbar]", "990", "990 mbar"),
    ],
)
def test_units_in_header_or_cell(tmp_path: Path, header: str, cell: str, expected: str) -> None:
    plan = plan_of(tmp_path, f"{header},name\n{cell},a\n")
    assert plan.rows[0].given == {0: expected}
    assert plan.rows[0].faults == ()


def test_a_key_without_any_unit_is_asked_about(tmp_path: Path) -> None:
    with pytest.raises(PlanError, match=r"has no unit; write it .* such as rod_x|pin_offset"):
        plan_of(tmp_path, "engine.pin_offset,CR\n1,10\n")


def test_blank_cells_keep_and_decimal_commas_and_unit_rows_are_read(tmp_path: Path) -> None:
    plan = plan_of(tmp_path, "my plan\nrunner;CR;note\n[mm];-;\n250,5;;first\n;10,5;\n-;11;x\n")
    assert [dict(row.given) for row in plan.rows] == [{0: "250.5 mm"}, {1: 10.5}, {1: 11.0}]
    assert (plan.separator, plan.decimal) == (";", ",")
    assert any("row 1 is passed over: my plan" in text for text in plan.understood)
    assert 'column "note" is carried along, not used' in plan.understood


def test_units_mixed_in_a_column_list_the_row(tmp_path: Path) -> None:
    rows = "\n".join(["250", "300", "11.8 in", "350", "280", "12", "260"])
    plan = plan_of(tmp_path, f"runner [mm],CR\n{rows}\n".replace("\n", ",\n").replace("CR,", "CR"))
    assert any(
        "units mixed" in text and "row 4: 11.8 in = 299.72 mm" in text for text in plan.understood
    )
    # A bare 12 among 250 to 350 is an inch, most likely; nobody can know, so that row alone waits.
    assert [row.number for row in plan.refused] == [7]
    assert "is that in (304.8 mm)?" in plan.refused[0].faults[0]


def test_one_cell_in_cam_degrees_does_not_decide_for_its_column(tmp_path: Path) -> None:
    plan = plan_of(tmp_path, "duration,CR\n240,10\n250,10\n130 deg cam,10\n")
    assert [row.figures[0] for row in plan.rows] == [240, 250, 260]


def test_a_wide_but_honest_range_is_not_doubted(tmp_path: Path) -> None:
    text = "\n".join(f"{length},10" for length in range(100, 1000, 50))
    assert plan_of(tmp_path, f"runner [mm],CR\n{text}\n").refused == ()


def test_bad_cells_are_their_rows_alone(tmp_path: Path) -> None:
    plan = plan_of(tmp_path, "duration,CR\n250,10\n500,10\n250,ten\n250,10,9\n")
    told = {row.number: row.faults[0] for row in plan.refused}
    assert told[3] == 'duration: found "500 deg crank"; expected 120 to 420 deg crank'
    assert told[4].startswith('CR: found "ten"; expected a number from 4 to 25')
    assert told[5] == "3 cells for 2 columns; a comma too many?"
    assert not plan.rows[0].faults


def test_a_workbook_is_read_alike(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    for line in (("runner [mm]", "CR"), (250, 10.5), (None, 11)):
        book.active.append(line)
    book.save(tmp_path / "plan.xlsx")
    plan = read_plan(tmp_path / "plan.xlsx", RAW)
    assert [dict(row.given) for row in plan.rows] == [{0: "250 mm", 1: 10.5}, {1: 11.0}]


def test_a_workbook_with_a_format_far_away_is_read(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    for line in (("runner [mm]", "CR"), (250, 10.5), (260, 11)):
        book.active.append(line)
    for cell in (book.active.cell(120_000, 1), book.active.cell(3, 250)):
        cell.number_format = "0.00"
    book.save(tmp_path / "plan.xlsx")
    assert [row.number for row in read_plan(tmp_path / "plan.xlsx", RAW).rows] == [2, 3]


def test_rows_drawn_are_always_the_same(tmp_path: Path) -> None:
    plan = plan_of(tmp_path, "CR,bore [mm]\n" + "".join(f"{8 + n / 100},80\n" for n in range(400)))
    few = drawn(plan, 40)
    assert len(few.rows) == 40 and few == drawn(plan, 40) and drawn(plan, 4000) is plan
    numbers = [row.number for row in few.rows]
    assert numbers == sorted(numbers) and numbers[0] < 60 and numbers[-1] > 340


@pytest.mark.parametrize("text", ["1,2\n3,4\n", "runner [mm],CR\n", "name,note\na,b\n"])
def test_a_sheet_that_is_no_plan_is_refused(tmp_path: Path, text: str) -> None:
    with pytest.raises(PlanError):
        plan_of(tmp_path, text)


def test_a_centreline_as_the_engine_file_writes_it(tmp_path: Path) -> None:
    plan = plan_of(
        tmp_path, "duration,centreline\n240,104 ATDC\n240,104° ATDC\n240,104\n240,9 BTDC\n"
    )
    assert [row.given.get(1) for row in plan.rows[:3]] == ["104 deg crank"] * 3
    assert [row.number for row in plan.refused] == [5]  # 9 BTDC is no intake centreline
    for title in ("exhaust centreline (BTDC)", "exhaust centreline [deg BTDC]"):
        plan = plan_of(tmp_path, f"{title},CR\n108,10\n108 BTDC,11\n")
        assert [row.given[0] for row in plan.rows] == ["108 deg crank"] * 2
    with pytest.raises(PlanError, match='unit "BTDC" not known'):
        plan_of(tmp_path, "intake centreline (BTDC),CR\n108,10\n")


@pytest.mark.parametrize(
    "text",
    [
        "#,runner [mm],CR\n1,250,11\n2,260,12\n",
        "nr,runner [mm],CR\n#1,250,11\n#2,260,12\n",
        "nr,runner [mm],CR\n1,250,11\n# a remark, of two halves\n2,260,12\n",
        "nr,runner [mm],CR\n1,250,11\n2,260,12\nTotal,510,23\n",
        "nr;runner [mm];CR\n1;250;11\n2;260;12\n;;\nSum;510;23\nMean;255;11,5\n",
        "dinner,of,2026\nnr,runner [mm],CR\n1,250,11\n2,260,12\n",
    ],
)
def test_numbered_rows_remarks_and_sums(tmp_path: Path, text: str) -> None:
    plan = plan_of(tmp_path, text)
    assert [row.figures[1] for row in plan.rows] == [250, 260]
    told = " ".join(plan.understood)
    assert ("remark" in told) == ("remark" in text)
    assert ("adds up the others" in told) == ("Total" in text or "Sum" in text)


def test_a_formula_that_failed_is_its_row_alone(tmp_path: Path) -> None:
    plan = plan_of(tmp_path, "runner [mm],CR\n#N/A,11\n#DIV/0!,11\n=A2+10,11\nn/a,11\n")
    assert [row.number for row in plan.refused] == [2, 3, 4]
    assert "a formula that failed" in plan.rows[0].faults[0]
    assert "without its value" in plan.rows[2].faults[0]


def test_names_below_the_side_in_merged_cells(tmp_path: Path) -> None:
    text = "Dinner plan\n,Intake,,Exhaust,\n"
    text += "nr,duration,centreline,duration,centreline\n1,240,104,,108\n"
    plan = plan_of(tmp_path, text)
    assert [c.target.path for c in plan.columns if c.used] == [
        ("intake", "duration"),
        ("intake", "centreline"),
        ("exhaust", "duration"),
        ("exhaust", "centreline"),
    ]
    assert [text for text in plan.understood if "passed over" in text] == [
        "row 1 is passed over: Dinner plan"
    ]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("rpm,torque,power\n3000,100,31\n4000,110,46\n", "looks like a dyno pull"),
        ("angle,lift\n-60,0.1\n0,9\n60,0.1\n", "looks like a lift sheet"),
        ("lift in,in cfm,ex cfm\n.1,64,52\n.2,121,97\n", "looks like a flow sheet"),
        ("rpm/kPa,20,40,60\n1000,240,250,260\n2000,240,250,260\n", "rpm against load"),
        ((ENGINES / "single_400.toml").read_text(encoding="utf-8"), "This is an engine file"),
    ],
)
def test_the_wrong_sheet_is_told_for_what_it_is(tmp_path: Path, text: str, told: str) -> None:
    with pytest.raises(PlanError) as fault:
        plan_of(tmp_path, text)
    assert told in str(fault.value)

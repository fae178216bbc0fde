"""A flow sheet named in the engine file; its remarks and faults go with the file's own."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from breathe.measured.flow_sheet import read_flow_sheet

SAMPLES = Path(__file__).parents[1] / "measured" / "samples"
FLOW = '\n[intake.valve.flow]\nfile = "head.csv"\n'


@pytest.fixture
def with_sheet(tmp_path, sleeve_four):
    """The small engine with a flow sheet beside it."""

    def engine_text(sheet: str | Path, more: str = "") -> str:
        path = tmp_path / "head.csv"
        if isinstance(sheet, Path):
            shutil.copy(sheet, path)
        else:
            path.write_text(sheet, encoding="utf-8")
        return sleeve_four + FLOW + more

    return engine_text


def test_a_flow_sheet_beside_the_engine_file(read_text, with_sheet):
    engine = read_text(with_sheet(SAMPLES / "f4_flow.txt"))
    taken = engine.intake_valve.coefficients
    alone = read_flow_sheet(SAMPLES / "f4_flow.txt", side="intake", head_diameter_m=0.034)
    assert taken.forward == pytest.approx(alone.coefficients().forward)
    by_key = {one.key: one for one in engine.assumed}
    assert "intake.valve.flow" not in by_key
    assert "intake.valve.flow.file" not in by_key  # given, not assumed
    assert "intake head.csv: test pressure 28 inH2O = 6974 Pa, air 1.204 kg/m3" in "\n".join(
        engine.notes
    )
    assert all("; " not in note for note in engine.notes)  # one fact a line
    assert "intake.valve.flow.reverse_coefficient" in by_key
    assert "intake.valve.flow.bench_valves" not in by_key  # the sheet says both


def test_what_the_sheet_leaves_out_stands_in_the_engine_file(read_text, faults_of, with_sheet):
    sheet = "lift in;in cfm\n.1;64.1\n.2;121.8\n.3;171.5\n"
    assert faults_of(with_sheet(sheet))[0].startswith(
        "[intake.valve.flow] file: head.csv: no test pressure; was it 10, 25 or 28 inH2O?"
    )
    engine = read_text(with_sheet(sheet, 'bench_pressure = "28 inH2O"\n'))
    assert engine.intake_valve.coefficients.forward[0] * 0.9624 == pytest.approx(0.517, abs=5e-4)
    assumed = {one.key: one.value for one in engine.assumed}
    assert assumed["intake.valve.flow.bench_valves"] == "2"
    said = faults_of(with_sheet(sheet, 'bench_pressure = "28 inH2O"\nbench_valves = 1\n'))
    assert said[0].startswith(
        "[intake.valve.flow] file: head.csv, row 2: at lift 2.54 mm (0.100 in) the coefficient on "
        "curtain area is 1.03"
    )


def test_odd_rows_become_questions(read_text, with_sheet):
    sheet = "both valves, 28 inH2O\nlift in;in cfm\n.1;64.1\n.2;111.8\n.3;101.5\n.4;203\n"
    questions = read_text(with_sheet(sheet)).questions
    assert "the coefficient on curtain area is 0.27" in questions[0]
    assert questions[1].startswith(
        "[intake.valve.flow] file: head.csv: row 5 (lift 7.62 mm (0.300 in)): the flow does not fit"
    )


def test_a_sheet_and_figures_are_one_too_many(faults_of, with_sheet):
    found = faults_of(with_sheet(SAMPLES / "f4_flow.txt", "coefficient = [0.6]\n"))
    assert found == ['[intake.valve.flow] file: give "head.csv" or coefficient, not both']


@pytest.mark.parametrize("name", ["f1_lift.csv", "f6_dyno.csv", "f8_map.csv"])
def test_the_wrong_sheet_is_named(faults_of, with_sheet, name):
    assert "this looks like a" in faults_of(with_sheet(SAMPLES / name))[0]


def test_a_missing_sheet(faults_of, sleeve_four):
    assert faults_of(sleeve_four + FLOW) == [
        "[intake.valve.flow] file: head.csv: no such file in this folder"
    ]


ONE_VALVE = ('count = 2\nhead_diameter = "34 mm"', 'count = 1\nhead_diameter = "48 mm"')
BOTH = "28 inH2O\nlift in;in cfm;note\n.1;64.1;both valves\n.2;121.8\n.3;171.5\n.45;212.2\n"


def test_a_sheet_of_more_valves_than_the_engine_has(faults_of, read_text, with_sheet):
    said = faults_of(with_sheet(BOTH).replace(*ONE_VALVE))
    assert said == [
        "[intake.valve.flow] file: head.csv: row 3 says both valves, the engine has 1 per "
        "cylinder: another engine's sheet? bench_valves = 1 says otherwise"
    ]
    # One valve's curtain: 64.1 cfm over pi 48 x 2.54 mm2 and 107.8 m/s is 0.73 (by hand).
    own = read_text(with_sheet(BOTH, "bench_valves = 1\n").replace(*ONE_VALVE))
    assert own.intake_valve.coefficients.forward[0] * 0.9624 == pytest.approx(0.73, abs=0.005)
    assert any("row 3 says both valves, but one valve was given" in q for q in own.questions)


def test_more_valves_given_than_the_engine_has_are_asked_about(read_text, with_sheet):
    told = read_text(with_sheet(BOTH, "bench_valves = 2\n").replace(*ONE_VALVE)).questions
    assert any(
        q == "[intake.valve.flow] bench_valves: found 2, the engine has 1 per cylinder: another "
        "engine's sheet?"
        for q in told
    )
    assert not any("bench_valves" in q for q in read_text(with_sheet(BOTH)).questions)


def test_low_bench_figures_in_the_engine_file_are_asked_about(read_text, sleeve_four):
    figures = (
        '\n[intake.valve.flow]\nlift = ["0.1 in", "0.3 in"]\nbench_pressure = "28 inH2O"\n'
        'bench_flow = ["{} cfm", "{} cfm"]\n'
    )
    low = [q for q in read_text(sleeve_four + figures.format(64, 95)).questions if "curtain" in q]
    assert low == [
        "[intake.valve.flow]: at lift 7.62 mm the coefficient on curtain area is 0.26, below the "
        "usual 0.3; one valve or two? inches or mm? l/s or cfm?"
    ]
    low = [q for q in read_text(sleeve_four + figures.format(45, 125)).questions if "curtain" in q]
    assert low[0].startswith(
        "[intake.valve.flow]: the highest coefficient on curtain area is 0.36; usual are 0.45 to "
        "0.75 at low lift, 0.3 to 0.65 at high lift"
    )

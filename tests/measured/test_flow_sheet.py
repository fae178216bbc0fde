"""Flow sheets as people keep them -> coefficients, with every guess said."""

from __future__ import annotations

import math

import numpy as np
import pytest

from breathe.measured.flow_sheet import read_flow_sheet
from breathe.measured.sheet import SheetError
from breathe.valvetrain.opening import REVERSE_SHARE, check_coefficients
from tests.measured.conftest import flow_workbook

INTAKE = {"side": "intake", "head_diameter_m": 0.034}
EXHAUST = {"side": "exhaust", "head_diameter_m": 0.0295}


@pytest.fixture
def read(written):
    def reads(text, name="head.csv", **named):
        return read_flow_sheet(written(text, name), **(INTAKE | named))

    return reads


@pytest.fixture
def refusal(read):
    def refused(text, name="head.csv", **named):
        with pytest.raises(SheetError) as error:
            read(text, name, **named)
        assert "\n" not in str(error.value) and str(error.value).startswith(name)
        return str(error.value)

    return refused


def sheet(*rows: str, names: str = "lift in;in cfm;ex cfm", top: str = "28 inH2O") -> str:
    return "\n".join([top, names, *rows]) + "\n"


ROWS = (".100;64.1;52.3", ".200;121.8;97.0", ".300;171.5;131.2", ".400;203.0;148.9")


# The example head, air 1.2 kg/m3: 0.52 at 0.100 in falling to 0.38 at 0.450 in (recomputed:
# C = Q / (2 pi d L sqrt(2 dp / rho)), two intake valves of 34 mm).
def test_the_tab_separated_sheet(samples):
    found = read_flow_sheet(samples / "f4_flow.txt", **INTAKE)
    assert found.test_pressure_Pa == pytest.approx(6974, abs=0.5)
    assert found.valves == 2 and found.valves_from == "sheet"
    assert found.area == "curtain area of 2 valves (pi x 34 mm x lift, each)"
    assert [row.number for row in found.rows] == [3, 4, 5, 6, 7]
    assert found.rows[0].lift_m == pytest.approx(0.00254)
    at_12 = [r.coefficient * math.sqrt(found.density_kg_m3 / 1.2) ** -1 for r in found.rows]
    assert at_12[0] == pytest.approx(0.52, abs=0.005)
    assert at_12[-1] == pytest.approx(0.38, abs=0.005)
    assert found.rows[2].remark == "pipe on"
    assert not found.questions


def test_what_is_said_of_it(samples):
    notes = "\n".join(read_flow_sheet(samples / "f4_flow.txt", **EXHAUST).notes)
    for said in (
        "test pressure 28 inH2O = 6974 Pa, air 1.204 kg/m3 at 20 degC and 1013 mbar",
        "2 valves open, as row 3 says",
        "row 5 says a pipe was fitted: it typically lifts exhaust flow about 5 %",
        "dropped: row 8, no flow (port noisy)",
        '"lift" names no unit: taken as inches, since 0.45 in is 0.39 of the 29.5 mm valve',
        "above the last lift, 11.43 mm (0.450 in), the coefficient is held at 0.32",
    ):
        assert said in notes
    notes = "\n".join(read_flow_sheet(samples / "f4_flow.txt", **INTAKE).notes)
    assert 'dropped: row 8, its flow "211*" is starred (port noisy)' in notes
    assert "pipe" not in notes


def test_pressure_and_unit_in_the_files_name(samples):
    found = read_flow_sheet(samples / "kopf_25inch_l-s.csv", valves=2, **INTAKE)
    assert found.test_pressure_Pa == pytest.approx(25 * 249.082)
    assert found.density_kg_m3 == 1.2
    # 28.6 l/s over 2 pi 34 x 2.54 mm2 and sqrt(2 x 6227 / 1.2) m/s = 101.87 (by hand)
    expected = 28.6e-3 / (2 * math.pi * 0.034 * 0.00254 * 101.87)
    assert found.rows[0].coefficient == pytest.approx(expected, rel=1e-4)
    notes = "\n".join(found.notes)
    assert "test pressure 25 inH2O taken from the file's name" in notes
    assert '"Q_ein" names no unit: l/s, from the file\'s name' in notes
    assert '"Hub" names no unit: taken as mm' in notes


def test_a_workbook(written):
    path = written(flow_workbook(), "Kopf.xlsx")
    found = read_flow_sheet(path, valves=2, **INTAKE)
    assert [row.number for row in found.rows] == [5, 6, 7, 8]
    assert found.test_pressure_Pa == pytest.approx(25 * 249.082)
    assert found.rows[0].coefficient == pytest.approx(0.5174, abs=1e-4)
    assert 'sheet "Kopf 2" (not read: "Sheet", "alt")' in found.understood[0]


def test_conventions_are_kept_apart(samples):
    """At 28 inH2O a bench figure is 0.9624 of the isentropic one (recomputed, A-6f)."""
    bench = read_flow_sheet(samples / "f4_flow.txt", **INTAKE)
    nozzle = read_flow_sheet(samples / "f4_flow.txt", convention="isentropic", **INTAKE)
    for one, other in zip(bench.rows, nozzle.rows, strict=True):
        assert one.coefficient / other.coefficient == pytest.approx(0.9624, abs=5e-5)
    for taken in (bench.coefficients(), nozzle.coefficients()):
        check_coefficients(taken)
        assert taken.forward == pytest.approx([r.coefficient for r in nozzle.rows])
        assert taken.lift_over_diameter[0] == pytest.approx(0.00254 / 0.034)
        assert taken.reverse == pytest.approx(REVERSE_SHARE * taken.forward)


def test_the_air_of_the_bench(read):
    warm = read(sheet(*ROWS, top="28 inH2O;TEMP 30 C;baro 950 mbar"), valves=2)
    assert warm.density_kg_m3 == pytest.approx(95_000 / (287.05 * 303.15))
    assert warm.test_pressure_Pa == pytest.approx(6974, abs=0.5)


PRESSURES = [
    "28 inH2O",
    'test: 28" H2O',
    '@ 28"',
    "28 in. w.c.",
    "28 inches of water",
    "711.2 mmH2O",
]
PRESSURES += ["71.12 cm WS", "69.743 mbar", "6.9743 kPa", "6974 Pa", "depression 28 inch"]


@pytest.mark.parametrize("said", PRESSURES)
def test_spellings_of_the_test_pressure(read, said):
    found = read(sheet(*ROWS, top=said), valves=2)
    assert found.test_pressure_Pa == pytest.approx(6974.3, rel=1e-3)


@pytest.mark.parametrize(
    "name", ["kopf 28in.csv", "a_28_inH2O.csv", "7kPa_head.csv", "x-70mbar.csv"]
)
def test_test_pressure_in_a_files_name(read, name):
    found = read(sheet(*ROWS, top="head 3"), name, valves=2)
    assert found.test_pressure_Pa == pytest.approx(6974, rel=0.005)


def test_no_test_pressure_is_asked_for(refusal):
    assert refusal(sheet(*ROWS, top="head 3")) == (
        "head.csv: no test pressure; was it 10, 25 or 28 inH2O? It matters: one port flows 1.673 "
        "times as much at 28 as at 10, 1.058 times as much as at 25. Write bench_pressure = "
        '"28 inH2O" in the engine file, or 28 inH2O in the first row'
    )


def test_two_test_pressures_are_asked_about(read, refusal):
    top = "tested at 10 inH2O, figures for 28 inH2O"
    assert "found test pressures 10 inH2O (row 1) and 28 inH2O (row 1)" in refusal(
        sheet(*ROWS, top=top)
    )
    assert "28 inH2O (row 1) and 10 inH2O (the file's name)" in refusal(sheet(*ROWS), "a_10in.csv")
    found = read(sheet(*ROWS), "a_10in.csv", valves=2, test_pressure_Pa=6974.3)
    assert found.questions == (
        "the file's name says 10 inH2O, but 28 inH2O = 6974 Pa was given; the latter is used",
    )


def test_an_odd_test_pressure_is_questioned(read):
    found = read(sheet(*ROWS, top="12 kPa"), valves=2)
    assert any(
        "test pressure 12 kpa is outside the usual 1.5 to 7.5 kPa" in q for q in found.questions
    )


# Coefficient above 0.8 and above 0.95: one valve for two doubles it, l/s for cfm as well.
def test_one_valve_or_two(read, refusal):
    said = refusal(sheet(*ROWS))
    assert said == (
        "head.csv, row 3: at lift 2.54 mm (0.100 in) the coefficient on curtain area is 1.03; "
        "expected 0.05 to 0.95: one valve or two? inches or mm? l/s or cfm?"
    )
    some = read(sheet(".100;102;9", ".200;201;9", ".300;250;9"), valves=2)
    assert some.questions == (
        "rows 3, 4: the coefficient on curtain area is 0.81 to 0.82, outside the usual 0.3 to 0.8; "
        "one valve or two? inches or mm? l/s or cfm?",
    )
    assert "one valve or two?" in refusal(sheet(*ROWS, names="lift in;in l/s;ex l/s"), valves=2)


def test_how_many_valves(read):
    assert read(sheet(*ROWS, top="28 inH2O;both valves")).valves == 2
    half = sheet(".100;32;26", ".200;61;48", top="28 inH2O, per valve")
    assert (read(half, valves_fitted=2).valves, read(half).valves_from) == (1, "sheet")
    unsaid = read(sheet(*ROWS), valves_fitted=2)
    assert (unsaid.valves, unsaid.valves_from) == (2, "assumed")
    other = read(sheet(*ROWS, top="28 inH2O;one valve"), valves=2)
    assert other.questions == ("row 1 says one valve, but 2 valves was given; the latter is used",)


# Curtain coefficients are 0.45-0.75 at low lift and 0.30-0.65 at high lift (from memory).
def test_low_coefficients_are_asked_about(read):
    last = read(sheet(*ROWS[:3], ".500;150;130"), valves=2).questions
    assert any(
        q == "row 6 (lift 12.70 mm (0.500 in)): the coefficient on curtain area is 0.24, outside "
        "the usual 0.3 to 0.8; one valve or two? inches or mm? l/s or cfm?"
        for q in last
    )
    halved = read(sheet(".100;44.9;9", ".200;85.2;9", ".300;120;9"), valves=2).questions
    assert halved == (
        "the highest coefficient on curtain area is 0.36; usual are 0.45 to 0.75 at low lift, 0.3 "
        "to 0.65 at high lift; one valve or two? inches or mm? l/s or cfm?",
    )
    assert not read(sheet(*ROWS), valves=2).questions


def test_more_valves_than_the_engine_has(read, refusal):
    two = sheet(*ROWS, top="28 inH2O;two valves")
    assert refusal(two, valves_fitted=1) == (
        "head.csv: row 1 says two valves, the engine has 1 per cylinder: another engine's sheet? "
        "bench_valves = 1 says otherwise"
    )
    assert read(two, valves_fitted=3).valves == 2


def test_units_of_lift(read, refusal):
    mm = sheet("2.54;64.1;52.3", "5.08;121.8;97.0", names="lift mm;in cfm;ex cfm")
    for text in (
        mm,
        mm.replace("lift mm", "lift"),
        sheet(".1;64.1;52.3", ".2;121.8;97.0", names='lift ";in cfm;ex cfm'),
        sheet("100;64.1;52.3", "200;121.8;97.0", names="lift;in cfm;ex cfm"),
        sheet('.1";64.1;52.3', "5.08 mm;121.8;97.0", names="lift;in cfm;ex cfm"),
        sheet("0.0747059;64.1;9", "0.1494118;121.8;9", names="L/D;in cfm;ex cfm"),
        sheet("2.54;64.1;52.3", "5.08;121.8;97.0", names="lift;intake;exhaust\nmm;cfm;cfm"),
    ):
        found = read(text, valves=2)
        assert [row.lift_m for row in found.rows] == pytest.approx([0.00254, 0.00508], rel=1e-5)
    bare = sheet("1;64.1;52.3", "1.4;121.8;97.0", names="lift;in cfm;ex cfm")
    assert refusal(bare, valves=2) == (
        'head.csv: the column "lift" names no unit, and 1.4 fits a 34 mm valve neither in mm nor '
        "in inches; write lift mm or lift in"
    )


def test_another_engines_sheet(refusal):
    assert refusal(sheet("2;64;52", "25;600;97", names="lift mm;in cfm;ex cfm")) == (
        "head.csv: lifts up to 25 mm are 0.74 of the 34 mm valve; expected 0.05 to 0.6. Inches or "
        "mm? Another engine's sheet?"
    )


# Flow falling then rising by more than 10 %, a slip of the pen, a port that breaks away.
@pytest.mark.parametrize(
    ("flows", "rows"),
    [
        ((64, 121, 110, 203, 212), "row 5 (lift 7.62 mm (0.300 in))"),
        ((64, 121, 171, 203, 160), "row 7 (lift 11.43 mm (0.450 in))"),
        ((64, 121.8, 145.5, 203, 212), "row 5 (lift"),
        ((24, 121.8, 171.5, 203, 212), "row 3 (lift"),
        ((64, 21.8, 171.5, 203, 212), "row 4 (lift"),
    ],
)
def test_a_row_that_does_not_fit_is_questioned(read, flows, rows):
    lifts = (".100", ".200", ".300", ".400", ".450")
    text = sheet(*(f"{x};{q};9" for x, q in zip(lifts, flows, strict=True)))
    questions = [q for q in read(text, valves=2).questions if "does not fit" in q]
    assert len(questions) == 1 and questions[0].startswith(rows)


def test_rows_out_of_order_are_sorted_and_said(read):
    found = read(sheet(*reversed(ROWS)), valves=2)
    assert [row.number for row in found.rows] == [6, 5, 4, 3]
    assert "the lifts were not in rising order; sorted" in found.notes
    assert found.coefficients().forward == pytest.approx(
        read(sheet(*ROWS), valves=2).coefficients().forward
    )


def test_repeats(read, refusal):
    found = read(sheet(*ROWS, ".200;122.4;97.0"), valves=2)
    assert "rows 4, 7 are one lift, 0.5 % apart; their mean is used" in found.notes
    assert found.rows[1].flow_m3_s == pytest.approx(122.1 * 0.3048**3 / 60)
    said = refusal(sheet(*ROWS, ".200;142.4;97.0"), valves=2)
    assert said.endswith(
        "rows 4 (121.8) and 7 (142.4) give one lift different flows; keep the right one"
    )


def test_dropped_rows_are_named(read):
    found = read(
        sheet("0;2;1", *ROWS, "01. Feb;210;150", ".450;-;150", ".500;x1;150", "max;203;148"),
        valves=2,
    )
    assert len(found.rows) == 4
    assert (
        'dropped: row 3, lift 0; row 8, its lift "01. Feb" is no number; row 9, no flow; row 10, '
        'its flow "x1" is no number; row 11, its lift "max" is no number'
    ) in found.notes


def test_a_row_that_ends_early_above_full_ones_is_questioned(read):
    found = read(sheet(".100;64.1;52.3", ".200;121.8", *ROWS[2:]), valves=2)
    assert found.questions == (
        'row 4 end before the column "ex cfm"; if a figure within is missing, those behind it '
        "stand under the wrong names",
    )


def test_reverse_flow_in_the_sheet(read):
    names = "lift in;in cfm;in rev cfm;ex cfm"
    rows = (".100;64.1;60;52.3", ".200;121.8;-;97.0", ".300;171.5;150;131.2")
    found = read(sheet(*rows, names=names), valves=2)
    assert found.rows[1].reverse_coefficient is None
    taken = found.coefficients()
    # Blown out of an intake port, the factor is that of an exhaust port, 1.0025 (A-6, recomputed).
    assert taken.reverse[0] == pytest.approx(
        found.rows[0].coefficient * 60 / 64.1 * 1.00247, rel=1e-4
    )
    assert taken.reverse[1] == pytest.approx((taken.reverse[0] + taken.reverse[2]) / 2)
    assert np.all(taken.reverse < taken.forward)


def test_columns_in_german(read):
    names = "Ventilhub [mm];Auslass m³/h;Einlass m³/h;Bemerkung"
    found = read(sheet("2,5;84;103;", "5,0;156;195;x", names=names, top="70 mbar"), valves=2)
    assert found.rows[0].flow_m3_s == pytest.approx(103 / 3600)


def test_columns_that_cannot_be_told(refusal):
    names = "lift in;in cfm;in cfm 2"
    assert refusal(sheet(*ROWS, names=names)) == (
        'head.csv, row 2: 2 columns of intake flow: "in cfm", "in cfm 2"; keep '
        "the one that is meant"
    )
    assert refusal(sheet(".1;52", ".2;97", names="lift in;ex cfm")) == (
        'head.csv, row 2: no column of intake flow among "lift in", "ex cfm"; expected one named '
        'such as "in cfm"'
    )
    assert "names no unit of flow; none is given: cfm, l/s or m3/h?" in refusal(
        sheet(*ROWS, names="lift in;intake;exhaust")
    )


def test_a_column_without_a_side_is_taken_and_asked_about(read):
    found = read(sheet(".1;64", ".2;122", names="lift in;cfm"), valves=2)
    assert found.questions == ('the column "cfm" names no side; taken as intake',)


def test_names_shifted_against_their_figures(refusal):
    assert "found 4 cells under 3 names" in refusal(sheet(".1;64;52;81", ".2;122;97;79"))
    names = "lift in;;in cfm;ex cfm"
    assert "are the names shifted" in refusal(sheet(".1;64;52", ".2;122;97", names=names))
    names = "lift in;ex cfm;note"
    assert 'the column "note" holds figures' in refusal(
        sheet(".1;64;52", ".2;122;97", names=names), side="exhaust", head_diameter_m=0.0295
    )
    text = sheet(*ROWS, names="lift in cfm ex cfm").replace(";", " ")
    assert "spaces part the columns" in refusal(text)


def test_a_column_no_row_reaches_is_questioned(read):
    found = read(sheet(".1;64.1", ".2;121.8", names="lift in;in cfm;ex cfm"), valves=2)
    assert found.questions == (
        'no row reaches the column "ex cfm"; are the names shifted against the figures?',
    )


def test_other_sheets_are_recognised(samples):
    for name, looks in (
        ("f1_lift.csv", "a lift sheet (columns Winkel [°NW], Hub [mm], Bemerkung)"),
        ("f6_dyno.csv", "a dyno pull (columns RPM, Torque, Power, AFR, MAP)"),
        ("f8_map.csv", 'a table of rpm against load (label "kPa \\ rpm")'),
    ):
        with pytest.raises(SheetError) as refused:
            read_flow_sheet(samples / name, **INTAKE)
        assert str(refused.value) == (
            f"{name}: expected a flow sheet with columns such as lift mm, in cfm, ex cfm; this "
            f"looks like {looks}"
        )


def test_columns_that_are_not_flow_are_passed_over(read):
    names = "lift in;in Cd;in cfm;in %;in ft/s;ex cfm"
    rows = (".1;.5;64.1;99;210;52", ".2;.5;121.8;98;220;97")
    assert read(sheet(*rows, names=names), valves=2).rows[0].flow_m3_s == pytest.approx(
        64.1 * 0.3048**3 / 60
    )


def test_two_units_of_flow_are_asked_about(refusal):
    top = "28 inH2O; was cfm; now l/s"
    said = refusal(sheet(*ROWS, names="lift in;intake;exhaust", top=top))
    assert "names no unit of flow; found cfm and l/s: cfm, l/s or m3/h?" in said


def test_one_lift_in_two_units(read):
    names = "lift (in);lift (mm);in cfm"
    found = read(sheet(".1;2.54;64.1", ".2;5.08;121.8", names=names), valves=2)
    assert [row.lift_m for row in found.rows] == pytest.approx([0.00254, 0.00508])


def test_words_below_the_figures_may_be_wider(read):
    text = sheet(*ROWS) + "both valves;pipe on;new seats;Friday\n"
    assert read(text).valves == 2


def test_figures_with_their_unit_in_the_cell_are_named(refusal):
    text = sheet(".1;64.1 cfm;52", ".2;121.8 cfm;97")
    assert refusal(text, valves=2).endswith(
        'expected at least two lifts; dropped: row 3, its flow "64.1 cfm" is no number; row 4, its '
        'flow "121.8 cfm" is no number'
    )

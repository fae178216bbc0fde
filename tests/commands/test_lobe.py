"""breathe lobe: its page, CSV, written curve and refusals; and the same sheets in an engine."""

from __future__ import annotations

import csv
import io
import re

import numpy as np
import pytest

from breathe.engine.read import read_engine
from breathe.measured.lobe import measured_lobe
from breathe.study.lobe import lobe_figures
from tests.commands.conftest import ENGINES
from tests.measured.lift_samples import (
    bench_notes,
    bench_sheet,
    duration_deg,
    european_sheet,
    lift_mm,
    several_lobes,
)

FIXED = ENGINES / "road_four.toml"


@pytest.fixture
def sheet(tmp_path):
    def write(text, name="lobe.csv"):
        (tmp_path / name).write_text(text, encoding="utf-8")
        return name

    return write


def flat(text: str) -> str:
    return " ".join(text.split())


@pytest.mark.parametrize("make", [bench_sheet, bench_notes, european_sheet, several_lobes])
@pytest.mark.parametrize("units", ["metric", "imperial"])
def test_the_page_fits_and_says_what_it_must(breathe, sheet, make, units):
    answer = breathe(
        "lobe", sheet(make()), "--units", units, "--ordered", "264 deg crank at 0.1 mm"
    )
    assert answer.status == 0 and answer.err == ""
    assert max(map(len, answer.out.splitlines())) <= 80
    told = flat(answer.out)
    for words in (
        "understood as", "Rows: ", "dropped", "Ordered: 264 deg crank at", "Durations, crank",
        "Peak lift", "Nose at", "Flank against flank", "Smoothing changed a reading by at most",
        "in row", "Velocity", "Acceleration", "± is half of a 95 % interval", "NOT CHECKED",
    ):  # fmt: skip
        assert words in told, words
    assert ("0.050 in" if units == "imperial" else "1.27 mm") in told


def test_is_my_lobe_what_i_ordered(breathe, sheet):
    name = sheet(bench_sheet())
    told = flat(breathe("lobe", name, "--ordered", "264 deg crank").out)
    assert "The duration is as ordered, within the doubt." in told
    assert "opened span 13" in told and "matches the card's 264: taken as cam degrees" in told
    assert "row 17 dropped" in told and "row 25 repaired: 0.25" in told and "as inches" in told
    other = flat(breathe("lobe", name, "--ordered", "272 deg crank").out)
    assert re.search(
        r"7\.\d deg shorter than ordered, more than the doubt|8\.\d deg shorter", other
    )


def figures(text: str) -> dict[tuple[str, str], tuple[float, float]]:
    rows = list(csv.DictReader(io.StringIO(text)))
    return {
        (row["figure"], row["checking_height_m"]): (float(row["value"]), float(row["doubt_95"]))
        for row in rows
    }


def test_csv_holds_every_figure_with_its_doubt(breathe, sheet):
    answer = breathe("lobe", sheet(bench_notes()), "--csv", "--height", "0.006 in")
    found = figures(answer.out)
    for height in (0.1, 1.0, 1.27, 0.1524):
        value, doubt = found["duration", f"{height / 1e3:.6g}"]
        assert abs(value - duration_deg(height)) < max(1.2 * doubt, 0.5)
    assert found["peak lift", ""][0] == pytest.approx(9.5e-3, abs=0.03e-3)
    assert found["nose on the wheel", ""][0] == pytest.approx(470, abs=0.4)


def test_acceleration_is_refused_where_scatter_hides_it(breathe, sheet):
    cam = np.arange(-80.0, 81.0, 2.5)
    noisy = lift_mm(cam) + np.random.default_rng(1).normal(0, 0.04, len(cam))
    name = sheet(
        "cam,lift mm\n" + "\n".join(f"{a:g},{x:.2f}" for a, x in zip(cam, noisy, strict=True))
    )
    told = flat(breathe("lobe", name).out)
    assert "Acceleration: not shown. Scatter and steps of 2.5 cam deg leave a doubt of" in told
    assert not any(
        key[0].startswith("acceleration") for key in figures(breathe("lobe", name, "--csv").out)
    )


def test_acceleration_is_refused_where_a_fifth_of_a_flank_is_missing(breathe, sheet):
    cam = np.arange(-80.0, 81.0, 1.0)
    whole = "\n".join(f"{a:g},{lift_mm(a):.3f}" for a in cam)
    gap = "\n".join(f"{a:g},{lift_mm(a):.3f}" for a in cam if not 10 < a < 32)
    names = sheet("cam,lift mm\n" + whole), sheet("cam,lift mm\n" + gap, "gap.csv")
    good, holed = (breathe("lobe", name).out for name in names)
    assert "acceleration, opening flank" in good
    assert "Acceleration: not shown." in holed and "of the closing flank has no readings" in holed
    wide, narrow = (
        figures(breathe("lobe", n, "--csv").out)["duration", "0.001"][1] for n in names[::-1]
    )
    assert wide >= narrow


def test_a_written_curve_reads_back_the_same_and_serves_an_engine(breathe, sheet, tmp_path):
    name = sheet(bench_notes())
    first = figures(breathe("lobe", name, "--csv", "--write", "clean.csv").out)
    assert (
        (tmp_path / "clean-readings.csv").read_text().startswith("row,angle from nose [deg crank]")
    )
    again = figures(breathe("lobe", "clean.csv", "--csv").out)
    for key, (value, _) in first.items():
        if key[0] in ("duration", "middle after nose", "nose on the wheel"):
            assert again[key][0] == pytest.approx(value, abs=0.05), key
    card = FIXED.read_text(encoding="utf-8")
    engine_file = tmp_path / "engine.toml"
    part = card.split("[intake.cam]")[1].split("\n[")[0]
    engine_file.write_text(
        card.replace(part, '\nlift_file = "clean.csv"\nlash = "0.1 mm"\n'), encoding="utf-8"
    )
    engine = read_engine(engine_file)
    assert engine.intake_cam.lobe.made_from == "measured: clean.csv"
    assert engine.intake_cam.centreline_deg == pytest.approx(110, abs=0.4)
    assert any(a.key == "intake.cam.centreline" and "measured" in a.source for a in engine.assumed)


def test_nothing_is_overwritten_unasked(breathe, sheet, tmp_path):
    name = sheet(bench_notes())
    (tmp_path / "clean.csv").write_text("mine")
    answer = breathe("lobe", name, "--write", "clean.csv")
    assert answer.status == 2 and "is there already" in answer.err and answer.out == ""
    assert (tmp_path / "clean.csv").read_text() == "mine"
    assert not (tmp_path / "clean-readings.csv").exists()
    assert breathe("lobe", name, "--write", "clean.csv", "--overwrite").status == 0
    assert breathe("lobe", name, "--write", "gone/clean.csv").status == 2


def test_no_half_result_of_a_wrong_file(breathe, sheet, tmp_path):
    name = sheet("RPM,Torque,Power\n1000,80,12\n2000,90,26\n3000,95,41\n")
    answer = breathe("lobe", name, "--write", "clean.csv")
    assert answer.status == 2 and answer.out == ""
    assert "expected a lift sheet" in answer.err and "dyno pull" in answer.err
    assert not (tmp_path / "clean.csv").exists()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--ordered", "264"), '--ordered: found "264" without a unit'),
        (("--ordered", "264 deg"), "--ordered:"),
        (("--height", "3"), "--height:"),
        (("--height", "30 mm"), "--height: found 30 mm; expected 0.02 to 20 mm"),
        (("--rocker", "15"), "0.5<=x<=3.0"),
        (("--colum", "x"), "Did you mean"),
    ],
)
def test_slips_on_the_command_line(breathe, sheet, arguments, words):
    answer = breathe("lobe", sheet(bench_notes()), *arguments)
    assert answer.status == 2 and words in answer.err


ENGINE = '\nlift_file = "{name}"\n{more}centreline = "110 ATDC"\nlash = "0.1 mm"\n'


@pytest.fixture
def engine_with(tmp_path, sheet):
    def build(text, more="", name="lobe.csv"):
        sheet(text, name)
        card = FIXED.read_text(encoding="utf-8")
        part = card.split("[intake.cam]")[1].split("\n[")[0]
        path = tmp_path / "engine.toml"
        path.write_text(card.replace(part, ENGINE.format(name=name, more=more)), encoding="utf-8")
        return path

    return build


@pytest.mark.parametrize("make", [bench_sheet, bench_notes, european_sheet, several_lobes])
def test_an_engine_takes_every_sheet_the_verb_takes(engine_with, make):
    engine = read_engine(engine_with(make()))
    assert engine.intake_cam.lobe.lift_m.max() == pytest.approx(9.5e-3, abs=0.03e-3)
    told = " ".join([*engine.notes, *engine.questions])
    assert "cam degrees" in told or "crank degrees" in told
    assert "rows smoothed" in told


def test_an_engine_refuses_in_the_words_of_its_file(breathe, engine_with):
    cam = np.arange(-90.0, 91.0, 2.0)
    rows = "\n".join(f"{a * 1.4:g},{lift_mm(a):.2f}" for a in cam)
    answer = breathe("explain", engine_with("angle,lift mm\n" + rows))
    assert answer.status == 2
    assert "[intake.cam] lift_file: lobe.csv: cam or crank degrees?" in answer.err
    assert 'lift_angles = "cam" or lift_angles = "crank"' in answer.err and "--" not in answer.err
    answer = breathe("explain", engine_with("angle,lift mm\n" + rows, more='lift_angles = "cam"\n'))
    assert answer.status == 0
    crank = np.arange(0.0, 720.0, 4.0)
    exhaust = "\n".join(f"{a:g},{lift_mm((a - 250) / 2):.2f}" for a in crank)
    answer = breathe("explain", engine_with("crank,lift mm\n" + exhaust))
    assert answer.status == 2 and "fits an exhaust lobe 110.0 BTDC" in answer.err


def test_a_card_that_is_not_the_measured_lobe_is_asked_about(engine_with):
    engine = read_engine(engine_with(european_sheet(), more='duration = "280 deg crank"\n'))
    assert any("280 deg by the card, but the measured lobe has 26" in q for q in engine.questions)


def crank_sheet(nose_deg: float) -> str:
    """Crank degrees around a nose, without a word of where 0 is."""
    crank = np.arange(nose_deg - 150.0, nose_deg + 151.0, 2.0)
    noise = np.random.default_rng(7).normal(0, 0.004, len(crank))
    lift = lift_mm((crank - nose_deg) / 2) + noise
    return "crank deg,lift mm\n" + "\n".join(
        f"{a:g},{x:.3f}" for a, x in zip(crank, lift, strict=True)
    )


@pytest.fixture
def bare_engine(engine_with):
    """Like ``engine_with``, without a centreline."""

    def build(text):
        path = engine_with(text)
        card = path.read_text(encoding="utf-8")
        path.write_text(
            card.replace(ENGINE.format(name="lobe.csv", more=""), '\nlift_file = "lobe.csv"\n'),
            encoding="utf-8",
        )
        return path

    return build


# 470 counts from firing TDC, 104 from overlap TDC; an intake nose fits no other meaning.
@pytest.mark.parametrize(("nose", "centreline"), [(470.0, 110.0), (104.0, 104.0)])
def test_the_only_centreline_a_sheet_can_mean_is_taken_and_told(bare_engine, nose, centreline):
    engine = read_engine(bare_engine(crank_sheet(nose)))
    assert engine.intake_cam.centreline_deg == pytest.approx(centreline, abs=0.2)
    assert any(f"fits an intake lobe {centreline} ATDC if 0 is" in one for one in engine.notes)
    assert any(a.key == "intake.cam.centreline" and "measured" in a.source for a in engine.assumed)
    assert not any("centreline" in one for one in engine.questions)


@pytest.mark.parametrize("text", [bench_sheet(), crank_sheet(200.0)])
def test_a_centreline_no_sheet_tells_is_asked_for(bare_engine, text):
    engine = read_engine(bare_engine(text))
    assert engine.intake_cam.centreline_deg == 108.0
    asked = [one for one in engine.questions if one.startswith("[intake.cam] centreline: where")]
    assert len(asked) == 1 and "108 ATDC is taken" in asked[0]


def test_a_key_far_from_the_nose_of_the_sheet_is_asked_about(engine_with):
    engine = read_engine(engine_with(crank_sheet(464.0)))
    assert engine.intake_cam.centreline_deg == 110.0
    (asked,) = [one for one in engine.questions if one.startswith("[intake.cam] centreline")]
    assert "110 by the card, 104.0 in lobe.csv; which is right?" in asked
    near = read_engine(engine_with(crank_sheet(472.0)))
    assert not any("[intake.cam] centreline" in one for one in near.questions)


def test_an_exhaust_lobe_given_to_the_intake_is_refused(breathe, sheet, engine_with):
    answer = breathe("explain", engine_with(crank_sheet(250.0)))
    assert answer.status == 2
    assert "centreline before TDC: this looks like the exhaust lobe" in answer.err
    assert "`breathe lobe lobe.csv --zero arbitrary --write nose.csv`" in answer.err
    answer = breathe("lobe", "lobe.csv", "--side", "intake")
    assert answer.status == 2 and "110.0 BTDC" in answer.err and answer.out == ""
    assert "say so with --zero arbitrary" in answer.err
    written = ("--side", "intake", "--zero", "arbitrary", "--write", "nose.csv")
    assert breathe("lobe", "lobe.csv", *written).status == 0


def test_the_lines_for_an_engine_file_are_told_with_the_written_curve(breathe, sheet):
    answer = breathe("lobe", sheet(crank_sheet(470.0)), "--write", "clean.csv")
    assert 'lift_file = "clean.csv"\n' in answer.err
    assert 'centreline = "110.0 ATDC"  # if 0 is where it seems to be\n' in answer.err
    written = breathe("lobe", "lobe.csv", "--zero", "firing", "--write", "sure.csv")
    assert 'centreline = "110.0 ATDC"\n' in written.err
    arbitrary = breathe("lobe", "lobe.csv", "--zero", "arbitrary", "--write", "nose.csv")
    assert "centreline" not in arbitrary.err


def test_a_curve_that_lobe_wrote_is_taken_as_it_is(breathe, sheet, tmp_path):
    breathe("lobe", sheet(bench_sheet()), "--write", "clean.csv")
    told = flat(breathe("lobe", "clean.csv").out)
    assert "taken as it is, not smoothed again" in told and "smoother than any dial" not in told
    found = measured_lobe(tmp_path / "clean.csv")
    written = np.loadtxt(tmp_path / "clean.csv", delimiter=",", skiprows=1)
    lift = np.interp(
        written[:, 0] - found.smoothed.nose_deg, found.lobe.angle_deg, found.lobe.lift_m
    )
    assert lift == pytest.approx(written[:, 1] / 1e3, abs=1e-9)
    computed = crank_sheet(470.0).replace("crank deg,lift mm", "angle from nose,lift mm")
    assert "taken as it is" not in flat(breathe("lobe", sheet(computed), "--zero", "nose").out)


def test_a_dash_is_a_reading_not_taken(breathe, sheet):
    lines = crank_sheet(470.0).splitlines()
    for row in range(3, 60, 3):
        lines[row - 1] = f"{lines[row - 1].split(',')[0]},-"
    told = flat(breathe("lobe", sheet("\n".join(lines))).out)
    assert "0 dropped; 19 blank" in told
    assert "19 rows blank ('-'): 3, 6, 9, 12," in told and told.count("blank (") == 1
    assert "is no lift" not in told


def test_an_engine_names_the_sheet_once(engine_with):
    engine = read_engine(engine_with(bench_sheet()))
    (note,) = [one for one in engine.notes if "lift_file" in one]
    assert note.count("lobe.csv") == 1 and "rows smoothed" in note and "row 25 repaired" in note


def test_only_questions_stand_under_questions(breathe, sheet):
    told = flat(breathe("lobe", sheet(bench_sheet())).out)
    assert "Notes no readings from" in told and "Questions" not in told


def test_a_lash_in_a_remark_is_asked_about(breathe, sheet, engine_with):
    told = flat(breathe("lobe", sheet(bench_notes())).out)
    assert "lash .008, checked both ways" in told
    assert "is it already out of these lifts?" in told.partition("Durations")[0]
    asked = read_engine(engine_with(bench_notes())).questions
    assert any("is it already out of these lifts?" in one for one in asked)
    zero = bench_notes().replace("hot lash .008", "zero lash")
    assert "out of these lifts" not in flat(breathe("lobe", sheet(zero)).out)


def with_dwell(dwell_deg: float) -> str:
    """Crank degrees about a nose at 470 held open for a dwell, closed form flanks."""
    crank = np.arange(300.0, 640.0, 2.0)
    beyond = np.maximum(np.abs(crank - 470) - dwell_deg / 2, 0) / 2
    noise = np.random.default_rng(5).normal(0, 0.004, len(crank))
    lift = lift_mm(beyond * 132 / 114) + noise
    return "crank deg,lift mm\n" + "\n".join(
        f"{a:g},{x:.3f}" for a, x in zip(crank, lift, strict=True)
    )


def test_a_dwell_is_told_with_both_flanks(breathe, sheet, tmp_path):
    told = flat(breathe("lobe", sheet(with_dwell(36.0))).out)
    assert re.search(r"Dwell at full lift 3[567]\.\d ± \d\.\d deg crank, from 1[789]\.", told)
    assert "BTDC" in told and "flank is 11" in told
    dwell = lobe_figures(measured_lobe(tmp_path / "lobe.csv")).dwell
    for end, exact in ((dwell.first, -18.0), (dwell.last, 18.0)):
        assert abs(end.value - exact) <= end.doubt
    assert dwell.opening_deg == pytest.approx(114.0, abs=1.0)
    assert dwell.closing_deg == pytest.approx(114.0, abs=1.0)
    assert "Dwell" not in breathe("lobe", sheet(with_dwell(0.0))).out


# Closed form: -L p k^2 at the nose, k = 90 deg / 68.33 deg, 0.00781 mm/deg2 cam (recomputed); the
# flank that is narrower by 114/132 is sharper by the square.
@pytest.mark.parametrize(("dwell", "exact"), [(0.0, 0.01047), (36.0, 0.01047)])
def test_acceleration_at_the_nose_is_no_wave_of_the_line(sheet, tmp_path, dwell, exact):
    sheet(with_dwell(dwell))
    nose = lobe_figures(measured_lobe(tmp_path / "lobe.csv")).acceleration.nose
    assert -nose.value * 1e3 == pytest.approx(exact, rel=0.05)


@pytest.mark.parametrize("make", [bench_sheet, european_sheet])
def test_acceleration_at_the_nose_of_bench_sheets(sheet, tmp_path, make):
    sheet(make())
    nose = lobe_figures(measured_lobe(tmp_path / "lobe.csv")).acceleration.nose
    assert -nose.value * 1e3 == pytest.approx(0.00781, rel=0.06)

"""Lift sheets in the layouts people use: what is understood, put right, left out, refused."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest

from breathe.engine.cams import lobe_width
from breathe.measured.lift_file import Asked
from breathe.measured.lift_words import read_angle, read_heading, read_lift
from breathe.measured.lobe import measured_lobe
from breathe.measured.sheet import SheetError
from tests.measured.lift_samples import (
    bench_notes,
    bench_sheet,
    duration_deg,
    european_sheet,
    lift_mm,
    several_lobes,
)

SAMPLES = Path(__file__).parent / "samples"


@pytest.fixture
def read(tmp_path):
    """A measured lobe from text."""

    def reader(text, **asked):
        path = tmp_path / "lobe.csv"
        path.write_text(text, encoding="utf-8")
        return measured_lobe(path, Asked(**asked))

    return reader


@pytest.fixture
def refusal(read):
    def reader(text, **asked):
        with pytest.raises(SheetError) as caught:
            read(text, **asked)
        assert "\n" not in str(caught.value)
        return str(caught.value)

    return reader


def sheet(angle, lift, heading="angle,lift [mm]", form="{:g},{:.2f}"):
    rows = (form.format(a, x) for a, x in zip(angle, lift, strict=True))
    return "\n".join([heading, *rows]) + "\n"


def noisy(cam_deg, seed=0):
    return lift_mm(cam_deg) + np.random.default_rng(seed).normal(0, 0.006, len(cam_deg))


def assert_durations(found, *, seat=1.5):
    """The known lobe's own, closed form."""
    assert lobe_width(found.lobe, 1e-4) == pytest.approx(duration_deg(0.1), abs=seat)
    for height in (1.0, 1.27):
        assert lobe_width(found.lobe, height * 1e-3) == pytest.approx(duration_deg(height), abs=0.5)


def test_the_known_lobe_is_what_it_is_said_to_be():
    assert duration_deg(0.1) == pytest.approx(264, abs=0.05)
    assert duration_deg(1.0) == pytest.approx(232, abs=0.05)


# S3


def test_a_bench_sheet_with_everything_wrong_with_it(read):
    found = read(bench_sheet(), ordered_deg=264)
    readings = found.readings
    assert readings.rows_read == 71 and readings.rows_used == 70
    assert any(
        "twice that is 26" in line
        and "matches the card's 264: taken as cam degrees; say otherwise with --angles crank"
        in line
        for line in readings.understood
    )
    done = {note.row: note.done for note in readings.row_notes}
    assert done == {17: "dropped", 25: "repaired", 26: "repaired", 53: "repaired"}
    assert all("as inches" in note.why for note in readings.row_notes if note.done == "repaired")
    assert any(
        "no readings from -48 to -44, 18 to 24, 32 to 38 deg" in line for line in found.questions
    )
    assert_durations(found)
    assert found.lobe.lift_m.max() == pytest.approx(9.5e-3, abs=0.02e-3)
    assert 0.008e-3 < found.smoothed.curve.scatter_m < 0.02e-3


@pytest.mark.parametrize("seed", range(12))
def test_slips_are_found_whatever_the_noise(read, seed):
    found = read(bench_sheet(seed))
    assert {17, 25, 26, 53} <= {note.row for note in found.readings.row_notes}
    assert len(found.readings.row_notes) <= 5
    assert_durations(found, seat=2.5)


def test_angles_without_a_pattern_are_refused_by_row(refusal):
    cam = np.random.default_rng(1).permutation(np.arange(-74.0, 75.0, 2.0))
    told = refusal(sheet(cam, lift_mm(cam)))
    assert "go back without a pattern, in rows " in told and "turned one way" in told


def test_a_row_out_of_order_is_left_out_by_number(read):
    cam = np.arange(-74.0, 75.0, 2.0)
    typed = cam.copy()
    typed[30] = 14.0  # a sign forgotten
    found = read(sheet(typed, lift_mm(cam)))
    assert [(n.row, n.why) for n in found.readings.row_notes] == [(32, "angle 14 is out of order")]


def test_more_than_a_fifth_of_a_flank_missing_is_told(read):
    cam = np.arange(-74.0, 75.0, 2.0)
    cam = cam[(cam < 10) | (cam > 30)]
    found = read(sheet(cam, noisy(cam)))
    assert any("of the closing flank has no readings" in line for line in found.questions)
    assert found.missing[1] > 0.2 > found.missing[0]


def test_a_base_circle_off_zero_is_asked_about(read):
    cam = np.arange(-80.0, 81.0, 2.0)
    found = read(sheet(cam, noisy(cam) + 0.08))
    assert any("base circle run-out or wrong zero?" in line for line in found.questions)
    assert_durations(found)


# F1, F2, F3


def test_the_european_sheet(read):
    found = read(european_sheet())
    told = " ".join(found.readings.understood)
    assert 'heading "Winkel [°NW]"' in told and "semicolons" in told and "decimal comma" in told
    assert found.readings.wheel == "cam" and found.readings.side == "intake"
    assert [(n.row, n.why) for n in found.readings.row_notes] == [(9, "no lift")]
    assert_durations(found)


def test_bench_notes_in_words_and_inches(read):
    found = read(bench_notes())
    assert found.readings.side == "intake" and found.readings.dead_centres
    assert found.centreline_deg == pytest.approx(110, abs=0.4)
    assert [(n.row, n.why) for n in found.readings.row_notes] == [(70, '"max" is no angle')]
    assert any("repeated angles averaged: rows 13/14" in u for u in found.readings.understood)
    assert any("hot lash .008" in line for line in found.readings.understood)
    assert_durations(found, seat=2.0)


@pytest.mark.parametrize(
    ("asked", "nose", "others"),
    [
        ({"side": "intake"}, 470, ("int_B_mm", "exh_mm")),
        ({"side": "exhaust"}, 250, ("int_A_mm", "int_B_mm")),
        ({"column": "int_B"}, 471, ("int_A_mm", "exh_mm")),
        ({"column": "4"}, 250, ("int_A_mm", "int_B_mm")),
    ],
)
def test_several_lobes_in_one_sheet(read, asked, nose, others):
    found = read(several_lobes(), **asked)
    assert found.readings.others == others
    assert found.smoothed.nose_deg == pytest.approx(nose, abs=0.4)
    assert "if 0 is firing TDC; say otherwise with --zero" in found.placed.words
    assert found.centreline_deg == pytest.approx(abs(nose - 360), abs=0.4)  # no other fits
    assert_durations(found)
    sure = read(several_lobes(), zero="firing", **asked)
    assert sure.centreline_deg == pytest.approx(abs(nose - 360), abs=0.4)


def test_the_abbreviated_samples_are_read_but_are_no_lobes(tmp_path):
    expected = {"f1_lift.csv": 5, "f2_bench_notes.csv": 7, "f3_lobes.txt": 5}
    for name, count in expected.items():
        with pytest.raises(SheetError, match=f"found {count} readings of angle and lift.*at least"):
            measured_lobe(SAMPLES / name)


# Wheels


@pytest.mark.parametrize(
    ("cam", "nose", "words"),
    [
        (np.arange(-180.0, 180.0, 3.0), 0, "0 is the nose"),
        (np.arange(0.0, 360.0, 3.0), 20, "nose at 20.0 deg cam of the wheel"),
        (np.arange(0.0, 360.0, 3.0), 200, "nose at 200.0 deg cam of the wheel"),
        (np.r_[np.arange(300.0, 360, 3), np.arange(0.0, 130, 3)], 30, "nose at 30.0 deg cam"),
        (np.arange(95.0, -96.0, -3.0), 0, "0 is the nose"),
    ],
    ids=["nose at 0", "across 0", "anywhere", "past 0", "backwards"],
)
def test_zeros_of_a_cam_wheel(read, cam, nose, words):
    found = read(sheet(cam, noisy((cam - nose + 180) % 360 - 180)))
    assert words in found.placed.words
    assert found.readings.wheel == "cam" and found.centreline_deg is None
    assert_durations(found)


def test_overlap_tdc_as_zero_is_supposed_aloud(read):
    crank = np.arange(-360.0, 361.0, 4.0)
    found = read(sheet(crank, noisy((crank - 110) / 2)), side="intake")
    assert "110.0 ATDC if 0 is overlap TDC" in found.placed.words


# B-9g: backlash shows as a constant angle between up- and down-going readings (common practice, no
# source).
@pytest.mark.parametrize("columns", [False, True])
def test_b9g_backlash_between_up_and_down_going_readings(read, columns):
    up = np.arange(-80.0, 81.0, 2.0)
    if columns:
        rows = [f"{a:g},{lift_mm(a - 0.6):.2f},{lift_mm(a + 0.6):.2f}" for a in up]
        text = "\n".join(["cam,up mm,down mm", *rows])
    else:
        cam = np.r_[up, up[::-1]]
        text = sheet(cam, noisy(cam + np.where(np.arange(len(cam)) < len(up), -0.6, 0.6)))
    found = read(text)
    assert found.readings.backlash_deg == pytest.approx(2.4, abs=0.1)  # 1.2 cam
    assert any("2.4" in u and "backlash shows like this" in u for u in found.readings.understood)
    assert found.questions == ()
    assert_durations(found)


# Cam or crank


@pytest.mark.parametrize(
    ("heading", "stretch", "asked", "words"),
    [
        ("angle,lift", 1.4, {}, "cam or crank degrees\\? .*--angles cam or --angles crank"),
        ("crank deg,lift", 1.0, {}, "means crank degrees, but .*--angles cam"),
        ("cam deg,lift", 2.0, {}, "means cam degrees, but .*--angles crank"),
        ("angle,lift", 2.0, {"angles": "cam"}, "--angles cam means cam degrees"),
        ("angle,lift", 0.3, {}, "is no duration in crank or cam degrees"),
    ],
)
def test_what_cannot_be_decided_is_asked(refusal, heading, stretch, asked, words):
    import re

    cam = np.arange(-90.0, 91.0, 2.0)
    told = refusal(sheet(cam * stretch, lift_mm(cam), heading), **asked)
    assert re.search(words, told), told


def test_the_card_or_the_user_decides(read):
    cam = np.arange(-90.0, 91.0, 2.0)
    text = sheet(cam * 1.4, lift_mm(cam))
    assert read(text, ordered_deg=370).readings.wheel == "cam"
    assert read(text, ordered_deg=185).readings.wheel == "crank"
    assert read(text, angles="crank").readings.wheel == "crank"


# Units


def test_a_unit_that_cannot_be_is_asked(refusal, read):
    cam = np.arange(-80.0, 81.0, 2.0)
    text = sheet(cam, lift_mm(cam) / 25.4, "cam deg,lift mm", "{:g},{:.4f}")
    assert "the heading says mm, but lifts go up to about 0.37: is that in?" in refusal(
        text
    ).replace("0.3716", "0.37")
    assert_durations(read(text, lift_unit="in"))


@pytest.mark.parametrize("unit", [("in", 1 / 25.4), ("thou", 1000 / 25.4), ("µm", 1000.0)])
@pytest.mark.parametrize("named", [True, False])
def test_units_by_heading_and_by_size(read, unit, named):
    cam = np.arange(-80.0, 81.0, 2.0)
    heading = f"cam,lift [{unit[0]}]" if named else "cam,lift"
    found = read(sheet(cam, lift_mm(cam) * unit[1], heading, "{:g},{:.4f}"))
    assert any(f"lift: {unit[0]}" in line for line in found.readings.understood)
    assert_durations(found)


def test_millimetres_among_inches_are_put_right(read):
    cam = np.arange(-80.0, 81.0, 2.0)
    lift = lift_mm(cam) / np.where(np.isin(np.arange(len(cam)), (30, 31, 50)), 1, 25.4)
    found = read(sheet(cam, lift, "cam,lift", "{:g},{:.3f}"))
    assert {n.row: n.done for n in found.readings.row_notes} == dict.fromkeys(
        (32, 33, 52), "repaired"
    )


def test_a_rocker_never_multiplies_lift_at_the_valve(read, refusal):
    cam = np.arange(-80.0, 81.0, 2.0)
    at_lobe = read(
        sheet(cam, lift_mm(cam) / 1.5, "cam,lobe lift mm", "{:g},{:.4f}"), rocker_ratio=1.5
    )
    assert at_lobe.lobe.lift_m.max() == pytest.approx(9.5e-3, abs=0.02e-3)
    assert "would multiply it" in refusal(
        sheet(cam, lift_mm(cam), "cam,valve lift mm"), rocker_ratio=1.5
    )


# S16


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("f4_flow.txt", "this looks like a flow sheet"),
        ("f6_dyno.csv", "this looks like a dyno pull (columns RPM, Torque"),
        ("f7_dyno.csv", "this looks like a dyno pull (columns Drehzahl"),
        ("f8_map.csv", "this looks like a table of rpm against load"),
    ],
)
def test_the_wrong_sheet_is_told_for_what_it_is(name, words):
    with pytest.raises(SheetError) as caught:
        measured_lobe(SAMPLES / name)
    assert words in str(caught.value) and "expected a lift sheet" in str(caught.value)


def test_a_photo_an_empty_file_and_the_wrong_folder(tmp_path):
    (tmp_path / "photo.csv").write_bytes(b"\xff\xd8\xff\xe0" + bytes(200))
    (tmp_path / "empty.csv").write_bytes(b"\n")
    shutil.copy(SAMPLES / "f1_lift.csv", tmp_path / "intake_lobe.csv")
    for name, words in (
        ("photo.csv", "this is a photo"),
        ("empty.csv", "is empty"),
        ("intake_lobes.csv", "did you mean intake_lobe.csv"),
    ):
        with pytest.raises(SheetError, match=words):
            measured_lobe(tmp_path / name)


def test_a_workbook_is_read(tmp_path):
    openpyxl = pytest.importorskip("openpyxl")
    book = openpyxl.Workbook()
    for line in bench_sheet().splitlines():
        book.active.append([float(c) if c[-1].isdigit() else c for c in line.split(",")])
    book.save(tmp_path / "lobe.xlsx")
    assert_durations(measured_lobe(tmp_path / "lobe.xlsx"))


def test_the_other_sides_lobe_is_caught_by_its_centreline(refusal, read):
    crank = np.arange(0.0, 720.0, 4.0)
    text = sheet(crank, noisy((crank - 250) / 2), "crank,lift")
    assert "expected the intake lobe; nose at 250.0 deg crank: fits an exhaust lobe 110.0 BTDC" in (
        refusal(text, side="intake")
    )
    assert read(text, side="exhaust").placed.side == "exhaust"
    assert_durations(read(text, side="intake", zero="arbitrary"))
    assert "the nose is at 110 BTDC, as of an exhaust lobe" in refusal(
        text, side="intake", zero="firing"
    )


def test_exhaust_positions_in_words(read, refusal):
    rows = ["pos, lift [in]"]
    for after in range(0, 290, 5):  # from 70 BBDC
        where = (
            f"{70 - after} BBDC" if after < 70 else f"{after - 70} ABDC" if after < 160
            else f"{250 - after} BTDC" if after < 250 else f"{after - 250} ATDC"
        )  # fmt: skip
        rows.append(f"{where}, {lift_mm((after - 140) / 2) / 25.4:.4f}")
    text = "\n".join(rows)
    found = read(text)
    assert found.readings.side == "exhaust"
    assert found.centreline_deg == pytest.approx(110, abs=0.3)
    assert "the nose is at 110 BTDC, as of an exhaust lobe" in refusal(text, side="intake")


def test_other_refusals_name_what_was_found(refusal):
    cam = np.arange(-80.0, 81.0, 2.0)
    assert "A dial that counts down?" in refusal(sheet(cam, 9.5 - lift_mm(cam)))
    assert "found 4 columns of figures" not in refusal("a,b\n1,2\n")
    nameless = "\n".join(
        f"{a:g};{x:.2f};{x / 2:.2f}" for a, x in zip(cam, lift_mm(cam), strict=True)
    )
    assert "Say --column with its number" in refusal(nameless)
    half = np.where(np.arange(len(cam)) % 2, lift_mm(cam), lift_mm(cam) / 25.4)
    assert "wo units in one column" in refusal(sheet(cam, half, form="{:g},{:.3f}"))
    assert 'no column "exh"' in refusal(sheet(cam, lift_mm(cam)), column="exh")


@pytest.mark.parametrize(
    ("text", "deg", "centre"),
    [
        ("22 BTDC", -22, "TDC"),
        ("BTDC 22", -22, "TDC"),
        ("22° v. OT", -22, "TDC"),
        ("62 n.UT", 62, "BDC"),
        ("10 after TDC", 10, "TDC"),
        ("TDC", 0, "TDC"),
        ("-66,0", -66, ""),
        ("12.5°", 12.5, ""),
    ],
)
def test_angle_words(text, deg, centre):
    found = read_angle(text, ",")
    assert (found.deg, found.centre) == (deg, centre)


def test_words_that_are_no_reading():
    assert read_angle("max", ".") is None and read_angle("BTDC", ".") is None
    assert read_lift("n/a", ".") is None and read_lift("12 deg", ".") is None
    assert read_lift("211*", ".").marked
    assert read_heading("Leistung [kW]").kind == "other"

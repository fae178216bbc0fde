"""Measured lift: sheets read, smoothed and questioned."""

from __future__ import annotations

import numpy as np
import pytest

from breathe.engine.parts import Cam
from breathe.valvetrain.dwell import event, flank_splines
from breathe.valvetrain.laws import LAWS
from breathe.valvetrain.lift import lobe_from_table, read_lobe
from breathe.valvetrain.lobe import Ramp, lobe_from_card, lobe_from_law
from breathe.valvetrain.sheet import read_sheet
from breathe.valvetrain.timing import duration_deg, lift_area_m_deg, timing

RAMP = Ramp(height_m=0.26e-3, velocity_m_per_deg=0.01e-3, blend_deg=4.0)
KNOWN = {
    "card": lobe_from_card(264, 0.1e-3, 9.5e-3, second=(232, 1.0e-3))[0],
    "ramp": lobe_from_law(9.96e-3, 152, LAWS["3-4-5"], ramp=RAMP),
    "lopsided": lobe_from_law(9.5e-3, 125, LAWS["modified sine"], flank_closing_deg=140),
}


def true_lift(lobe, angle):
    opening, closing = flank_splines(lobe)
    lift = np.where(angle < 0, opening(np.minimum(angle, 0)), closing(np.maximum(angle, 0)))
    return np.where((angle < lobe.angle_deg[0]) | (angle > lobe.angle_deg[-1]), 0.0, lift)


def at_nose(lobe):
    return event(Cam(lobe=lobe, centreline_deg=110, lash_m=0), side="intake")


# Recipe: sample a known lobe every 5 crank deg, add 0.01 mm rms, recover duration at 1 mm within
# 0.5 crank deg and centreline within 0.3 (common practice, no source).
@pytest.mark.parametrize("name", ["card", "ramp"])
@pytest.mark.parametrize("seed", range(8))
def test_b9_recipe_noisy_five_degree_readings(name, seed):
    random = np.random.default_rng(seed)
    nose = 110 + random.uniform(-2.5, 2.5)
    angle = np.arange(-60.0, 281.0, 5.0)
    lift = true_lift(KNOWN[name], angle - nose) + random.normal(0, 0.01e-3, len(angle))
    found = lobe_from_table(angle, lift, made_from="test")
    truth, got = at_nose(KNOWN[name]), at_nose(found.lobe)
    assert duration_deg(got, 1e-3) == pytest.approx(duration_deg(truth, 1e-3), abs=0.5)
    off = timing(got, "intake", 1e-3).centreline_deg - 110
    assert found.nose_deg + off == pytest.approx(nose, abs=0.3)
    assert got.lift_m.max() == pytest.approx(truth.lift_m.max(), abs=0.03e-3)
    assert lift_area_m_deg(got) == pytest.approx(lift_area_m_deg(truth), rel=0.003)
    assert 0.002e-3 < found.residual_rms_m < 0.015e-3


@pytest.mark.parametrize("name", KNOWN)
@pytest.mark.parametrize("step", [1.0, 2.0, 5.0])
def test_clean_readings_pass_through(name, step):
    angle = np.arange(-200.0, 201.0, step)
    found = lobe_from_table(angle, true_lift(KNOWN[name], angle), made_from="test")
    truth, got = at_nose(KNOWN[name]), at_nose(found.lobe)
    assert duration_deg(got, 0.1e-3) == pytest.approx(duration_deg(truth, 0.1e-3), abs=0.4)
    for checking in (0.5e-3, 1e-3, 5e-3):
        assert duration_deg(got, checking) == pytest.approx(duration_deg(truth, checking), abs=0.05)
    assert np.abs(found.residual_m).max() < 0.01e-3
    assert lift_area_m_deg(got) == pytest.approx(lift_area_m_deg(truth), rel=5e-4)
    assert found.notes == ()


def test_flanks_end_level_at_the_base_and_at_the_peak():
    random = np.random.default_rng(3)
    angle = np.arange(-180.0, 181.0, 2.0)
    lift = true_lift(KNOWN["lopsided"], angle) + random.normal(0, 0.01e-3, len(angle))
    lobe = lobe_from_table(angle, lift, made_from="test").lobe
    assert lobe.lift_m[0] == lobe.lift_m[-1] == 0.0
    assert np.all(lobe.lift_m >= 0)
    opening, closing = flank_splines(lobe)
    for flank, nose in ((opening, opening.x[-1]), (closing, closing.x[0])):
        # A sleeve opens here: a spline forced level must not need a sudden bend to get there.
        bend = np.abs(flank.derivative(2)(np.linspace(nose - 4, nose + 4, 50)))
        assert np.nanmax(bend) < 0.01e-3


def write(folder, text, name="lobe.csv"):
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def sheet_text(angle, lift, header="angle [deg crank],lift [mm]", separator=","):
    rows = [f"{a:g}{separator}{x:.4f}" for a, x in zip(angle, lift, strict=True)]
    return "\n".join([header.replace(",", separator), *rows]) + "\n"


ANGLE = np.arange(-150.0, 151.0, 5.0)
LIFT_MM = true_lift(KNOWN["card"], ANGLE) * 1e3


@pytest.mark.parametrize(
    ("header", "to_angle", "to_lift"),
    [
        ("angle [deg crank],lift [mm]", 1.0, 1.0),
        ("Crank angle [° crank],Lift [in]", 1.0, 1 / 25.4),
        ("angle [deg cam],lift [thou]", 0.5, 1000 / 25.4),
        ("angle [deg cam],valve lift [µm]", 0.5, 1000.0),
    ],
)
def test_units_in_the_header(tmp_path, header, to_angle, to_lift):
    path = write(tmp_path, sheet_text(ANGLE * to_angle, LIFT_MM * to_lift, header))
    lobe, notes = read_lobe(path, "intake")
    assert duration_deg(at_nose(lobe), 1e-3) == pytest.approx(232, abs=0.3)
    assert "61 rows" in notes[0] and "mm (rms)" in notes[0]
    assert lobe.made_from == "measured: lobe.csv"


def test_decimal_comma_remarks_and_empty_lines(tmp_path):
    text = sheet_text(ANGLE, LIFT_MM, separator=";").replace(".", ",")
    path = write(tmp_path, "\ufeff# bench, lobe 3\n\n" + text)
    sheet = read_sheet(path)
    assert sheet.lift_m * 1e3 == pytest.approx(LIFT_MM, abs=1e-4)
    assert sheet.row[0] == 4


def test_rocker_ratio_multiplies(tmp_path):
    path = write(tmp_path, sheet_text(ANGLE, LIFT_MM / 1.5))
    assert read_lobe(path, "intake", 1.5)[0].lift_m.max() == pytest.approx(9.5e-3, rel=1e-3)


def test_the_other_sides_lobe_is_questioned(tmp_path):
    angle = np.arange(0.0, 720.0, 4.0)
    path = write(tmp_path, sheet_text(angle, true_lift(KNOWN["card"], angle - 250) * 1e3))
    assert any(
        "this is the exhaust lobe, read here as intake" in n for n in read_lobe(path, "intake")[1]
    )
    assert not any("read here as" in n for n in read_lobe(path, "exhaust")[1])


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "lobe.csv: found no rows"),
        ("rpm,torque,power\n1000,2,3\n", "row 1: found 3 columns"),
        ("rpm,torque\n1000,2\n", "row 1: found column 'rpm'; expected two columns with units"),
        ("angle,lift [mm]\n1,2\n", "found column 'angle'.*angle in deg crank"),
        ("angle [deg crank],lift [furlong]\n1,2\n", "found column 'lift .furlong.'.*lift in mm"),
        (
            "angle [deg crank],lift [mm]\n0,0\n5,x\n5,1\n4,2\n6,3,4\n",
            r"row 3: found '5,x'; expected an angle and a lift; row 5: found angle 4; "
            r"expected more, as row 4 has 5; row 6: found '6,3,4'",
        ),
        ("angle [deg crank],lift [mm]\n0,0\n5,1\n10,0\n", "found 3 readings; expected at least 12"),
        (sheet_text(ANGLE, LIFT_MM * 25.4), "greatest lift of 241 mm.*Is the unit right"),
        (sheet_text(ANGLE * 3, LIFT_MM), "angles over 900 deg crank"),
        (sheet_text(ANGLE[8:], LIFT_MM[8:]), r"first reading is 1\.\d+ mm; expected readings down"),
    ],
)
def test_bad_sheets_get_one_clear_message(tmp_path, text, words):
    path = write(tmp_path, text)
    with pytest.raises(ValueError, match=words):
        read_lobe(path, "intake")


def test_a_picture_is_not_a_sheet(tmp_path):
    path = tmp_path / "lobe.csv"
    path.write_bytes(b"\x89PNG\x00\x00\x01")
    with pytest.raises(ValueError, match="not text"):
        read_lobe(path, "intake")


def test_a_reading_that_stands_out_is_refused_by_its_row(tmp_path):
    lift = LIFT_MM.copy()
    lift[20] = 0.25  # inches among millimetres: 0.25 where 7.2 is due
    with pytest.raises(
        ValueError, match=r"row 22: found a lift of 0.25 mm; its neighbours suggest 7.2"
    ):
        read_lobe(write(tmp_path, sheet_text(ANGLE, lift)), "intake")


def test_a_wrong_zero_and_a_short_sheet_are_noted(tmp_path):
    raised = read_lobe(write(tmp_path, sheet_text(ANGLE, LIFT_MM + 0.08)), "intake")
    assert any("base circle reads +0.080 mm" in note for note in raised[1])
    assert raised[0].lift_m.max() == pytest.approx(9.5e-3, abs=2e-5)
    inside = np.abs(ANGLE) < 131
    short = read_lobe(write(tmp_path, sheet_text(ANGLE[inside], LIFT_MM[inside])), "intake")
    assert any("seat duration is a guess" in note for note in short[1])
    assert duration_deg(at_nose(short[0]), 1e-3) == pytest.approx(232, abs=0.3)


@pytest.mark.parametrize(
    ("apart", "words"), [(200, "dip of .* on the closing flank"), (290, "found a second rise")]
)
def test_two_lobes_in_one_sheet_are_refused(apart, words):
    angle = np.arange(-150.0, 450.0, 4.0)
    both = true_lift(KNOWN["card"], angle) + 0.8 * true_lift(KNOWN["card"], angle - apart)
    with pytest.raises(ValueError, match=f"{words}.*wo lobes in one sheet"):
        lobe_from_table(angle, both, made_from="test")


def test_wild_scatter_is_refused():
    random = np.random.default_rng(5)
    angle = np.arange(-150.0, 151.0, 5.0)
    lift = true_lift(KNOWN["card"], angle) + random.normal(0, 0.3e-3, len(angle))
    with pytest.raises(ValueError, match="scatter by"):
        lobe_from_table(angle, lift, made_from="test")


@pytest.mark.parametrize("name", KNOWN)
def test_coarse_clean_readings_are_not_taken_for_slips(name):
    for start in np.linspace(0, 9, 7):
        angle = np.arange(-200.0 + start, 201.0, 10.0)
        found = lobe_from_table(angle, true_lift(KNOWN[name], angle), made_from="test")
        assert found.lobe.lift_m.max() == pytest.approx(KNOWN[name].lift_m.max(), rel=0.01)

"""Cam cards, sleeves and settings: what they mean in degrees, and what is refused."""

from __future__ import annotations

import dataclasses
import re

import numpy as np
import pytest

from breathe.engine.card_lobe import lobe_width
from breathe.study.checks.check import ends_of_travel
from breathe.valvetrain.dwell import event
from breathe.valvetrain.timing import timing

CARD = """
[engine]
cylinders = 4
bore = "80.26 mm"
stroke = "89 mm"
rod = "165 mm"
compression_ratio = 9.0
[intake.valve]
count = 1
head_diameter = "41 mm"
[exhaust.valve]
head_diameter = "35 mm"
[intake.cam]
opens = "20 BTDC"
closes = "60 ABDC"
lobe_lift = "0.247 in"
rocker_ratio = 1.46
lash = "0.015 in"
[exhaust.cam]
opens = "60 BBDC"
closes = "20 ATDC"
"""


def zero_lash(cam):
    return dataclasses.replace(cam, lash_m=0.0)


def test_a_card_of_events_gives_duration_centreline_and_valve_lift(read_text):
    # Geometry: 20 + 180 + 60 = 260, 260/2 - 20 = 110; 0.247 x 1.46 x 25.4 = 9.16 (recomputed).
    engine = read_text(CARD)
    cam = engine.intake_cam
    assert cam.centreline_deg == 110.0
    assert engine.exhaust_cam.centreline_deg == 110.0
    assert cam.lobe.lift_m.max() * 1e3 == pytest.approx(9.16, abs=0.005)
    assert lobe_width(cam.lobe, 0.381e-3) == pytest.approx(260.0, abs=0.1)


def test_a_missing_checking_height_is_asked_about_with_what_it_changes(read_text):
    engine = read_text(CARD)
    heights = {a.key: a.value for a in engine.assumed if a.key.endswith("checking_height")}
    assert heights == {
        "intake.cam.checking_height": "0.381 mm",
        "exhaust.cam.checking_height": "0.1 mm",
    }
    assert engine.questions[0] == (
        "[intake.cam] checking_height: missing; at which lift does the card count? 0.381 mm is "
        "taken, which makes 275 deg crank at 0.1 mm, lash not taken off. A wrong guess changes "
        "that: 260 if at 0.1 mm, 263 if at 0.006 in, 299 if at 1 mm, 309 if at 0.050 in"
    )


@pytest.mark.parametrize(("height", "duration"), [("0.1 mm", 260), ("1 mm", 299)])
def test_what_the_question_says_is_what_such_a_card_gives(read_text, height, duration):
    text = CARD.replace("lash =", f'checking_height = "{height}"\nchecked_at = "valve"\nlash =', 1)
    assert lobe_width(read_text(text).intake_cam.lobe, 0.1e-3) == pytest.approx(duration, abs=0.6)


def test_a_checking_height_alone_is_that_of_the_usual_lobe(read_text, sleeve_four):
    text = sleeve_four.replace('duration = "228 deg crank"\n', "").replace("0.10 mm", "1.0 mm")
    text = text.split("[[setting]]")[0].replace('standard = "264°"\n', "")
    usual = text.replace('checking_height = "1.0 mm"\n', "")
    lobes = [read_text(t).intake_cam.lobe for t in (text, usual)]
    assert lobe_width(lobes[0], 1e-3) == pytest.approx(lobe_width(lobes[1], 1e-3), abs=0.2)


def test_a_typical_flank_is_told_as_a_duration(read_text):
    told = {a.key: a.value for a in read_text(CARD).assumed}
    assert told["intake.cam.second_duration"] == "239 deg crank at 1.0 mm"


def test_heights_at_the_lobe_are_multiplied_by_the_rocker_ratio(read_text):
    text = CARD.replace(
        "lash =", 'checking_height = "0.050 in"\nchecked_at = "lobe"\nlash =', 1
    ).replace('"20 BTDC"', '"10 BTDC"', 1)
    lobe = read_text(text).intake_cam.lobe
    assert lobe_width(lobe, 0.050 * 0.0254 * 1.46) == pytest.approx(250.0, abs=0.1)


# The sleeve of the example engine: closing delayed by 5 deg per mm from 26 ABDC (geometry).
CLOSES = {228: 26, 240: 38, 252: 50, 264: 62, 276: 74, 288: 86}


@pytest.mark.parametrize(("duration", "abdc"), CLOSES.items())
def test_sleeve_settings_close_where_the_travel_says(read_text, sleeve_four, duration, abdc):
    text = sleeve_four.replace("264°", f"{duration}°").replace("264 deg", f"{duration} deg")
    engine = read_text(text)
    setting = engine.settings[0]
    assert setting.intake_travel_m * 1e3 == pytest.approx((duration - 228) / 5)
    lift = event(zero_lash(engine.intake_cam), travel_m=setting.intake_travel_m, side="intake")
    at_card = timing(lift, "intake", 0.10e-3)
    assert at_card.opens == "22 BTDC"
    assert at_card.closes == f"{abdc} ABDC"


SETTINGS = [
    (
        'intake.duration = "310 deg crank"',
        '[[setting]] 1 "x" intake.duration: needs 16.4 mm, the sleeve has 12.0 mm',
    ),
    (
        'intake.duration = "220 deg crank"',
        '[[setting]] 1 "x" intake.duration: shorter than the sleeve\'s 228 deg crank at 0.1 mm at '
        "travel 0",
    ),
    (
        'intake.travel = "3 mm"\nintake.added = "20 deg crank"',
        '[[setting]] 1 "x" intake: found added and travel; give one of them',
    ),
    (
        'exhaust.added = "20 deg crank"',
        '[[setting]] 1 "x" exhaust.added: needs a sleeve; the file has no [exhaust.sleeve] (a '
        "longer ground lobe is stretch)",
    ),
    (
        'intake.cam = "hot"',
        '[[setting]] 1 "x" intake.cam: found "hot"; the file has no [[other_cam]]',
    ),
]


@pytest.mark.parametrize(("lines", "fault"), SETTINGS)
def test_impossible_settings_are_refused(faults_of, sleeve_four, lines, fault):
    text = sleeve_four.replace('"264°"', '"x"').replace('intake.duration = "264 deg crank"', lines)
    assert faults_of(text) == [fault]


def test_a_valve_that_hardly_seats_is_refused(faults_of, sleeve_four):
    text = sleeve_four.replace("228 deg crank", "290 deg crank")
    text = text.replace('intake.duration = "264 deg crank"', "intake.stretch = 2.0")
    (fault,) = faults_of(text)
    assert re.fullmatch(
        r'\[\[setting\]\] "264°": intake cam: lift lasts \d+ deg crank and leaves the valve seated '
        r"for \d+ deg; expected at least 180 deg",
        fault,
    )


def test_a_setting_given_twice_is_merged_and_said(read_text, sleeve_four):
    engine = read_text(sleeve_four + '[[setting]]\nlabel = "again"\nintake.travel = "7.2 mm"\n')
    assert [s.label for s in engine.settings] == ["264°"]
    assert engine.notes == (
        '[[setting]] 2 "again": the same cam setting as "264°"; the two are merged',
    )


def test_a_merged_label_may_still_be_the_standard(read_text, sleeve_four):
    text = sleeve_four.replace('standard = "264°"', 'standard = "again"')
    engine = read_text(text + '[[setting]]\nlabel = "again"\nintake.travel = "7.2 mm"\n')
    assert engine.standard == "264°"


def test_an_unknown_standard_gets_the_nearest_label(faults_of, sleeve_four):
    text = sleeve_four.replace('standard = "264°"', 'standard = "264"')
    assert faults_of(text) == ['[engine] standard: found "264"; did you mean "264°"?']


LAW = 'travel = "12.0 mm"\nrate = "5.0 deg crank/mm"'


def test_a_range_stands_for_the_travel_or_for_the_rate(read_text, faults_of, sleeve_four):
    assert LAW in sleeve_four
    for law in (
        'travel = "12.0 mm"\nrange = "60 deg crank"',
        'rate = "5.0 deg crank/mm"\nrange = "60 deg crank"',
    ):
        sleeve = read_text(sleeve_four.replace(LAW, law)).intake_cam.sleeve
        assert sleeve.crank_deg_per_m == pytest.approx(5000.0) and sleeve.law_known
        assert sleeve.travel_max_m == pytest.approx(12e-3)
    (fault,) = faults_of(sleeve_four.replace(LAW, f'{LAW}\nrange = "50 deg crank"'))
    assert "is 60 deg crank, found range 50 deg crank; give two of them" in fault
    (fault,) = faults_of(sleeve_four.replace(LAW, 'travel = "12.0 mm"'))
    assert 'rate is missing; write rate = "5.0 deg crank/mm"' in fault
    assert 'range = "60 deg crank" in place of travel' in fault


def test_a_sleeve_without_a_law_counts_in_degrees(read_text, faults_of, sleeve_four):
    text = sleeve_four.replace(LAW, 'range = "60 deg crank"')
    engine = read_text(text)
    sleeve, setting = engine.intake_cam.sleeve, engine.settings[0]
    assert not sleeve.law_known
    assert setting.intake_travel_m * sleeve.crank_deg_per_m == pytest.approx(36.0)
    assert any("only degrees are told" in note for note in engine.notes)
    with_law = event(read_text(sleeve_four).intake_cam, travel_m=7.2e-3, side="intake")
    without = event(engine.intake_cam, travel_m=setting.intake_travel_m, side="intake")
    assert np.allclose(without.lift_m, with_law.lift_m, atol=1e-9)
    (fault,) = faults_of(text.replace("264 deg", "310 deg"))
    assert "needs 82 deg crank of dwell, the sleeve's range is 60" in fault
    (fault,) = faults_of(text.replace('duration = "264 deg crank"', 'travel = "7.2 mm"'))
    assert "needs rate in [intake.sleeve]; or give added, in degrees" in fault


def test_lead_and_rate_are_two_ways_to_say_one_thing(read_text, faults_of, sleeve_four):
    lead = read_text(sleeve_four.replace('rate = "5.0 deg crank/mm"', 'lead = "144 mm"'))
    rate = read_text(sleeve_four).intake_cam.sleeve.crank_deg_per_m
    assert lead.intake_cam.sleeve.crank_deg_per_m == pytest.approx(rate, rel=1e-12)
    both = sleeve_four.replace("hold =", 'lead = "100 mm"\nhold =')
    assert faults_of(both) == [
        "[intake.sleeve]: rate 5 deg crank/mm and lead 100 mm (7.20 deg crank/mm) disagree; "
        "give one"
    ]


def test_a_card_that_contradicts_itself_is_refused(faults_of, sleeve_four):
    text = sleeve_four.replace('opens = "22 BTDC"', 'opens = "22 BTDC"\ncloses = "50 ABDC"')
    assert faults_of(text) == [
        "[intake.cam]: opens and closes make 252 deg crank, duration says 228"
    ]


def test_without_settings_a_sleeve_is_stepped_through_its_travel(read_text, sleeve_four):
    text = sleeve_four.split("[[setting]]")[0].replace('standard = "264°"\n', "")
    engine = read_text(text)
    assert [s.label for s in engine.settings] == ["228°", "240°", "252°", "264°", "276°", "288°"]
    travels = [s.intake_travel_m * 1e3 for s in engine.settings]
    assert travels == pytest.approx([0, 2.4, 4.8, 7.2, 9.6, 12.0])


def test_a_measured_lobe_takes_the_place_of_a_card(read_text, faults_of, tmp_path, sleeve_four):
    angle = np.arange(-130.0, 131.0, 5.0)
    lift = 9.5 * np.cos(np.radians(90 * np.clip(angle / 119.0, -1, 1))) ** 1.6
    rows = [f"{a},{max(x, 0):.2f}" for a, x in zip(angle, lift, strict=True)]
    (tmp_path / "lobe.csv").write_text("angle [deg crank],lift [mm]\n" + "\n".join(rows) + "\n")
    card = sleeve_four.split("[intake.cam]")[1].split("[intake.sleeve]")[0]
    measured = '\nlift_file = "lobe.csv"\nopens = "22 BTDC"\n'
    engine = read_text(sleeve_four.replace(card, measured))
    assert engine.intake_cam.lobe.made_from == "measured: lobe.csv"
    assert engine.intake_cam.lobe.lift_m.max() * 1e3 == pytest.approx(9.5, abs=0.03)
    found = faults_of(sleeve_four.replace(card, measured.replace("lobe.csv", "gone.csv")))
    assert len(found) == 1
    assert found[0].startswith("[intake.cam] lift_file: gone.csv: no such file in ")
    assert found[0].endswith("; did you mean lobe.csv?")


@pytest.fixture
def measured_sleeve(sleeve_four, tmp_path):
    """A sleeve whose flanks are measured: its duration is no round number."""
    angle = np.arange(-160.0, 161.0, 2.0)
    lift = 9.5 * np.cos(np.radians(90 * np.clip(np.abs(angle) / 120, 0, 1))) ** 1.8
    rows = [f"{a},{x:.3f}" for a, x in zip(angle, lift, strict=True)]
    (tmp_path / "lobe.csv").write_text("angle [deg crank],lift [mm]\n" + "\n".join(rows) + "\n")
    card = sleeve_four.split("[intake.cam]")[1].split("[intake.sleeve]")[0]
    return sleeve_four.replace(card, '\nlift_file = "lobe.csv"\nopens = "22 BTDC"\n')


@pytest.mark.parametrize("off", [-0.9, -0.004, 0.4])
@pytest.mark.parametrize("end", [0.0, 12e-3])
def test_a_duration_at_an_end_of_a_measured_sleeve_is_that_end(
    read_text, measured_sleeve, off, end
):
    cam = read_text(measured_sleeve).intake_cam
    width = lobe_width(cam.lobe, 0.1e-3)
    # ``off`` counts into the sleeve's range: less than nothing lies beyond its end.
    wanted = width + off if end == 0 else width + 60 - off
    text = measured_sleeve.replace('"264 deg crank"', f'"{wanted:.4f} deg crank"')
    engine = read_text(text)
    assert engine.settings[0].intake_travel_m == end
    assert ends_of_travel(engine, engine.settings)[0].intake_travel_m == (12e-3 - end)
    assert len(ends_of_travel(engine, engine.settings)) == 1
    (told,) = [one for one in engine.notes if "intake.duration" in one]
    assert told.endswith(f"taken as {end * 1e3:g} mm of travel")
    assert ("shorter" in told) == ((off < 0) == (end == 0))


@pytest.mark.parametrize("off", [-1.5, 61.5])
def test_a_duration_well_beyond_a_measured_sleeve_is_refused(
    read_text, faults_of, measured_sleeve, off
):
    width = lobe_width(read_text(measured_sleeve).intake_cam.lobe, 0.1e-3)
    text = measured_sleeve.replace('"264 deg crank"', f'"{width + off:.4f} deg crank"')
    (fault,) = faults_of(text)
    assert "intake.duration: " in fault


# Flow of the example head at 28 inH2O; coefficients on curtain area recomputed with air of
# 1.2 kg/m3: 0.52 at 0.100 in falling to 0.38 at 0.450 in on the bench convention. The isentropic
# flow of an intake port at that drop is 0.9624 of it (recomputed, check A-6f).
FLOW = """
[intake.valve.flow]
lift = ["0.100 in", "0.200 in", "0.300 in", "0.400 in", "0.450 in"]
bench_flow = ["64.1 cfm", "121.8 cfm", "171.5 cfm", "203.0 cfm", "212.2 cfm"]
bench_pressure = "28 inH2O"
bench_valves = 2
"""


def test_a_flow_sheet_becomes_coefficients(read_text, sleeve_four):
    coefficients = read_text(sleeve_four + FLOW).intake_valve.coefficients
    assert coefficients.forward[0] * 0.9624 == pytest.approx(0.52, abs=0.005)
    assert coefficients.forward[-1] * 0.9624 == pytest.approx(0.38, abs=0.005)


def test_a_flow_sheet_without_its_pressure_asks(faults_of, sleeve_four):
    text = sleeve_four + FLOW.replace('bench_pressure = "28 inH2O"\n', "")
    assert faults_of(text) == [
        "[intake.valve.flow] bench_pressure: missing; 10, 25 or 28 inH2O? Write bench_pressure = "
        '"28 inH2O"'
    ]


def test_flow_in_the_wrong_unit_is_refused_with_the_likely_slip(faults_of, sleeve_four):
    text = sleeve_four + FLOW.replace(" cfm", " l/s")
    assert faults_of(text)[0] == (
        "[intake.valve.flow]: at lift 2.54 mm the coefficient on curtain area is 1.10; expected at "
        "most 0.95; one valve or two? inches or mm? l/s or cfm?"
    )

"""The phaser of an engine file: what is read, asked, refused."""

from __future__ import annotations

import pytest

EXAMPLE = 'earliest = "-20 deg crank", latest = "20 deg crank"'


def phaser(earliest: str = "", latest: str = "", side: str = "intake") -> str:
    lines = [f'earliest = "{earliest}"'] if earliest else []
    lines += [f'latest = "{latest}"'] if latest else []
    return f"[{side}.phaser]\n" + "".join(f"{line}\n" for line in lines)


def test_cam_degrees_count_twice(read_text, sleeve_four):
    engine = read_text(sleeve_four + phaser("-10 deg cam", "15 deg crank"))
    turn = engine.intake_cam.phaser
    assert (turn.earliest_deg, turn.latest_deg) == (-20.0, 15.0)


def test_an_end_left_out_is_listed_as_assumed(read_text, sleeve_four):
    engine = read_text(sleeve_four + phaser("-20 deg crank"))
    assert engine.intake_cam.phaser.latest_deg == 0.0
    (listed,) = [one for one in engine.assumed if one.key == "intake.phaser.latest"]
    assert listed.value == "0 deg crank" and "turns no later" in listed.reason


@pytest.mark.parametrize(
    ("earliest", "latest", "fault"),
    [
        (
            "20 deg crank",
            "-20 deg crank",
            "found earliest 20 and latest -20 deg crank; the other way round? Earlier is negative, "
            f"such as {EXAMPLE}",
        ),
        (
            "0 deg crank",
            "0 deg crank",
            "found earliest 0 and latest 0 deg crank, which is no turn at all; expected a range, "
            f"such as {EXAMPLE}",
        ),
        (
            "5 deg crank",
            "20 deg crank",
            "found earliest 5 and latest 20 deg crank; expected a range that holds the place the "
            f"cam card gives, which is 0, such as {EXAMPLE}",
        ),
    ],
)
def test_a_phaser_that_cannot_be_gets_one_message(faults_of, sleeve_four, earliest, latest, fault):
    assert faults_of(sleeve_four + phaser(earliest, latest)) == [f"[intake.phaser]: {fault}"]


def test_a_fault_in_an_end_is_not_told_twice(faults_of, sleeve_four):
    assert faults_of(sleeve_four + phaser("-20", "")) == [
        '[intake.phaser] earliest: found "-20" without a unit; is that -20 deg crank? Write '
        '"-20 deg crank"'
    ]


def test_more_turn_than_phasers_have_is_asked_about(read_text, sleeve_four):
    engine = read_text(sleeve_four + phaser("-90 deg crank", "20 deg crank"))
    (asked,) = [one for one in engine.questions if "phaser" in one]
    assert asked.startswith("[intake.phaser] earliest: found -90 deg crank (-45 deg cam)")


def test_a_setting_beyond_the_phaser_is_asked_about(read_text, sleeve_four):
    text = sleeve_four + phaser("-20 deg crank", "10 deg crank")
    text += '[[setting]]\nlabel = "late"\nintake.shift = "15 deg crank"\n'
    (asked,) = read_text(text).questions
    assert asked.startswith(
        '[[setting]] 2 "late" intake.shift: 15 deg crank is beyond the phaser, latest 10'
    )


def test_a_table_without_its_side_is_told_where_it_belongs(faults_of, sleeve_four):
    text = sleeve_four + '[phaser]\nearliest = "-20 deg crank"\n'
    assert faults_of(text) == [
        "[phaser]: not a table by itself; write [intake.phaser] or [exhaust.phaser]"
    ]


def test_a_sleeve_without_travel_is_asked_about(read_text, sleeve_four):
    text = sleeve_four.replace('"12.0 mm"', '"0 mm"').partition("[[setting]]")[0]
    engine = read_text(text.replace('standard = "264°"', ""))
    assert "[intake.sleeve] travel: found 0: a sleeve that never moves?" in engine.questions


def bare(text):
    """Without sleeve and settings, which end the file."""
    return text.replace('standard = "264°"\n', "").split("[intake.sleeve]")[0]


def test_without_settings_a_phaser_is_stepped_through_its_turn(read_text, sleeve_four):
    text = bare(sleeve_four) + phaser("-20 deg crank", "10 deg crank")
    engine = read_text(text)
    assert [s.label for s in engine.settings] == ["-20°", "-10°", "own", "+5°", "+10°"]
    assert [s.intake_shift_deg for s in engine.settings] == [-20, -10, 0, 5, 10]
    assert engine.standard == "own"


def test_without_settings_a_sleeve_on_the_exhaust_alone_is_stepped(read_text, sleeve_four):
    sleeve = '[exhaust.sleeve]\ntravel = "10 mm"\nrate = "5 deg crank/mm"\n'
    sleeve += 'hold = "closing"\n'
    engine = read_text(bare(sleeve_four) + sleeve)
    travels = [s.exhaust_travel_m * 1e3 for s in engine.settings]
    assert travels == pytest.approx([0, 2, 4, 6, 8, 10])
    assert all(s.intake_travel_m == 0 for s in engine.settings)

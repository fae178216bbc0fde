"""The file `breathe new` writes: reads back, and gives the same engine when uncommented."""

from __future__ import annotations

import re

import pytest

from breathe.engine.findings import EngineFileError
from breathe.engine.write_new import QUESTIONS, new_engine_text

ANSWERS = {
    "engine.name": 'The "blue" one',
    "engine.cylinders": "4",
    "engine.bore": "80,26 mm",
    "engine.stroke": "89 mm",
    "engine.rod": "",
    "engine.compression_ratio": "9,0",
    "intake.valve.count": "1",
    "intake.valve.head_diameter": "41 mm",
    "exhaust.valve.head_diameter": "35 mm",
    "card": "20-60 / 60-20",
    "intake.cam.lash": "0.015 in",
    "intake.cam.lobe_lift": "0.247 in",
    "intake.cam.rocker_ratio": 1.46,
}


def uncommented(text: str) -> str:
    return re.sub(r"(?m)^# (?=\[|\w+ = )", "", text)


def test_what_was_said_is_a_line_and_the_rest_a_comment(read_text):
    text = new_engine_text(ANSWERS)
    assert 'bore = "80,26 mm"\n' in text
    assert "compression_ratio = 9.0\n" in text
    assert (
        '# rod = "151.3 mm"            # assumed: rod/stroke 1.7, typical of road 2V pushrod'
        in (re.sub(r" +#", "            #", text))
    )
    engine = read_text(text)
    assert engine.name == 'The "blue" one'
    assert engine.intake_cam.centreline_deg == 110.0


@pytest.mark.parametrize(
    "answers",
    [
        ANSWERS,
        {"engine.cylinders": 1, "engine.bore": "96 mm", "engine.stroke": "69 mm"},
        {"engine.cylinders": 8, "engine.bore": "4 in", "engine.stroke": "3.2 in"},
        {q.key: q.example for q in QUESTIONS},
    ],
)
def test_the_assumed_lines_can_be_uncommented(read_text, answers):
    text = new_engine_text(answers)
    kept, spelled_out = read_text(text), read_text(uncommented(text))
    assert spelled_out.cylinder.rod_m == pytest.approx(kept.cylinder.rod_m, rel=1e-3)
    assert spelled_out.fires_at_deg == kept.fires_at_deg
    assert spelled_out.standard == kept.standard
    assert len(spelled_out.assumed) < len(kept.assumed)
    pipes = {p.name: p for p in spelled_out.pipes}
    assert pipes.keys() == {p.name for p in kept.pipes}
    for pipe in kept.pipes:
        same = pipes[pipe.name]
        assert same.length_m == pytest.approx(pipe.length_m, abs=1e-4)
        assert (same.start, same.end) == (pipe.start, pipe.end)
        assert same.wall_K == pytest.approx(pipe.wall_K, abs=0.5)
    for side in ("intake_cam", "exhaust_cam"):
        there, here = getattr(spelled_out, side), getattr(kept, side)
        assert there.centreline_deg == pytest.approx(here.centreline_deg, abs=0.01)
        assert there.lobe.lift_m.max() == pytest.approx(here.lobe.lift_m.max(), rel=2e-3)
        span = there.lobe.angle_deg[-1] - there.lobe.angle_deg[0]
        assert span == pytest.approx(here.lobe.angle_deg[-1] - here.lobe.angle_deg[0], abs=1.0)


def test_a_wrong_answer_is_refused_like_a_wrong_file():
    with pytest.raises(EngineFileError) as refusal:
        new_engine_text({**ANSWERS, "engine.bore": "3.16", "engine.colour": "red", "card": "20"})
    assert str(refusal.value) == (
        'new engine: 1 fault\n  card: found "20"; expected intake / exhaust such as "20-60 / 60-20"'
    )
    with pytest.raises(EngineFileError) as refusal:
        new_engine_text({**ANSWERS, "engine.bore": "3.16"})
    assert str(refusal.value) == (
        'new engine: 1 fault\n  [engine] bore: found "3.16" without a unit; is that 3.16 in '
        '(80.3 mm)? Write "3.16 in"'
    )


def test_both_cams_are_asked_for_their_checking_height(read_text):
    heights = {f"{side}.cam.checking_height": "0.10 mm" for side in ("intake", "exhaust")}
    assert heights.keys() <= {question.key for question in QUESTIONS}
    for answers, asked in ((ANSWERS, 2), (ANSWERS | heights, 0)):
        engine = read_text(new_engine_text(answers))
        assert sum("checking_height" in question for question in engine.questions) == asked


def test_mechanical_answers_stand_in_the_file(read_text):
    text = new_engine_text(
        ANSWERS
        | {
            "intake.spring.seat_load": "250 N",
            "intake.spring.seat_height": "34 mm",
            "intake.spring.rate": "32 N/mm",
            "intake.shaft_room.between_bearings": "38 mm",
            "intake.shaft_room.lobes": "2",
            "intake.shaft_room.fixed_per_lobe": "13.4 mm",
            "intake.shaft_room.shared_sleeve": "true",
        }
    )
    kept, spelled_out = read_text(text).mechanics, read_text(uncommented(text)).mechanics
    assert kept.intake.spring.seat_load_N == 250.0
    assert kept.intake.room.shared_sleeve is True
    assert spelled_out.tolerances == kept.tolerances
    assert '# cam = "2 deg crank"' in text

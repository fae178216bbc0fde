"""The file `breathe new` writes: reads back, and gives the same engine when uncommented."""

from __future__ import annotations

import re
import tomllib

import pytest

from breathe.engine.findings import EngineFileError
from breathe.engine.keys import ENGINE_FILE, Key
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


KEY = re.compile(r"(?m)^# (?=\w+ = )")


def uncommented(text: str) -> str:
    return KEY.sub("", text)


def test_what_was_said_is_a_line_and_the_rest_a_comment(read_text):
    text = new_engine_text(ANSWERS)
    assert 'bore = "80,26 mm"\n' in text
    assert "compression_ratio = 9.0\n" in text
    assert '# rod = "151 mm"            # assumed: rod/stroke 1.7, typical of road 2V pushrod' in (
        re.sub(r" +#", "            #", text)
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
        'new engine: 1 fault\n  card: found "20"; expected IVO-IVC / EVO-EVC such as '
        '"20-60 / 60-20 @ 0.015 in lash", each before TDC, after BDC, before BDC, after TDC'
    )
    with pytest.raises(EngineFileError) as refusal:
        new_engine_text({**ANSWERS, "engine.bore": "3.16"})
    assert str(refusal.value) == (
        'new engine: 1 fault\n  [engine] bore: found "3.16" without a unit; is that 3.16 in '
        '(80.3 mm)? Write "3.16 in"'
    )


CHOICES = {
    "two-valve four": ANSWERS,
    "single": {"engine.cylinders": 1, "engine.bore": "96 mm", "engine.stroke": "69 mm"},
    "eight": {"engine.cylinders": 8, "engine.bore": "4 in", "engine.stroke": "3.2 in"},
    "race": {"engine.cylinders": 4, "engine.bore": "86 mm", "engine.stroke": "77 mm",
             "engine.class": "race 4V"},
    "sleeve": {q.key: q.example for q in QUESTIONS if not q.unless or q.key == "intake.cam.lift"}
    | {"intake.cam.rocker_ratio": "", "exhaust.cam.lobe_lift": "", "exhaust.cam.rocker_ratio": ""},
}  # fmt: skip


@pytest.mark.parametrize("name", CHOICES)
def test_any_single_commented_line_can_be_uncommented(read_text, name):
    text = new_engine_text(CHOICES[name])
    places = [match.start() for match in KEY.finditer(text)]
    assert len(places) > 60
    for place in places:
        line = text[place : text.index("\n", place)]
        try:
            read_text(text[:place] + text[place + 2 :])
        except EngineFileError as error:
            pytest.fail(f"{line}: {error}")


@pytest.mark.parametrize("name", CHOICES)
def test_any_block_can_be_uncommented(read_text, name):
    blocks = new_engine_text(CHOICES[name]).split("\n\n")
    for number in range(len(blocks)):
        changed = [uncommented(b) if n == number else b for n, b in enumerate(blocks)]
        assert read_text("\n\n".join(changed)).pipes, blocks[number]


def test_a_single_length_of_ones_own_takes_effect(read_text):
    text = new_engine_text(ANSWERS)
    own = re.sub(r'# length = "\d+ mm"( *# assumed: 250 mm)', r'length = "200 mm"\1', text)
    pipes = {pipe.name: pipe for pipe in read_text(own).pipes}
    assert pipes["intake runner 3"].built_length_m == pytest.approx(0.2)
    kept = {pipe.name: pipe for pipe in read_text(text).pipes}
    assert pipes["intake port 3"] == kept["intake port 3"]
    assumed = {one.key for one in read_text(own).assumed}
    assert 'pipe "intake port" length' in assumed
    assert 'pipe "intake runner" length' not in assumed


def test_another_class_keeps_the_parts_the_file_names(read_text):
    text = new_engine_text(ANSWERS)
    race = re.sub(r'# class = "[^"]*"', 'class = "race 4V"', text)
    names = {pipe.name for pipe in read_text(text).pipes}
    assert {pipe.name for pipe in read_text(race).pipes} == names


def test_a_part_of_no_typical_name_needs_its_sizes(faults_of):
    text = new_engine_text(ANSWERS).replace('name = "tailpipe"', 'name = "long tail"')
    assert [fault.partition(":")[0] for fault in faults_of(text)][:4] == [
        '[[pipe]] 8 "long tail" side',
        '[[pipe]] 8 "long tail" from',
        '[[pipe]] 8 "long tail" to',
        '[[pipe]] 8 "long tail" diameter',
    ]


def test_no_pipe_leads_from_what_bears_its_own_name(read_text):
    for pipe in read_text(new_engine_text(ANSWERS)).pipes:
        assert pipe.name not in (pipe.start.node, pipe.end.node)


def test_guesses_are_round(read_text):
    """At most three figures, a length from 100 mm in steps of 5 mm, a speed of 100 rpm."""
    for name in CHOICES:
        for one in read_text(new_engine_text(CHOICES[name])).assumed:
            number, _, unit = one.value.partition(" ")
            if unit == "mm" and "rod" not in one.key and float(number) >= 100:
                assert float(number) % 5 == 0, one
            if unit == "mm":
                assert len(number.replace(".", "").strip("0")) <= 3, one
            if unit == "rpm":
                assert float(number) % 100 == 0, one


def test_one_card_serves_both_cams_unless_told_otherwise(read_text):
    cams = {"intake.cam.checking_height": "0.10 mm", "intake.cam.lift": ""}
    engine = read_text(new_engine_text(ANSWERS | cams))
    assert engine.exhaust_cam.lash_m == engine.intake_cam.lash_m == pytest.approx(0.381e-3)
    assert engine.exhaust_cam.lobe.made_from == engine.intake_cam.lobe.made_from
    assert list(engine.exhaust_cam.lobe.lift_m) == list(engine.intake_cam.lobe.lift_m)
    assert not [question for question in engine.questions if "checking_height" in question]
    own = {"exhaust.cam.lash": "0.30 mm", "exhaust.cam.checking_height": "1.0 mm",
           "exhaust.cam.lobe_lift": "6.0 mm", "exhaust.cam.rocker_ratio": 1.5}  # fmt: skip
    differs = read_text(new_engine_text(ANSWERS | cams | own)).exhaust_cam
    assert differs.lash_m == pytest.approx(0.3e-3)
    assert differs.lobe.lift_m.max() == pytest.approx(9e-3)


def test_a_card_typed_whole_reads_like_its_figures_one_by_one(read_text):
    # Geometry: 0.247 x 1.46 x 25.4 = 9.16 mm; 20 + 180 + 60 = 260; 260 / 2 - 20 = 110 (recomputed).
    whole = {k: v for k, v in ANSWERS.items() if not k.startswith("intake.cam")} | {
        "card": "20-60 / 60-20 @ 0.015 in lash, lobe lift 0.247 in, rocker 1.46"
    }
    one, other = read_text(new_engine_text(whole)), read_text(new_engine_text(ANSWERS))
    for side in ("intake_cam", "exhaust_cam"):
        cam, same = getattr(one, side), getattr(other, side)
        assert (cam.lash_m, cam.centreline_deg) == (same.lash_m, same.centreline_deg)
        assert cam.lobe.lift_m.max() * 1e3 == pytest.approx(9.16, abs=0.005)
        assert cam.lobe.made_from == same.lobe.made_from


def test_a_unit_the_card_lacks_is_said_in_the_file():
    text = new_engine_text({**ANSWERS, "card": "20-60/60-20 @ 0.050"})
    assert text.count("# the card names no unit: in taken") == 2


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


def _keys(table, path):
    for name, rule in table.items():
        if isinstance(rule, Key):
            yield f"{path}.{name}", rule
        elif isinstance(rule, dict):
            yield from _keys(rule, f"{path}.{name}")


def _an_answer(rule):
    """A typed answer within the range that nobody asks about, or ''."""
    if rule.kind in ("text", "point", "switch", "choice"):
        kinds = {"text": "own", "point": "110 ATDC", "switch": "true"}
        return kinds[rule.kind] if rule.kind in kinds else rule.choices[0]
    low, high = rule.ask or rule.refuse or (1, 3)
    middle = 0.5 * (low + high)
    return str(round(middle)) if rule.kind == "whole" else f"{middle:g} {rule.unit}".strip()


WITH_IT = {
    "sleeve": {"sleeve.travel": "12 mm", "sleeve.rate": "5 deg crank/mm"},
    "spring": {"spring.seat_load": "250 N", "spring.seat_height": "34 mm",
               "spring.rate": "32 N/mm"},
    "phaser": {"phaser.earliest": "-20 deg crank", "phaser.latest": "10 deg crank"},
    "clearance": {"clearance.at_tdc": "2 mm"},
    "valve": {"valve.flow.file": "head.csv"},
}  # fmt: skip
"""What a lone key of a table needs beside it."""


@pytest.mark.parametrize("side", ["intake", "exhaust"])
def test_every_key_that_is_taken_is_written(side, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    sheet = "28 inH2O\nlift in;in cfm;ex cfm\n.1;64;52\n.2;121;97\n.3;171;131\n"
    (tmp_path / "head.csv").write_text(sheet, encoding="utf-8")
    few = {k: v for k, v in ANSWERS.items() if k.startswith("engine") or k == "card"}
    few |= {"intake.cam.lift": "9.5 mm"}
    lost, taken = [], set()
    for key, rule in _keys(ENGINE_FILE[side], side):
        beside = {f"{side}.{k}": v for k, v in WITH_IT.get(key.split(".")[1], {}).items()}
        if rule.many == "list" or rule.kind == "file":
            beside.pop(key, None)
        answer = "head.csv" if key.endswith("flow.file") else _an_answer(rule)
        try:
            text = new_engine_text({**few, **beside, key: answer})
        except EngineFileError:
            continue
        taken.add(key)
        written = tomllib.loads(text)
        for name in key.split("."):
            written = written.get(name, {})
        if written in ({}, None):
            lost.append(key)
    assert lost == []
    tables = {key.rpartition(".")[0] for key, _ in _keys(ENGINE_FILE[side], side)}
    assert {key.rpartition(".")[0] for key in taken} == tables
    assert len(taken) > 55


def test_a_flow_sheet_of_ones_own_stands_in_the_file(read_text, tmp_path):
    read_text("[engine]\ncylinders = 1\nbore = '80 mm'\nstroke = '80 mm'\n")  # goes there
    sheet = "28 inH2O\nlift in;in cfm;ex cfm\n.1;64.1;52.3\n.2;121.8;97\n.3;171.5;131.2\n"
    (tmp_path / "head.csv").write_text(sheet, encoding="utf-8")
    own = {"intake.valve.flow.file": "head.csv", "intake.valve.count": "2",
           "intake.valve.head_diameter": "34 mm"}  # fmt: skip
    text = new_engine_text({**ANSWERS, **own})
    assert '[intake.valve.flow]\nfile = "head.csv"\n# bench_valves = 2' in text
    flow = read_text(text).intake_valve.coefficients
    assert flow.lift_over_diameter[0] == pytest.approx(2.54 / 34)
    assert read_text(uncommented(text)).intake_valve.coefficients.forward == (
        pytest.approx(flow.forward)
    )

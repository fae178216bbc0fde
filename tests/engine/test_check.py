"""Whole messages of the checker: all faults at once, each with key, found and expected."""

from __future__ import annotations

import copy
import tomllib
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from breathe.engine.findings import EngineFileError
from breathe.engine.read import engine_from_table, read_engine

ENGINES = Path(__file__).parents[2] / "engines"

BROKEN = """
[engine]
bore = 3.16
stroke = "86 mm"
cylinders = 4.5
compression_ratio = 90
rodd = "145 mm"
speed_limit = 7500
[intake.valve]
head_diameter = "-34 mm"
[intake.cam]
duration = "264 deg"
lift = "9,8"
centreline = "110"
[exhaust.cam]
lash = "0.25 in"
lift = true
[fuels]
name = "gasoline"
[[pipe]]
name = "runner"
side = "intak"
from = "plenum"
to = "intake valve"
diameter = ["40 mm", 38]
[[chamber]]
name = "plenum"
side = "intake"
"""

SAID = """mine.toml: 15 faults
  [engine] bore: found 3.16 without a unit; is that 3.16 in (80.3 mm)? Write "3.16 in"
  [engine] cylinders: found 4.5; expected a whole number from 1 to 16
  [engine] compression_ratio: found 90; expected 4 to 25; is that 9?
  [engine] rodd: not a key of [engine]; did you mean rod?
  [engine] speed_limit: found 7500 without a unit; is that 7500 rpm? Write "7500 rpm"
  [intake.valve] head_diameter: found "-34 mm"; expected 5 to 130 mm
  [intake.cam] duration: found "264 deg"; crank or cam? Write "264 deg crank" or "264 deg cam"
  [intake.cam] lift: found "9,8" without a unit; is that 9.8 mm? Write "9.8 mm"
  [intake.cam] centreline: found "110"; expected crank degrees from a dead centre, such as \
"22 BTDC" or "62 ABDC"
  [exhaust.cam] lash: found "0.25 in"; expected 0 to 1 mm; is that 0.25 mm? Write "0.25 mm"
  [exhaust.cam] lift: found true; expected a length with its unit, such as "9.8 mm"
  [fuels]: not a table of an engine file; did you mean fuel?
  [[pipe]] 1 "runner" side: found "intak"; did you mean "intake"?
  [[pipe]] 1 "runner" diameter, value 2: found 38 without a unit; is that 38 mm? Write "38 mm"
  [[chamber]] 1 "plenum" volume: missing; write volume = "900 cc" with your own value"""


def test_every_fault_is_said_at_once(read_text):
    with pytest.raises(EngineFileError) as refusal:
        read_text(BROKEN)
    assert str(refusal.value) == SAID


REFUSED = [
    (
        '[engine]\nbore = "86 in"',
        '[engine] bore: found "86 in"; expected 20 to 250 mm; is that 86 mm? Write "86 mm"',
    ),
    (
        '[engine]\nbore = ["86 mm"]',
        "[engine] bore: found a list; expected one value, 20 to 250 mm with its unit",
    ),
    (
        "[engine]\nbore = nan",
        "[engine] bore: found nan without a unit; expected a length with its "
        'unit, such as "9.8 mm"',
    ),
    (
        "[engine]\ncompression_ratio = inf",
        "[engine] compression_ratio: found inf; expected a number from 4 to 25",
    ),
    ('[engine]\nclass = "road 4v"', '[engine] class: found "road 4v"; did you mean "road 4V"?'),
    (
        '[engine]\nlift = "9 mm"',
        "[engine] lift: not a key of [engine]; it belongs in "
        "[intake.valve.flow], [intake.cam], [exhaust.valve.flow], [exhaust.cam], [[other_cam]]",
    ),
    ('bore = "86 mm"', "bore: stands before any table; it belongs in [engine]"),
    ("engine = 3", "[engine]: found 3; expected a table headed [engine]"),
    ('[fuel]\nname = "gasolin"', '[fuel] name: found "gasolin"; did you mean "gasoline"?'),
    (
        '[engine]\nfiring_order = "1-3-3-2"',
        '[engine] firing_order: found "1-3-3-2"; expected each of the 4 cylinders once',
    ),
    (
        '[engine]\nfiring_intervals = ["180 deg crank", "540 deg crank"]',
        "[engine] firing_intervals: found 2; expected 4, from each firing to the next",
    ),
    (
        '[engine]\nspeed_limit = "14000 rpm"',
        "[engine]: mean piston speed at speed_limit is 40.1 m/s; expected 1 to 35 m/s",
    ),
    ('[engine]\nrod = "80 mm"', "[engine]: rod/stroke is 0.93; expected 1.1 to 3.5"),
]


@pytest.mark.parametrize(("text", "fault"), REFUSED)
def test_single_faults(faults_of, text, fault):
    basic = {"bore": '"86 mm"', "stroke": '"86 mm"', "cylinders": "4"}
    if text.startswith("[engine]"):
        text += "".join(f"\n{k} = {v}" for k, v in basic.items() if f"\n{k} " not in text)
    elif not text.startswith("engine"):
        text += "\n[engine]" + "".join(f"\n{k} = {v}" for k, v in basic.items())
    assert faults_of(text) == [fault]


ASKED = [
    (
        "compression_ratio = 14.5",
        "[engine] compression_ratio: 14.5 is outside the usual 8 to 13.5. "
        "Over 14: a diesel or a slip?",
    ),
    ('rod = "100 mm"', "[engine]: rod/stroke is 1.16, outside the usual 1.4 to 2.2."),
    (
        '[exhaust.valve]\nhead_diameter = "36 mm"\n[intake.valve]\nhead_diameter = "34 mm"',
        "[exhaust.valve] head_diameter: exhaust/intake head is 1.06, outside the usual 0.75 to "
        "0.95. Intake and exhaust swapped?",
    ),
]


@pytest.mark.parametrize(("text", "question"), ASKED)
def test_odd_but_possible_values_are_asked_about(read_text, text, question):
    engine = read_text(f"[engine]\ncylinders = 4\nbore = '86 mm'\nstroke = '86 mm'\n{text}\n")
    assert engine.questions == (question,)


def test_inlet_is_another_word_for_intake(read_text, sleeve_four):
    intake = read_text(sleeve_four)
    inlet = read_text(sleeve_four.replace("[intake.", "[inlet.").replace("intake.d", "inlet.d"))
    assert inlet.intake_cam.sleeve == intake.intake_cam.sleeve
    assert inlet.settings == intake.settings


def test_a_windows_path_in_double_quotes_is_told(faults_of, sleeve_four):
    text = sleeve_four + '[exhaust.cam]\nlift_file = "other\\right.csv"\n'
    assert faults_of(text) == [
        "[exhaust.cam] lift_file: found 'other\\right.csv'; in double quotes a backslash starts a "
        'code, such as \\r. Write forward slashes, or single quotes: "other/right.csv" or '
        "'other\\right.csv'"
    ]
    (fault,) = faults_of(sleeve_four + '[exhaust.cam]\nlift_file = "C:\\users\\me.csv"\n')
    assert "write forward slashes, or single quotes; the line reads: lift_file" in fault


def test_a_length_is_never_offered_in_centimetres(faults_of, sleeve_four):
    assert faults_of(sleeve_four.replace('"9.5 mm"', '"1"')) == [
        '[intake.cam] lift: found "1" without a unit; expected a length with its unit, such as '
        '"9.8 mm"'
    ]


RUNS = """
[[pipe]]
name = "runner"
side = "intake"
each = "cylinder"
from = "outside air"
to = "face {n}"
length = "%s"
diameter = "40 mm"
from_mouth = "flared"
[[pipe]]
name = "port"
side = "intake"
each = "cylinder"
from = "face {n}"
to = "intake valve"
length = "100 mm"
diameter = "40 mm"
[[pipe]]
name = "out"
side = "exhaust"
each = "cylinder"
from = "exhaust valve"
to = "outside air"
length = "%s"
diameter = "40 mm"
to_mouth = "plain end"
"""


def test_odd_lengths_of_runner_and_primary_are_asked_about(read_text, faults_of):
    # Ask outside 150-700 and 250-1100 mm, refuse outside 30-2000 and 50-3000 (common practice).
    head = "[engine]\ncylinders = 2\nbore = '86 mm'\nstroke = '86 mm'\n"
    slip = "cm for mm, or a part of it left out?"
    assert read_text(head + RUNS % ("300 mm", "800 mm")).questions == ()
    assert read_text(head + RUNS % ("620 mm", "200 mm")).questions == (
        '[[pipe]] 1 "runner": intake length from valve to plenum or mouth is 720 mm, outside the '
        f"usual 150 to 700 mm. {slip}",
        '[[pipe]] 3 "out": exhaust primary from port to collector is 200 mm, outside the usual 250 '
        f"to 1100 mm. {slip}",
    )
    assert faults_of(head + RUNS % ("2 m", "40 mm")) == [
        '[[pipe]] 1 "runner": intake length from valve to plenum or mouth is 2100 mm; expected '
        f"30 to 2000 mm; {slip}",
        '[[pipe]] 3 "out": exhaust primary from port to collector is 40 mm; expected 50 to 3000 '
        f"mm; {slip}",
    ]


def test_a_typical_pipe_given_a_length_of_ones_own_is_judged_too(read_text):
    head = "[engine]\ncylinders = 4\nbore = '86 mm'\nstroke = '86 mm'\n"
    names = ("air inlet", "throttle body", "intake runner", "intake port")
    pipes = "".join(f'[[pipe]]\nname = "{n}"\n' for n in names)
    pipes += "".join(f'[[chamber]]\nname = "{n}"\n' for n in ("air filter", "plenum"))
    assert read_text(head + pipes).questions == ()
    longer = pipes.replace('"intake runner"', '"intake runner"\nlength = "900 mm"')
    (question,) = read_text(head + longer).questions
    assert question.startswith('[[pipe]] 3 "intake runner": intake length')


@pytest.mark.parametrize(
    ("rpm", "noted", "asked"), [(6900, 0, 0), (7100, 1, 0), (8700, 1, 0), (8900, 0, 1)]
)
def test_piston_speed_warns_at_20_and_asks_at_25(read_text, rpm, noted, asked):
    # 2 x 86 mm x rpm / 60: 19.8, 20.4, 24.9, 25.5 m/s (recomputed).
    head = "[engine]\ncylinders = 4\nbore = '86 mm'\nstroke = '86 mm'\n"
    engine = read_text(f"{head}speed_limit = '{rpm} rpm'\n")
    assert sum("piston speed" in note for note in engine.notes) == noted
    assert sum("piston speed" in question for question in engine.questions) == asked


def test_a_card_the_wrong_way_round_is_asked_about(faults_of):
    # 60-20 / 20-60: centrelines 260/2 - 60 = 70, so 70 cam deg; turned round 110 (recomputed).
    text = (
        "[engine]\ncylinders = 4\nbore = '86 mm'\nstroke = '86 mm'\n"
        "[intake.cam]\nopens = '60 BTDC'\ncloses = '20 ABDC'\n"
        "[exhaust.cam]\nopens = '20 BBDC'\ncloses = '60 ATDC'\n"
    )
    assert faults_of(text)[0] == (
        "[intake.cam]: lobe separation is 70 cam deg; expected 80 to 135 cam deg; Intake and "
        "exhaust, or opening and closing, the wrong way round? That would be 110 cam deg"
    )


VALUES = st.recursive(
    st.one_of(
        st.text(max_size=12),
        st.integers(),
        st.floats(),
        st.booleans(),
        st.sampled_from(["86 mm", "264 deg crank", "22 BTDC", "1.2 bar gauge", "plenum", "5 l"]),
    ),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=4), inner),
    max_leaves=4,
)


def _leaves(table, path=()):
    items = table.items() if isinstance(table, dict) else enumerate(table)
    for key, value in items:
        yield (*path, key)
        if isinstance(value, dict | list):
            yield from _leaves(value, (*path, key))


@settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=300, deadline=None
)
@given(data=st.data())
def test_a_changed_value_is_read_or_refused(engines, data):
    """Every key of the supplied engines, with a value of any kind or none in its place."""
    table = copy.deepcopy(data.draw(st.sampled_from(engines)))
    *path, last = data.draw(st.sampled_from(list(_leaves(table))))
    inner = table
    for step in path:
        inner = inner[step]
    if data.draw(st.booleans()):
        inner[last] = data.draw(VALUES)
    else:
        del inner[last]
    _read_or_refuse(lambda: engine_from_table(table, Path("mutated.toml")))


@settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=150, deadline=None
)
@given(data=st.data())
def test_a_damaged_file_is_read_or_refused(engine_bytes, tmp_path, data):
    content = data.draw(st.sampled_from(engine_bytes))
    start = data.draw(st.integers(0, len(content)))
    end = data.draw(st.integers(start, min(len(content), start + 40)))
    damaged = content[:start] + data.draw(st.binary(max_size=12)) + content[end:]
    path = tmp_path / "damaged.toml"
    path.write_bytes(damaged)
    _read_or_refuse(lambda: read_engine(path))


def _read_or_refuse(read):
    try:
        assert read().pipes
    except EngineFileError as refusal:
        assert refusal.faults
        assert all(fault.strip() for fault in refusal.faults)


@pytest.fixture(scope="module")
def engine_bytes() -> list[bytes]:
    return [path.read_bytes() for path in sorted(ENGINES.glob("*.toml"))]


@pytest.fixture(scope="module")
def engines(engine_bytes) -> list[dict]:
    return [tomllib.loads(content.decode()) for content in engine_bytes]


def test_the_shape_of_the_burn_can_be_set(read_text, sleeve_four):
    given = "[burn]\nwiebe_a = 5\nwiebe_m = 2.2\nspeed_exponent = 0.2\n"
    engine = read_text(sleeve_four + given)
    assert (engine.burn.wiebe_a, engine.burn.wiebe_m) == (5.0, 2.2)
    assert engine.burn.speed_exponent == 0.2
    assert not {"burn.wiebe_a", "burn.wiebe_m", "burn.speed_exponent"} & {
        one.key for one in engine.assumed
    }
    usual = read_text(sleeve_four)
    assert (usual.burn.wiebe_a, usual.burn.wiebe_m) == (6.908, 2.0)
    assert usual.burn.speed_exponent == pytest.approx(1 / 3)
    told = {one.key: one.value for one in usual.assumed}
    assert told["burn.wiebe_a"] == "6.908" and told["burn.speed_exponent"] == "0.3333"


def test_a_burn_that_cannot_be_is_refused(faults_of, sleeve_four):
    assert faults_of(sleeve_four + "[burn]\nwiebe_a = 0\nspeed_exponent = -1\n") == [
        "[burn] wiebe_a: found 0; expected 1 to 20",
        "[burn] speed_exponent: found -1; expected 0 to 1",
    ]

"""Layouts a file can express, and pipes that do not join up."""

from __future__ import annotations

import pytest

from breathe.engine.read import fires_at

HEAD = """
[engine]
cylinders = {n}
bore = "86 mm"
stroke = "86 mm"
"""
PRIMARY = """
[[pipe]]
name = "primary"
side = "exhaust"
each = "cylinder"
from = "exhaust valve"
to = {to}
length = "400 mm"
diameter = "40 mm"
"""
PAIR = """
[[chamber]]
name = "{name}"
side = "exhaust"
volume = "200 cc"
[[pipe]]
name = "{name} secondary"
side = "exhaust"
from = "{name}"
to = "{to}"
length = "400 mm"
diameter = "46 mm"
"""
COLLECTOR = PAIR.replace("{name}", "collector").replace("{to}", "outside air")


def ends(engine, side="exhaust"):
    return [(p.name, p.start.node, p.end.node) for p in engine.pipes if p.side == side]


def test_four_into_two_into_one(read_text):
    text = HEAD.format(n=4) + PRIMARY.format(to='["outer", "inner", "inner", "outer"]')
    text += PAIR.format(name="outer", to="collector") + PAIR.format(name="inner", to="collector")
    engine = read_text(text + COLLECTOR)
    assert ends(engine) == [
        ("primary 1", "exhaust valve 1", "outer"),
        ("primary 2", "exhaust valve 2", "inner"),
        ("primary 3", "exhaust valve 3", "inner"),
        ("primary 4", "exhaust valve 4", "outer"),
        ("outer secondary", "outer", "collector"),
        ("inner secondary", "inner", "collector"),
        ("collector secondary", "collector", "outside air, exhaust"),
    ]


def test_individual_runners_with_a_throttle_each(read_text):
    runner = PRIMARY.replace("exhaust", "intake").replace("primary", "runner")
    runner = runner.replace(
        'from = "intake valve"\nto = {to}', 'from = "outside air"\nto = "intake valve"'
    )
    engine = read_text(HEAD.format(n=3) + runner + '[throttle]\npipe = "runner"\n')
    assert ends(engine, "intake") == [
        (f"runner {n}", "outside air", f"intake valve {n}") for n in (1, 2, 3)
    ]
    assert all(p.start.throttled for p in engine.pipes if p.side == "intake")


def test_siamesed_ports_share_a_chamber(read_text):
    text = HEAD.format(n=2) + PRIMARY.format(to='"shared port"')
    engine = read_text(text + PAIR.format(name="shared port", to="outside air"))
    assert [e[2] for e in ends(engine)] == ["shared port", "shared port", "outside air, exhaust"]


def test_two_pipes_join_end_to_end_at_a_name_of_their_own(read_text):
    port = PRIMARY.replace("primary", "port").format(to='"flange {n}"')
    primary = PRIMARY.format(to='"collector"').replace("exhaust valve", "flange {n}")
    engine = read_text(HEAD.format(n=2) + port + primary + COLLECTOR)
    assert ends(engine)[1] == ("port 2", "exhaust valve 2", "flange 2")
    assert ends(engine)[2] == ("primary 1", "flange 1", "collector")


BROKEN = [
    (
        PRIMARY.format(to='"colector"') + COLLECTOR,
        ['[[pipe]] 1 "primary" to: found "colector", which is nowhere defined; did you mean '
         '"collector"?'],
    ),
    (
        PRIMARY.format(to='"collector"') + COLLECTOR
        + PAIR.format(name="spare", to="outside air").split("[[pipe]]")[0],
        ['[[chamber]]: no pipe opens into "spare"'],
    ),
    (
        PRIMARY.format(to='"collector"').replace('"cylinder"', "[1, 2, 3]") + COLLECTOR,
        ['[[pipe]]: no pipe leads to "exhaust valve 4"'],
    ),
    (
        PRIMARY.format(to='"collector"').replace('"cylinder"', "[1, 2, 3, 5]") + COLLECTOR,
        ['[[pipe]] 1 "primary" each: found cylinder 5; the engine has 4'],
    ),
    (
        PRIMARY.format(to='"collector"') + COLLECTOR.replace("outside air", "dead end"),
        ['[[pipe]] 2 "collector secondary" to: found "dead end", which is nowhere defined; there '
         'is "collector", "outside air", "exhaust valve 1", "exhaust valve 2", "exhaust valve 3", '
         '"exhaust valve 4"'],
    ),
    (
        PRIMARY.format(to='["collector", "collector"]') + COLLECTOR,
        ['[[pipe]] 1 "primary" to: 2 names for 4 pipes; expected one for each'],
    ),
    (
        PRIMARY.format(to='"collector"').replace('each = "cylinder"\n', "") + COLLECTOR,
        ['[[pipe]] 1 "primary" from: found "exhaust valve"; which cylinder? Write "exhaust valve '
         '1", or each = "cylinder"'],
    ),
    (
        PRIMARY.format(to='"collector"').replace('"exhaust"', '"intake"') + COLLECTOR,
        [
            '[[pipe]] 1 "primary" from: found "exhaust valve 1" of the exhaust side; the pipe is '
            "on the intake side",
            '[[pipe]] 1 "primary" to: found "collector" of the exhaust side; the pipe is on the '
            "intake side",
        ],
    ),
    (
        PRIMARY.format(to='"collector"') + COLLECTOR + '[throttle]\npipe = "body"\n',
        ['[throttle] pipe: found "body"; there is "primary", "collector secondary", '
         '"air inlet", "throttle body", "intake runner", "intake port"'],
    ),
    (
        PRIMARY.format(to='"collector"').replace('"40 mm"', '["40 mm", "41 mm", "42 mm"]')
        .replace("length", 'stations = ["0 mm", "400 mm"]\n#') + COLLECTOR,
        ['[[pipe]] 1 "primary" stations: 2 stations but 3 diameters; expected one for each'],
    ),
]  # fmt: skip


@pytest.mark.parametrize(("text", "faults"), BROKEN)
def test_pipes_that_do_not_join_up(faults_of, text, faults):
    assert list(dict.fromkeys(faults_of(HEAD.format(n=4) + text))) == faults


def test_valves_without_a_way_out_are_named(faults_of):
    text = HEAD.format(n=1) + PRIMARY.format(to='"box"')
    text += PAIR.format(name="box", to="second box").replace("secondary", "link")
    text += PAIR.format(name="second box", to="x").split("[[pipe]]")[0]
    assert faults_of(text) == [
        '[[pipe]]: "exhaust valve 1" has no way to the outside; a pipe must open into "outside air"'
    ]


def test_uneven_firing_intervals():
    # A 90 degree twin on one crank pin fires at 0 and 450 (geometry: 360 + 90).
    assert fires_at((1, 2), (450.0, 270.0)) == (0.0, 450.0)
    assert fires_at((2, 1), (270.0, 450.0)) == (0.0, 450.0)


def test_cross_plane_eight_fires_every_quarter_turn():
    order = (1, 8, 4, 3, 6, 5, 7, 2)
    at = fires_at(order, (90.0,) * 8)
    assert [at[n - 1] for n in order] == [90.0 * k for k in range(8)]


@pytest.mark.parametrize("count", [1, 2, 3, 4, 5, 6, 7, 8, 10, 12, 16])
def test_any_number_of_cylinders_runs_without_pipes_given(read_text, count):
    engine = read_text(HEAD.format(n=count))
    assert engine.cylinder_count == count
    assert sorted(engine.fires_at_deg) == pytest.approx([720 / count * k for k in range(count)])
    nodes = [e.node for p in engine.pipes for e in (p.start, p.end)]
    for n in range(1, count + 1):
        assert nodes.count(f"intake valve {n}") == nodes.count(f"exhaust valve {n}") == 1

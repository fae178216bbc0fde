"""The supplied engines: they read without a question and show the trade they are there to show."""

from __future__ import annotations

from pathlib import Path

import pytest

from breathe.engine.parts import Operating
from breathe.engine.read import read_engine
from breathe.valvetrain.dwell import case
from breathe.valvetrain.timing import duration_deg

ENGINES = Path(__file__).parents[2] / "engines"
FILES = sorted(ENGINES.glob("*.toml"))
SLEEVED = ["road_four_sleeve", "single_400", "pushrod_eight"]


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem)
def test_reads_without_a_question(path):
    engine = read_engine(path)
    assert engine.questions == ()
    assert len(engine.settings) >= 6
    assert engine.standard in {s.label for s in engine.settings}


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem)
def test_leaves_only_the_inside_of_the_cylinder_to_assumption(path):
    engine = read_engine(path)
    tables = {a.key.split(".")[0] for a in engine.assumed if not a.key.endswith("valve.flow")}
    assert tables <= {"walls", "burn", "friction", "end_correction"}
    assert all(a.value and a.reason and a.source for a in engine.assumed)


@pytest.mark.parametrize("stem", SLEEVED)
def test_the_sleeve_reaches_from_short_to_long(stem):
    engine = read_engine(ENGINES / f"{stem}.toml")
    seat = [
        duration_deg(case(engine, s, Operating(speed_rpm=3000)).intake)
        for s in engine.settings
        if s.intake_cam is None
    ]
    assert seat == sorted(seat)
    assert seat[-1] - seat[0] >= 60


def test_junctions_have_a_physical_volume():
    for path in FILES:
        engine = read_engine(path)
        for chamber in engine.chambers:
            meeting = sum(chamber.name in (p.start.node, p.end.node) for p in engine.pipes)
            assert chamber.volume_m3 >= 100e-6 * meeting


def test_displacements():
    # pi/4 bore^2 stroke (recomputed).
    found = {p.stem: read_engine(p).displacement_m3 * 1e6 for p in FILES}
    assert found["road_four"] == pytest.approx(1998.2, abs=0.1)
    assert found["pushrod_eight"] == pytest.approx(5733, abs=1)


def test_the_eight_is_in_millimetres_and_each_bank_fires_evenly_spread():
    # A cross-plane crank fires a bank at gaps of 90, 180, 180 and 270 degrees (geometry).
    path = ENGINES / "pushrod_eight.toml"
    text = path.read_text(encoding="utf-8")
    assert ' in"' not in text and "5.7" not in text
    fires = read_engine(path).fires_at_deg
    assert sorted(fires) == [90.0 * n for n in range(8)]
    for bank in (fires[0::2], fires[1::2]):
        order = sorted(bank)
        gaps = [(b - a) % 720 for a, b in zip(order, order[1:] + order[:1], strict=True)]
        assert sorted(gaps) == [90, 180, 180, 270]

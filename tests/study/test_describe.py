"""Effective compression and cranking pressure from geometry; descriptions of settings."""

from __future__ import annotations

from pathlib import Path

import pytest

from breathe.cycle.layout import Resolution
from breathe.cycle.result import simulate
from breathe.engine.parts import Operating, Setting
from breathe.engine.read import read_engine
from breathe.errors import BreatheError
from breathe.study.describe import about, cranking_pressure, facts, how
from breathe.valvetrain.dwell import case

ENGINE = """
[engine]
name = "Invented four"
class = "road 4V"
cylinders = 4
bore = "86 mm"
stroke = "86 mm"
rod = "145 mm"
compression_ratio = 10.5
speed_limit = "7500 rpm"
standard = "264°"
intake.x = 1
"""

CAMS = """
[intake.valve]
count = 2
head_diameter = "34 mm"
[exhaust.valve]
count = 2
head_diameter = "29.5 mm"
[intake.cam]
duration = "228 deg crank"
checking_height = "0.1 mm"
second_duration = "198 deg crank"
second_height = "1.0 mm"
lift = "9.5 mm"
lash = "0 mm"
centreline = "92 ATDC"
[intake.sleeve]
travel = "12 mm"
rate = "5 deg crank/mm"
hold = "opening"
[exhaust.cam]
duration = "264 deg crank"
checking_height = "0.1 mm"
lift = "9.5 mm"
lash = "0 mm"
centreline = "110 BTDC"
"""


@pytest.fixture(scope="module")
def engine(tmp_path_factory):
    settings = "".join(
        f'[[setting]]\nlabel = "{d}°"\nintake.duration = "{d} deg crank"\n'
        for d in (228, 240, 252, 264, 276, 288)
    )
    path: Path = tmp_path_factory.mktemp("engine") / "four.toml"
    path.write_text(ENGINE.replace("intake.x = 1\n", "") + CAMS + settings, encoding="utf-8")
    return read_engine(path)


def test_effective_ratio_of_the_sleeve_settings(engine):
    found = [facts(engine, s).effective_compression_ratio for s in engine.settings[1:]]
    # The opening point is held, so they close 38, 50, 62, 74, 86 ABDC at 0.1 mm, within its
    # rounding of the lobe: slider-crank geometry, computed outside this program.
    assert found == pytest.approx([9.76, 9.22, 8.54, 7.72, 6.80], abs=0.01)


def test_travel_opening_point_and_overlap(engine):
    for setting, travel in zip(engine.settings, (0, 2.4, 4.8, 7.2, 9.6, 12.0), strict=True):
        told = facts(engine, setting)
        assert setting.intake_travel_m * 1e3 == pytest.approx(travel, abs=1e-9)
        assert told.intake[0].opens == "22 BTDC"
        assert told.intake_dwell_deg == pytest.approx(5 * travel)
        assert told.overlap_deg[0] == pytest.approx(44.0, abs=0.3)


@pytest.mark.parametrize("label", ["228°", "288°"])
def test_a_run_and_explain_tell_one_effective_ratio(engine, label):
    setting = next(s for s in engine.settings if s.label == label)
    ready = case(engine, setting, Operating(speed_rpm=6000.0))
    run, _ = simulate(ready, resolution=Resolution(0.03, 0.06), limit=1)
    assert run.effective_compression_ratio == facts(engine, setting).effective_compression_ratio


def test_cranking_pressure_is_the_polytropic_of_the_ratio():
    low, high = cranking_pressure(1e5, 8.0)
    assert low == pytest.approx(1e5 * 8**1.25) and high == pytest.approx(1e5 * 8**1.30)


def test_settings_in_words(engine):
    assert how(engine, Setting(label="a")) == "as the engine file has it"
    assert how(engine, Setting(label="a", intake_travel_m=0.0072)) == "intake sleeve at 7.2 mm"
    both = Setting(label="a", intake_stretch=1.05, exhaust_shift_deg=-10.0, intake_shift_deg=4.0)
    assert how(engine, both) == "intake lobe stretched x 1.050, 4° later; exhaust 10° earlier"
    assert how(engine, Setting(label="a", intake_cam=engine.intake_cam)) == "intake other cam"


def test_about_names_durations_at_the_checking_height(engine):
    told = about(engine, engine.settings, (2000, 3000.0), 1.0)
    durations = [note.intake_duration_deg for note in told.settings]
    assert durations == pytest.approx([228, 240, 252, 264, 276, 288], abs=0.2)
    assert told.speeds_rpm == (2000.0, 3000.0)
    assert len(told.assumed) == len(engine.assumed)


def test_setting_beyond_the_sleeve_is_one_message(engine):
    with pytest.raises(BreatheError, match=r"needs 16\.4 mm, the sleeve has 12\.0 mm"):
        facts(engine, Setting(label="310°", intake_travel_m=0.0164))

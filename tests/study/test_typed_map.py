"""Maps and measured settings as a tuner types them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from breathe.errors import BreatheError
from breathe.study.control.map_axes import load_scale
from breathe.study.control.typed_map import moved_point, read_anchors, read_typed_map

FALLING = """kPa \\ rpm,1000,2000,3000,4000,5000,6000,7000
100,240,244,252,260,270,280,288
80,248,250,254,262,270,280,286
60,266,262,,266,270,276,280
40,284,280,276,270,270,270,270
"""


def typed(tmp_path: Path, text: str, axis: str | None = None):
    path = tmp_path / "map.csv"
    path.write_text(text, encoding="utf-8")
    return read_typed_map(path, axis)


def test_load_falling_downward_with_a_blank_cell(tmp_path):
    found = typed(tmp_path, FALLING)
    assert found.loads == (40.0, 60.0, 80.0, 100.0)
    assert found.speeds_rpm[0] == 1000 and found.speeds_rpm[-1] == 7000
    assert found.cells[0, 0] == 284 and found.cells[3, 6] == 288
    assert np.isnan(found.cells[1, 2])
    assert found.unit == "deg crank" and found.scale.axis == "map"
    assert found.where(1, 2) == "row 4, 3000 rpm, 60 kPa"
    assert any("27 cells filled, 1 blank" in line for line in found.understood)


def test_speeds_running_down_and_decimal_commas(tmp_path):
    text = "rpm \\ kPa;40;60,5;100\n2000;280;262;244\n4000;270,5;266;260\n"
    found = typed(tmp_path, text)
    assert found.by_speed
    assert found.loads == (40.0, 60.5, 100.0)
    assert found.cells.shape == (3, 2)
    assert found.cells[0, 1] == 270.5
    assert found.where(0, 1) == "row 3, 4000 rpm, 40 kPa"


@pytest.mark.parametrize("comma", [",", ";", "\t"])
def test_a_label_may_begin_with_per_cent(tmp_path, comma):
    text = "% \\ rpm,2000,4000\n100,240,244\n40,250,260\n".replace(",", comma)
    found = typed(tmp_path, "% a remark\n" + text)
    assert found.scale.axis == "throttle" and found.loads == (40.0, 100.0)
    assert found.where(0, 1) == "row 4, 4000 rpm, 40 %"
    with pytest.raises(BreatheError, match=r"found 110 on an axis in %.* kPa\?"):
        typed(tmp_path, text.replace("100", "110"))


def test_millimetres_of_travel_are_said_not_guessed(tmp_path):
    text = "kPa \\ rpm,2000,4000\n100,2,4\n40,12,8\n"
    with pytest.raises(BreatheError, match="durations, or millimetres of travel"):
        typed(tmp_path, text)
    assert typed(tmp_path, "# mm of travel\n" + text).unit == "mm"


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("kPa \\ rpm,2000,4000,3000\n100,240,244,250\n40,250,260,250\n", "row 1: position 3"),
        ("kPa \\ rpm,2000,4000\n100,240,244\n60,250,260\n80,250,250\n", "first column: position 3"),
        ("rpm,Torque,Power\n2000,100,50\n3000,110,60\n", "looks like a dyno pull"),
        ("kPa \\ rpm,2000,4000\n100,240,24x4\n40,250,260\n", "row 2, column 3: found '24x4'"),
        ("load \\ rpm,2000,4000\n100,240,244\n40,250,260\n", "expected"),
    ],
)
def test_what_is_wrong_is_named(tmp_path, text, told):
    with pytest.raises(BreatheError, match=told):
        typed(tmp_path, text)


def test_measured_settings(tmp_path):
    path = tmp_path / "anchors.csv"
    path.write_text("rpm,kPa,duration\n2000,70,262\n3500,100,250\n", encoding="utf-8")
    first, second = read_anchors(path, load_scale("map kPa"))
    assert (first.row, first.speed_rpm, first.load, first.setting) == (2, 2000, 70, 262)
    assert second.setting == 250
    path.write_text("rpm,kPa,duration\n2000,70\n", encoding="utf-8")
    with pytest.raises(BreatheError, match="row 2: found 2000, 70"):
        read_anchors(path, load_scale("map kPa"))


def test_a_moved_axis_point_may_not_pass_its_neighbour():
    assert moved_point((900, 2000, 3000), 900, 1000, "--move") == (1000, 2000, 3000)
    with pytest.raises(BreatheError, match="position 2"):
        moved_point((900, 2000, 3000), 900, 2500, "--move")
    with pytest.raises(BreatheError, match="the axis has 900, 2000, 3000"):
        moved_point((900, 2000, 3000), 800, 1000, "--move")

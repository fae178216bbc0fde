"""Open pipe ends count as longer by the air beyond them, unless the file says otherwise."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from breathe.engine.end_correction import END_CORRECTION
from tests.engine.test_network import HEAD

PIPES = """
[[pipe]]
name = "primary"
side = "exhaust"
from = "exhaust valve 1"
to = "box"
length = "400 mm"
diameter = ["36 mm", "40 mm"]
to_mouth = "{primary}"
{switch}
[[chamber]]
name = "box"
side = "exhaust"
volume = "4 l"
[[pipe]]
name = "tail"
side = "exhaust"
from = "box"
to = "outside air"
stations = ["0 mm", "200 mm", "500 mm"]
diameter = ["50 mm", "46 mm", "44 mm"]
from_mouth = "{inner}"
to_mouth = "{outer}"
"""


def pipes_of(read_text, *, switch="", **mouths):
    given = {"primary": "flared", "inner": "flared", "outer": "bell mouth"} | mouths
    engine = read_text(HEAD.format(n=1) + PIPES.format(switch=switch, **given))
    return engine, {p.name: p for p in engine.pipes}


def test_values_are_those_published():
    # H. Levine, J. Schwinger, Physical Review 73 (1948) 383: 0.6133 of the radius, unflanged. A. N.
    # Norris, I. C. Sheng, J. Sound and Vibration 135 (1989) 85: 0.8216, flanged; below Rayleigh's
    # upper bound 8 / (3 pi) and above his lower, pi / 4 (The Theory of Sound, vol. 2; all from
    # memory).
    assert END_CORRECTION == {"plain end": 0.6133, "flush": 0.8216}
    assert np.pi / 4 < END_CORRECTION["flush"] < 8 / (3 * np.pi)


def test_each_open_end_adds_its_share_of_the_radius_there(read_text):
    _, pipes = pipes_of(read_text, primary="flush", inner="plain end", outer="plain end")
    primary, tail = pipes["primary"], pipes["tail"]
    assert primary.length_m == pytest.approx(0.400 + 0.8216 * 0.020)
    assert primary.diameter_m == pytest.approx((0.036, 0.040, 0.040))
    assert tail.station_m == pytest.approx(
        (0.0, 0.6133 * 0.025, 0.200 + 0.6133 * 0.025, 0.500 + 0.6133 * 0.025,
         0.500 + 0.6133 * (0.025 + 0.022))
    )  # fmt: skip
    assert tail.diameter_m == pytest.approx((0.050, 0.050, 0.046, 0.044, 0.044))
    assert tail.built_length_m == pytest.approx(0.500)


@pytest.mark.parametrize("mouth", ["flared", "bell mouth"])
def test_a_rounded_mouth_adds_nothing(read_text, mouth):
    engine, pipes = pipes_of(read_text, inner=mouth, outer=mouth)
    assert pipes["tail"].length_m == 0.5
    assert pipes["primary"].length_m == 0.4
    # The filled-in intake ends flush in its plenum, or behind bell mouths.
    assert all(p.side == "intake" for p in engine.pipes if any(p.end_correction_m))


def test_noted_once_with_its_source(read_text):
    engine, _ = pipes_of(read_text, primary="flush", outer="plain end")
    noted = [one for one in engine.assumed if "end_correction" in one.key]
    assert len(noted) == 1
    assert "0.61 x radius at a plain end, 0.82 x radius at a flush one" in noted[0].value
    assert "Levine" in noted[0].source and "1948" in noted[0].source


def test_the_file_leaves_it_off_pipe_by_pipe(read_text):
    _, pipes = pipes_of(
        read_text, switch="end_correction = false", primary="flush", outer="plain end"
    )
    assert pipes["primary"].length_m == 0.4
    assert pipes["tail"].length_m > 0.5
    _, pipes = pipes_of(read_text, switch="end_correction = true", primary="flush")
    assert pipes["primary"].length_m > 0.4


def test_a_wrong_switch_is_told(faults_of):
    text = PIPES.format(
        switch='end_correction = "no"', primary="flush", inner="flush", outer="flush"
    )
    assert faults_of(HEAD.format(n=1) + text) == [
        '[[pipe]] 1 "primary" end_correction: found "no"; expected true or false, without quotes'
    ]


def test_filled_in_pipes_have_it_too(read_text):
    engine = read_text(HEAD.format(n=4))
    tail = next(p for p in engine.pipes if p.name == "tailpipe")
    assert tail.built_length_m == pytest.approx(0.6)
    assert tail.end_correction_m == pytest.approx((0.6133 * tail.diameter_m[-1] / 2,) * 2)
    assert all(a < b for a, b in pairwise(tail.station_m))

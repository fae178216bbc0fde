"""breathe best and breathe reach, with INVENTED figures in place of the simulation."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from breathe.run import Run
from tests.study.invented import Invented, flat, one_hump

ENGINES = Path(__file__).parents[2] / "engines"
SLEEVE = ENGINES / "road_four_sleeve.toml"
FIXED = ENGINES / "road_four.toml"
BAND = ("--speeds", "2000:6000:1000")


class Stand:
    """Stands where a case is run, and counts."""

    def __init__(self) -> None:
        self.torque = one_hump
        self.computed = 0

    def __call__(self, job) -> dict:
        self.computed += 1
        point = type("P", (), {"setting": job.setting, "operating": job.operating})
        return Invented(self.torque, 5000.0).row(point)  # type: ignore[arg-type]


@pytest.fixture
def cases(monkeypatch) -> Stand:
    stand = Stand()
    monkeypatch.setattr("breathe.study.evaluate.row_of", stand)
    monkeypatch.setattr("breathe.kernel.is_compiled", lambda: True)
    return stand


def test_best_answers_on_one_page(breathe, cases):
    found = breathe("best", SLEEVE, *BAND)
    assert found.status == 0
    assert max(map(len, found.out.splitlines())) <= 80
    for told in (
        "2000    238°",
        "best fixed (258°)",
        "What a variable cam gains over the best fixed one (258°): +2.0 % in the mean",
        "The intake cam degreed in elsewhere, once for all speeds, up to 20° to either side",
        "Two or three fixed steps instead",
        f"Model runs: {cases.computed}. `breathe compare`",
        "turn the engine two full turns by hand",
        "watch lambda",
        "Spark: shorter duration",
        "can void type approval",
    ):
        assert told in " ".join(found.out.split()) or told in found.out, told


def test_a_search_is_kept_printed_again_and_listed(breathe, cases):
    first = breathe("best", SLEEVE, *BAND)
    computed = cases.computed
    again = breathe("best", SLEEVE, *BAND)
    shown = breathe("show", "road_four_sleeve_best")
    assert cases.computed == computed
    assert first.out == again.out == shown.out
    assert "holds exactly this already" in again.err
    listed = breathe("runs").out.splitlines()[1].split()
    assert listed[0] == "road_four_sleeve_best" and str(computed) in listed
    assert "finished" in listed


def test_an_interrupted_search_goes_on(breathe, cases, monkeypatch):
    keep, kept = Run.keep, 7

    def keep_some(run: Run, key: str, row: dict) -> None:
        if len(run.done()) == kept:
            raise KeyboardInterrupt
        keep(run, key, row)

    monkeypatch.setattr(Run, "keep", keep_some)
    stopped = breathe("best", SLEEVE, *BAND)
    assert stopped.status == 130 and "Stopped. 7 cases are kept in" in stopped.err
    monkeypatch.setattr(Run, "keep", keep)
    assert "unfinished" in breathe("runs").out
    waiting = breathe("show", "road_four_sleeve_best")
    assert waiting.status == 2 and "is not finished" in waiting.err
    found = breathe("best", SLEEVE, *BAND)
    assert f"{kept} cases are there" in found.err
    before = cases.computed
    other = breathe("best", SLEEVE, *BAND, "--redo")
    assert f"Model runs: {cases.computed - before}." in other.out
    assert "road_four_sleeve_best-2" in other.out


def test_reach_takes_what_best_has_run(breathe, cases):
    breathe("best", SLEEVE, *BAND)
    computed = cases.computed
    found = breathe("reach", SLEEVE, *BAND)
    assert cases.computed == computed
    assert re.search(r"^\d+ cases are taken from other runs", found.err, re.MULTILINE)
    assert max(map(len, found.out.splitlines())) <= 80
    page = " ".join(found.out.split())
    assert "each 12° brings less than the model can tell" in page
    assert "That is 28° at the sleeve's 5.0°/mm; a steeper law of 7.5°/mm would make it 42°" in page
    assert "play of 0.10 mm along the shaft is 0.75° of duration then instead of 0.50°" in page
    assert "Best choice within 5.6 mm at this law" in page
    longer = breathe("reach", SLEEVE, *BAND, "--up-to", "84 deg crank")
    assert "228-312°" in longer.out
    assert cases.computed < computed + 25


def test_weights_are_part_of_the_question(breathe, cases):
    breathe("best", SLEEVE, *BAND)
    found = breathe("best", SLEEVE, *BAND, "--weights", "90 % below 3000, 40 % above")
    assert "The weights add up to 130 %; they are scaled to 100 %." in found.out
    assert "weighted" in found.out and "road_four_sleeve_best-2" in found.out


def test_a_gain_too_small_to_tell_is_said(breathe, cases):
    cases.torque = flat
    page = " ".join(breathe("best", SLEEVE, *BAND).out.split())
    assert "A variable cam is not shown to be worth it over the best fixed one" in page
    assert "no difference found (below 0.5 %)" in page
    page = " ".join(breathe("reach", SLEEVE, *BAND).out.split())
    assert "Range of the intake dwell is not shown to be worth it" in page


def test_one_speed_needs_no_variable_cam(breathe, cases):
    for verb in ("best", "reach"):
        page = " ".join(breathe(verb, SLEEVE, "--speeds", "3000").out.split())
        assert "At a single speed a fixed cam is as good by definition." in page


def test_nothing_moves(breathe, cases):
    page = " ".join(breathe("best", FIXED, *BAND).out.split())
    assert "Nothing moves: the file has no sleeve and no phaser. Its 6 settings are ranked" in page
    assert 'road_four.toml --up-to "60 deg crank"' in page
    found = breathe("reach", FIXED, *BAND)
    assert found.status == 2 and "nothing moves" in found.err
    page = " ".join(breathe("reach", FIXED, *BAND, "--up-to", "48 deg crank").out.split())
    assert "only degrees are told" in page


def test_a_range_beside_another_axis_is_counted_from_that_axis_alone(breathe, cases, tmp_path):
    turn = '[intake.phaser]\nearliest = "-20 deg crank"\nlatest = "10 deg crank"\n'
    text = SLEEVE.read_text(encoding="utf-8").replace("[exhaust.cam]", f"{turn}[exhaust.cam]")
    (tmp_path / "turning.toml").write_text(text, encoding="utf-8")
    page = " ".join(breathe("reach", tmp_path / "turning.toml", *BAND).out.split())
    assert "gain in the mean over the intake sleeve held at its best place" in page
    assert "gain in the mean over the intake phaser held at its best place" in page
    assert "over the best fixed cam, `breathe best` tells" in page
    page = " ".join(breathe("best", tmp_path / "turning.toml", *BAND).out.split())
    assert "12° off the best setting, the rest standing" in page
    assert "with the intake cam 12° later" in page or "with the intake cam 12° earlier" in page


def test_a_cam_that_stands_alone_gains_nothing_over_itself(breathe, cases, tmp_path):
    text = FIXED.read_text(encoding="utf-8")
    alone = text[: text.index('[[setting]]\nlabel = "240°"')] + '[[setting]]\nlabel = "264°"\n'
    (tmp_path / "alone.toml").write_text(alone, encoding="utf-8")
    page = " ".join(breathe("best", tmp_path / "alone.toml", *BAND).out.split())
    assert "It has one setting, so there is nothing to choose from." in page
    assert "best fixed" not in page and "stepped" not in page
    assert '--up-to "60 deg crank"' in page


def test_the_shortest_of_those_tried_is_told_as_an_end(breathe, cases):
    cases.torque = lambda dwell, turn, speed: 180.0
    page = " ".join(breathe("best", FIXED, *BAND).out.split())
    assert "of those tried" not in page  # the standard, in the middle, has the most

    cases.torque = lambda dwell, turn, speed: 150.0
    plain = Path("plain.toml")
    text = FIXED.read_text(encoding="utf-8")
    head = text.split("[[setting]]")[0].replace('standard = "264°"', 'standard = "long"')
    plain.write_text(
        head + '[[setting]]\nlabel = "long"\nintake.stretch = 1.05\n[[setting]]\nlabel = "own"\n',
        encoding="utf-8",
    )
    page = " ".join(breathe("best", plain, *BAND).out.split())
    assert "The best fixed one is the shortest of those tried: one shorter still may" in page


def test_a_sleeve_may_be_asked_to_hold_another_point(breathe, cases):
    page = " ".join(breathe("reach", SLEEVE, *BAND, "--hold", "centre").out.split())
    assert "Asked with the centre held, whatever the file's sleeve holds." in page
    assert "Mean torque: 176 Nm with no range of intake dwell, 180 Nm with all of it." in page
    page = " ".join(breathe("reach", SLEEVE, *BAND).out.split())
    assert "Asked with" not in page


def test_the_room_is_told_in_inches(breathe, cases):
    page = " ".join(breathe("reach", SLEEVE, *BAND, "--units", "imperial").out.split())
    assert "1.5 in between bearing faces less 2 lobes x 0.528 in fixed" in page


def test_places_that_do_not_clear_are_marked(breathe, cases):
    # The single's valves have room for 280 degrees and not for 300.
    cases.torque = lambda dwell, turn, speed: 30 + dwell / 10
    page = breathe("best", ENGINES / "single_400.toml", *BAND).out
    assert "300°!" in page and "! 300° does not clear: intake valve to piston" in page
    assert "Do not build 300°" in " ".join(page.split())
    page = breathe("reach", ENGINES / "single_400.toml", *BAND).out
    assert "220-300°!" in page
    assert "NOT CHECKED" in page


def test_csv_is_tidy_and_si(breathe, cases):
    found = breathe("best", SLEEVE, *BAND, "--csv")
    header = found.out.splitlines()[0].split(",")
    assert {"speed_rpm", "torque_Nm", "fixed_torque_Nm", "intake_dwell_deg"} <= set(header)
    assert len(found.out.splitlines()) == 6
    again = breathe("reach", SLEEVE, *BAND, "--csv")
    assert again.out.splitlines()[0].startswith("axis,range_deg")


def test_an_altered_answer_is_said(breathe, cases):
    breathe("best", SLEEVE, *BAND)
    answer = Path("runs/road_four_sleeve_best/answer.json")
    found = json.loads(answer.read_text(encoding="utf-8"))
    answer.write_text(json.dumps(found), encoding="utf-8")
    assert "altered since written: answer.json" in breathe("show", "road_four_sleeve_best").err
    answer.write_text("{}", encoding="utf-8")
    assert "answer.json: damaged" in breathe("show", "road_four_sleeve_best").err


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("best", SLEEVE, "--weights", "10 % below 500, 90 % above"), "widen --speeds"),
        (("best", SLEEVE, "--weights", "lots"), "no share of a band"),
        (("reach", SLEEVE, "--up-to", "84 deg"), "crank or cam?"),
        (("reach", SLEEVE, "--up-to", "900 deg crank"), "expected 1 to 200 deg crank"),
        (("best", "no.toml"), "no such file"),
    ],
)
def test_what_cannot_be_meant_is_one_message(breathe, cases, arguments, told):
    found = breathe(*arguments)
    assert found.status == 2 and told in found.err and cases.computed == 0


def test_show_of_compare_is_not_for_a_search(breathe, cases):
    breathe("best", SLEEVE, *BAND)
    found = breathe("show", "road_four_sleeve_best", "--show", "power")
    assert found.status == 2 and "--show is for runs of compare and control" in found.err

"""breathe new, by options and by answers typed in."""

from __future__ import annotations

import doctest
import io
from pathlib import Path

import pytest

from breathe.commands import new
from breathe.engine.read import read_engine
from breathe.engine.write_new import QUESTIONS

FEW = (
    "--cylinders", "4", "--bore", "80.26 mm", "--stroke", "89 mm", "--compression-ratio", "9.0",
    "--card", "20-60 / 60-20", "--intake-valve-head-diameter", "41 mm",
)  # fmt: skip


def typed(monkeypatch, *lines: str) -> None:
    """A terminal at which these lines are typed."""
    monkeypatch.setattr(new, "_terminal", lambda: True)
    monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{line}\n" for line in lines)))


def test_options_make_a_file_that_reads(breathe):
    answer = breathe("new", "mine.toml", *FEW, "--set", "engine.rod=165 mm")
    assert answer.status == 0
    assert "Written: mine.toml" in answer.out and "breathe compare mine.toml" in answer.out
    engine = read_engine("mine.toml")
    assert engine.cylinder.rod_m == pytest.approx(0.165)
    assert breathe("explain", "mine.toml").status == 0


def test_a_sheet_is_looked_for_beside_the_file_written(breathe):
    Path("sub").mkdir()
    sheet = "# 28 inH2O\nlift mm,intake l/s,exhaust l/s\n"
    rows = [(2, 25, 20), (4, 47, 38), (6, 62, 50), (8, 72, 58)]
    text = sheet + "".join(f"{lift},{a},{b}\n" for lift, a, b in rows)
    Path("sub/flow.csv").write_text(text, encoding="utf-8")
    given = ("--set", "intake.valve.flow.file=flow.csv")
    answer = breathe("new", "sub/mine.toml", *FEW, *given)
    assert answer.status == 0, answer.err
    told = read_engine("sub/mine.toml")
    assert not any(one.key == "intake.valve.flow" for one in told.assumed)
    assert breathe("explain", "sub/mine.toml").status == 0
    missing = breathe("new", "mine.toml", *FEW, *given)
    assert missing.status == 2 and "flow.csv" in missing.err and not Path("mine.toml").exists()


def test_file_is_named_after_the_engine_and_numbered(breathe):
    for expected in ("my_four.toml", "my_four-2.toml"):
        assert breathe("new", "--name", "My four!", *FEW).status == 0
        assert Path(expected).exists()


def test_missing_options_are_all_named_without_a_terminal(breathe):
    answer = breathe("new", "x.toml", "--bore", "86 mm")
    assert answer.status == 2 and not Path("x.toml").exists()
    assert "--cylinders" in answer.err and "--stroke" in answer.err
    assert "--bore" not in answer.err


def test_nothing_is_overwritten_unasked(breathe):
    Path("x.toml").write_text("mine", encoding="utf-8")
    answer = breathe("new", "x.toml", *FEW)
    assert answer.status == 2 and "is there already" in answer.err
    assert Path("x.toml").read_text(encoding="utf-8") == "mine"
    assert breathe("new", "x.toml", *FEW, "--overwrite").status == 0
    assert read_engine("x.toml").cylinder_count == 4


def test_wrong_values_are_named_and_nothing_is_written(breathe):
    answer = breathe("new", "x.toml", *FEW, "--bore", "3.16", "--compression-ratio", "90")
    assert answer.status == 2
    assert "is that 3.16 in (80.3 mm)?" in answer.err and "is that 9?" in answer.err
    assert list(Path().iterdir()) == []


@pytest.mark.parametrize("text", ["engine.rod", "=5 mm"])
def test_malformed_set_is_told(breathe, text):
    answer = breathe("new", "x.toml", *FEW, "--set", text)
    assert answer.status == 2 and "expected KEY=VALUE" in answer.err


def test_unknown_key_is_told(breathe):
    answer = breathe("new", "x.toml", *FEW, "--set", "engine.rodd=5 mm")
    assert answer.status == 2 and "rodd" in answer.err and "rod" in answer.err


ASKED = [question for question in QUESTIONS if question.asked and not question.only_with]
"""What is asked of one who leaves out whatever may be left out."""


def test_asks_for_what_no_option_gave(breathe, monkeypatch):
    given = {"engine.cylinders", "engine.bore", "engine.stroke", "engine.compression_ratio",
             "card", "intake.valve.head_diameter"}  # fmt: skip
    asked = [question for question in ASKED if question.key not in given]
    typed(monkeypatch, *("165 mm" if q.key == "engine.rod" else "" for q in asked))
    answer = breathe("new", "x.toml", *FEW)
    assert answer.status == 0, answer.err
    assert read_engine("x.toml").cylinder.rod_m == pytest.approx(0.165)


def test_asks_for_the_rocker_only_with_a_lobe_lift(breathe, monkeypatch):
    values = {"engine.cylinders": "4", "engine.bore": "80 mm", "engine.stroke": "89 mm",
              "card": "20-60/60-20", "intake.cam.lobe_lift": "0.247 in"}  # fmt: skip
    lines = [values.get(question.key, "") for question in ASKED]
    lines.insert([q.key for q in ASKED].index("intake.cam.lobe_lift") + 1, "1.46")
    typed(monkeypatch, *lines)
    answer = breathe("new", "x.toml")
    assert answer.status == 0, answer.err
    for cam in (read_engine("x.toml").intake_cam, read_engine("x.toml").exhaust_cam):
        assert cam.lobe.lift_m.max() * 1e3 == pytest.approx(9.16, abs=0.005)


def test_a_card_that_cannot_be_is_asked_for_again(breathe, monkeypatch):
    values = {"engine.cylinders": "4", "engine.bore": "80 mm", "engine.stroke": "89 mm",
              "card": "60-20/20-60"}  # fmt: skip
    typed(monkeypatch, *(values.get(q.key, "") for q in ASKED), "20-60/60-20")
    answer = breathe("new", "x.toml")
    assert answer.status == 0 and "the wrong way round?" in answer.err


S2 = (*FEW[:8], "--card", "20-60 / 60-20 @ 0.015 in lash, lobe lift 0.247 in, rocker 1.46",
      "--rod", "165 mm", "--intake-valve-head-diameter", "41 mm")  # fmt: skip


def test_the_card_is_told_as_it_was_read(breathe):
    # 0.247 x 1.46 = 0.361 in = 9.16 mm; stroke 89, rod 165, CR 9, IVC 60 ABDC: 7.41 (recomputed
    # from slider-crank geometry).
    told = "read as IVO 20 BTDC, IVC 60 ABDC: 260 deg crank at 0.381 mm (0.015 in) valve lift"
    for verb in (("new", "x.toml", *S2), ("explain", "x.toml")):
        answer = " ".join(breathe(*verb).out.split())
        assert f"ntake card {told}; lift 9.16 mm (0.361 in) before lash of 0.381 mm" in answer
        assert "xhaust card read as EVO 60 BBDC, EVC 20 ATDC: 260 deg crank at 0.381 mm" in answer
        assert "ffective CR from the card's IVC, at zero lash: 7.41" in answer


def test_exhaust_options_are_for_an_exhaust_that_differs(breathe):
    assert breathe("new", "x.toml", *S2, "--exhaust-cam-lash", "0.30 mm").status == 0
    engine = read_engine("x.toml")
    assert engine.exhaust_cam.lash_m == pytest.approx(0.3e-3)
    assert engine.intake_cam.lash_m == pytest.approx(0.381e-3)


@pytest.mark.parametrize("path", ["taken/foo.toml", "taken/deep/foo.toml"])
def test_a_place_that_takes_no_file_is_named_and_another_offered(breathe, path):
    Path("taken").write_text("a file, not a folder", encoding="utf-8")
    answer = breathe("new", path, *FEW)
    assert answer.status == 2
    assert "cannot be written, the folder" in answer.err and "cannot be made" in answer.err
    assert "try: breathe new foo.toml" in answer.err


@pytest.mark.skipif(not Path("/proc/self").exists(), reason="needs a folder that takes no file")
def test_a_folder_that_takes_no_file_is_named(breathe):
    answer = breathe("new", "/proc/foo", *FEW)
    assert answer.status == 2
    assert answer.err.strip() == (
        "/proc/foo: cannot be written, the folder /proc takes no new file; try: breathe new foo"
    )


def test_asks_again_for_what_was_wrong(breathe, monkeypatch):
    values = {"engine.cylinders": "4", "engine.bore": "3.16", "engine.stroke": "89 mm"}
    typed(monkeypatch, *(values.get(q.key, "") for q in ASKED), "3.16 in")
    answer = breathe("new", "x.toml")
    assert answer.status == 0, answer.err
    assert "is that 3.16 in" in answer.err
    assert read_engine("x.toml").cylinder.bore_m == pytest.approx(3.16 * 0.0254)


def test_needed_answer_is_insisted_on(breathe, monkeypatch):
    values = {"engine.cylinders": "4", "engine.bore": "86 mm", "engine.stroke": "86 mm"}
    lines = [values.get(q.key, "") for q in ASKED]
    lines.insert([q.key for q in ASKED].index("engine.bore"), "")
    typed(monkeypatch, *lines)
    answer = breathe("new", "x.toml")
    assert answer.status == 0 and "This one is needed." in answer.err


def test_leaving_in_the_middle_writes_nothing(breathe, monkeypatch):
    typed(monkeypatch, "Blue four", "4")
    answer = breathe("new", "x.toml")
    assert answer.status == 130 and not Path("x.toml").exists()


def test_examples_in_the_docstrings():
    assert doctest.testmod(new).failed == 0

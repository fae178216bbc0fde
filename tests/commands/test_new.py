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


def test_asks_for_what_no_option_gave(breathe, monkeypatch):
    given = {"engine.cylinders", "engine.bore", "engine.stroke", "engine.compression_ratio",
             "card", "intake.valve.head_diameter"}  # fmt: skip
    asked = [question for question in QUESTIONS if question.key not in given]
    typed(monkeypatch, *("165 mm" if q.key == "engine.rod" else "" for q in asked))
    answer = breathe("new", "x.toml", *FEW)
    assert answer.status == 0, answer.err
    assert read_engine("x.toml").cylinder.rod_m == pytest.approx(0.165)


def test_asks_again_for_what_was_wrong(breathe, monkeypatch):
    values = {"engine.cylinders": "4", "engine.bore": "3.16", "engine.stroke": "89 mm"}
    typed(monkeypatch, *(values.get(q.key, "") for q in QUESTIONS), "3.16 in")
    answer = breathe("new", "x.toml")
    assert answer.status == 0, answer.err
    assert "is that 3.16 in" in answer.err
    assert read_engine("x.toml").cylinder.bore_m == pytest.approx(3.16 * 0.0254)


def test_needed_answer_is_insisted_on(breathe, monkeypatch):
    values = {"engine.cylinders": "4", "engine.bore": "86 mm", "engine.stroke": "86 mm"}
    lines = [values.get(q.key, "") for q in QUESTIONS]
    lines.insert([q.key for q in QUESTIONS].index("engine.bore"), "")
    typed(monkeypatch, *lines)
    answer = breathe("new", "x.toml")
    assert answer.status == 0 and "This one is needed." in answer.err


def test_leaving_in_the_middle_writes_nothing(breathe, monkeypatch):
    typed(monkeypatch, "Blue four", "4")
    answer = breathe("new", "x.toml")
    assert answer.status == 130 and not Path("x.toml").exists()


def test_examples_in_the_docstrings():
    assert doctest.testmod(new).failed == 0

"""From a warped head to its plan at a terminal: what is asked, how often, and in whose words."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from person import Sitting, sit

from handlap.sim.job.scenario_file import load

NEW: tuple[tuple[str, str], ...] = (
    # what is asked, and what a person types
    ("What is the job", "Three-cylinder head"),
    ("Plain numbers in mm, or in inch?", ""),
    ("What outline has the face", "r"),
    ("How long is the face?", "330"),
    ("How wide is it?", "150"),
    ("How many large bores lie in a row", "3"),
    ("What is the diameter of a bore?", "80"),
    ("How far apart are they, from middle to middle?", "100"),
    ("How far is the middle of the row from the near side?", "centred"),
    ("How far is the middle of the first one from the left end?", ""),
    ("How many bolt holes lie in a row along a long side?", "4"),
    ("What is the diameter of a bolt hole?", "11"),
    ("How far apart are they", "95"),
    ("Along both long sides", "b"),
    ("How far are their middles from that side?", "14"),
    ("How far is the middle of the first one", ""),
    ("Opening 1", ""),
    ("Which metal is the face?", "A356"),
    ("How thick is it", ""),
    ("What does it weigh", ""),
    ("How flat must it be?", "0.05 mm"),
    ("How is that meant", "s"),
    ("How much may come off at most", "0.2 mm"),
    ("What gasket goes on it?", "MLS"),
    ("How long is the flat plate", "600"),
    ("How wide is it?", "400"),
    ("Of what grade", ""),
    ("Which papers are at hand", "P120"),
    ("how many pieces of paper lie on it?", "3"),
    ("How wide is a piece", "115"),
    ("How long is it", "560"),
    ("Do they lie side by side, or end to end?", "s"),
    ("How wide is the gap", "2"),
    ("Worked wet?", "y"),
    ("How many sheets are there", ""),
    ("How hard do you press", "firm"),
    ("How high over the paper", ""),
    ("How far does the part travel", "150"),
    ("How is the part turned", ""),
    ("How long is the straightedge?", "400"),
    ("Which feeler leaves are at hand, as they are stamped?", "0.03 0.05 0.08 0.10 0.15 0.20 0.30 mm"),
)  # fmt: skip
READINGS: tuple[tuple[str, str], ...] = (
    ("A long near, 330 mm", "sits still"),
    ("A1, 5 mm from the start", "none none 0.05 0.1 0.1 0.08 0.05 none none"),
    ("B long far, 330 mm", "s"),
    ("B1, 5 mm", "n n .05 .1 .1 .1 .05 n n"),
    ("C cross left, 150 mm", "rocks"),
    ("C1, 5 mm", "0.03 n n n 0.03"),
    ("D cross right, 150 mm", ""),
    ("D1, 5 mm", "n n n n n"),
    ("E diagonal rising", ""),
    ("E1, 5 mm", "none none 0,05 0,08 0,08 0,05 none none"),
    ("F diagonal falling", ""),
    ("F1, 5 mm", "none; none; 0.05 0.08; 0.08 0.10; 0.08 0.10; 0.05; none 0.03; none"),
)


def matched(found: Sitting, asked: tuple[tuple[str, str], ...]) -> None:
    """Every answer was asked for once, by the question it stands beside, and the sitting came to its end."""
    assert found.code == 0, found.screen
    assert not found.left, found.screen
    before = found.screen.split("\n> ")
    assert len(before) == len(asked) + 1, found.screen
    for (words, typed), told in zip(asked, before, strict=False):
        assert words in " ".join(told.split()), (words, typed, told)


def test_a_head_from_new_to_plan_in_sixty_answers(tmp_path: Path) -> None:
    """The three-cylinder head of a plain workshop: bores in a row, leaves in mm, paper in strips."""
    asked = sit(["new", "head.toml"], [typed for _, typed in NEW], tmp_path)
    matched(asked, NEW)
    assert "###" in asked.screen and "far" in asked.screen  # the face, drawn
    read = sit(["readings", "head.toml"], [typed for _, typed in READINGS], tmp_path)
    matched(read, READINGS)
    assert len(NEW) + len(READINGS) <= 60

    job = load(tmp_path / "head.toml")
    assert len(job.part.outline.openings) == 3 + 8
    # (330 × 150 − 3·π·40² − 8·π·5.5²) mm², 30 mm of 2.68 g/cm³ (the guess)
    assert job.part.outline.area == pytest.approx(33660e-6, rel=2e-3)
    assert job.part.weight / 9.80665 == pytest.approx(2.7, abs=0.05)
    assert job.leaf_unit == "mm"
    assert job.readings.edge_length == pytest.approx(0.4)
    assert [round(1e3 * (s.y1 - s.y0)) for s in job.paper.strips or ()] == [115] * 3
    held = {line.name: line.held for line in job.readings.lines}
    assert held["cross left"] == "level" and held["long near"] == "rest"
    line = job.readings.lines[-1]
    assert [round(1e6 * s.goes) for s in line.stations] == [0, 0, 50, 80, 80, 50, 0, 0]
    assert [round(1e6 * s.stops) for s in line.stations] == [30, 30, 80, 100, 100, 80, 30, 30]

    plan = sit(["plan", "head.toml", "--members", "8"], [], tmp_path)
    assert plan.code == 0, plan.screen
    assert "strokes" in plan.screen and "P120" in plan.screen
    for word in ("raster", "chains", "×/÷", "R-hat"):
        assert word not in plan.screen, word


def test_an_interrupted_sitting_of_readings_loses_nothing(tmp_path: Path) -> None:
    """The input ends in the middle of a line; the same command goes on with the next question."""
    (tmp_path / "f.toml").write_text(SMALL, encoding="utf-8")
    before = (tmp_path / "f.toml").read_bytes()
    first = sit(["readings", "f.toml"], ["rocks", "n n .03 n"], tmp_path)
    assert first.code == 2
    assert "handlap readings f.toml" in first.words
    assert (tmp_path / "f.toml").read_bytes() == before
    again = sit(["readings", "f.toml"], ["yes", "s", "n n n n", "end"], tmp_path)
    assert again.code == 0, again.screen
    one, other = load(tmp_path / "f.toml", require_mass=False).readings.lines
    assert one.held == "level" and [round(1e6 * s.goes) for s in one.stations] == [0, 0, 30, 0]
    assert other.held == "rest" and {s.goes for s in other.stations} == {0.0}


SMALL = """title = "Cover"
[part]
length = 110
width = 60
metal = "6061"
limit = 50
[readings]
leaves_in = "mm"
leaves = [0.03, 0.05, 0.08]
"""
MISTAKES: tuple[tuple[str, str], ...] = (
    # typed at the prompts of readings, and what is said to it; then the right answer
    ("rests", "allowed: sits still, rocks, held level"),
    ("tips", "which end does it tip onto?"),
    ("t e", "A1, 5 mm from the start"),
    ("50", "50 mm is thicker than any leaf: 50 µm?"),
    ("no", "Then once more, with its unit"),
    ("0.05 0.03", "a leaf that stops thicker than the leaf that goes"),
    ("none open", "at least one leaf that was tried"),
    ("thick", 'a leaf\'s thickness, or "none"'),
    ("n n n", "has 3 readings; allowed: two leaves for A1 alone, or one reading for each of the 4 stations"),
    ("0.04", "0.04 mm is not among your leaves"),
    ("0,03;n;n;n", "B long far"),
    ("end", "Written into f.toml"),
)


def test_mistakes_at_the_readings_are_asked_back(tmp_path: Path) -> None:
    (tmp_path / "f.toml").write_text(SMALL, encoding="utf-8")
    found = sit(["readings", "f.toml"], [typed for typed, _ in MISTAKES], tmp_path)
    assert found.code == 0, found.screen
    told = found.screen.split("\n> ")[1:]
    assert len(told) == len(MISTAKES), found.screen
    for (typed, words), answer in zip(MISTAKES, told, strict=True):
        assert words in " ".join(answer.split()), (typed, words, answer)
    (line,) = load(tmp_path / "f.toml", require_mass=False).readings.lines
    assert line.held == "tipped end"
    assert tomllib.loads((tmp_path / "f.toml").read_text(encoding="utf-8"))["part"]["length"] == 110

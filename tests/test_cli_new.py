"""``handlap new``: asked, helped, gone back, stopped, gone on with, and refused."""

from __future__ import annotations

import json
import re
import sys
import tomllib

import pytest
from click.testing import CliRunner

from handlap.cli.asking import questions
from handlap.cli.asking.laid_questions import one_of
from handlap.cli.asking.new_file import outline_names
from handlap.cli.asking.new_keys import KEYS_ASKED
from handlap.cli.main import main
from handlap.sim.common.errors import InputError
from handlap.sim.job.scenario_file import builtin_names, load

LIMITS = ["", "", "200", "composite"]
PLATE, PAPER = ["", "", ""], ["P80, P180", "", "yes", ""]
HANDS = ["35 20 60", "", "", "", "", ""]
REST = [*LIMITS, *PLATE, *PAPER, *HANDS]
ROWS = ["", ""]
ANSWERS = ["My head", "", "", "240", "140", *ROWS, "circle 0 0 72", "", "A356", "", "3.4", *REST]


@pytest.fixture(autouse=True)
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(*args: str, typed: list[str] | None = None, **env: str):
    text = "".join(f"{line}\n" for line in typed or [])
    return CliRunner().invoke(main, ["new", *args], input=text, env=env or None)


def test_answers_become_a_scenario_that_loads(here):
    result = run("head.toml", typed=ANSWERS)
    assert result.exit_code == 0, result.stderr
    job = load(here / "head.toml", require_readings=False)
    assert job.title == "My head"
    assert (job.part.outline.length, job.part.outline.width) == (0.24, 0.14)
    assert len(job.part.outline.openings) == 1
    assert job.part.weight == pytest.approx(3.4 * 9.80665)
    assert (job.hands.press.value, job.hands.press.assumed) == (35.0, False)
    assert job.hands.press.low == pytest.approx(20.0, abs=0.5)
    assert [grit.name for grit in job.paper.grits] == ["P80", "P180"]
    assert job.paper.wet
    assert not job.readings.lines
    assert [path.name for path in here.iterdir()] == ["head.toml"]
    assert "measuring-sheet" in result.stdout


def test_what_is_left_to_its_default_is_not_stated_as_known(here):
    run("head.toml", typed=ANSWERS)
    job = load(here / "head.toml", require_readings=False)
    assert job.hands.height.assumed
    text = (here / "head.toml").read_text(encoding="utf-8")
    assert "# height not stated (15 mm on a small cover to 100 mm on a head, within a factor of 1.5;" in text


def test_without_readings_it_cannot_be_planned_and_says_why(here):
    run("head.toml", typed=ANSWERS)
    result = CliRunner().invoke(main, ["plan", "head.toml"])
    assert result.exit_code == 2
    assert "readings" in result.stderr


def test_the_line_of_readings_it_shows_is_one_the_loader_takes(here):
    run("head.toml", typed=ANSWERS)
    text = (here / "head.toml").read_text(encoding="utf-8")
    example = [row.removeprefix("#     ") for row in text.splitlines() if row.startswith("#     ")]
    (here / "tried.toml").write_text(text + "\n".join(example) + "\n", encoding="utf-8")
    (line,) = load(here / "tried.toml").readings.lines
    assert line.stations[0].goes == 0.0


def test_questions_have_help_defaults_and_the_loader_s_own_messages():
    typed = ["x", "", "", "?", "-5", "240", "140", "", "", "circle 100 60 30", "blob 1", "", "butter", "A356"]
    result = run("head.toml", typed=typed)
    assert result.exit_code == 2
    for words in (
        "Length of a rectangular face, along u. Allowed: 1 to 3000 mm.",
        "head.toml: part.length = -5; allowed: 1 to 3000 mm",
        "must lie inside the edge of the face",
        'blob 1"; allowed: circle, slot or polygon',
        'part.metal = "butter"; allowed: ',
        "[A356]",
    ):
        assert words in " ".join(result.stderr.split()), words


def test_every_question_has_help_and_a_key_of_the_table():
    for asked in KEYS_ASKED:
        assert asked.text.strip()
        assert len(asked.text) < 110


def test_going_back_keeps_the_answer_as_the_default(here):
    typed = ANSWERS.copy()
    typed[4:5] = ["130", "<", "", "<", "<", "", "140"]
    result = run("head.toml", typed=typed)
    assert result.exit_code == 0, result.stderr
    assert "[130]" in result.stderr
    assert tomllib.loads((here / "head.toml").read_text(encoding="utf-8"))["part"]["width"] == 140


def test_back_at_the_first_question_says_so():
    assert "This is the first question." in run("a.toml", typed=["<"]).stderr


def test_input_that_ends_early_keeps_what_was_typed(here):
    result = run("head.toml", typed=ANSWERS[:6])
    assert result.exit_code == 2
    assert "6 answers are kept in head.new-draft.json" in result.stderr
    again = run("head.toml", typed=["yes", *ANSWERS[6:]])
    assert again.exit_code == 0, again.stderr
    straight = (here / "head.toml").read_text(encoding="utf-8")
    (here / "head.toml").unlink()
    run("head.toml", typed=ANSWERS)
    assert (here / "head.toml").read_text(encoding="utf-8") == straight
    assert not (here / "head.new-draft.json").exists()


@pytest.mark.parametrize("stop_after", [0, 1, 4, 9, 20])
def test_ctrl_c_loses_nothing(here, monkeypatch, stop_after):
    given = iter(ANSWERS[:stop_after])

    def answer() -> str:
        for typed in given:
            return typed
        raise KeyboardInterrupt

    monkeypatch.setattr(questions, "read_answer", answer)
    result = run("head.toml")
    assert result.exit_code == 130
    assert not (here / "head.toml").exists()
    if stop_after:
        kept = json.loads((here / "head.new-draft.json").read_text(encoding="utf-8"))["answers"]
        assert len(kept) == stop_after
        assert kept["title"] == "My head"
        assert "handlap new head.toml" in result.stderr


def test_an_earlier_draft_can_be_left_aside_and_is_not_lost(here):
    run("head.toml", typed=ANSWERS[:6])
    run("head.toml", typed=["no", "Other"])
    old = json.loads((here / "head.new-draft.json.old").read_text(encoding="utf-8"))
    assert len(old["answers"]) == 6
    assert "Other" in (here / "head.new-draft.json").read_text(encoding="utf-8")


@pytest.mark.parametrize("damage", ["{", '{"schema": "other/1", "answers": {}}', '{"answers": 3}'])
def test_a_damaged_draft_is_reported_and_set_aside(here, damage):
    (here / "head.new-draft.json").write_text(damage, encoding="utf-8")
    result = run("head.toml", typed=ANSWERS)
    assert result.exit_code == 0, result.stderr
    assert "set aside" in result.stderr
    assert (here / "head.new-draft.json.damaged").read_text(encoding="utf-8") == damage


def test_a_file_that_is_there_is_never_overwritten(here):
    (here / "head.toml").write_text("mine", encoding="utf-8")
    for args in (("head.toml",), ("head.toml", "--from", "plane-sole")):
        result = run(*args, typed=ANSWERS)
        assert result.exit_code == 2
        assert "not overwritten" in result.stderr
    assert (here / "head.toml").read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize("name", outline_names())
def test_every_built_in_outline_can_be_taken_over_without_questions(here, name):
    result = run("own.toml", "--from", name)
    assert result.exit_code == 0, result.stderr
    ours, theirs = load(here / "own.toml", require_readings=False), load(name)
    assert ours.part.outline.area == pytest.approx(theirs.part.outline.area)
    assert ours.part.limit == theirs.part.limit
    assert ours.hands == theirs.hands
    assert ours.invented
    assert not ours.readings.lines
    assert ours.readings.table is None


def test_scenarios_held_against_a_formula_are_no_outlines(here):
    assert set(outline_names()) < {name for name, _ in builtin_names()}
    result = run("a.toml", "--from", "formula-check")
    assert result.exit_code == 2
    assert "plane-sole" in result.stderr


@pytest.mark.parametrize("units", ["mm", "inch"])
def test_an_outline_in_the_other_units_is_converted(here, units):
    typed = ["Sole", units, "plane-sole", "grey iron", "", "2.5 kg", *[""] * 18]
    assert run("sole.toml", typed=typed).exit_code == 0
    ours = load(here / "sole.toml", require_readings=False).part.outline
    theirs = load("plane-sole").part.outline
    assert ours.area == pytest.approx(theirs.area, rel=1e-5)
    assert ours.length == pytest.approx(14 * 0.0254)


def test_a_guess_of_the_mass_says_that_it_is_one(here):
    typed = ANSWERS.copy()
    typed[11] = ""
    assert run("head.toml", typed=typed).exit_code == 0
    text = (here / "head.toml").read_text(encoding="utf-8")
    assert "mass is a guess" in text
    # (240 × 140 − π·36²) mm² × 30 mm × 2.68 g/cm³
    assert tomllib.loads(text)["part"]["mass"] == pytest.approx(2.37, abs=0.05)


def test_a_polygon_in_its_own_frame(here):
    typed = [
        "L",
        "",
        "polygon",
        "0 0; 200 0; 200 100; 50 100; 0 60",
        "",
        "",
        "circle 30 30 10",
        "",
        *ANSWERS[9:],
    ]
    assert run("l.toml", typed=typed).exit_code == 0
    outline = load(here / "l.toml", require_readings=False).part.outline
    assert outline.length == pytest.approx(0.2)
    assert outline.area == pytest.approx((200 * 100 - 50 * 40 / 2 - 78.54) * 1e-6, rel=1e-4)


def test_json_is_one_object_on_stdout():
    result = run("own.toml", "--from", "inlet-flange", "--json")
    found = json.loads(result.stdout)
    assert found["schema"] == "handlap.new/1"
    assert found["scenario"]["part"]["metal"] == "6061"
    assert not found["has_readings"]


def test_forty_columns_are_enough():
    result = run("head.toml", typed=ANSWERS, COLUMNS="40")
    long = [line for line in (result.stderr + result.stdout).splitlines() if len(line) > 40]
    assert long == []


@pytest.mark.parametrize("file", ["no/such/folder/a.toml", "."])
def test_a_place_that_cannot_be_written_is_refused_before_any_question(file):
    result = run(file, typed=ANSWERS)
    assert result.exit_code == 2
    assert "cannot write" in result.stderr
    assert "?" not in result.stdout


def test_without_any_input_it_says_so(monkeypatch):
    monkeypatch.setattr(sys, "stdin", None)
    with pytest.raises(questions.NoMoreInput):
        questions.read_answer()


NEW_MISTAKES: tuple[tuple[str, str], ...] = (
    # typed, and what is said to it before the next prompt
    ("Head", "Plain numbers in mm, or in inch?"),
    ("feet", "allowed: "),
    ("m", "What outline has the face"),
    ("oval", "allowed: rectangle, polygon"),
    ("r", "How long is the face?"),
    ("0.2", "0.2 mm is smaller than anything here: 0.2 m"),
    ("no", "Then once more, with its unit"),
    ("200", "How wide is it?"),
    ("10 cm", "How many large bores"),
    ("a few", "allowed: how many, 1 to 50, or none"),
    ("2", "What is the diameter of a bore?"),
    ("120", "120 mm across; allowed: less than the face, 100 mm"),
    ("60", "How far apart are they"),
    ("50", "they would run into one another"),
    ("190", "the face is 200 mm long; allowed: less than 140 mm"),
    ("90", "How far is the middle of the row"),
    ("10", "puts them over the edge; allowed: more than 30 mm and less than 70 mm"),
    ("c", "allowed: a length of at least 1 mm"),
    ("centred", "How far is the middle of the first one"),
    ("centred", "How many bolt holes"),
    ("6", "What is the diameter of a bolt hole?"),
    ("8", "How far apart are they"),
    ("30", "Along both long sides"),
    ("left", "allowed: both, near, far"),
    ("n", "How far are their middles from that side?"),
    ("25", "How far is the middle of the first one"),
    ("centred", "does not fit: it overlaps opening 1, and"),
    ("<", "How far are their middles from that side?"),
    ("10", "How far is the middle of the first one"),
    ("", "Opening 1"),
    ("hole 3", "allowed: circle, slot or polygon"),
    ("none", "near  "),
    ("tin", "part.metal"),
    ("iron", "How thick is it"),
    ("none", "What does it weigh"),
    ("3400", "3400 kg is heavier than any part: 3400 g?"),
    ("", "How flat must it be?"),
    ("0.05", "0.05 µm is finer than any limit: 0.05 mm?"),
    ("yes", "How is that meant"),
    ("maybe", "allowed: one of "),
    ("s", "How much may come off"),
    ("none", "What gasket"),
    ("MLS", "How long is the flat plate"),
    ("500", "How wide is it?"),
    ("400", "Of what grade"),
    ("best", "allowed: "),
    ("none", "Which papers are at hand"),
    ("P240 P80", "coarse to fine"),
    ("P80 P120", "how many pieces of paper"),
    ("half", "allowed: how many, 1 to 50, or whole"),
    ("3", "How wide is a piece"),
    ("0", "allowed: a length of at least 5 mm"),
    ("120", "How long is it"),
    ("480", "Do they lie side by side"),
    ("across", "allowed: side by side, end to end"),
    ("s", "How wide is the gap"),
    ("2", "one at a time, shared out"),
    ("shared", "3 pieces cannot be shared out evenly among 2 grits"),
    ("one", "Worked wet?"),
    ("damp", "allowed: true or false"),
    ("y", "How many sheets"),
    ("some", "allowed: "),
    ("none", "How hard do you press"),
    ("gently", '"light", "firm", "heavy", or a force'),
    ("l", '"light", "firm", "heavy", or a force'),
    ("light", "How high over the paper"),
    ("", "How far does the part travel"),
    ("", "How is the part turned"),
    ("sometimes", "allowed: "),
    ("half", "How long is the straightedge?"),
    ("", "Which feeler leaves"),
    ("0.05 0.1 0.2", "0.05 µm is thinner than any leaf: 0.05 mm?"),
    ("yes", "The thinnest leaf, 50 µm (2 thou), cannot show that the limit of 50 µm (2 thou) is met: "),
)


def test_mistakes_at_every_prompt_are_asked_back_with_the_remedy(here):
    """Some thirty plausible slips, one after another; then it is right and is written."""
    result = run("head.toml", typed=[typed for typed, _ in NEW_MISTAKES])
    assert result.exit_code == 0, result.stderr
    told = result.stderr.split("\n> ")[1:]
    assert len(told) == len(NEW_MISTAKES), result.stderr
    for (typed, words), answer in zip(NEW_MISTAKES, told, strict=True):
        assert words in " ".join(answer.split()) or words in answer, (typed, words, answer)
    job = load(here / "head.toml", require_readings=False)
    assert len(job.part.outline.openings) == 2 + 6
    assert (job.part.weight, job.part.limit) == (pytest.approx(3.4 * 9.80665), pytest.approx(50e-6))
    assert len(job.paper.strips or ()) == 3
    assert job.leaf_unit == "mm"


def test_grits_on_pieces_of_their_own_are_worked_on_these_alone(here):
    typed = [*ANSWERS]
    at = typed.index("P80, P180")
    typed[at + 1 : at + 2] = ["4", "90", "450", "side by side", "10", "shared out"]
    result = run("head.toml", typed=typed)
    assert result.exit_code == 0, result.stderr
    strips = tomllib.loads((here / "head.toml").read_text(encoding="utf-8"))["paper"]["strips"]
    assert strips == [[-225, -95, 225, -5], [-225, 5, 225, 95]]
    assert "Each grit has 2 of the 4 pieces" in (here / "head.toml").read_text(encoding="utf-8")


def test_help_says_no_more_of_a_default_than_there_is():
    assert "(ours" not in run("a.toml", typed=["", "?"]).stderr


INCH = ("Head", "inch", "r", "13", "6", "3", "3 1/4", "4", "", "", "4", "7/16", "3 3/4", "b", "0.6", "", "",
        "A356", "", "", ".002 in", "", "8 thou", "", "24", "16", "", "P120", "3", "4.5", "22", "s", "1/16",
        "y", "", "firm", "", "6", "", "15 3/4", ".0015 .002 .003 .004 .006 .008 in")  # fmt: skip


def test_an_inch_job_is_asked_and_helped_in_inches(here, monkeypatch):
    """Every question with its help, defaults and ranges: no metric unit but where units are chosen."""
    typed = iter([line for answer in INCH for line in ("?", answer)])
    monkeypatch.setattr(questions, "read_answer", lambda: next(typed))
    result = run("head.toml")
    assert result.exit_code == 0, result.stderr
    asked = " ".join(result.stderr.split()).partition("What outline")[2]
    assert not re.search(r"(?<![\w/])(mm|µm|kg|N|g)(?![\w/])", asked), asked
    text = (here / "head.toml").read_text(encoding="utf-8")
    assert not re.search(r"\d (mm|µm|kg|N)\b", text), text
    job = load(here / "head.toml", require_readings=False)
    assert (job.leaf_unit, job.readings.edge_length) == ("in", pytest.approx(0.40005))
    assert job.part.limit == pytest.approx(50.8e-6)
    assert job.part.outline.length == pytest.approx(13 * 0.0254)


def test_centimetres_are_no_mistyped_millimetres():
    """Short words are a letter from each other: they are asked back, never guessed."""
    assert one_of("Millimetrs", ("millimetres", "inch")) == "millimetres"
    assert one_of("in", ("mm", "inch")) == "inch"
    for typed in ("cm", "km", "im"):
        with pytest.raises(InputError, match="first letters"):
            one_of(typed, ("mm", "inch"))

"""What an apprentice answers to an exercise: the questions, how answers are read, and the form.

Every question is a row of :data:`QUESTIONS`; the form on paper, the form as a file and the
questions at a terminal are made from these rows, so that they ask for the same.
"""

from __future__ import annotations

import textwrap
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Literal

from handlap.sim.common.errors import Fault, ScenarioError
from handlap.sim.common.units import from_si, parse_quantity
from handlap.sim.job.findings import IMMENSE, Findings, is_immense
from handlap.sim.job.scenario_file import parse_toml
from handlap.sim.job.toml_edit import value_text
from handlap.sim.job.turning import SCHEDULES
from handlap.sim.teaching.exercise import ExerciseTask

Do = Literal["leave", "lap", "machine shop", "cannot tell"]
SHAPES = ("hollow", "crowned", "twisted", "mixed", "cannot tell")
DOINGS = ("leave", "lap", "machine shop", "cannot tell")
TURNINGS = tuple(SCHEDULES)
MOST_HEIGHT = 5e-3
"""No flatness or cut beyond this is believed [m]."""
MOST_STROKES = 12_000
LONGEST_NAME = 60
COLUMNS = 100
"""Width of the comments of the form."""


@dataclass(frozen=True)
class ExerciseQuestion:
    """One thing asked of the apprentice; ``more`` says how to answer."""

    name: str
    heading: str
    text: str
    more: str


QUESTIONS: tuple[ExerciseQuestion, ...] = (
    ExerciseQuestion(
        "shape", "The face", "What shape is the face?",
        "hollow, crowned, twisted, mixed (neither bow nor twist carries it, or a saddle), or cannot tell",
    ),
    ExerciseQuestion(
        "flatness", "The face", "How flat is it: your best guess, in µm?",
        "the least distance of two planes that hold the whole face between them, edges included",
    ),
    ExerciseQuestion(
        "flatness_from", "The face", "What is the least that it could be, in µm?",
        "so low that you would be surprised to find it lower: the readings leave room, say how much",
    ),
    ExerciseQuestion(
        "flatness_to", "The face", "What is the most that it could be, in µm?",
        "so high that you would be surprised to find it higher",
    ),
    ExerciseQuestion(
        "least_cut", "The face",
        "What is the least cut that clears the face, in µm of mean depth, at the best tilt?",
        "averaged over the face, what has to come off before the lowest spot is touched; a scale would "
        "tell it. Think of the shape: how much metal stands above its lowest spot?",
    ),
    ExerciseQuestion(
        "read_again", "The readings", "Which readings do not fit the others and have to be read again?",
        "their names on the sheet, such as B3, with commas between; or none",
    ),
    ExerciseQuestion(
        "do", "The plan", "What is to be done with it?",
        "leave (it is flat enough), lap (by hand), machine shop, or cannot tell",
    ),
    ExerciseQuestion(
        "papers", "The lap", "On which papers, coarse to fine?",
        "Whatever you said above, plan the lap: to the limit; a face that you would leave, to half of what "
        "it measures now; one for the machine shop, as if there were metal enough. Of the papers in the "
        "scenario, with commas between, such as P120, P240",
    ),
    ExerciseQuestion(
        "strokes", "The lap", "How many strokes on each of them?",
        "in the same order, with commas between, such as 600, 80; there and back is one stroke",
    ),
    ExerciseQuestion(
        "turning", "The lap", "How is the part turned?",
        "none, half (half a turn of the part), quarter, walk (round the plate), or half and walk",
    ),
    ExerciseQuestion(
        "turn_every", "The lap", "After how many strokes is it turned each time?",
        "a whole number; never with turning none",
    ),
)  # fmt: skip
NAMES = tuple(asked.name for asked in QUESTIONS)


@dataclass(frozen=True)
class LapAnswer:
    """How the apprentice would lap it: papers with their strokes, how and how often to turn (0: never)."""

    papers: tuple[str, ...]
    strokes: tuple[int, ...]
    turning: str
    turn_every: int


@dataclass(frozen=True)
class ExerciseAnswers:
    """All answers to an exercise [m]; ``lap`` is how it would be lapped, whatever is to be done with it."""

    shape: str
    flatness: float
    flatness_from: float
    flatness_to: float
    least_cut: float
    read_again: tuple[str, ...]
    do: Do
    lap: LapAnswer
    by: str = ""


def given(raw: Mapping[str, Any], name: str) -> bool:
    """Whether a question has an answer at all.

    >>> given({"shape": " "}, "shape"), given({"flatness": 0}, "flatness")
    (False, True)
    """
    value = raw.get(name)
    return value is not None and not (isinstance(value, str) and not value.strip()) and value != []


# ---- one answer


def _words(raw: Any) -> str:
    return " ".join(str(raw).lower().split())


def _list(raw: Any) -> list[str]:
    items = raw if isinstance(raw, list) else str(raw).split(",")
    return [str(item).strip() for item in items if str(item).strip()]


def _one_of(raw: Any, names: tuple[str, ...]) -> str:
    word = _words(raw)
    if word not in names:
        raise ValueError(", ".join(names))
    return word


def _height(raw: Any) -> float:
    allowed = "a height from 0 to 5000 µm, as a plain number of µm or with its unit"
    if isinstance(raw, bool) or not isinstance(raw, int | float | str):
        raise ValueError(allowed)
    try:
        value = 1e-6 * float(raw)
    except ValueError:
        try:
            value = parse_quantity(str(raw), "height")
        except ValueError:
            raise ValueError(allowed) from None
    except OverflowError:
        raise ValueError(allowed) from None
    if not 0.0 <= value <= MOST_HEIGHT:
        raise ValueError(allowed)
    return value


def _whole(raw: Any, allowed: str) -> int:
    text = str(raw).strip()
    if isinstance(raw, bool) or not (text.isascii() and text.isdigit()) or len(text) > 9:
        raise ValueError(allowed)
    if not 1 <= int(text) <= MOST_STROKES:
        raise ValueError(allowed)
    return int(text)


def _strokes(raw: Any) -> tuple[int, ...]:
    allowed = f"whole numbers from 1 to {MOST_STROKES} with commas between, one for each paper"
    found = tuple(_whole(item, allowed) for item in (_list(raw) if not isinstance(raw, int) else [raw]))
    if not found:
        raise ValueError(allowed)
    return found


def _turn_every(raw: Any) -> int:
    if _words(raw) == "never":
        return 0
    return _whole(raw, f'a whole number of strokes from 1 to {MOST_STROKES}, or "never"')


def _labels(raw: Any, task: ExerciseTask) -> tuple[str, ...]:
    known = set(task.labels().values())
    items = [item.upper() for item in _list(raw)]
    if items == ["NONE"]:
        return ()
    wrong = [item for item in items if item not in known]
    if wrong or not items:
        lines = ", ".join(f"{x.label(0)} to {x.label(len(x.at) - 1)}" for x in task.lines if x.at)
        raise ValueError(f'names on the sheet with commas between ({lines}), or "none"')
    return tuple(dict.fromkeys(items))


def _papers(raw: Any, task: ExerciseTask) -> tuple[str, ...]:
    known = {grit.name.lower(): grit for grit in task.scenario.paper.grits}
    allowed = f"of {', '.join(g.name for g in known.values())}, coarse to fine, with commas between"
    items = _list(raw)
    if not items or any(item.lower() not in known for item in items):
        raise ValueError(allowed)
    grits = [known[item.lower()] for item in items]
    if any(b.diameter >= a.diameter for a, b in pairwise(grits)):
        raise ValueError(allowed)
    return tuple(grit.name for grit in grits)


def read_answer(name: str, raw: Any, task: ExerciseTask) -> Any:
    """One answer, checked.

    Raises
    ------
    ValueError : with what is allowed
    """
    if name == "shape":
        return _one_of(raw, SHAPES)
    if name == "do":
        return _one_of(raw, DOINGS)
    if name == "turning":
        return _one_of(raw, TURNINGS)
    if name == "read_again":
        return _labels(raw, task)
    if name == "papers":
        return _papers(raw, task)
    if name == "strokes":
        return _strokes(raw)
    if name == "turn_every":
        return _turn_every(raw)
    return _height(raw)


# ---- all answers


def read_answers(raw: Mapping[str, Any], task: ExerciseTask, file: str) -> ExerciseAnswers:
    """All answers, checked one by one and against each other.

    Parameters
    ----------
    raw : answers by the names of :data:`QUESTIONS`, as they stand in the form
    file : name of the form, for messages

    Raises
    ------
    ScenarioError : with everything that is missing or wrong
    """
    found = Findings(file)
    read: dict[str, Any] = {}
    if given(raw, "exercise") and str(raw["exercise"]) != task.name:
        found.fault("exercise", raw["exercise"], f'the form of this exercise, "{task.name}"')
    by = raw.get("by", "")
    if not isinstance(by, str) or len(by) > LONGEST_NAME or (by and not by.isprintable()):
        found.fault("by", by, f"a name of at most {LONGEST_NAME} characters, or nothing")
        by = ""
    for key in raw:
        if key not in (*NAMES, "exercise", "by"):
            found.fault(str(key), None, f"no such question; there are {', '.join(NAMES)}")
    for asked in QUESTIONS:
        if not given(raw, asked.name):
            found.fault(asked.name, None, "not entered yet")
            continue
        try:
            read[asked.name] = read_answer(asked.name, raw[asked.name], task)
        except ValueError as fault:
            found.fault(asked.name, raw[asked.name], str(fault))
    together_fault = _together(read)
    if together_fault:
        found.fault(*together_fault)
    if found.faults:
        raise ScenarioError(found.faults)
    lap = LapAnswer(read["papers"], read["strokes"], read["turning"], read["turn_every"])
    heights = ("flatness", "flatness_from", "flatness_to", "least_cut")
    return ExerciseAnswers(
        shape=read["shape"], **{k: read[k] for k in heights}, read_again=read["read_again"],
        do=read["do"], lap=lap, by=by,
    )  # fmt: skip


def _together(read: Mapping[str, Any]) -> tuple[str, Any, str] | None:
    """What does not go together among answers that are each allowed."""
    names = ("flatness_from", "flatness", "flatness_to")
    if all(name in read for name in names):
        low, guess, high = (read[name] for name in names)
        if not low <= guess <= high:
            words = " ≤ ".join(f"{from_si(x, 'height'):g}" for x in (low, guess, high))
            return "flatness", words, "flatness_from ≤ flatness ≤ flatness_to"
    if "papers" in read and "strokes" in read and len(read["papers"]) != len(read["strokes"]):
        return "strokes", list(read["strokes"]), f"as many numbers as papers, {len(read['papers'])}"
    turned = read.get("turning", "none") != "none"
    if "turn_every" in read and "turning" in read and turned != bool(read["turn_every"]):
        return "turn_every", read["turn_every"] or "never", 'a number of strokes; "never" with turning "none"'
    return None


def read_form(data: bytes, file: str) -> dict[str, Any]:
    """What stands in a form, unchecked but for being TOML.

    Raises
    ------
    ScenarioError : if it is no text or no TOML, or holds numbers that nobody means
    """
    found = Findings(file)
    try:
        raw = parse_toml(data.decode("utf-8-sig"), found)
    except UnicodeDecodeError:
        raise ScenarioError([Fault(file, "", "", "not text in UTF-8")]) from None
    for key, value in raw.items():
        if _holds_immense(value):
            found.fault(key, None, f"{IMMENSE}; nothing here can be as large")
    if found.faults:
        raise ScenarioError(found.faults)
    return raw


def _holds_immense(value: Any) -> bool:
    if isinstance(value, list | dict):
        return any(map(_holds_immense, value.values() if isinstance(value, dict) else value))
    return is_immense(value)


def form_text(task: ExerciseTask, answers: Mapping[str, Any] | None = None) -> str:
    """The answer form as TOML, empty or with answers."""
    held = answers or {}
    lines = [
        f"# Answers to the exercise {task.name}: {task.scenario.title}.",
        "# Fill in between the quotes; nothing is marked, and nothing revealed, before all is entered.",
        "",
        f"exercise = {value_text(task.name)}",
        f"by = {value_text(str(held.get('by', '')))}",
    ]
    heading = ""
    for asked in QUESTIONS:
        if asked.heading != heading:
            heading = asked.heading
            lines += ["", f"# ---- {heading}"]
        lines += ["", f"# {asked.text}"]
        lines += textwrap.wrap(asked.more, COLUMNS, initial_indent="#   ", subsequent_indent="#   ")
        lines.append(f"{asked.name} = {value_text(held.get(asked.name, ''))}")
    return "\n".join(lines) + "\n"

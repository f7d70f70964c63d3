"""The keys of a lesson's file, and from checked values to the records of a lesson.

Plain numbers are in the units of the screen: heights, depths and margins in µm, masses in g,
shares in per cent, strokes counted.
"""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any, cast

from handlap.sim.job.findings import Findings, is_immense
from handlap.sim.teaching.lesson import Asks, Case, Choice, CourseShape, Lesson, LessonQuestion
from handlap.sim.teaching.lesson_answer import asked_unit
from handlap.sim.teaching.lesson_figures import FIGURES, SCREEN
from handlap.sim.teaching.lesson_reason_keys import (
    CAUSE_KEYS,
    MOST_CAUSES,
    MOST_STEPS,
    NAME,
    STEP_KEYS,
    read_cause,
    read_face,
    read_step,
)
from handlap.sim.teaching.lesson_values import one_of, refuse_unknown, tables_of, text_of, whole_of, words_of

LESSON_KEYS = (
    "title",
    "order",
    "story",
    "ask",
    "strokes",
    "looks",
    "members",
    "cells",
    "pictures",
    "scenario",
    "face",
    "case",
    "question",
    "choice",
    "intends",
    "because",
    "cause",
    "bench",
    "step",
    "cautions",
)
CASE_KEYS = ("name", "words", "face", "change", "strokes")
OUTCOMES = ("case", "alike", "course", "between")
CHOICE_KEYS = ("words", *OUTCOMES, "right_if")
QUESTION_KEYS = ("asks", "figure", "take", "margin", "ratio_to", "base", "of")
PICTURES = ("curve", "before", "after", "removed", "dye")
ASKS = ("which", "course", "number")
COURSES = ("falls", "levels off", "turns back")
MOST_CASES, MOST_CHOICES = 6, 6
MOST_STROKES = 12_000


def read_lesson(
    document: dict[str, Any], name: str, scenario: dict[str, Any], folder: Path | None, found: Findings
) -> Lesson | None:
    """The lesson, or None where there is no question; faults are written down.

    With faults it comes back as far as it goes, so that its texts and its job are looked at too.

    Parameters
    ----------
    document : tables of the file
    scenario, folder : its job, and where the files lie that the job names
    """
    refuse_unknown(document, LESSON_KEYS, "", found)
    text = {
        key: text_of(document.get(key), key, found) for key in ("title", "story", "ask", "because", "bench")
    }
    whole: dict[str, int | None] = {
        "order": whole_of(document.get("order"), "order", 0, 9999, found),
        "strokes": whole_of(document.get("strokes"), "strokes", 0, MOST_STROKES, found, needed=True),
        "looks": whole_of(document.get("looks"), "looks", 1, 100, found),
        "members": whole_of(document.get("members"), "members", 2, 4096, found),
        "cells": whole_of(document.get("cells"), "cells", 100, 20_000, found),
    }
    face = read_face(document.get("face"), "face", found)
    cases = tables_of(document.get("case"), "case", 1, MOST_CASES, CASE_KEYS, found, _case)
    question = _question(document.get("question"), found)
    choices: tuple[Choice, ...] | None = None
    if question is not None:
        choices = tables_of(
            document.get("choice"), "choice", 2, MOST_CHOICES, CHOICE_KEYS, found,
            lambda raw, label, found: _choice(raw, label, question, found),
        )  # fmt: skip
    intends = whole_of(
        document.get("intends"), "intends", 1, len(choices or ()) or MOST_CHOICES, found, needed=True
    )
    causes = tables_of(document.get("cause", []), "cause", 0, MOST_CAUSES, CAUSE_KEYS, found, read_cause)
    steps = tables_of(document.get("step", []), "step", 0, MOST_STEPS, STEP_KEYS, found, read_step)
    pictures = words_of(document.get("pictures"), "pictures", PICTURES, found)
    cautions = words_of(document.get("cautions"), "cautions", None, found)
    if question is None:
        return None
    return Lesson(
        name=name,
        title=text["title"],
        story=text["story"],
        ask=text["ask"],
        choices=choices or (),
        because=text["because"],
        bench=text["bench"],
        scenario=scenario,
        face=face,
        cases=cases or (),
        strokes=whole["strokes"] or 0,
        question=question,
        intends=(intends or 1) - 1,
        pictures=("curve",) if pictures is None else pictures,
        cautions=cautions or (),
        order=1000 if whole["order"] is None else whole["order"],
        members=whole["members"],
        looks=whole["looks"] or 8,
        cells=whole["cells"] or 1500,
        folder=folder,
        causes=causes or (),
        steps=steps or (),
    )


def _case(raw: dict[str, Any], label: str, found: Findings) -> Case | None:
    name = raw.get("name")
    if not isinstance(name, str) or not NAME.fullmatch(name):
        missing = "missing: " if name is None else ""
        found.fault(f"{label}.name", name, f"{missing}a short name of letters, digits and _, a letter first")
        name = None
    words = text_of(raw.get("words"), f"{label}.words", found)
    face = read_face(raw.get("face"), f"{label}.face", found)
    change = raw.get("change", {})
    if not isinstance(change, dict):
        found.fault(f"{label}.change", change, "a table of keys of a scenario file")
        change = {}
    strokes = whole_of(raw.get("strokes"), f"{label}.strokes", 0, MOST_STROKES, found)
    return None if name is None else Case(name, words, face, change, strokes)


def _question(raw: Any, found: Findings) -> LessonQuestion | None:
    if not isinstance(raw, dict):
        missing = "missing: " if raw is None else ""
        found.fault("question", raw, f"{missing}a table [question] with {', '.join(QUESTION_KEYS)}")
        return None
    refuse_unknown(raw, QUESTION_KEYS, "question.", found)
    asks = one_of(raw.get("asks"), "question.asks", ASKS, found, needed=True)
    figure = one_of(raw.get("figure"), "question.figure", tuple(FIGURES), found, needed=True)
    take = one_of(raw.get("take"), "question.take", ("least", "most"), found, needed=asks == "which")
    ratio_to = one_of(raw.get("ratio_to"), "question.ratio_to", tuple(FIGURES), found, needed=False)
    for name, fits in (("take", "which"), ("ratio_to", "number"), ("base", "number")):
        if name in raw and asks not in (fits, None):
            found.fault(f"question.{name}", raw[name], f'only beside asks = "{fits}"')
    if asks == "course" and figure is not None and not FIGURES[figure].course:
        followed = ", ".join(n for n, kind in FIGURES.items() if kind.course)
        found.fault("question.figure", figure, f"a figure that is known at every look: {followed}")
    if asks is None or figure is None:
        return None
    margin = _scaled(raw.get("margin"), "question.margin", FIGURES[figure].scale, found)
    if margin is None and asks != "number" and "margin" not in raw:
        unit = FIGURES[figure].screen_unit
        found.fault(
            "question.margin", None, f"missing: a difference{f' in {unit}' if unit else ''} that counts"
        )
    for name in ("base", "of"):
        if name in raw and not isinstance(raw[name], str):
            found.fault(f"question.{name}", raw[name], "the name of a case")
    question = LessonQuestion(
        cast(Asks, asks), figure, cast(Any, take), margin or 0.0, ratio_to, raw.get("base"), raw.get("of")
    )
    try:
        asked_unit(question)
    except ValueError as error:
        found.fault("question.ratio_to", ratio_to, str(error))
        return None
    return question


def _scaled(raw: Any, label: str, scale: float, found: Findings) -> float | None:
    """A plain number of zero or more in screen units as SI."""
    if raw is None:
        return None
    if isinstance(raw, bool) or not isinstance(raw, int | float) or not 0.0 <= raw < 1e300:
        found.fault(label, raw, "a number of 0 or more")
        return None
    return float(raw) / scale


def _choice(raw: dict[str, Any], label: str, question: LessonQuestion, found: Findings) -> Choice | None:
    """A prediction with its outcome, and what would have to be so for it to be right."""
    choice = _outcome(raw, label, question, found)
    if "right_if" not in raw:
        return choice
    right_if = text_of(raw["right_if"], f"{label}.right_if", found)
    return None if choice is None else replace(choice, right_if=right_if)


def _outcome(raw: dict[str, Any], label: str, question: LessonQuestion, found: Findings) -> Choice | None:
    words = text_of(raw.get("words"), f"{label}.words", found)
    fits = {"which": ("case", "alike"), "course": ("course",), "number": ("between",)}[question.asks]
    given = [name for name in OUTCOMES if name in raw]
    if len(given) != 1 or given[0] not in fits:
        got = ", ".join(given) or None
        allowed = f'exactly one of {", ".join(fits)}, for asks = "{question.asks}"'
        found.fault(label, got, allowed if given else f"missing: {allowed}")
        return None
    value = raw[given[0]]
    if given[0] == "case":
        if isinstance(value, str):
            return Choice(words, case=value)
        found.fault(f"{label}.case", value, "the name of a case")
    elif given[0] == "alike":
        if value is True:
            return Choice(words, alike=True)
        found.fault(f"{label}.alike", value, "true")
    elif given[0] == "course":
        course = one_of(value, f"{label}.course", COURSES, found, needed=True)
        if course is not None:
            return Choice(words, course=cast(CourseShape, course))
    else:
        ends = _between(value, f"{label}.between", question, found)
        if ends is not None:
            return Choice(words, between=ends)
    return None


def _is_end(raw: Any) -> bool:
    """A number that has a place among doubles: a whole one may have hundreds of digits."""
    if isinstance(raw, bool) or not isinstance(raw, int | float):
        return False
    return not is_immense(raw) and not math.isnan(raw)


def _between(raw: Any, label: str, question: LessonQuestion, found: Findings) -> tuple[float, float] | None:
    sign, scale = SCREEN[asked_unit(question)]
    numbers = isinstance(raw, list) and len(raw) == 2 and all(map(_is_end, raw))
    if not numbers or not raw[0] < raw[1]:
        unit = f" in {sign}" if sign else ""
        found.fault(label, raw, f"[low, high]{unit} with low below high; -inf or inf leaves an end open")
        return None
    return float(raw[0]) / scale, float(raw[1]) / scale

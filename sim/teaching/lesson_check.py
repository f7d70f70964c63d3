"""Checks of a lesson that need more than one of its keys: names, choices, and its texts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from itertools import pairwise

from handlap.sim.job.findings import Findings
from handlap.sim.teaching.lesson import Lesson
from handlap.sim.teaching.lesson_answer import asked_unit
from handlap.sim.teaching.lesson_figures import SCREEN
from handlap.sim.teaching.lesson_reason_check import check_reasons, of_step
from handlap.sim.teaching.lesson_texts import BRACES, loose_figures, read_placeholder

TOUCH = 1e-9
"""Ends of ranges nearer to each other than this share of themselves are the same."""


def check_texts(lesson: Lesson, found: Findings) -> None:
    """Write down what does not fit together: names of cases, choices, placeholders, loose figures."""
    _check_names(lesson, found)
    if lesson.question.asks == "which":
        _check_which(lesson, found)
    elif lesson.question.asks == "number":
        _check_ranges(lesson, found)
    else:
        _once([c.course for c in lesson.choices], "choice", "course", found)
    cases: dict[str, object] = {case.name: case for case in lesson.cases}
    check_reasons(lesson, found)
    for name in ("story", "because", "bench"):
        text = getattr(lesson, name)
        known = cases | {step.name: step for step in lesson.steps} if name == "bench" else cases
        for inside in BRACES.findall(text):
            try:
                of_step(read_placeholder(inside, known), lesson)
            except ValueError as error:
                found.fault(name, "{" + inside + "}", str(error))
        _stray_braces(name, text, found)
    before = {"ask": lesson.ask, "title": lesson.title}
    for i, choice in enumerate(lesson.choices, 1):
        before |= {f"choice[{i}].words": choice.words, f"choice[{i}].right_if": choice.right_if}
    for name, text in before.items():
        for inside in BRACES.findall(text):
            found.fault(name, "{" + inside + "}", "plain words: it is read before the run")
        _stray_braces(name, text, found)
    _check_figures(lesson, found)


def _stray_braces(name: str, text: str, found: Findings) -> None:
    rest = BRACES.sub("", text)
    if "{" in rest or "}" in rest:
        found.fault(name, "a single brace", "braces only in pairs, round a placeholder {case.figure}")


def _check_figures(lesson: Lesson, found: Findings) -> None:
    """Figures of the answer come from the run: no digit stands in the file for them."""
    texts = {"because": lesson.because}
    if lesson.question.asks == "which":
        texts |= {f"choice[{i}].words": choice.words for i, choice in enumerate(lesson.choices, 1)}
    texts |= {f"choice[{i}].right_if": choice.right_if for i, choice in enumerate(lesson.choices, 1)}
    texts |= {f"cause[{i}].words": cause.words for i, cause in enumerate(lesson.causes, 1)}
    texts |= {f"step[{i}].words": step.words for i, step in enumerate(lesson.steps, 1)}
    for name, text in texts.items():
        for word in loose_figures(text):
            found.fault(
                name, word, "no figures but those of the run: write {case.figure}, or a number in words"
            )


def _check_names(lesson: Lesson, found: Findings) -> None:
    names = [case.name for case in lesson.cases]
    _once(names, "case", "name", found)
    for key in ("base", "of"):
        name = getattr(lesson.question, key)
        if isinstance(name, str) and name not in names:
            found.fault(f"question.{key}", name, f"a case; cases here are {', '.join(names)}")


def _once(values: Sequence[str | None], table: str, key: str, found: Findings) -> None:
    for value, count in Counter(v for v in values if v is not None).items():
        if count > 1:
            found.fault(f"{table}.{key}", value, f"each once; it stands there {count} times")


def _check_which(lesson: Lesson, found: Findings) -> None:
    names = [case.name for case in lesson.cases]
    chosen = [choice.case for choice in lesson.choices]
    if len(names) < 2:
        found.fault("case", f"{len(names)} case", 'two cases or more, for asks = "which"')
    for i, name in enumerate(chosen, 1):
        if name is not None and name not in names:
            found.fault(f"choice[{i}].case", name, f"a case; cases here are {', '.join(names)}")
    _once(chosen, "choice", "case", found)
    for name in names:
        if lesson.choices and name not in chosen:
            found.fault("choice", None, f"missing: no choice stands for the case {name}")
    if sum(choice.alike for choice in lesson.choices) > 1:
        found.fault("choice.alike", True, "once at most")


def _check_ranges(lesson: Lesson, found: Findings) -> None:
    """Ranges have to follow one another without overlap or gap."""
    scale = SCREEN[asked_unit(lesson.question)][1]
    ranges = sorted((c.between, i) for i, c in enumerate(lesson.choices, 1) if c.between is not None)
    for (first, _), (second, number) in pairwise(ranges):
        apart = second[0] - first[1]
        if abs(apart) > TOUCH * max(abs(second[0]), abs(first[1])):
            what = "overlaps" if apart < 0.0 else "leaves a gap after"
            shown = [f"[{scale * low:g}, {scale * high:g}]" for low, high in (first, second)]
            found.fault(
                f"choice[{number}].between",
                shown[1],
                f"a range that begins where {shown[0]} ends; it {what} it",
            )

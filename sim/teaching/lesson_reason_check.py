"""Checks of what holds a lesson's reason and its bench: causes and steps against cases, figures and tools."""

from __future__ import annotations

from collections import Counter

from handlap.sim.job.findings import Findings
from handlap.sim.teaching.bench_tools import TOOLS
from handlap.sim.teaching.lesson import Cause, Lesson, Step
from handlap.sim.teaching.lesson_figures import FIGURES
from handlap.sim.teaching.lesson_texts import Placeholder, read_placeholder


def check_reasons(lesson: Lesson, found: Findings) -> None:
    """Write down what does not fit in the causes and steps of a lesson."""
    for i, cause in enumerate(lesson.causes, 1):
        _check_cause(lesson, cause, f"cause[{i}]", found)
    for i, step in enumerate(lesson.steps, 1):
        _check_step(lesson, step, f"step[{i}]", found)
    taken = Counter([*(case.name for case in lesson.cases), *(step.name for step in lesson.steps)])
    for i, step in enumerate(lesson.steps, 1):
        if taken[step.name] > 1:
            found.fault(f"step[{i}].name", step.name, "a name that no case and no other step has")


def of_step(placeholder: Placeholder, lesson: Lesson) -> None:
    """Refuse anything but the strokes of a step.

    Raises
    ------
    ValueError : with what is allowed
    """
    steps = {step.name for step in lesson.steps}
    of = ((placeholder.case, placeholder.figure), (placeholder.other_case, placeholder.other_figure))
    for name, figure in of:
        if name in steps and (figure != "strokes" or placeholder.sign):
            raise ValueError(f"{{{name}.strokes}}: of a step there are only its strokes")


def _read(of: str, label: str, lesson: Lesson, found: Findings) -> Placeholder | None:
    try:
        return read_placeholder(of, {case.name: case for case in lesson.cases})
    except ValueError as error:
        found.fault(label, of, str(error))
        return None


def _check_cause(lesson: Lesson, cause: Cause, label: str, found: Findings) -> None:
    names = [case.name for case in lesson.cases]
    if cause.of is not None:
        _read(cause.of, f"{label}.of", lesson, found)
    for name in cause.cases or ():
        if name not in names:
            found.fault(f"{label}.cases", name, f"a case; cases here are {', '.join(names)}")


def _check_step(lesson: Lesson, step: Step, label: str, found: Findings) -> None:
    placeholder = _read(step.of, f"{label}.of", lesson, found)
    if placeholder is None:
        return
    strokes = {case.name: case.strokes or lesson.strokes for case in lesson.cases}
    pair = [n for n in (placeholder.case, placeholder.other_case) if n]
    for figure in (placeholder.figure, placeholder.other_figure):
        if figure and not FIGURES[figure].course:
            followed = ", ".join(n for n, kind in FIGURES.items() if kind.course)
            found.fault(f"{label}.of", figure, f"a figure that is known at every look: {followed}")
    if len({strokes[name] for name in pair}) > 1:
        found.fault(f"{label}.of", step.of, "two cases of as many strokes")
    tool = TOOLS[step.tool]
    if placeholder.unit != tool.unit:
        fits = ", ".join(name for name, other in TOOLS.items() if other.unit == placeholder.unit)
        found.fault(
            f"{label}.tool", step.tool, f"a tool that reads {placeholder.unit}: {fits or 'none does'}"
        )

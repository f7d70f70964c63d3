"""What the members say to the question of a lesson.

A member takes part in the answer with its own figures only: cases are held against each other
inside each member.  An answer stands when nine members in ten say the same.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from handlap.sim.common.outline import Array
from handlap.sim.job.results import Band
from handlap.sim.teaching.lesson import Lesson, LessonAnswer, LessonQuestion
from handlap.sim.teaching.lesson_figures import FIGURES, Unit, band_of, show_figure, unit_of_pair
from handlap.sim.teaching.lesson_texts import against

SURE = 0.9
"""Share of the members that has to agree."""
SETTLED_FROM = 2.0 / 3.0
"""A figure has levelled off if from this share of the strokes on it falls by no more than the margin."""
COURSES = ("falls", "levels off", "turns back")
FigureValues = Mapping[str, Array]


def asked_values(question: LessonQuestion, figures: Mapping[str, FigureValues]) -> dict[str, Array]:
    """The figure asked about (members,) by case: of all cases for "which", else of the one asked about."""
    if question.asks == "which":
        return {case: values[question.figure] for case, values in figures.items()}
    case = question.of or next(iter(figures))
    value = figures[case][question.figure]
    if question.ratio_to is not None or question.base is not None:
        value = against(value, "/", figures[question.base or case][question.ratio_to or question.figure])
    return {case: value}


def asked_unit(question: LessonQuestion) -> Unit:
    """Kind of unit of what is asked."""
    if question.asks == "number" and (question.ratio_to is not None or question.base is not None):
        return unit_of_pair(question.figure, "/", question.ratio_to or question.figure)
    return FIGURES[question.figure].unit


def asked_errors(values: FigureValues, rough: FigureValues, roughest: FigureValues) -> dict[str, Array]:
    """Numerical error of the figure asked about (members,) by case.

    What steps twice as long change, and what cells twice as long change on top of it: with longer
    ones the error at least doubles, so that it is no greater than the two together.  Either may
    be small by luck, so no member is taken for better than the middle of all.  Zero where the
    figure is never reached; infinite where only roughly never.

    Parameters
    ----------
    values, rough, roughest : the figure by case (members,), as given, with longer steps, and with
        longer cells besides [SI]
    """
    found = {}
    for case, value in values.items():
        known = np.isfinite(value)
        with np.errstate(invalid="ignore"):
            off = np.abs(value - rough[case]) + np.abs(rough[case] - roughest[case])
        error = np.where(known, np.where(np.isnan(off), np.inf, off), 0.0)
        middle = np.percentile(error[known], 50.0, method="nearest") if known.any() else 0.0
        found[case] = np.where(known, np.maximum(error, middle), 0.0)
    return found


def answer_lesson(
    lesson: Lesson, figures: Mapping[str, FigureValues], errors: FigureValues, course: Array | None
) -> LessonAnswer:
    """The answer.

    Parameters
    ----------
    figures : by case and name (members,) [SI]
    errors : of what is asked, by case (members,), from :func:`asked_errors` [SI]: differences of a
        member that are no larger count as none
    course : the figure asked about (members, looks), for "course"
    """
    values = asked_values(lesson.question, figures)
    votes = votes_of(lesson, values, errors, course)
    shares = votes.mean(axis=1)
    leading = int(np.argmax(shares))
    sure = float(shares[leading]) >= SURE
    bands = {case: band_of(value) for case, value in values.items()}
    choice = leading if sure else None
    return LessonAnswer(choice, float(shares[leading]), bands, answer_words(lesson, bands, choice, votes))


def votes_of(lesson: Lesson, values: FigureValues, errors: FigureValues, course: Array | None) -> Array:
    """Which choices (choices, members) each member says hold, one at most.

    Parameters as :func:`answer_lesson`; ``values`` from :func:`asked_values`.
    """
    if lesson.question.asks == "which":
        return vote_which(lesson, values, errors)
    error = next(iter(errors.values()))
    if lesson.question.asks == "number":
        return vote_number(lesson, next(iter(values.values())), error)
    assert course is not None
    return vote_course(lesson, course, np.maximum(lesson.question.margin, error))


def vote_which(lesson: Lesson, values: FigureValues, errors: FigureValues) -> Array:
    """As :func:`votes_of`, for the case with least or most of a figure: it differs from every
    other one by more than the margin, and by more than the error of either."""
    sign = 1.0 if lesson.question.take == "least" else -1.0
    names = list(values)
    votes = np.zeros((len(lesson.choices), len(values[names[0]])))

    def beyond(one: str, other: str) -> Array:
        margin = np.maximum(lesson.question.margin, np.maximum(errors[one], errors[other]))
        with np.errstate(invalid="ignore"):
            return np.asarray(sign * (values[other] - values[one]) > margin, dtype=float)

    table = np.array([values[name] for name in names])
    for at, choice in enumerate(lesson.choices):
        if choice.alike:
            with np.errstate(invalid="ignore"):
                error = np.max([errors[name] for name in names], axis=0)
                votes[at] = np.ptp(table, axis=0) + error <= lesson.question.margin
        elif choice.case in names:
            votes[at] = np.all([beyond(choice.case or "", n) for n in names if n != choice.case], axis=0)
    return votes


def courses_of(course: Array, margin: Array) -> list[str]:
    """How each course (members, looks) runs on: by its end over its least, and by its last third.

    >>> three = np.array([[9.0, 5.0, 2.0, 4.0], [9.0, 5.0, 2.0, 1.9], [9.0, 6.0, 4.0, 2.0]])
    >>> courses_of(three, np.ones(3))
    ['turns back', 'levels off', 'falls']
    """
    from_look = round(SETTLED_FROM * (course.shape[1] - 1))
    back = course[:, -1] - course.min(axis=1) > margin
    settled = course[:, from_look] - course[:, -1] <= margin
    return [COURSES[2] if b else COURSES[1] if s else COURSES[0] for b, s in zip(back, settled, strict=True)]


def vote_course(lesson: Lesson, course: Array, margin: Array) -> Array:
    """As :func:`votes_of`, for how a course (members, looks) runs on."""
    found = np.array(courses_of(course, margin))
    return np.array([found == choice.course for choice in lesson.choices], dtype=float)


def vote_number(lesson: Lesson, value: Array, error: Array) -> Array:
    """As :func:`votes_of`, for how large a figure (members,) is; all within its error has to fit."""
    ranges = [choice.between or (np.nan, np.nan) for choice in lesson.choices]
    return np.array([(low <= value - error) & (value + error < high) for low, high in ranges], dtype=float)


def answer_words(lesson: Lesson, bands: Mapping[str, Band], choice: int | None, votes: Array) -> str:
    """The answer in a sentence or two, with its figures.

    Parameters
    ----------
    bands : of what is asked, by case [SI]
    choice : the prediction that holds; None: it cannot tell
    votes : who of the members says what (choices, members)
    """
    question = lesson.question
    words = {case.name: case.words for case in lesson.cases}
    unit = asked_unit(question)
    each = {case: f"{words[case]} {show_figure(unit, band)}" for case, band in bands.items()}
    figure = FIGURES[question.figure].words
    if question.asks == "number" and unit in ("ratio", "depth a gram"):
        figure = f"{figure}, over {_base_words(question, words)}"
    figure = figure[0].upper() + figure[1:]
    listed = "; ".join(each.values())
    tail = _agree(votes, choice)
    if choice is None:
        return f"{figure}: {listed}. {tail}"
    chosen = lesson.choices[choice]
    if question.asks == "number":
        return f"{figure}: {listed}; “{chosen.words}”. {tail}"
    if question.asks == "course":
        return f"{figure}, in the end: {listed}; it {chosen.course}. {tail}"
    if chosen.alike:
        return f"{figure} comes out alike: {listed}. {tail}"
    rest = "; ".join(text for case, text in each.items() if case != chosen.case)
    return f"{figure}: {question.take} with {each[chosen.case or '']}, against {rest}. {tail}"


def _base_words(question: LessonQuestion, words: Mapping[str, str]) -> str:
    base = FIGURES[question.ratio_to or question.figure].words
    return f"{base}, {words[question.base]}" if question.base else base


def _agree(votes: Array, choice: int | None) -> str:
    members = votes.shape[1]
    if choice is None:
        most = int(votes.sum(axis=1).max())
        return (
            "The simulation cannot tell: no prediction holds for nine in ten of the "
            f"{members} pairs of hands, the likeliest for {most}."
        )
    agree = int(votes[choice].sum())
    if agree == members:
        return f"All {members} pairs of hands agree."
    return f"{agree} of {members} pairs of hands agree."

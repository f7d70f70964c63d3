"""What is said of an exercise: made, still to be answered, marked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Literal

from handlap.cli.reports.as_json import MICRON, band
from handlap.cli.reports.blocks import Bullets, Facts, Picture, Report, Section, Table, Words
from handlap.cli.reports.quantity import height, number
from handlap.cli.reports.wording import face_words, goal_of, subject, wanted_words
from handlap.sim.common.said import figure
from handlap.sim.common.spoken import per_height
from handlap.sim.planning.cautions import cautions

if TYPE_CHECKING:
    from handlap.sim.teaching.exercise import Exercise
    from handlap.sim.teaching.exercise_marks import ExerciseMark, Marking
    from handlap.sim.teaching.exercise_trial import PlanTrial

SHORT = 26
"""Characters of an answer that fit into the table."""
GOOD, FAIR = 0.8, 0.5
"""Shares of the marks from which an answer reads as good, or as half way."""
Opening = Mapping[str, Any]
"""One opening of the seal: answers as entered, marks got and marks there are."""


def marks_words(got: float) -> str:
    """Marks as they are written.

    >>> marks_words(12.0), marks_words(2.5)
    ('12', '2½')

    >>> marks_words(-1.0)
    '−1'
    """
    if got < 0.0:
        return "−" + marks_words(-got)
    whole = int(got)
    return f"{whole or ''}½" if got - whole else f"{whole}"


def _tone(share: float) -> Literal["good", "doubt", "bad", "plain"]:
    return "good" if share >= GOOD else "doubt" if share >= FAIR else "bad"


def opened_before(openings: Sequence[Opening], raw: Mapping[str, Any]) -> tuple[str, ...]:
    """What has to be said where the truth had been opened before these answers were marked.

    Parameters
    ----------
    openings : the earlier ones, first one first
    raw : the answers now, as entered
    """
    if not openings:
        return ()
    first = openings[0]
    marks = f"{marks_words(float(first['got']))} of {first['most']} marks"
    times = "once" if len(openings) == 1 else f"{len(openings)} times"
    before = {key: value for key, value in dict(first["answers"]).items() if key != "by"}
    changed = [
        key
        for key in dict.fromkeys((*before, *raw))
        if key != "by" and str(before.get(key, "")) != str(raw.get(key, ""))
    ]
    words = f"The truth had been opened {times} before. What counts is the first time: {marks}."
    if changed:
        return (words, f"Changed since then: {', '.join(changed)}.")
    return (words, "The answers are the same as then.")


def exercise_report(
    found: Marking, openings: Sequence[Opening], raw: Mapping[str, Any], notes: Sequence[str] = ()
) -> Report:
    """The report of a marking."""
    exercise, scenario = found.exercise, found.exercise.scenario
    share = found.got / max(found.most, 1)
    if found.ruined:
        notes = (*notes, "The plan ruins the part: marks are capped for it, see Plan.")
    by = f", {found.answers.by}" if found.answers.by else ""
    rows = tuple(
        (mark.item, f"{marks_words(mark.got)} of {mark.most}", _in_short(mark.yours), _in_short(mark.truth))
        for mark in found.marks
    )
    table = Table(("", "marks", "you said", "it is"), rows, left=(0, 2, 3), wraps=3)
    numbers = found.found.numbers
    face = Facts(
        (
            ("Face", face_words(scenario.part)),
            ("Wanted", wanted_words(scenario.part)),
            ("Goal", goal_of(scenario)),
            (
                "The truth",
                f"flatness {height(numbers.flatness)}, straightedge "
                f"{height(numbers.straightedge)}, bow along {number(per_height() * numbers.bow_along)} "
                f"and across {number(per_height() * numbers.bow_across)} (+ crowned, − hollow), twist "
                f"{height(numbers.twist)}",
            ),
            ("Readings say", found.found.survey.shape.words),
        )
    )
    part = scenario.part
    care = cautions(part.metal, weight=part.weight, wet=scenario.paper.wet)
    return Report(
        kind="exercise",
        answer=f"{marks_words(found.got)} of {found.most} marks",
        tone=_tone(share),
        subject=f"{subject(scenario)}: {exercise.name}{by}",
        lead=(*opened_before(openings, raw), *notes),
        sections=(
            Section("Marks", (table,)),
            Section("Why", (Facts(tuple((mark.item, _why(mark)) for mark in found.marks)),)),
            Section(
                "The face",
                (
                    face,
                    Picture(
                        "truth.png",
                        "The true face, and the middle of the faces that fit the readings, on one scale.",
                        f"Maps of the true face, {numbers.word}, and of the face the readings suggest.",
                    ),
                ),
            ),
            Section("On a real part", (Bullets(tuple(care)),), aside=True),
        ),
    )


def _in_short(words: str) -> str:
    return words if len(words) <= SHORT else "see below"


def _why(mark: ExerciseMark) -> str:
    """The reasons, with what was said and what is, where that was too long for the table."""
    said = f"You said: {mark.yours}. " if len(mark.yours) > SHORT else ""
    return said + " ".join(mark.why)


# ---- JSON


def exercise_json(exercise: Exercise, folder: str, files: Sequence[str]) -> dict[str, Any]:
    """An exercise that was made, without its truth."""
    part = exercise.scenario.part
    return {
        "level": exercise.level,
        "number": exercise.seed,
        "name": exercise.name,
        "title": exercise.scenario.title,
        "invented": True,
        "folder": folder,
        "files": list(files),
        "part": part.name,
        "metal": part.metal.name,
        "limit_um": figure(part.limit, MICRON),
        "limit_by": part.limit_by,
        "allowance_um": figure(part.allowance, MICRON),
        "readings": sum(len(line.at) for line in exercise.task.lines),
    }


def marking_json(
    found: Marking, folder: str, openings: Sequence[Opening], raw: Mapping[str, Any], notes: Sequence[str]
) -> dict[str, Any]:
    """A marking with its truth and reasons."""
    numbers, survey = found.found.numbers, found.found.survey
    return {
        "schema": "handlap.exercise-marks/1",
        "level": found.exercise.level,
        "number": found.exercise.seed,
        "name": found.exercise.name,
        "folder": folder,
        "by": found.answers.by or None,
        "got": found.got,
        "most": found.most,
        "ruined": found.ruined,
        "opened_before": len(openings),
        "first": None
        if not openings
        else {"got": openings[0]["got"], "most": openings[0]["most"], "answers": openings[0]["answers"]},
        "notes": [*opened_before(openings, raw), *notes],
        "marks": [
            {
                "item": mark.item,
                "got": mark.got,
                "most": mark.most,
                "yours": mark.yours,
                "truth": mark.truth,
                "why": list(mark.why),
            }
            for mark in found.marks
        ],
        "truth": {
            "shape": numbers.word,
            "flatness_um": figure(numbers.flatness, MICRON),
            "straightedge_um": figure(numbers.straightedge, MICRON),
            "least_cut_um": figure(numbers.least_cut, MICRON),
            "bow_along_um": figure(numbers.bow_along, MICRON),
            "bow_across_um": figure(numbers.bow_across, MICRON),
            "twist_um": figure(numbers.twist, MICRON),
            "wrong_readings": [slip.label for slip in found.exercise.slips],
            "do": found.found.do,
        },
        "readings_say": {
            "shape": survey.shape.word,
            "flatness_um": band(survey.bands.flatness, MICRON),
            "least_cut_um": band(survey.bands.depth_to_clear, MICRON),
            "do": found.found.verdict.answer,
        },
        "your_plan": _trial_json(found.tried),
        "own_plan": _trial_json(found.found.own),
    }


def _trial_json(trial: PlanTrial | None) -> dict[str, Any] | None:
    if trial is None:
        return None
    return {
        "papers": list(trial.way.papers),
        "strokes": list(trial.way.strokes),
        "turning": trial.way.turning,
        "turn_every": trial.way.turn_every,
        "members": trial.members,
        "chance_with_those_strokes": figure(trial.written),
        "chance_with_looks": figure(trial.looking),
        "stops_at": band(trial.stops),
        "after_um": band(trial.after, MICRON),
        "deepest_um": band(trial.deepest, MICRON),
    }


# ---- a class


ITEMS = {
    "Shape": "shape", "Flatness": "flat", "Range": "range", "Least cut": "cut", "Read again": "again",
    "What to do": "do", "Plan": "plan",
}  # fmt: skip
"""What is marked, with its head in the table of a class."""


HOW_TO_READ = (
    "Each folder that was marked holds its page, exercise.html. A column each for shape, flatness, range, "
    "least cut, readings to read again, what to do, and plan; empty where no marks were to be had."
)


def _item_words(row: Mapping[str, Any], item: str) -> str:
    """The marks of one row for one item; nothing where it was not marked or had none to be had."""
    found = (row.get("items") or {}).get(item)
    return "" if found is None or (found[1] == 0 and found[0] == 0) else f"{marks_words(float(found[0]))}"


def class_report(folder: str, rows: Sequence[Mapping[str, Any]]) -> Report:
    """The marks of a class, one row an exercise."""
    marked = [row for row in rows if row["got"] is not None]
    cells = tuple(
        (
            str(row["folder"]),
            str(row["by"] or ""),
            "" if row["got"] is None else f"{marks_words(float(row['got']))} of {row['most']}",
            *(_item_words(row, item) for item in ITEMS),
        )
        for row in rows
    )
    heads = ("folder", "by", "marks", *ITEMS.values())
    remarks = tuple((str(row["folder"]), str(row["remark"])) for row in rows if row["remark"])
    told = (Section("Remarks", (Facts(remarks),)),) if remarks else ()
    return Report(
        kind="exercise",
        answer=f"{len(marked)} of {len(rows)} marked",
        tone="plain",
        subject=folder,
        lead=(),
        sections=(
            Section("Marks", (Table(heads, cells, left=(0, 1), wraps=0),)),
            *told,
            Section("How to read it", (Words(HOW_TO_READ),)),
        ),
    )

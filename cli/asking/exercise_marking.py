"""Marking what lies in the folder of an exercise, or in those of a class."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from handlap.cli.asking.exercise_folder import (
    CLASS_LIST,
    FORM,
    SCENARIO,
    SEAL,
    exercises_of_class,
    form_in,
    sealed_in,
    stint_ended,
    task_in,
)
from handlap.sim.common.errors import HandlapError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from handlap.sim.teaching.exercise import Exercise
    from handlap.sim.teaching.exercise_marks import Marking

OPENINGS_KEPT = 20
"""Openings that a seal remembers beside the first."""


def work_out(folder: Path) -> tuple[Marking, list[dict[str, Any]], dict[str, Any], list[str]]:
    """Mark the answers in a folder: the marking, earlier openings, answers as entered, notes.

    The seal is opened only after all answers were found to be there, and remembers it at once.
    """
    from handlap.cli.files import place_to_write, write_whole
    from handlap.cli.progress import ProgressLine
    from handlap.sim.teaching.exercise import exercise_of
    from handlap.sim.teaching.exercise_answers import NAMES, read_answers
    from handlap.sim.teaching.exercise_marks import mark
    from handlap.sim.teaching.exercise_readings import with_readings
    from handlap.sim.teaching.exercise_seal import open_seal, openings_of, seal

    task = task_in(folder)
    raw = form_in(folder)
    form = str(folder / FORM)
    read_answers(raw, task, form)
    place_to_write(folder / SEAL)

    _, content = open_seal(sealed_in(folder), str(folder / SEAL))
    exercise = exercise_of(content, str(folder / SEAL))
    answers = read_answers(raw, exercise.task, form)
    notes = _changed_since(folder, exercise)
    if exercise.felt:
        exercise = with_readings(exercise, task.scenario.readings.lines)
        count = len(exercise.task.labels())
        notes.append(f"Of your {count} readings {count - len(exercise.slips)} are what the leaves say.")
    if stint_ended(folder):
        notes.append(
            "A stint on this face had been ended, and the face shown, when these answers were marked."
        )
    before = openings_of(content, str(folder / SEAL))
    with ProgressLine() as progress:
        found = mark(exercise, answers, progress=progress)
    entered = {name: _plain(raw[name]) for name in NAMES}
    items = {mark.item: [mark.got, mark.most] for mark in found.marks}
    this = {"answers": {"by": answers.by, **entered}, "got": found.got, "most": found.most, "items": items}
    openings = [*before[:1], *before[1:][-OPENINGS_KEPT:], this]
    write_whole(folder / SEAL, seal(exercise.name, {**content, "openings": openings}))
    return found, before, entered, notes


def _changed_since(folder: Path, exercise: Exercise) -> list[str]:
    """What has to be said where the scenario is not as it was made, own readings aside."""
    import tomllib

    text = (folder / SCENARIO).read_bytes().decode("utf-8-sig", "replace").replace("\r\n", "\n")
    if not exercise.felt:
        same, by = text == exercise.text, "the readings as they were then"
    else:
        now, then = tomllib.loads(text), tomllib.loads(exercise.text)
        now.get("readings", {}).pop("line", None)
        same, by = now == then, "the job as it was then"
    return [] if same else [f"{SCENARIO} has been changed since it was made; marked is by {by}."]


def _plain(raw: Any) -> str:
    return ", ".join(str(x) for x in raw) if isinstance(raw, list) else str(raw)


def mark_one(folder: Path, as_json: bool) -> None:
    """Mark the exercise in a folder, with its report."""
    from handlap.cli.options import Output
    from handlap.cli.reports.exercise_report import exercise_report, marking_json

    found, before, raw, notes = work_out(folder)

    def pictures() -> dict[str, bytes]:
        from handlap.cli.drawing.exercise_pictures import exercise_pictures

        return exercise_pictures(found)

    Output(folder, as_json, None).hand_over(
        exercise_report(found, before, raw, notes),
        marking_json(found, str(folder), before, raw, notes),
        pictures=pictures,
    )


def mark_class(folder: Path, as_json: bool) -> None:
    """Mark every exercise of a class whose answers are all there; say what is missing of the others."""
    import sys

    from handlap.cli.drawing.exercise_pictures import exercise_pictures
    from handlap.cli.drawing.sizes import for_phones
    from handlap.cli.files import write_whole
    from handlap.cli.reports.exercise_report import class_report, exercise_report
    from handlap.cli.reports.page import render_page
    from handlap.cli.screen import Screen, emit

    rows: list[dict[str, Any]] = []
    for place in exercises_of_class(folder):
        row: dict[str, Any] = {"folder": place.name, "by": None, "got": None, "most": None, "items": {}}
        try:
            found, before, raw, notes = work_out(place)
        except HandlapError as fault:
            lines = str(fault).splitlines()
            more = f" (and {len(lines) - 1} more)" if len(lines) > 1 else ""
            rows.append({**row, "remark": lines[0].replace(f"{place}/", "") + more})
            continue
        pictures = exercise_pictures(found)
        report = exercise_report(found, before, raw, notes)
        with for_phones():
            page = render_page(report, pictures, exercise_pictures(found))
        write_whole(place / "exercise.html", page)
        first = before[0] if before else None
        remark = "" if first is None else "opened before; the first marks count"
        got, most = (found.got, found.most) if first is None else (first["got"], first["most"])
        items = {mark.item: [mark.got, mark.most] for mark in found.marks}
        if first is not None:
            items = first.get("items") or {}
        by = found.answers.by or None
        rows.append({**row, "by": by, "got": got, "most": most, "items": items, "remark": remark})
    fill_in(folder / CLASS_LIST, rows)
    if as_json:
        from handlap.cli.reports.as_json import dumps

        emit(dumps({"schema": "handlap.exercise-class/1", "folder": str(folder), "exercises": rows}))
        return
    from handlap.cli.reports.text import render

    emit(render(class_report(str(folder), rows), Screen.of(sys.stdout)))


# ---- the list of a class


def class_list(made: Sequence[tuple[Path, Exercise, Any]]) -> str:
    """A list to write names into; nothing of the truth is in it."""
    import csv
    import io

    stream = io.StringIO()
    rows = csv.writer(stream, lineterminator="\n")
    rows.writerow(["folder", "level", "number", "part", "limit_um", "limit_by", "name", "marks"])
    for folder, found, _ in made:
        part = found.scenario.part
        rows.writerow(
            [
                folder.name,
                found.level,
                found.seed,
                part.name,
                f"{1e6 * part.limit:.0f}",
                part.limit_by,
                "",
                "",
            ]
        )
    return stream.getvalue()


def fill_in(path: Path, rows: Sequence[dict[str, Any]]) -> None:
    """Names and marks into the list of a class, where it is there; a name written into it by hand stays."""
    import csv
    import io

    from handlap.cli.files import write_whole
    from handlap.cli.reports.exercise_report import ITEMS
    from handlap.cli.screen import note

    if not path.is_file():
        return
    table = list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8-sig"))))
    if not table or not {"folder", "name", "marks"} <= set(table[0]):
        note(f"{path} is not the list it was made as, and is left as it is")
        return
    marked = {row["folder"]: row for row in rows if row["got"] is not None}
    heads = list(dict.fromkeys((*(h for h in table[0] if h is not None), "of", *ITEMS.values())))
    for line in table:
        row = marked.get(line["folder"])
        if row is None:
            continue
        line["name"] = line["name"] or row["by"] or ""
        line["marks"], line["of"] = f"{row['got']:g}", f"{row['most']:g}"
        for item, head in ITEMS.items():
            found = row["items"].get(item)
            line[head] = "" if found is None else f"{found[0]:g}"
    stream = io.StringIO()
    writer = csv.DictWriter(stream, heads, restval="", extrasaction="ignore", lineterminator="\n")
    writer.writeheader()
    writer.writerows(table)
    write_whole(path, stream.getvalue())

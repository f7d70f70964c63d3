"""To learn: A warped face to judge from its readings; the truth sealed; marks."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from handlap.cli.asking.exercise_folder import (
    CLASS_LIST,
    DRAFT,
    FORM,
    SCENARIO,
    SEAL,
    SHEET,
    exercises_of_class,
    form_in,
    refuse_to_write_over,
    sealed_in,
    stint_ended,
    task_in,
    write_all,
)
from handlap.cli.options import seed_option
from handlap.sim.common.errors import HandlapError, InputError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from handlap.sim.teaching.exercise import Exercise
    from handlap.sim.teaching.exercise_marks import Marking

MOST = 200
"""Exercises made at once."""
OPENINGS_KEPT = 20
"""Openings that a seal remembers beside the first."""


@click.command()
@click.argument("folder", required=False, type=click.Path(path_type=Path))
@click.option(
    "--out", type=click.Path(path_type=Path), metavar="DIR", help="Make an exercise in this folder."
)
@click.option(
    "--level",
    type=click.IntRange(1, 5),
    default=1,
    show_default=True,
    help="From 1, a pure hollow or crown, to 5, twisted crowns with readings that contradict each other.",
)
@seed_option
@click.option(
    "--count",
    type=click.IntRange(1, MOST),
    metavar="N",
    help="Make N for a class, numbered on from the seed, each in a folder of its own.",
)
@click.option("--mark", "marked", is_flag=True, help="Open the sealed truth of FOLDER and mark the answers.")
@click.option(
    "--stint",
    is_flag=True,
    help="Lap the face of FOLDER yourself at a simulated bench, an order a line, checks when you ask.",
)
@click.option(
    "--paper",
    type=click.Choice(["A4", "Letter"], case_sensitive=False),
    default="A4",
    show_default=True,
    help="Size of the paper of the sheet.",
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of text.")
@click.pass_context
def exercise(
    ctx: click.Context,
    folder: Path | None,
    out: Path | None,
    level: int,
    seed: int,
    count: int | None,
    marked: bool,
    stint: bool,
    paper: str,
    as_json: bool,
) -> None:
    """Practise on an invented warped face: readings to judge, the truth sealed, then marks.

    With --out DIR an exercise is made: scenario.toml with the readings, sheet.pdf with the same
    on paper, answers.toml to fill in, and truth.seal. The same level and seed make the same
    exercise.

    With FOLDER alone it asks for the answers one by one: shape, flatness, least cut, readings
    to read again, and the plan. The form may be filled in with an editor instead.

    With FOLDER --mark, once all is entered, the truth is opened, the plan is tried on the true
    face, and each answer gets marks with the reasons. A folder with the exercises of a class is
    marked as a whole. The seal keeps honest people honest; it is no lock.

    With FOLDER --stint you lap the face yourself, an order a line (also from a pipe): sheet P120,
    lap 100, brush, turn half, check, weigh. Minutes, strokes, sheets and metal count; the face is
    felt only where it is checked. All is kept after every order, later goes on another day, and
    end shows the face, with what a plain plan by the same hands would have got.
    """
    making = {"out", "level", "seed", "count", "paper"}
    stated = {
        name for name in making if ctx.get_parameter_source(name) is click.core.ParameterSource.COMMANDLINE
    }
    if folder is None:
        if out is None or marked or stint:
            raise click.UsageError(
                "to make an exercise give --out DIR; to answer one give its FOLDER; "
                "to have it marked FOLDER --mark"
            )
        _make(out, level, seed, count, paper, as_json)
        return
    if stated:
        options = ", ".join(f"--{name}" for name in sorted(stated))
        raise click.UsageError(f"{options}: only for making an exercise, without FOLDER before it")
    if marked and stint:
        raise click.UsageError("--stint and --mark: one after the other")
    if stint:
        from handlap.cli.asking.stint_sitting import sit_stint

        sit_stint(folder, as_json)
    elif not marked:
        _answer(folder, as_json)
    elif (folder / SEAL).exists() or not exercises_of_class(folder):
        _mark(folder, as_json)
    else:
        _mark_class(folder, as_json)


# ---- making


def _make(out: Path, level: int, seed: int, count: int | None, paper: str, as_json: bool) -> None:
    from handlap.sim.teaching.exercise import LARGEST_SEED

    seeds = range(seed, seed + (count or 1))
    if seeds[-1] > LARGEST_SEED:
        raise InputError(f"--seed {seed} --count {count}: numbers go up to {LARGEST_SEED}")
    width = len(str(seeds[-1]))
    folders = [out if count is None else out / f"level-{level}-number-{n:0{width}d}" for n in seeds]
    refuse_to_write_over([*folders, *([] if count is None else [out])], out)

    from handlap.cli.progress import Progress
    from handlap.sim.teaching.exercise import make_exercise

    made: list[tuple[Path, Exercise, dict[str, str | bytes]]] = []
    with Progress() as progress:
        for i, (number, folder) in enumerate(zip(seeds, folders, strict=True)):
            progress(i / len(seeds), f"making exercise {level}-{number}")
            found = make_exercise(level, number)
            made.append((folder, found, _files(found, paper)))
    files: list[tuple[Path, str | bytes]] = [
        (folder / name, content) for folder, _, contents in made for name, content in contents.items()
    ]
    if count is not None:
        files.append((out / CLASS_LIST, _class_list(made)))
    write_all(files)
    _tell_made(out, [(folder, found) for folder, found, _ in made], count is not None, as_json)


def _files(found: Exercise, paper: str) -> dict[str, str | bytes]:
    from handlap.cli.sheets.sheet_exercise import exercise_sheet
    from handlap.sim.teaching.exercise_answers import form_text
    from handlap.sim.teaching.exercise_seal import seal

    return {
        SCENARIO: found.text,
        SHEET: exercise_sheet(found, paper).pdf,
        FORM: form_text(found.task),
        SEAL: seal(found.name, {**found.as_mapping(), "openings": []}),
    }


def _class_list(made: Sequence[tuple[Path, Exercise, Any]]) -> str:
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


def _fill_in(path: Path, rows: Sequence[dict[str, Any]]) -> None:
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


def _tell_made(out: Path, made: Sequence[tuple[Path, Exercise]], a_class: bool, as_json: bool) -> None:
    import sys

    from handlap.cli.reports.text import wrapped
    from handlap.cli.screen import Screen, emit
    from handlap.sim.teaching.exercise_levels import LEVELS

    if as_json:
        from handlap.cli.reports.as_json import dumps
        from handlap.cli.reports.exercise_report import exercise_json

        rows = [exercise_json(found, str(folder), (SCENARIO, SHEET, FORM, SEAL)) for folder, found in made]
        emit(dumps({"schema": "handlap.exercise/1", "exercises": rows}))
        return
    width = Screen.of(sys.stdout).width
    words = []
    if a_class:
        words.append(
            f"{len(made)} exercises of level {made[0][1].level} made in {out}, with {CLASS_LIST} to write "
            "names into. Each apprentice gets one folder."
        )
    for folder, found in made:
        words.append(f"{folder}: {found.scenario.title}")
    words.append(f"Level {made[0][1].level}: {LEVELS[made[0][1].level].words}. All of it is invented.")
    words.append(f"{SHEET} to print, {SCENARIO} with the same readings, {FORM} to fill in, {SEAL} sealed.")
    words.append(f"To answer: handlap exercise {made[0][0]}")
    words.append(f"Then: handlap exercise {out if a_class else made[0][0]} --mark")
    emit("\n".join(line for text in words for line in wrapped(text, width)))


# ---- answering


def _answer(folder: Path, as_json: bool) -> None:
    from handlap.cli.asking.exercise_questions import ask_answers
    from handlap.cli.files import place_to_write, write_whole
    from handlap.sim.teaching.exercise_answers import form_text

    task = task_in(folder)
    path = folder / FORM
    held = form_in(folder) if path.exists() else {}
    place_to_write(path)
    draft = folder / DRAFT
    entered = ask_answers(task, held, draft, f"handlap exercise {folder}", FORM)
    write_whole(path, form_text(task, entered))
    draft.unlink(missing_ok=True)
    _tell_answered(folder, path, entered, as_json)


def _tell_answered(folder: Path, path: Path, entered: dict[str, Any], as_json: bool) -> None:
    import sys

    from handlap.cli.reports.text import wrapped
    from handlap.cli.screen import Screen, emit

    if as_json:
        from handlap.cli.reports.as_json import dumps

        emit(dumps({"schema": "handlap.exercise-answers/1", "file": str(path), "answers": entered}))
        return
    words = [
        f"All is entered, in {path}; it can still be changed.",
        f"To open the truth: handlap exercise {folder} --mark",
    ]
    emit("\n".join(line for text in words for line in wrapped(text, Screen.of(sys.stdout).width)))


# ---- marking


def _work_out(folder: Path) -> tuple[Marking, list[dict[str, Any]], dict[str, Any], list[str]]:
    """Mark the answers in a folder: the marking, earlier openings, answers as entered, notes.

    The seal is opened only after all answers were found to be there, and remembers it at once.
    """
    from handlap.cli.files import place_to_write, write_whole
    from handlap.cli.progress import Progress
    from handlap.sim.teaching.exercise import exercise_of
    from handlap.sim.teaching.exercise_answers import NAMES, read_answers
    from handlap.sim.teaching.exercise_marks import mark
    from handlap.sim.teaching.exercise_seal import open_seal, openings_of, seal

    task = task_in(folder)
    raw = form_in(folder)
    form = str(folder / FORM)
    read_answers(raw, task, form)
    place_to_write(folder / SEAL)

    _, content = open_seal(sealed_in(folder), str(folder / SEAL))
    exercise = exercise_of(content, str(folder / SEAL))
    answers = read_answers(raw, exercise.task, form)
    notes = []
    if (folder / SCENARIO).read_bytes().decode("utf-8", "replace").replace("\r\n", "\n") != exercise.text:
        notes.append(
            f"{SCENARIO} has been changed since it was made; marked is by the readings as they were then."
        )
    if stint_ended(folder):
        notes.append(
            "A stint on this face had been ended, and the face shown, when these answers were marked."
        )
    before = openings_of(content, str(folder / SEAL))
    with Progress() as progress:
        found = mark(exercise, answers, progress=progress)
    entered = {name: _plain(raw[name]) for name in NAMES}
    items = {mark.item: [mark.got, mark.most] for mark in found.marks}
    this = {"answers": {"by": answers.by, **entered}, "got": found.got, "most": found.most, "items": items}
    openings = [*before[:1], *before[1:][-OPENINGS_KEPT:], this]
    write_whole(folder / SEAL, seal(exercise.name, {**content, "openings": openings}))
    return found, before, entered, notes


def _plain(raw: Any) -> str:
    return ", ".join(str(x) for x in raw) if isinstance(raw, list) else str(raw)


def _mark(folder: Path, as_json: bool) -> None:
    from handlap.cli.options import Output
    from handlap.cli.reports.exercise_report import exercise_report, marking_json

    found, before, raw, notes = _work_out(folder)

    def pictures() -> dict[str, bytes]:
        from handlap.cli.drawing.exercise_pictures import exercise_pictures

        return exercise_pictures(found)

    Output(folder, as_json, None).hand_over(
        exercise_report(found, before, raw, notes),
        marking_json(found, str(folder), before, raw, notes),
        pictures=pictures,
    )


def _mark_class(folder: Path, as_json: bool) -> None:
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
            found, before, raw, notes = _work_out(place)
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
    _fill_in(folder / CLASS_LIST, rows)
    if as_json:
        from handlap.cli.reports.as_json import dumps

        emit(dumps({"schema": "handlap.exercise-class/1", "folder": str(folder), "exercises": rows}))
        return
    from handlap.cli.reports.text import render

    emit(render(class_report(str(folder), rows), Screen.of(sys.stdout)))

"""To learn: A warped face to judge from its readings; the truth sealed; marks."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from handlap.cli.asking.exercise_folder import (
    CLASS_LIST,
    DRAFT,
    FEEL,
    FORM,
    SCENARIO,
    SEAL,
    SHEET,
    exercises_of_class,
    form_in,
    refuse_to_write_over,
    task_in,
    write_all,
)
from handlap.cli.options import seed_option
from handlap.sim.common.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from handlap.sim.teaching.exercise import Exercise

MOST = 200
"""Exercises made at once."""


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
@click.option(
    "--feel",
    is_flag=True,
    help="Leave the readings out: the learner takes them, on feel.html, a page with the hidden face.",
)
@click.option(
    "--readings",
    "felt",
    metavar="FILE",
    help="Take readings over into FOLDER, from the text that feel.html saved; - for standard input.",
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
    feel: bool,
    felt: str | None,
    marked: bool,
    stint: bool,
    paper: str,
    as_json: bool,
) -> None:
    """Practise on an invented warped face: readings to judge, the truth sealed, then marks.

    With --out DIR an exercise is made: scenario.toml with the readings, sheet.pdf with the same
    on paper, answers.toml to fill in, and truth.seal. The same level and seed make the same
    exercise. With --feel the readings are left to the learner: feel.html is a page to lay the
    straightedge and push leaves on, and FOLDER --readings FILE takes over what it saved.

    With FOLDER alone it asks for the answers one by one: shape, flatness, least cut, readings
    to read again, and the plan. The form may be filled in with an editor instead.

    With FOLDER --mark, once all is entered, the truth is opened, the plan is tried on the true
    face, and each answer gets marks with the reasons. A folder with the exercises of a class is
    marked as a whole. The seal keeps honest people honest; it is no lock.

    With FOLDER --stint you lap the face yourself, an order a line (also from a pipe): sheet P120,
    lap 100, brush, turn half, check, weigh. Minutes, strokes, sheets and metal count; the face is
    felt only where it is checked. All is kept after every order, later goes on another day, and
    end shows the face, with what a plain plan by the same hands would have got. Of a folder with
    the exercises of a class all stints are gathered in one table, page and CSV.
    """
    making = {"out", "level", "seed", "count", "feel", "paper"}
    stated = {
        name for name in making if ctx.get_parameter_source(name) is click.core.ParameterSource.COMMANDLINE
    }
    if folder is None:
        if out is None or marked or stint or felt is not None:
            raise click.UsageError(
                "to make an exercise give --out DIR; to answer one give its FOLDER; "
                "to have it marked FOLDER --mark"
            )
        _make(out, level, seed, count, paper, as_json, feel=feel)
        return
    if stated:
        options = ", ".join(f"--{name}" for name in sorted(stated))
        raise click.UsageError(f"{options}: only for making an exercise, without FOLDER before it")
    if sum((marked, stint, felt is not None)) > 1:
        raise click.UsageError("--readings, --stint and --mark: one after the other")
    _go_on(folder, felt, marked=marked, stint=stint, as_json=as_json)


def _go_on(folder: Path, felt: str | None, *, marked: bool, stint: bool, as_json: bool) -> None:
    """What is done with an exercise that was made, or with those of a class."""
    alone = (folder / SEAL).exists() or not exercises_of_class(folder)
    if felt is not None:
        from handlap.cli.asking.exercise_felt import take_over

        take_over(folder, felt, as_json)
    elif stint:
        from handlap.cli.asking.stint_gathering import gather_stints
        from handlap.cli.asking.stint_sitting import sit_stint

        (sit_stint if alone else gather_stints)(folder, as_json)
    elif not marked:
        _answer(folder, as_json)
    else:
        from handlap.cli.asking.exercise_marking import mark_class, mark_one

        (mark_one if alone else mark_class)(folder, as_json)


# ---- making


def _make(
    out: Path, level: int, seed: int, count: int | None, paper: str, as_json: bool, *, feel: bool
) -> None:
    from handlap.cli.asking.exercise_marking import class_list
    from handlap.sim.teaching.exercise import LARGEST_SEED

    seeds = range(seed, seed + (count or 1))
    if seeds[-1] > LARGEST_SEED:
        raise InputError(f"--seed {seed} --count {count}: numbers go up to {LARGEST_SEED}")
    width = len(str(seeds[-1]))
    folders = [out if count is None else out / f"level-{level}-number-{n:0{width}d}" for n in seeds]
    refuse_to_write_over([*folders, *([] if count is None else [out])], out)

    from handlap.cli.progress import ProgressLine
    from handlap.sim.teaching.exercise import make_exercise

    made: list[tuple[Path, Exercise, dict[str, str | bytes]]] = []
    with ProgressLine() as progress:
        for i, (number, folder) in enumerate(zip(seeds, folders, strict=True)):
            progress(i / len(seeds), f"making exercise {level}-{number}")
            found = make_exercise(level, number, feel=feel)
            made.append((folder, found, _files(found, paper)))
    files: list[tuple[Path, str | bytes]] = [
        (folder / name, content) for folder, _, contents in made for name, content in contents.items()
    ]
    if count is not None:
        files.append((out / CLASS_LIST, class_list(made)))
    write_all(files)
    _tell_made(out, [(folder, found) for folder, found, _ in made], count is not None, as_json)


def _files(found: Exercise, paper: str) -> dict[str, str | bytes]:
    from handlap.cli.sheets.sheet_exercise import exercise_sheet
    from handlap.sim.teaching.exercise_answers import form_text
    from handlap.sim.teaching.exercise_seal import seal

    page: dict[str, str | bytes] = {}
    if found.felt:
        from handlap.cli.reports.feel_page import render_feel

        page[FEEL] = render_feel(found)
    return {
        **page,
        SCENARIO: found.text,
        SHEET: exercise_sheet(found, paper).pdf,
        FORM: form_text(found.task),
        SEAL: seal(found.name, {**found.as_mapping(), "openings": []}),
    }


def _tell_made(out: Path, made: Sequence[tuple[Path, Exercise]], a_class: bool, as_json: bool) -> None:
    import sys

    from handlap.cli.reports.text import paragraphs
    from handlap.cli.screen import Screen, emit
    from handlap.sim.teaching.exercise_levels import LEVELS

    if as_json:
        from handlap.cli.reports.as_json import dumps
        from handlap.cli.reports.exercise_report import exercise_json

        names = (SCENARIO, SHEET, *((FEEL,) if made[0][1].felt else ()), FORM, SEAL)
        rows = [exercise_json(found, str(folder), names) for folder, found in made]
        emit(dumps({"schema": "handlap.exercise/1", "exercises": rows}))
        return
    words = []
    if a_class:
        words.append(
            f"{len(made)} exercises of level {made[0][1].level} made in {out}, with {CLASS_LIST} to write "
            "names into. Each apprentice gets one folder."
        )
    for folder, found in made:
        words.append(f"{folder}: {found.scenario.title}")
    first = made[0][1]
    level = LEVELS[first.level]
    words.append(f"Level {first.level}: {level.felt if first.felt else level.words}. All of it is invented.")
    if first.felt:
        words.append(
            f"{FEEL} to lay the straightedge and push leaves on, {SHEET} to write on, {SCENARIO} without "
            f"readings, {FORM} to fill in, {SEAL} sealed."
        )
        words.append(f"To hand the readings over: handlap exercise {made[0][0]} --readings FILE")
    else:
        words.append(
            f"{SHEET} to print, {SCENARIO} with the same readings, {FORM} to fill in, {SEAL} sealed."
        )
    words.append(f"To answer: handlap exercise {made[0][0]}")
    words.append(f"Then: handlap exercise {out if a_class else made[0][0]} --mark")
    emit(paragraphs(words, Screen.of(sys.stdout).width))


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

    from handlap.cli.reports.text import paragraphs
    from handlap.cli.screen import Screen, emit

    if as_json:
        from handlap.cli.reports.as_json import dumps

        emit(dumps({"schema": "handlap.exercise-answers/1", "file": str(path), "answers": entered}))
        return
    words = [
        f"All is entered, in {path}; it can still be changed.",
        f"To open the truth: handlap exercise {folder} --mark",
    ]
    emit(paragraphs(words, Screen.of(sys.stdout).width))

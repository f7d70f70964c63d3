"""To learn: Predict what the hands do to the metal, then see it worked."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from handlap.cli.options import Output, members_option, output_options, paper_option, seed_option

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from handlap.cli.asking.lesson_sitting import Sitting
    from handlap.sim.teaching.lesson import Lesson, LessonResult

    Work = Callable[[Lesson], LessonResult]


@click.command()
@click.argument("names", nargs=-1, metavar="[NAME]...")
@click.option("--all", "every", is_flag=True, help="All built-in lessons, one after the other.")
@click.option(
    "--predict",
    "predictions",
    multiple=True,
    metavar="LETTER",
    help='Your prediction, instead of being asked; "?" for none. Once for each lesson, in order.',
)
@click.option("--tell", is_flag=True, help="Ask nothing, give no marks: question and answer at once.")
@click.option(
    "--new",
    "start",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Lay down a lesson of your own to change: a TOML file with every key explained.",
)
@click.option(
    "--class",
    "class_file",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Predictions and measurements of a class (CSV: name, prediction, step): dots over the model's band, "
    "as a page in --out DIR for the projector.",
)
@click.option(
    "--course",
    metavar="NAME",
    help="A course of lessons (two-hours, or a TOML file): its plan; with --print all of it on paper.",
)
@click.option(
    "--print",
    "handout",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Ask nothing; write a handout (PDF): questions first, answers on pages of their own.",
)
@paper_option(" of the handout")
@members_option(24, 8, 256)
@seed_option
@output_options
def lesson(
    names: tuple[str, ...],
    every: bool,
    predictions: tuple[str, ...],
    tell: bool,
    start: Path | None,
    class_file: Path | None,
    course: str | None,
    handout: Path | None,
    paper: str,
    members: int,
    seed: int,
    output: Output,
) -> None:
    """Lessons: predict what the hands do to the metal, then see it worked.

    Without a NAME the lessons are listed. With one (or several, or --all) each tells of a job
    and asks what will come of it. Answer with a letter; then the job is worked in simulation,
    and the outcome, not a stored text, says which prediction held, by how much, and why. A
    right prediction is one mark; "do not know" costs nothing.

    NAME may also be a TOML file with a lesson of your own; --new FILE lays one down to change.
    The answers may come from a pipe, one a line.
    """
    if class_file is not None:
        if len(names) != 1 or every or predictions or tell or handout is not None or course or start:
            raise click.UsageError("--class FILE goes with one NAME and, for the page, --out DIR")
        _class(names[0], class_file, members, seed, output)
        return
    if course is not None:
        if names or every or predictions or tell or start is not None or output.out is not None:
            raise click.UsageError("--course NAME goes with --print, --paper, --members and --seed only")
        _course(course, handout, paper, members, seed, output)
        return
    if start is not None:
        if names or every or predictions or tell or handout is not None:
            raise click.UsageError("--new FILE goes alone: it only writes the file")
        _lay_down(start, output)
        return
    if not names and not every:
        asked_for = handout is not None or bool(predictions) or tell or output.out is not None
        _list(output.as_json, asked_for=asked_for)
        return
    lessons = _loaded(names, every)
    given = _given(lessons, predictions, silent=tell or handout is not None)
    if handout is not None and handout.suffix.lower() != ".pdf":
        raise click.UsageError(f"--print writes a PDF: name a file that ends in .pdf, not {handout.name}")
    output.check(handout)
    from handlap.cli.asking.lesson_sitting import Sitting, finish_sitting, sit

    sitting = Sitting(len(lessons))

    def work(one: Lesson) -> LessonResult:
        from handlap.cli.progress import ProgressLine
        from handlap.sim.teaching.lesson_work import work_lesson

        # Of several lessons, the line says which one it is at.
        place = f"{len(sitting.done) + 1} of {len(lessons)}, " if len(lessons) > 1 else ""
        with ProgressLine() as line:
            return work_lesson(
                one, members=members, seed=seed, progress=lambda done, what: line(done, f"{place}{what}")
            )

    if handout is not None:
        _print(sitting, lessons, work, handout, paper, output)
    else:
        sit(sitting, lessons, given, work, output, tell=tell)
    finish_sitting(sitting, members, seed, output, marked=not tell and handout is None)


# ---- before the first question


def _list(as_json: bool, *, asked_for: bool) -> None:
    import sys

    from handlap.cli.reports.text import wrapped
    from handlap.cli.screen import Screen, emit
    from handlap.sim.teaching.lesson_file import lesson_names

    names = lesson_names()
    if asked_for:
        known = ", ".join(name for name, _ in names)
        raise click.UsageError(f"name a lesson, or give --all for all of them. Lessons: {known}")
    if as_json:
        from handlap.cli.reports.as_json import dumps

        rows = [{"name": name, "title": title} for name, title in names]
        emit(dumps({"schema": "handlap.lessons/1", "lessons": rows}))
        return
    screen = Screen.of(sys.stdout)
    lines = [screen.strong("Lessons, all with invented data:"), ""]
    for name, title in names:
        lines += [f"  {screen.strong(name)}", *wrapped(title, screen.width, "      ")]
    lines += [
        "",
        *wrapped(f"To open one: handlap lesson {names[0][0] if names else 'FILE'}", screen.width),
        *wrapped("Several names, or --all, make a sitting with marks.", screen.width),
        *wrapped("For the class: handlap lesson NAME --print FILE.pdf", screen.width),
        *wrapped("A course of two hours: handlap lesson --course two-hours", screen.width),
        *wrapped("One of your own: handlap lesson --new FILE.toml", screen.width),
    ]
    emit("\n".join(lines))


def _loaded(names: Sequence[str], every: bool) -> list[Lesson]:
    """The lessons asked for, each once; all faults of all files at once."""
    from handlap.sim.common.errors import Fault, InputError, ScenarioError
    from handlap.sim.teaching.lesson_file import lesson_names, load_lesson

    asked = dict.fromkeys((*(name for name, _ in lesson_names()), *names) if every else names)
    faults: list[Fault] = []
    found: dict[str, tuple[str, Lesson]] = {}
    for name in asked:
        try:
            one = load_lesson(name)
        except ScenarioError as fault:
            faults += fault.faults
            continue
        if one.name in found:
            raise InputError(f"{found[one.name][0]} and {name} are both lessons named {one.name}: rename one")
        found[one.name] = name, one
    if faults:
        raise ScenarioError(faults)
    return [one for _, one in found.values()]


def _given(lessons: Sequence[Lesson], predictions: Sequence[str], *, silent: bool) -> list[int | None]:
    """Predictions given beforehand, for the first lessons."""
    from handlap.cli.asking.lesson_sitting import choice_of
    from handlap.sim.common.errors import InputError

    if predictions and silent:
        raise click.UsageError("--predict does not go with --tell or --print: they ask nothing")
    if len(predictions) > len(lessons):
        raise click.UsageError(f"{len(predictions)} predictions for {len(lessons)} lessons: one for each")
    found, faults = [], []
    for text, one in zip(predictions, lessons, strict=False):
        try:
            found.append(choice_of(text, one))
        except InputError as fault:
            faults.append(f"--predict {fault}")
    if faults:
        raise InputError("\n".join(faults))
    return found


def _class(name: str, file: Path, members: int, seed: int, output: Output) -> None:
    """One lesson against what a class predicted and measured."""
    import sys

    from handlap.cli.reports.class_report import class_lesson_report
    from handlap.cli.reports.text import render
    from handlap.cli.screen import Screen, emit
    from handlap.sim.teaching.lesson_class import held_against, read_class

    if output.as_json or output.json_file is not None:
        raise click.UsageError("--class has no JSON: it is a page for the wall")
    (one,) = _loaded([name], every=False)
    table = read_class(file, one)
    output.check(None)
    from handlap.cli.progress import ProgressLine
    from handlap.sim.teaching.lesson_work import work_lesson

    with ProgressLine() as line:
        result = work_lesson(one, members=members, seed=seed, progress=line)
    held = held_against(table, result)
    emit(render(class_lesson_report(result, table, held), Screen.of(sys.stdout)))
    if output.out is None:
        return
    from handlap.cli.drawing.class_pictures import class_pictures
    from handlap.cli.files import write_whole
    from handlap.cli.reports.page import render_page
    from handlap.cli.screen import note

    pictures = class_pictures(result, table, held)
    page = output.out / f"{one.name}-class.html"
    write_whole(page, render_page(class_lesson_report(result, table, held, pictures), pictures))
    note(f"Page written to {page}")


def _course(name: str, handout: Path | None, paper: str, members: int, seed: int, output: Output) -> None:
    """The plan of a course, or the course on paper."""
    import sys

    from handlap.cli.reports.course_report import course_report
    from handlap.cli.reports.text import render
    from handlap.cli.screen import Screen, emit
    from handlap.sim.teaching.lesson_course import load_course

    if handout is not None and handout.suffix.lower() != ".pdf":
        raise click.UsageError(f"--print writes a PDF: name a file that ends in .pdf, not {handout.name}")
    if output.as_json or output.json_file is not None:
        raise click.UsageError("--course has no JSON: its lessons have")
    output.check(handout)
    found = load_course(name)
    if handout is None:
        emit(render(course_report(found), Screen.of(sys.stdout)))
        emit(f"\nOn paper: handlap lesson --course {name} --print FILE.pdf")
        return
    from handlap.cli.files import write_whole
    from handlap.cli.progress import ProgressLine
    from handlap.cli.sheets.sheet_lesson_pdf import course_handout
    from handlap.sim.teaching.lesson_work import work_lesson

    results = []
    with ProgressLine() as line:
        for place, one in enumerate(found.lessons, 1):
            line((place - 1) / len(found.lessons), f"{place} of {len(found.lessons)}, {one.title}")
            results.append(work_lesson(one, members=members, seed=seed))
    made = course_handout(found, results, paper)
    write_whole(handout, made.pdf)
    emit(
        f"Written: {handout}, {made.pages} pages of {paper}: the plan, a page a lesson, and short answers on "
        f"{_pages(made.questions + 1, made.pages)}."
    )


def _lay_down(file: Path, output: Output) -> None:
    """Write a lesson to start from; a file that is there is never overwritten."""
    from handlap.cli.files import place_to_write, write_whole
    from handlap.cli.screen import emit
    from handlap.sim.common.errors import InputError
    from handlap.sim.teaching.lesson_file import lesson_start

    if file.name and not file.suffix and not file.is_dir():
        file = file.with_suffix(".toml")
    if file.suffix != ".toml":
        raise InputError(f"--new {file}: name a file that ends in .toml")
    place_to_write(file)
    if file.exists():
        raise InputError(f"{file}: there is such a file, and it is left as it is; name another")
    write_whole(file, lesson_start())
    if output.as_json:
        from handlap.cli.reports.as_json import dumps

        emit(dumps({"schema": "handlap.lesson-start/1", "file": str(file)}))
        return
    emit(f"Written: {file}, a lesson that works as it is. Its head explains the keys; change it, then:")
    emit(f"  handlap lesson {file}")


# ---- on paper


def _print(
    sitting: Sitting,
    lessons: Sequence[Lesson],
    work: Work,
    handout: Path,
    paper: str,
    output: Output,
) -> None:
    import sys

    from handlap.cli.asking.lesson_sitting import write_lesson_page
    from handlap.cli.files import write_whole
    from handlap.cli.reports.text import wrapped
    from handlap.cli.screen import Screen, emit
    from handlap.cli.sheets.sheet_lesson_pdf import lesson_handout

    for one in lessons:
        sitting.done.append((work(one), None))
    results = [result for result, _ in sitting.done]
    made = lesson_handout(results, paper)
    write_whole(handout, made.pdf)
    for result in results if output.out is not None else ():
        assert output.out is not None
        write_lesson_page(result, output.out)
    if not output.as_json:
        first, last = made.questions, made.pages
        emit(
            "\n".join(
                wrapped(
                    f"Written: {handout}, {last} pages of {paper}. Questions: {_pages(1, first)}; answers: "
                    f"{_pages(first + 1, last)}. Print those two apart, or one-sided.",
                    Screen.of(sys.stdout).width,
                )
            )
        )


def _pages(first: int, last: int) -> str:
    return f"page {first}" if first == last else f"pages {first} to {last}"

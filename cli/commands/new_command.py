"""Before the bench: Make a scenario file for a job of your own, by questions and answers."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from handlap.sim.common.errors import InputError

DRAFT = "handlap.new-draft/1"
ENDING = ".toml"


@click.command()
@click.argument("file", required=False, type=click.Path(path_type=Path))
@click.option(
    "--from",
    "outline",
    metavar="NAME",
    help="Ask nothing: take outline, metal, limits, plate, paper and hands of a built-in scenario.",
)
@click.option("--json", "as_json", is_flag=True, help="Print what was written as one JSON object.")
def new(file: Path | None, outline: str | None, as_json: bool) -> None:
    """Make a scenario file for a job of your own by answering questions.

    FILE is the file to write, job.toml unless given; one that is there is never overwritten.
    At each question: Enter takes the default in brackets, ? tells more, < goes back one
    question, Ctrl-C stops. Each answer is kept at once in a draft beside FILE; the same command
    then goes on where it stopped.

    The readings are still to be taken: handlap measuring-sheet prints a sheet for them.
    """
    from handlap.cli.files import with_ending

    if file is None:
        file = Path(f"{outline}{ENDING}" if outline else f"job{ENDING}")
    file = with_ending(file, ENDING)
    _free(file)
    text = _taken_over(file, outline) if outline is not None else _asked(file)
    _free(file)

    from handlap.cli.files import write_whole

    write_whole(file, text)
    if outline is None:
        draft_of(file).unlink(missing_ok=True)
    _tell(file, text, outline, as_json)


def draft_of(file: Path) -> Path:
    """Where answers are kept until the file is written."""
    return file.with_name(f"{file.stem}.new-draft.json")


def _free(file: Path) -> None:
    from handlap.cli.files import place_to_write

    place_to_write(file)
    if file.exists():
        raise InputError(f"{file} is there already and is not overwritten: choose another name")


def _taken_over(file: Path, outline: str) -> str:
    from handlap.cli.asking.new_file import builtin_document, finish

    document = builtin_document(outline)
    document = {"title": f"{file.stem}, with the outline of {outline}", **{
        k: v for k, v in document.items() if k != "title"
    }}  # fmt: skip
    document["invented"] = True
    intro = [
        document["title"],
        f'Written by "handlap new --from {outline}".  Every figure below is taken over from that built-in '
        "scenario and is invented: put your own in its place, then set invented = false.",
    ]
    return finish(document, intro, [], file.name)


def _asked(file: Path) -> str:
    from handlap.cli.asking.new_questions import NewJob
    from handlap.cli.asking.questions import begin, interview_until, keeping, say

    job = NewJob(file.name, file.stem)
    say("Enter takes what stands in brackets, ? tells more, < goes back one question, Ctrl-C stops.")
    draft, proceed = begin(draft_of(file), DRAFT)
    with keeping(draft, f"handlap new {file}"):
        return interview_until(job.questions, draft, job.text, proceed=proceed)


def _tell(file: Path, text: str, outline: str | None, as_json: bool) -> None:
    import sys
    import tomllib

    from handlap.cli.reports.text import wrapped
    from handlap.cli.screen import Screen, emit

    steps = [
        f"handlap measuring-sheet {file}",
        f"handlap readings {file}",
        f"handlap plan {file}",
    ]
    if as_json:
        from handlap.cli.reports.as_json import dumps

        stated: dict[str, Any] = tomllib.loads(text)
        emit(
            dumps(
                {
                    "schema": "handlap.new/1",
                    "file": str(file),
                    "outline_from": outline,
                    "has_readings": False,
                    "scenario": stated,
                    "next": steps,
                }
            )
        )
        return
    width = Screen.of(sys.stdout).width
    words = [f"Written: {file}. It has no readings yet, so it cannot be planned."]
    if outline is not None:
        words.append("Its figures are invented ones, taken over: put in your own.")
    lines = [line for text in words for line in wrapped(text, width)]
    for step, why in zip(
        steps, ("print a sheet, measure", "type in what you wrote down", "then plan the work"), strict=True
    ):
        lines += wrapped(f"{step}   ({why})", width, "  ", "      ")
    emit("\n".join(lines))

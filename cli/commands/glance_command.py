"""Before the bench: A first look in a minute: seven questions, ten lines, a file to go on from."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from handlap.cli.options import GOAL_OUT_OF_REACH, AskedMembers, as_known, draws_options, in_its_units
from handlap.sim.common.errors import InputError

if TYPE_CHECKING:
    from handlap.cli.asking.glance_questions import GlanceJob

DRAFT = "handlap.glance-draft/1"
ENDING = ".toml"
NEEDED = ("size", "limit", "gap")
"""What has to be there where options are given; the rest has a default."""


@click.command()
@click.argument("file", required=False, type=click.Path(path_type=Path))
@click.option(
    "--size", metavar="SIZE", help='Length x width, such as "330 x 150" or "13 x 6 in"; thickness if thin.'
)
@click.option("--metal", metavar="NAME", help="Metal of the face; A356 unless given.")
@click.option("--limit", metavar="GAP", help='How flat it must be, such as "0.05mm" or ".002 in".')
@click.option("--off", metavar="DEPTH", help="How much may come off at most.")
@click.option(
    "--gap", metavar="LEAVES", help='The worst gap: leaf that goes, leaf that stops, such as "0.10 0.15".'
)
@click.option("--where", metavar="PLACE", help="Where it is: middle, ends, corner or unknown.")
@click.option("--paper", metavar="PAPERS", help='Papers at hand, coarse to fine, such as "P80 P120".')
@click.option("--over", is_flag=True, help="Write over FILE where it is there already; a copy is kept.")
@draws_options(16, 8, 512)
@click.option("--json", "as_json", is_flag=True, help="Print the answer as one JSON object instead of text.")
def glance(file: Path | None, over: bool, draws: AskedMembers, as_json: bool, **given: str | None) -> None:
    """A first look in a minute: from the worst gap to what to do about it.

    Asks seven things, or takes them as options on one line: size, metal, limit, what may come
    off, the worst gap (leaf that goes, leaf that stops), where it is, papers at hand. Says in
    ten lines whether to leave it, lap it or take it to a machine shop, how long that takes and
    how deep it goes, and what would narrow the answer most; and writes FILE (job.toml unless
    given), a scenario that all other commands go on from.

    At each question: Enter takes what stands in brackets, ? tells more, < goes back, Ctrl-C
    stops; answers are kept in a draft beside FILE.

    Exit code 3 means: it ran, and the answer is a machine shop.
    """
    from handlap.cli.asking.glance_questions import GlanceJob
    from handlap.cli.files import write_whole
    from handlap.cli.progress import ProgressLine
    from handlap.cli.reports.glance_report import glance_json, glance_lines
    from handlap.cli.screen import Screen, emit
    from handlap.sim.job.scenario_file import load
    from handlap.sim.planning.first_look import first_look

    stated = {name: value for name, value in given.items() if value is not None}
    file = _named(file or Path(f"job{ENDING}"))
    if stated:
        _free(file, over)
        job = GlanceJob(file.name, file.stem)
        text = _from_options(job, stated)
    else:
        file = _agreed(file, over)
        text = _asked(file)
    kept = _kept_copy(file)
    write_whole(file, text)
    draft_of(file).unlink(missing_ok=True)
    scenario = as_known(in_its_units(load(str(file))), draws.afresh)
    with ProgressLine() as progress:
        found = first_look(scenario, **draws.whom, progress=progress)
    if as_json:
        from handlap.cli.reports.as_json import dumps

        emit(dumps(glance_json(found, file, kept)))
    else:
        import sys

        emit("\n".join(glance_lines(found, file, kept, Screen.of(sys.stdout))))
    if found.verdict.answer == "machine shop":
        click.get_current_context().exit(GOAL_OUT_OF_REACH)


def draft_of(file: Path) -> Path:
    """Where answers are kept until the file is written."""
    return file.with_name(f"{file.stem}.glance-draft.json")


def _named(file: Path) -> Path:
    from handlap.cli.files import with_ending

    return with_ending(file, ENDING)


def _free(file: Path, over: bool) -> None:
    from handlap.cli.files import place_to_write

    place_to_write(file)
    if file.exists() and not over:
        raise InputError(f"{file} is there already: choose another name, or say --over (a copy is kept)")


def _agreed(file: Path, over: bool) -> Path:
    """The file to write, asked for where it is there already."""
    from handlap.cli.asking.questions import read_answer, say
    from handlap.cli.files import place_to_write

    place_to_write(file)
    while file.exists() and not over:
        other = next(p for n in range(2, 10000) if not (p := file.with_stem(f"{file.stem}-{n}")).exists())
        say(
            f'{file.name} is there already. Another name, or "over" to write over it (a copy is kept)? '
            f"[{other.name}]"
        )
        typed = read_answer()
        if typed.lower() == "over":
            return file
        file = _named(file.with_name(typed or other.name)) if "/" not in typed else _named(Path(typed))
        place_to_write(file)
    return file


def _kept_copy(file: Path) -> Path | None:
    """A copy of a file that is about to be written over."""
    from handlap.cli.files import free_copy, write_whole

    if not file.exists():
        return None
    copy = free_copy(file)
    write_whole(copy, file.read_bytes())
    return copy


def _from_options(job: GlanceJob, stated: dict[str, str]) -> str:
    from handlap.cli.asking.glance_questions import ORDER

    missing = [f"--{name}" for name in NEEDED if name not in stated]
    if missing:
        raise InputError(
            f"{', '.join(missing)} {'is' if len(missing) == 1 else 'are'} missing; without any option "
            "all is asked"
        )
    faults: list[str] = []
    known: dict[str, str] = {}
    for name in (name for name in ORDER if name in stated):
        try:
            job.load({**known, name: stated[name]})
            known[name] = stated[name]
        except InputError as fault:
            faults += [f"--{name}: {line}" for line in str(fault).splitlines()]
    if faults:
        raise InputError("\n".join(faults))
    return job.text(stated)


def _asked(file: Path) -> str:
    from handlap.cli.asking.glance_questions import GlanceJob
    from handlap.cli.asking.questions import begin, interview_until, keeping, say

    job = GlanceJob(file.name, file.stem)
    say("Enter takes what stands in brackets, ? tells more, < goes back one question, Ctrl-C stops.")
    draft, proceed = begin(draft_of(file), DRAFT)
    with keeping(draft, f"handlap glance {file}"):
        return interview_until(job.questions, draft, job.text, proceed=proceed)

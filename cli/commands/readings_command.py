"""Before the bench: Type in what was written on the measuring sheet, line by line."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from handlap.cli.options import in_its_units, scenario_argument
from handlap.sim.common.errors import InputError

if TYPE_CHECKING:
    from handlap.cli.asking.questions import Draft
    from handlap.cli.asking.readings_questions import ReadingsJob, ReadLine
    from handlap.sim.face.stations import MeasuringLine
    from handlap.sim.job.scenario import Scenario

DRAFT = "handlap.readings-draft/1"
LINES = "readings.line"


@click.command()
@scenario_argument()
@click.option("--line", "name", metavar="NAME", help="One line only, by its name or letter on the sheet.")
@click.option(
    "--standard",
    is_flag=True,
    help="The six lines of the bench, even where the scenario was read on lines of its own.",
)
@click.option("--json", "as_json", is_flag=True, help="Print what was read as one JSON object.")
def readings(scenario: str, name: str | None, standard: bool, as_json: bool) -> None:
    """Type in the readings written on a measuring sheet, line by line.

    Shows each line with its stations and asks which leaf goes and which does not; checks each
    answer as it is typed, and puts the readings into the scenario file. Nothing else in the
    file is touched, and a copy of it is kept where readings are replaced.

    Enter takes what stands in brackets, ? tells more, < goes back, end leaves the rest for
    later, Ctrl-C stops; what was typed is kept in a draft beside the file.
    """
    from handlap.sim.job.scenario_file import builtin_names, file_frame, load, read_text

    if scenario in dict(builtin_names()):
        raise InputError(
            f'"{scenario}" is a built-in scenario and cannot be written to; make one of your own with '
            f'"handlap new FILE --from {scenario}"'
        )
    job = in_its_units(load(scenario, require_readings=False, require_mass=False))
    file = Path(scenario)
    text = read_text(scenario)
    _can_be_written(job, text, file)

    from handlap.sim.face.stations import lines_of

    system, _ = file_frame(text)
    every = lines_of(job, system, standard=standard)
    lines = _chosen(every, name, text, file)

    from handlap.cli.asking.questions import say
    from handlap.cli.asking.readings_questions import ReadingsJob
    from handlap.sim.face.told import too_thick_to_show

    asked = ReadingsJob(job, lines, len(every), system, file.name)
    remark = too_thick_to_show(job.part, job.readings.leaves)
    if remark:
        say(remark)
    answers, draft = _ask(asked, file, scenario, name, standard)
    found = asked.result(answers)
    changed = [read for read in found if asked.changed(read)]
    backup = _write(file, asked, changed, answers) if changed else None
    draft.drop()
    _tell(file, asked, found, changed, every, backup, as_json)


def _can_be_written(job: Scenario, text: str, file: Path) -> None:
    """Refuse what cannot be exchanged without touching the rest of a file."""
    import tomllib

    from handlap.sim.job.toml_edit import split_blocks

    if job.readings.table is not None:
        raise InputError(f"{file}: readings.heights is there; take it out to read lines instead")
    stated = tomllib.loads(text).get("readings", {})
    blocks = split_blocks(text)
    as_tables = sum(block.listed and block.header == LINES for block in blocks)
    own_header = any(block.header in ("readings", LINES) for block in blocks)
    if len(stated.get("line", [])) != as_tables or (stated and not own_header):
        raise InputError(f"{file}: write readings as [readings] and [[{LINES}]] tables first")


def _chosen(
    every: tuple[MeasuringLine, ...], name: str | None, text: str, file: Path
) -> tuple[MeasuringLine, ...]:
    import tomllib

    from handlap.cli.asking.questions import say

    if name is not None:
        said = name.strip().lower()
        found = tuple(line for line in every if said in (line.name.lower(), line.letter.lower()))
        begun = tuple(line for line in every if said and line.name.lower().startswith(said))
        found = found or (begun if len(begun) == 1 else ())
        if not found:
            known = ", ".join(f'{line.letter} "{line.name}"' for line in every)
            raise InputError(f'{file} has no line "{name}"; there are {known}')
        every = found
    stated = tomllib.loads(text).get("readings", {}).get("line", [])
    by_depth = {str(table.get("name", "")).strip() for table in stated if "slides_in" in table}
    for line in every:
        if line.name in by_depth:
            say(f'"{line.name}" is read by slides_in and is left as it is: change it in {file}.')
    left = tuple(line for line in every if line.name not in by_depth)
    if not left:
        raise InputError(f"{file}: no line that can be typed in here")
    return left


def draft_of(file: Path) -> Path:
    """Where answers are kept until the file is written."""
    return file.with_name(f"{file.stem}.readings-draft.json")


def _ask(
    asked: ReadingsJob, file: Path, scenario: str, name: str | None, standard: bool
) -> tuple[dict[str, str], Draft]:
    from handlap.cli.asking.questions import begin, interview, keeping, say
    from handlap.cli.files import place_to_write

    place_to_write(file)
    say(
        "Enter takes what stands in brackets, ? tells more, < goes back, end leaves the rest for later, "
        "Ctrl-C stops."
    )
    draft, proceed = begin(draft_of(file), DRAFT)
    options = (["--line", f'"{name}"'] if name else []) + (["--standard"] if standard else [])
    command = " ".join(["handlap readings", scenario, *options])
    with keeping(draft, command):
        return interview(asked.follow, draft, proceed=proceed, may_finish=True), draft


def _write(file: Path, asked: ReadingsJob, changed: list[ReadLine], answers: dict[str, str]) -> Path | None:
    """Put lines into the file as it is now; returns the copy kept of it, where lines were replaced."""
    from handlap.cli.asking.readings_questions import LEAVES, NO_LEAVES
    from handlap.cli.asking.readings_text import leaf_of, line_text
    from handlap.cli.files import free_copy, write_whole
    from handlap.sim.job.scenario_file import file_frame, load_text
    from handlap.sim.job.toml_edit import add_key, exchange_lists, value_text

    raw = file.read_bytes()
    mark = "\ufeff" if raw.startswith(b"\xef\xbb\xbf") else ""
    text = raw.decode("utf-8-sig")
    system, middle = file_frame(text)
    there = {line.name for line in asked.job.readings.lines}
    tables = [
        (
            read.line.name if read.line.name in there else None,
            line_text(read.line, read.held, read.stations, system, middle, asked.job.leaf_unit),
        )
        for read in changed
    ]
    new = exchange_lists(text, LINES, tables)
    if not asked.job.readings.leaves and answers.get(LEAVES, NO_LEAVES) != NO_LEAVES:
        leaves = [leaf_of(leaf, asked.job.leaf_unit) for leaf in asked.leaves(answers)]
        new = add_key(new, "readings", f"leaves = {value_text(leaves)}")
    _same_but_for_readings(text, new)
    load_text(new, str(file), file=file.name, folder=file.parent, require_mass=False)
    backup = None
    if any(name is not None for name, _ in tables):
        backup = free_copy(file)
        write_whole(backup, raw)
    write_whole(file.resolve(), mark + new)
    return backup


def _same_but_for_readings(old: str, new: str) -> None:
    import tomllib

    before, after = tomllib.loads(old), tomllib.loads(new)
    before.pop("readings", None)
    after.pop("readings", None)
    if before != after:
        raise RuntimeError("writing the readings would have changed the rest of the file")


def _tell(
    file: Path,
    asked: ReadingsJob,
    found: list[ReadLine],
    changed: list[ReadLine],
    every: tuple[MeasuringLine, ...],
    backup: Path | None,
    as_json: bool,
) -> None:
    import sys

    from handlap.cli.reports.quantity import counted
    from handlap.cli.reports.text import paragraphs
    from handlap.cli.screen import Screen, emit

    names = {line.name for line in asked.job.readings.lines} | {read.line.name for read in found}
    unread = [line.name for line in every if line.name not in names]
    if as_json:
        from handlap.cli.reports.as_json import dumps

        emit(dumps(_json(file, found, changed, unread, backup)))
        return
    if changed:
        count = sum(len(read.stations) for read in changed)
        words = [f"Written into {file}: {counted(len(changed), 'line')} with {counted(count, 'reading')}."]
    else:
        words = [f"Nothing new was read; {file} is as it was."]
    if backup is not None:
        words.append(f"As it was before: {backup}.")
    if unread:
        words.append(f"Not read yet: {', '.join(unread)}.")
    if names:
        words.append(f"Then: handlap survey {file}")
    emit(paragraphs(words, Screen.of(sys.stdout).width))


def _json(
    file: Path, found: list[ReadLine], changed: list[ReadLine], unread: list[str], backup: Path | None
) -> dict[str, Any]:
    from handlap.sim.common.said import figure

    return {
        "schema": "handlap.readings/1",
        "file": str(file),
        "backup": None if backup is None else str(backup),
        "lines": [
            {
                "name": read.line.name,
                "held": read.held,
                "written": read in changed,
                "stations": [
                    {
                        "at_mm": figure(s.at, 1e3),
                        "goes_um": figure(s.goes, 1e6) if s.goes > 0.0 else None,
                        "stops_um": figure(s.stops, 1e6),
                    }
                    for s in read.stations
                ],
            }
            for read in found
        ],
        "not_read": unread,
    }

"""At the bench: Write down what was done, weighed and read; or show it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from handlap.cli.options import Output, in_its_units, scenario_argument
from handlap.sim.common.errors import InputError

if TYPE_CHECKING:
    from pathlib import Path

    from handlap.cli.asking.log_questions import LogJob
    from handlap.cli.asking.questions import Draft
    from handlap.sim.bench.job_log import Entry, JobLog
    from handlap.sim.job.scenario import Scenario, StraightedgeLine

DRAFT = "handlap.log-draft/1"


@click.command()
@scenario_argument()
@click.option("--strokes", type=int, metavar="N", help="Strokes done since the last entry, there and back.")
@click.option("--at", type=int, metavar="N", help="Strokes done since the start of the job, as you count.")
@click.option("--paper", metavar="GRIT", help="Paper they were done on; without it the last one.")
@click.option("--new-sheet", is_flag=True, help="A fresh sheet was put on before these strokes.")
@click.option("--brushed", is_flag=True, help="The paper was brushed or rinsed before these strokes.")
@click.option("--brush-every", type=int, metavar="N", help="... and after every N of them.")
@click.option(
    "--turn-every", type=int, metavar="N", help="Strokes between turns, where not as the plan has it."
)
@click.option("--not-turned", is_flag=True, help="The part was not turned in these strokes.")
@click.option(
    "--swarf", metavar="GRAMS", help="Swarf gathered since the last time it was weighed, such as 0.42."
)
@click.option("--part-weight", metavar="GRAMS", help="What the part weighs, clean and dry.")
@click.option(
    "--scale", metavar="GRAMS", help="Least division of the scale, such as 0.01; without it, as last time."
)
@click.option(
    "--reading",
    multiple=True,
    metavar="LINE",
    help='Readings along one line: "LINE: AT GOES STOPS; ..." in the units of the scenario, none or open; '
    'LINE is a letter of the measuring sheet (A) or a name, "LINE [rocks]" where it was held level; AT a '
    'distance or a station (A2). "A: none none 50 none none" is a whole line, where the leaves at hand are '
    "known. May be given again.",
)
@click.option(
    "--goes-nowhere",
    metavar="LEAF",
    help="A leaf that goes in at no station of any line of the sheet, such as 50 (in the units of the "
    "scenario): all lines count as read, but for those given by --reading.",
)
@click.option(
    "--readings-from",
    metavar="SCENARIO",
    help="Take all readings from this scenario file of the same part.",
)
@click.option(
    "--dye-left",
    metavar="SHARE",
    help="Share of the face that still shows dye, full or fading: 0.3, or 30%.",
)
@click.option(
    "--dye-faded",
    metavar="SHARE",
    help="Share of the face where the dye has faded: is fading or gone, no longer as it was put on.",
)
@click.option(
    "--dye-grid",
    metavar="GRID",
    help='Dye left on a grid of 3 x 5, or finer up to 12 x 20: "0 20% ... / ... / ...", far row first, from '
    "left to right; - for no metal, or not seen.",
)
@click.option(
    "--dye-sd",
    metavar="GRID",
    help="Standard errors of these shares on the same grid, where they were measured from a photo "
    "(handlap dye-photo); without them the grid counts as judged by eye.",
)
@click.option(
    "--dye",
    metavar="PICTURE",
    help='The same grid in words, such as "gone at both ends, fading in the middle", or in 15 letters: '
    "g gone, h half gone, f fading, u untouched, l left, ? not seen.",
)
@click.option("--dyed", is_flag=True, help="New dye was put on after looking.")
@click.option("--minutes", type=float, metavar="MIN", help="Time these strokes took.")
@click.option("--note", metavar="TEXT", help="Anything else worth keeping.")
@click.option(
    "--when",
    metavar="TIME",
    help='When it was done, in local time: "14:30" (today), "2026-01-05 14:30", or a date; without it now.',
)
@click.option(
    "--void", "--undo", "void", type=int, metavar="ENTRY",
    help="Take an earlier entry back; it stays in the file.",
)  # fmt: skip
@click.option(
    "--corrected",
    is_flag=True,
    help="The scenario was wrong before and is right now: all strokes in the log count as done with it.",
)
@click.option(
    "--as-is",
    is_flag=True,
    help="It is so, odd as it looks: more strokes than a day's work, a leaf not in the set, the same entry "
    "again within minutes, and what else was asked back. What cannot be is refused all the same.",
)
@click.option(
    "--from",
    "page_text",
    metavar="FILE",
    help="Read in what a page for the bench (handlap bench-page) handed over; - for standard input.",
)
@click.option(
    "--both",
    is_flag=True,
    help="With --from, where page and log clash: all of it was done, so put the page's entries behind.",
)
@click.option("--show", is_flag=True, help="Show what is written, and ask nothing.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of text.")
def log(
    scenario: str,
    as_json: bool,
    show: bool,
    readings_from: str | None,
    page_text: str | None,
    both: bool,
    **given: Any,
) -> None:
    """Write down what happened at the bench, or show what is written.

    Without options it asks, question by question, what was done since the last entry, shows what
    it understood, and writes when you say so. With options one entry is added at once; in it
    things happen in this order: paper, sheet, brushing; strokes; weighing, readings, dye left;
    new dye. With --from all entries of a page for the bench are added that are not in the log
    yet, or none. --show, or --json alone, shows the log.

    The log is a file of one line an entry beside the scenario, NAME.log.jsonl; nothing in it is
    ever changed. It keeps what it was logged against: if the part, the readings before or the way
    of working in the scenario change afterwards, that is named and refused. Dye counts from when
    it was last put on, or from the start. Weigh the part once before the first stroke, and name
    the scale then: later weighings take it for the same. What cannot be is refused; what is odd
    is asked back, and --as-is insists.
    """
    from handlap.sim.bench.log_file import append, read_log
    from handlap.sim.bench.log_given import entry_of
    from handlap.sim.bench.log_place import log_path
    from handlap.sim.job.scenario_file import load

    said = any(value not in (None, False, ()) for value in given.values()) or bool(readings_from)
    if show and said:
        raise InputError("--show only shows what is written; leave it out to write")
    job = in_its_units(load(scenario))
    path = log_path(job)
    added: Entry | None = None
    if page_text is not None or both:
        as_is = given.pop("as_is")
        more = any(value not in (None, False, ()) for value in given.values()) or bool(readings_from)
        _from_page(job, page_text, path, both, more, as_is, as_json)
        return
    if said:
        lines = _other_readings(job, readings_from) if readings_from else []
        entry = entry_of(job, given, read_log(job, path, check=False), lines=lines)
        added, found = append(job, entry, path)
    elif show or as_json:
        found = read_log(job, path)
    else:
        written = _asked(job, scenario, path)
        if written is None:
            return
        added, found = written

    from handlap.cli.reports.log_report import log_json, log_report

    told = (job, found, path, added)
    Output(as_json=as_json).hand_over(log_report(*told), log_json(*told), pictures=dict)


def _from_page(
    job: Scenario, source: str | None, path: Path, both: bool, said: bool, as_is: bool, as_json: bool
) -> None:
    """Bring in what a page for the bench handed over, and show what came of it."""
    from handlap.cli.asking.page_reading import read_page
    from handlap.cli.reports.import_report import clash_words, import_json, import_report
    from handlap.sim.bench.log_import import Clash, import_page

    if source is None:
        raise InputError("--both: only together with --from FILE")
    if said:
        raise InputError(
            "--from: nothing else with it but --both, --as-is and --json; a page brings its own entries"
        )
    text = read_page(source)
    try:
        found = import_page(job, text, path, both=both, as_is=as_is)
    except Clash as clash:
        raise InputError(clash_words(clash, job, text, source, path)) from None

    told = (job, found, text, path)
    Output(as_json=as_json).hand_over(import_report(*told), import_json(*told), pictures=dict)


def _other_readings(job: Scenario, source: str) -> list[StraightedgeLine]:
    """All lines of another scenario of the same part."""
    from handlap.sim.bench.job_log import part_mark
    from handlap.sim.common.errors import ScenarioError
    from handlap.sim.job.findings import Findings
    from handlap.sim.job.scenario_file import load

    found = Findings("the entry")
    other = load(source)
    if part_mark(other.part) != part_mark(job.part):
        found.fault("--readings-from", source, "a scenario of the same part: outline and metal differ")
    elif not other.readings.lines:
        found.fault("--readings-from", source, "a scenario with straightedge lines")
    if found.faults:
        raise ScenarioError(found.faults)
    return list(other.readings.lines)


# ---- asked at a terminal


def draft_of(path: Path) -> Path:
    """Where answers are kept until the entry of a log is written."""
    return path.with_name(path.name.removesuffix(".log.jsonl") + ".log-draft.json")


def _asked(job: Scenario, scenario: str, path: Path) -> tuple[Entry, JobLog] | None:
    """The entry that the answers at a terminal come to, written; None where there is nothing to write."""
    import sys

    from handlap.cli.asking.questions import begin, keeping, say
    from handlap.cli.screen import is_terminal
    from handlap.sim.bench.log_file import append, read_log

    if sys.stdin is None or not is_terminal(sys.stdin):
        raise InputError(
            "there is nobody at a terminal to ask: say what was done by options, such as --strokes 80 "
            f"(handlap log --help), or show the log with: handlap log {scenario} --show"
        )
    from handlap.cli.asking.log_questions import LogJob

    asked = LogJob(job, read_log(job, path), path)
    say(
        "Enter takes what stands in brackets, ? tells more, < goes back, end takes the rest as it stands, "
        "Ctrl-C stops."
    )
    for line in _so_far(asked):
        say(line)
    draft, proceed = begin(draft_of(path), DRAFT)
    with keeping(draft, f"handlap log {scenario}"):
        entry = _until_agreed(asked, draft, proceed)
    if entry is None:
        draft.drop()
        return None
    written = append(job, entry, path)
    draft.drop()
    return written


def _so_far(asked: LogJob) -> list[str]:
    """Where the job stands, and what the job sheet has next."""
    from handlap.cli.reports.log_report import entry_words, local_time
    from handlap.cli.reports.quantity import counted

    standing = asked.log.standing
    block = asked.block({})
    lines = []
    if standing:
        last = standing[-1]
        work = counted(last.strokes, "stroke") + ", " if last.strokes else ""
        lines.append(
            f"{counted(asked.log.strokes, 'stroke')} so far. Last entry, no. {last.number} of "
            f"{local_time(last.when)}: {work}{entry_words(last)}."
        )
    else:
        lines.append("Nothing is written yet. Weigh the part once before the first stroke.")
    if block.paper:
        due = [w for w, is_due in (("a new sheet", block.new_sheet), ("brush", block.brushed)) if is_due]
        lines.append(
            f"The job sheet has next: {block.paper}, up to stroke {block.until} on it"
            + (f"; before that {' and '.join(due)}." if due else ".")
        )
    return lines


def _until_agreed(asked: LogJob, draft: Draft, proceed: bool) -> Entry | None:
    """Ask until the entry can be true and is agreed to; None where there is nothing to write."""
    import sys

    from handlap.cli.asking.questions import ask_yes, interview, say, show
    from handlap.cli.reports.log_report import understood
    from handlap.cli.reports.text import wrapped
    from handlap.cli.screen import Screen

    while True:
        answers = interview(asked.questions, draft, proceed=proceed, may_finish=True)
        proceed = False
        try:
            entry = asked.entry(answers)
            if entry is None:
                say("Nothing was done, weighed or read: nothing is written.")
                return None
            impossible, odd = asked.against(entry)
        except InputError as fault:
            say(f"These answers do not go together: {fault}")
            continue
        if impossible:
            say("That cannot be: " + "; ".join(impossible))
            say("The questions once more, with your answers in brackets.")
            continue
        width = Screen.of(sys.stderr).width
        show(["", "Understood:", *(row for line in understood(asked.job, asked.numbered(entry))
                                   for row in wrapped(line, width, "  ", "    "))])  # fmt: skip
        for words in odd:
            say(f"Odd: {words}.")
        if ask_yes("Write it down all the same?" if odd else "Write it down?", not odd):
            return asked.insists(entry)
        if ask_yes("Go through the questions again? (no: leave it; nothing is written)", True):
            continue
        return None

"""What came of bringing in what a page for the bench handed over."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from handlap.cli.reports.blocks import Bullets, Report, Section
from handlap.cli.reports.log_report import entry_blocks, entry_words, log_json
from handlap.cli.reports.quantity import counted
from handlap.cli.reports.wording import sentence, subject

if TYPE_CHECKING:
    from handlap.sim.bench.bench_page_text import PageText
    from handlap.sim.bench.job_log import Entry
    from handlap.sim.bench.log_import import Clash, Imported
    from handlap.sim.job.scenario import Scenario


def import_report(scenario: Scenario, found: Imported, text: PageText, path: Path) -> Report:
    """What was added, and what was not and why."""
    log, added = found.log, found.added
    sections = []
    odd = (*_left_out(found), *log.damage, *(log.notes if log.entries else log.notes[1:]))
    if odd:
        sections.append(Section("Look again", (Bullets(tuple(map(sentence, odd))),)))
    if added:
        answer = f"{counted(len(added), 'entry', 'entries')} of the page {_is(len(added))} written"
        lead = f"{counted(log.strokes, 'stroke')} in all; they are on the disk, in {path}."
        sections.append(Section("What is written", tuple(entry_blocks(log, added, scenario))))
    else:
        answer = "Nothing new on the page"
        lead = f"All that it hands over is in {path} already; {counted(log.strokes, 'stroke')} in all."
        if not text.found:
            lead = "It holds no entry yet."
    return Report("log", answer, "plain", subject(scenario), (lead,), tuple(sections))


def _is(count: int) -> str:
    return "is" if count == 1 else "are"


def _left_out(found: Imported) -> list[str]:
    words = []
    if found.known and found.added:
        words.append(f"{counted(found.known, 'entry', 'entries')} of the page were in the log already")
    if found.dropped:
        words.append(
            f"{counted(found.dropped, 'line')} of the page {_is(found.dropped)} not written: taken back "
            "before it was handed over, or in the log already"
        )
    if found.uncounted:
        words.append(
            f"the page counts {counted(found.uncounted, 'stroke')} more that {_is(found.uncounted)} not "
            "written down on it as an entry: do that there, and hand it over again"
        )
    return words


def import_json(scenario: Scenario, found: Imported, text: PageText, path: Path) -> dict[str, Any]:
    """The log as one object, with what was added."""
    return {
        **log_json(scenario, found.log, path, None),
        "page": text.page,
        "added_entries": [entry.number for entry in found.added],
        "known_entries": found.known,
        "dropped_entries": found.dropped,
        "uncounted_strokes": found.uncounted,
    }


def clash_words(clash: Clash, scenario: Scenario, text: PageText, source: str, path: Path) -> str:
    """Both sides of a clash, and what can be done about it."""
    theirs = [f"  entry {entry.number}, {_line(entry)}" for entry in clash.theirs]
    ours = [
        f"  line {one.line}, {_line(one.entry)}" + (f"takes {one.takes_back} back" if one.takes_back else "")
        for one in clash.ours
    ]
    first = next((entry.number for entry in clash.theirs if entry.void is None), None)
    command = f"handlap log {scenario.source}"
    back = "" if first is None else f" ({command} --void {first})"
    return "\n".join(
        [
            f"{text.file} and {path.name} clash, and nothing was written. The page does not know of",
            *theirs,
            "in the log, and the log does not know of",
            *ours,
            "on the page. If that is the same work written down twice, take it back in one of them"
            f"{back}. If all of it was done, say so, and the page's entries go behind: "
            f"{command} --from {source} --both",
        ]
    )


def _line(entry: Entry) -> str:
    """An entry on one line: when, strokes, the rest; with who wrote it."""
    by = f"on page {entry.writer}" if entry.writer else "at the command line"
    when = entry.when[:16].replace("T", " ")
    parts = [f"{when} {by}: {counted(entry.strokes, 'stroke')}" if entry.strokes else f"{when} {by}:"]
    words = entry_words(entry)
    return f"{parts[0]}, {words}" if entry.strokes and words else f"{parts[0]} {words}"

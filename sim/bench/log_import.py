"""Entries of a page for the bench brought into the log of its job, all of them or none.

An entry that is in the log already, known by its id, is passed over, so the same text twice adds nothing
twice.  Where the log holds work that the page knows nothing of, nobody can tell whether it is the same
strokes written down twice: then both are shown and nothing is written, until somebody says.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from handlap.sim.bench.bench_page_text import PageEntry, PageText
from handlap.sim.bench.job_log import Entry, JobLog, part_mark
from handlap.sim.bench.log_file import append_all
from handlap.sim.bench.log_marks import SUBJECTS, marks_of
from handlap.sim.bench.log_place import owner_of
from handlap.sim.common.errors import Fault, InputError, ScenarioError
from handlap.sim.job.scenario import Scenario


@dataclass(frozen=True)
class Imported:
    """What came of a text.

    Attributes
    ----------
    log : with what was added
    added : entries written, with their numbers
    known : entries of the text that were in the log already [-]
    dropped : entries that were taken back on the page before they were handed over [-]
    uncounted : strokes that the page counts and has not written down [-]
    """

    log: JobLog
    added: tuple[Entry, ...]
    known: int
    dropped: int
    uncounted: int


class Clash(InputError):
    """The log holds work that the page knows nothing of.

    Attributes
    ----------
    theirs : entries of the log, in its order
    ours : entries of the page that would be added
    """

    def __init__(self, theirs: Sequence[Entry], ours: Sequence[PageEntry]) -> None:
        self.theirs, self.ours = tuple(theirs), tuple(ours)
        super().__init__("the log holds work that the page knows nothing of")


def import_page(
    scenario: Scenario, text: PageText, path: Path | None = None, *, both: bool = False, as_is: bool = False
) -> Imported:
    """Bring what a page handed over into the log.

    Parameters
    ----------
    both : what clashes was all done: the entries of the page go behind those of the log
    as_is : entries that look odd are so

    Raises
    ------
    ScenarioError : if the page is of another job, or log or entries are at fault; nothing is written then
    Clash : where the log holds work that the page knows nothing of, without ``both``
    """
    faults = _stranger_faults(scenario, text)
    if faults:
        raise ScenarioError(faults)
    told: dict[str, int] = {}

    def choose(log: JobLog) -> Sequence[Entry]:
        new = new_entries(log, text)
        told["known"] = len(text.ids & {entry.id for entry in log.entries})
        told["dropped"] = len(text.found) - told["known"] - len(new)
        theirs = unknown_to(log, text)
        if new and theirs and not both:
            raise Clash(theirs, new)
        return tuple(replace(entry, as_is=as_is) for entry in _in_place(log, new))

    lines = {one.entry.id: f"line {one.line} of {text.file}" for one in text.found}
    added, log = append_all(
        scenario, choose, path, label=lambda entry: lines.get(entry.id, "the entry"), marks=text.against
    )
    return Imported(log, added, told["known"], told["dropped"], text.uncounted)


def _stranger_faults(scenario: Scenario, text: PageText) -> list[Fault]:
    """What shows that a page is of another job, or of this one as it was before."""
    if text.part != part_mark(scenario.part):
        words = f"a page of this job, {owner_of(scenario)}: its outline, openings or metal are others"
        return [Fault(text.file, "line 1, part", text.scenario, words)]
    if text.scenario != owner_of(scenario):
        words = (
            f"{owner_of(scenario)}. If this job's file was renamed since the page was made, give it its old "
            "name for this"
        )
        return [Fault(text.file, "line 1, scenario", text.scenario, words)]
    now, faults = marks_of(scenario), []
    for mark in text.against:
        subject = SUBJECTS.get(mark.subject)
        if subject and subject.stops and now[mark.subject].digest != mark.digest:
            got = now[mark.subject].words
            words = (
                f"{mark.words}, as when the page was made: the strokes on it were done so. Put it back in "
                f"{scenario.source} for this"
            )
            faults.append(
                Fault(
                    scenario.source, mark.subject, got if got != mark.words else f"not the same {got}", words
                )
            )
    return faults


def new_entries(log: JobLog, text: PageText) -> list[PageEntry]:
    """The entries of a text that the log does not hold, without those that would change nothing: what
    was taken back before it was handed over, and what the log has taken back already."""
    known = {entry.id for entry in log.entries if entry.id}
    new = [one for one in text.found if one.entry.id not in known]
    fresh = {one.entry.id for one in new}
    cancelled = {one.takes_back for one in new if one.takes_back in fresh}
    done = cancelled | (known - {entry.id for entry in log.standing})
    return [one for one in new if one.entry.id not in cancelled and one.takes_back not in done]


def unknown_to(log: JobLog, text: PageText) -> list[Entry]:
    """Entries of the log that were written behind all that a page knows of, and bear on the work."""
    own = [entry.number for entry in log.entries if entry.id in text.ids]
    known = max([text.entries, *own])
    standing = {entry.number for entry in log.standing}
    agreed = {one.takes_back for one in text.found if one.takes_back}
    told = {entry.number for entry in log.entries if entry.number <= known and entry.id not in agreed}
    return [
        entry
        for entry in log.entries
        if entry.number > known and ((entry.number in standing and _bears(entry)) or entry.void in told)
    ]


def _bears(entry: Entry) -> bool:
    """Whether an entry says more than a remark."""
    return bool(
        entry.strokes or entry.looked or entry.dyed or entry.new_sheet or entry.brushed or entry.paper
    )


def _in_place(log: JobLog, new: Sequence[PageEntry]) -> tuple[Entry, ...]:
    """Entries as they go into the log: what they take back named by its number there."""
    numbers = {entry.id: entry.number for entry in log.entries if entry.id}
    placed: list[Entry] = []
    for one in new:
        entry = one.entry
        if one.takes_back:
            entry = replace(entry, void=numbers[one.takes_back])
        placed.append(entry)
        numbers[entry.id] = len(log.entries) + len(placed)
    return tuple(placed)

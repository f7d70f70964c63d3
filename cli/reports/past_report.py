"""What earlier jobs have taught, listed."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from handlap.cli.reports.blocks import Block, Bullets, Report, Section, Table, Words
from handlap.cli.reports.quantity import counted
from handlap.sim.job.past_jobs import CUT, IN_MM, VARIABLE, PastJob

NOTHING = "Nothing is kept yet. After a job: handlap record SCENARIO --remember."


def past_jobs_report(place: Path | None, jobs: Sequence[PastJob], dropped: int = 0) -> Report:
    """The entries, by number."""
    lead = [f"Kept in {place}." if place is not None else f"Nothing is read or kept: {VARIABLE} says so."]
    if dropped:
        lead.append(f"{counted(dropped, 'entry', 'entries')} taken out.")
    if not jobs:
        lead.append(NOTHING)
    sections = []
    if jobs:
        rows = tuple(
            (str(n), job.job, job.when, _conditions(job), _cut(job)) for n, job in enumerate(jobs, 1)
        )
        heads = ("entry", "job", "recorded", "metal, paper, hands", "cut, times what\nis taken (range)")
        blocks: list[Block] = [Table(heads, rows, (0, 1, 2, 3), wraps=3)]
        rest = tuple(f"{n} {job.job}: {_rest(job)}" for n, job in enumerate(jobs, 1) if _rest(job))
        if rest:
            blocks += [Words("Besides, times what is taken, with its range:"), Bullets(rest)]
        sections.append(Section("What they found, each by itself", tuple(blocks)))
        how = (
            "Plans take from those with the same metal, kind of paper, wet or dry: of another grade what "
            "grades have in common; of another metal the hands alone.",
            "Three weighed jobs about halve the range of the cut, and take less off that of the strokes: the "
            "rest is the face and what jobs differ by. A plan says under Narrower what its ranges come from.",
            "To leave them out once: --afresh. To take one out: handlap past-jobs --drop N.",
        )
        sections.append(Section("How they are used", (Bullets(how),), aside=True))
    answer = f"Earlier jobs: {len(jobs)} kept" if jobs else "Earlier jobs: none kept"
    return Report(
        "past-jobs", answer, "plain", "what your own jobs have taught", tuple(lead), tuple(sections)
    )


def _conditions(job: PastJob) -> str:
    words = [job.metal, f"{job.paper} {job.abrasive}".strip(), "wet" if job.wet else "dry"]
    words += [f"hands: {job.hands}"] if job.hands else []
    return ", ".join([*words, "weighed" if job.weighed else "not weighed"])


def _range(three: Sequence[float], unit: str = "") -> str:
    low, middle, high = (f"{x:.2g}" for x in three)
    return f"{middle}{unit} ({low} to {high})"


def _cut(job: PastJob) -> str:
    return _range(job.found[CUT]) if CUT in job.found else "not told"


def _rest(job: PastJob) -> str:
    return ", ".join(
        f"{name.replace('_', ' ')} {_range(three, ' mm' if name in IN_MM else '')}"
        for name, three in job.found.items()
        if name != CUT
    )


def past_jobs_json(place: Path | None, jobs: Sequence[PastJob]) -> dict[str, Any]:
    """The entries as one object, as they stand in the file."""
    return {
        "schema": "handlap.past-jobs/1",
        "file": None if place is None else str(place),
        "jobs": [
            {**{key: value for key, value in vars(job).items() if key not in ("found", "stated")},
             "stated": list(job.stated), "found": {name: list(x) for name, x in job.found.items()}}
            for job in jobs
        ],
    }  # fmt: skip

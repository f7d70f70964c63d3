"""At the bench: What earlier jobs have taught of paper and hands; takes entries out."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from handlap.cli.options import Output, past_place

if TYPE_CHECKING:
    from collections.abc import Sequence

    from handlap.sim.job.past_jobs import PastJob


@click.command()
@click.option("--drop", multiple=True, type=int, metavar="N", help="Take entry N out; may be given again.")
@click.option("--json", "as_json", is_flag=True, help="Print the entries as one JSON object instead of text.")
def past_jobs(drop: tuple[int, ...], as_json: bool) -> None:
    """Show what earlier jobs have taught of paper and hands, or take entries out.

    handlap record SCENARIO --remember writes an entry, into a plain TOML file of your own that
    is shown here; it may be corrected by hand. Plans begin from the entries that match the job;
    with --afresh they do not. HANDLAP_PAST_JOBS names another file, or none.
    """
    from handlap.cli.reports.past_report import past_jobs_json, past_jobs_report
    from handlap.sim.job.past_jobs import read_past

    place = past_place()
    jobs = () if place is None else read_past(place)
    if drop:
        jobs = _dropped(place, jobs, drop)
    report = past_jobs_report(place, jobs, len(set(drop)))
    Output(as_json=as_json).hand_over(report, past_jobs_json(place, jobs), pictures=dict)


def _dropped(place: Path | None, jobs: Sequence[PastJob], numbers: Sequence[int]) -> tuple[PastJob, ...]:
    """What is left once the entries of these numbers are taken out of the file."""
    from handlap.cli.files import write_whole
    from handlap.sim.common.errors import InputError
    from handlap.sim.job.given_file import read_small_text
    from handlap.sim.job.past_jobs import LARGEST, without

    wrong = [n for n in numbers if not 1 <= n <= len(jobs)]
    if wrong or place is None:
        there = f"1 to {len(jobs)}" if jobs else "none, for there are no entries"
        raise InputError(f"--drop {', '.join(map(str, wrong or numbers))}: allowed is {there}")
    write_whole(place, without(read_small_text(place, LARGEST), numbers))
    return tuple(job for n, job in enumerate(jobs, 1) if n not in numbers)

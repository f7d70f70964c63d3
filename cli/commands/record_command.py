"""At the bench: What stays with the part: limits, metal off, what the cut does."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import click

from handlap.cli.answering import known_job
from handlap.cli.options import (
    AskedMembers,
    Output,
    draws_options,
    output_options,
    paper_option,
    past_place,
    scenario_argument,
)

if TYPE_CHECKING:
    from handlap.sim.bench.record import PartRecord
    from handlap.sim.job.past_jobs import PastJob

OFFER = (
    "To let your next plans begin from what this job taught of paper and hands: {}. It is kept in a file of "
    "your own on this machine, and sent nowhere."
)


@click.command()
@scenario_argument()
@draws_options(64, 16, 1024)
@paper_option(" of the PDF")
@click.option(
    "--remember",
    is_flag=True,
    help="Keep what this job has taught of paper and hands for the next plans, in a file of your own.",
)
@output_options
def record(
    scenario: str,
    draws: AskedMembers,
    paper: str,
    remember: bool,
    output: Output,
) -> None:
    """Draw up the record that stays with the part, and what the cut does around it.

    Readings before and after, depth removed by weighing and by the model and whether the two
    agree, taper, finish, sheets, time; every limit met, not met, or cannot tell. From the keys
    under part.after: thickness left, compression ratio, cam, clearances, holes, end float,
    inlet flange. With --out the page (HTML) and a PDF are written too.

    With --remember, what the job taught of paper and hands is kept for the next plans
    (handlap past-jobs shows it); nothing is kept without, and nothing is ever sent anywhere.
    """
    from handlap.cli.remembering import keep, past_to_write
    from handlap.sim.bench.log_file import read_log

    job = known_job(scenario, draws.afresh)
    log = read_log(job)
    place = past_to_write() if remember else past_place()
    output.check(*([place] if remember and place is not None else []))

    from handlap.cli.progress import ProgressLine
    from handlap.cli.reports.record_report import record_json, record_pictures, record_report
    from handlap.sim.bench.record import make_record

    with ProgressLine() as progress:
        found = make_record(job, log, **draws.whom, progress=progress)
        entry = entry_of(found) if remember else None
    kept = "" if entry is None or place is None else keep([entry], place)
    offered = f"handlap record {job.source} --remember" if place is not None and not remember else ""
    report = record_report(found, kept or (OFFER.format(offered) if offered else ""))
    pictures = cache(lambda: record_pictures(found))

    def pdf() -> bytes:
        from handlap.cli.reports.report_pdf import report_pdf

        return report_pdf(report, paper, pictures())[0]

    output.hand_over(
        report,
        record_json(found, entry),
        pictures=pictures,
        job=job.name,
        pdf=pdf,
    )


def entry_of(found: PartRecord) -> PastJob:
    """What a job leaves for the next ones, learnt without those before it."""
    from datetime import date

    from handlap.sim.bench.learn import learn
    from handlap.sim.bench.standing import open_log
    from handlap.sim.bench.to_remember import to_remember

    learnt = found.learnt
    past = found.scenario.past
    if past is not None:
        members, seed = learnt.members, found.seed
        learnt = learn(*open_log(past.plain, found.log, members=members, seed=seed, untold=True))
    return to_remember(learnt, found.log, today=date.today().isoformat())

"""``handlap record``."""

from __future__ import annotations

from functools import cache

import click

from handlap.cli.options import (
    Output,
    in_its_units,
    members_option,
    output_options,
    scenario_argument,
    seed_option,
)


@click.command()
@scenario_argument()
@members_option(64, 16, 1024)
@seed_option
@click.option(
    "--paper",
    type=click.Choice(["A4", "Letter"], case_sensitive=False),
    default="A4",
    show_default=True,
    help="Size of the paper of the PDF.",
)
@output_options
def record(
    scenario: str,
    members: int,
    seed: int,
    paper: str,
    output: Output,
) -> None:
    """Draw up the record that stays with the part, and what the cut does around it.

    Readings before and after, depth removed by weighing and by the model and whether the two
    agree, taper, finish, sheets, time; every limit met, not met, or cannot tell. From the keys
    under part.after: thickness left, compression ratio, cam, clearances, holes, end float,
    inlet flange. With --out the page (HTML) and a PDF are written too.
    """
    from handlap.sim.bench.log_file import read_log
    from handlap.sim.job.scenario_file import load

    job = in_its_units(load(scenario))
    log = read_log(job)
    output.check()

    from handlap.cli.progress import Progress
    from handlap.cli.reports.record_report import record_json, record_pictures, record_report
    from handlap.sim.bench.record import make_record

    with Progress() as progress:
        found = make_record(job, log, members=members, seed=seed, progress=progress)
    report = record_report(found)
    pictures = cache(lambda: record_pictures(found))

    def pdf() -> bytes:
        from handlap.cli.reports.report_pdf import report_pdf

        return report_pdf(report, paper, pictures())[0]

    output.hand_over(
        report,
        record_json(found),
        pictures=pictures,
        job=job.name,
        pdf=pdf,
    )

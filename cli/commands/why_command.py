"""Before the bench: What makes the error that is left, and what would help most."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from handlap.cli.answering import answer, known_job, working
from handlap.cli.options import AskedMembers, Output, draws_options, output_options, scenario_argument

if TYPE_CHECKING:
    from handlap.sim.comparing.cause_ranking import Ranking
    from handlap.sim.job.scenario import Scenario


@click.command()
@scenario_argument()
@click.option(
    "--dye",
    metavar="PICTURE",
    help='Where the dye is full, fading or gone: words such as "gone at both ends, fading in the middle", or '
    "15 letters, three rows of five from the far side, left to right: g gone, h half gone, f fading, u "
    "untouched, l left, ? not seen; or shares left, as of log --dye-grid. Ranks the causes that leave it.",
)
@click.option(
    "--dye-logged",
    is_flag=True,
    help="The same for the dye that the log looked at last, zone by zone, as by a photo (handlap dye-photo), "
    "with the strokes since it was put on.",
)
@click.option(
    "--after",
    metavar="FILE",
    help="A scenario with the readings taken after the work. Ranks the causes that leave such a face.",
)
@click.option(
    "--strokes",
    type=click.IntRange(1, 12_000),
    metavar="N",
    help="Strokes on the first paper (since the dye was put on). Without it: until half of the faces stop.",
)
@draws_options(32, 16, 512, spread=True)
@output_options
def why(
    scenario: str,
    dye: str | None,
    dye_logged: bool,
    after: str | None,
    strokes: int | None,
    draws: AskedMembers,
    output: Output,
) -> None:
    """Say why a face comes out as it does: crowned, hollow, twisted or tapered.

    Each cause of error is switched off alone, and left on alone, with the same faces and hands
    and as much metal removed: high hands, wobble, bias, push and pull, paper worn in the middle,
    the plate, overhang and seams, spring-back, the starting shape. Then changes are tried.

    With --dye or --after it works backwards, from what is seen to its likely cause.
    """
    if (dye is not None) + dye_logged + (after is not None) > 1:
        raise click.UsageError("give one of --dye, --dye-logged and --after")
    from handlap.sim.job.scenario_file import load

    job = known_job(scenario, draws.afresh)
    output.check()

    if dye is not None or dye_logged or after is not None:
        from handlap.cli.reports.why_report import ranking_json, ranking_report

        if after is not None:
            from handlap.sim.comparing.cause_ranking import rank_by_readings

            other = load(after)
            with working() as how:
                ranked = rank_by_readings(job, other, strokes=strokes, **draws.whom, **how)
        else:
            ranked = _by_dye(job, dye, strokes, draws)
        by = "readings" if after is not None else "dye"
        output.hand_over(
            ranking_report(job, ranked, by),
            ranking_json(job, ranked, by, draws.seed),
            pictures=dict,
            job=job.name,
        )
        return

    from handlap.sim.comparing.why import find_causes

    with working(draws.spread) as how:
        found = find_causes(job, **draws.whom, **how, strokes=strokes)
    answer(output, "why", found, job=job)


def _by_dye(job: Scenario, dye: str | None, strokes: int | None, draws: AskedMembers) -> Ranking:
    """Causes by a picture of the dye: the one that is told, or the last of the log."""
    from handlap.sim.common.errors import InputError
    from handlap.sim.comparing.cause_ranking import rank_by_dye

    worked = False
    if dye is not None:
        from handlap.sim.lapping.dye_words import read_dye

        try:
            seen, words = read_dye(dye), dye
        except ValueError as error:
            raise InputError(f"--dye: {error}") from None
    else:
        from handlap.sim.bench.log_file import read_log

        last = read_log(job).last_dye
        if last is None:
            raise InputError(
                "--dye-logged: the log has no look at dye zone by zone after strokes; write one down with "
                f"handlap dye-photo {job.source} PHOTO, or handlap log {job.source} --dye"
            )
        entry, seen, since, worked = last
        strokes = strokes or since
        words = f"entry {entry.number} of the log, {strokes} strokes after dyeing"
    with working() as how:
        return rank_by_dye(job, seen, words, strokes=strokes, worked=worked, **draws.whom, **how)

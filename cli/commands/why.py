"""``handlap why``."""

from __future__ import annotations

import click

from handlap.cli.options import (
    Output,
    Spread,
    as_known,
    in_its_units,
    members_option,
    output_options,
    past_option,
    scenario_argument,
    seed_option,
    spread_options,
)


@click.command()
@scenario_argument()
@click.option(
    "--dye",
    metavar="PICTURE",
    help='Where the dye is full, fading or gone: words such as "gone at both ends, fading in the middle", or '
    "15 letters, three rows of five from the far side, left to right: g gone, h half gone, f fading, u "
    "untouched, l left, ? not seen. Ranks the causes that leave it.",
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
@members_option(32, 16, 512)
@seed_option
@past_option
@spread_options
@output_options
def why(
    scenario: str,
    dye: str | None,
    after: str | None,
    strokes: int | None,
    members: int,
    seed: int,
    afresh: bool,
    spread: Spread,
    output: Output,
) -> None:
    """Say why a face comes out as it does: crowned, hollow, twisted or tapered.

    Each cause of error is switched off alone, and left on alone, with the same faces and hands
    and as much metal removed: high hands, wobble, bias, push and pull, paper worn in the middle,
    the plate, overhang and seams, spring-back, the starting shape. Then changes are tried.

    With --dye or --after it works backwards, from what is seen to its likely cause.
    """
    if dye is not None and after is not None:
        raise click.UsageError("give --dye or --after, not both")
    from handlap.sim.job.scenario_file import load

    job = as_known(in_its_units(load(scenario)), afresh)
    output.check()

    from handlap.cli.progress import Progress

    if dye is not None or after is not None:
        from handlap.cli.reports.why_report import ranking_json, ranking_report
        from handlap.sim.comparing.cause_ranking import rank_by_dye, rank_by_readings

        if dye is not None:
            from handlap.sim.common.errors import InputError
            from handlap.sim.lapping.dye_words import read_dye

            try:
                seen = read_dye(dye)
            except ValueError as error:
                raise InputError(f"--dye: {error}") from None
            with Progress() as progress:
                ranked = rank_by_dye(
                    job, seen, dye, strokes=strokes, members=members, seed=seed, progress=progress
                )
        else:
            assert after is not None
            other = load(after)
            with Progress() as progress:
                ranked = rank_by_readings(
                    job, other, strokes=strokes, members=members, seed=seed, progress=progress
                )
        by = "dye" if dye is not None else "readings"
        output.hand_over(
            ranking_report(job, ranked, by),
            ranking_json(job, ranked, by, seed),
            pictures=dict,
            job=job.name,
        )
        return

    from handlap.cli.reports.why_report import why_json, why_report
    from handlap.sim.comparing.why import find_causes

    with Progress() as progress, spread.executor() as executor:
        found = find_causes(
            job, members=members, seed=seed, progress=progress, strokes=strokes, executor=executor
        )

    def pictures() -> dict[str, bytes]:
        from handlap.cli.drawing.why_pictures import why_pictures

        return why_pictures(found)

    output.hand_over(
        why_report(found),
        why_json(found),
        pictures=pictures,
        job=job.name,
    )

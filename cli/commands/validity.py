"""``handlap validity``."""

from __future__ import annotations

from pathlib import Path

import click

from handlap.cli.options import check_places, hand_over, output_options


@click.command()
@output_options
def validity(out: Path | None, as_json: bool, json_file: Path | None) -> None:
    """What the program has been held against, check by check, and what against nothing.

    Each check with its source, what kind of reference that is, the figure expected and the
    figure got. They were made by the tests of this version and are shipped with it; nothing is
    computed anew.
    """
    check_places(out, json_file)

    from handlap.cli.reports.validity_report import validity_json, validity_report
    from handlap.sim.common.validity import shipped_checks

    checks = shipped_checks()
    hand_over(
        validity_report(checks),
        validity_json(checks),
        as_json=as_json,
        json_file=json_file,
        out=out,
        pictures=dict,
    )

"""Helpers: What the program has been held against, and what against nothing."""

from __future__ import annotations

import click

from handlap.cli.options import Output, output_options


@click.command()
@click.option("--thresholds", is_flag=True, help="Print the lines that verdicts and stops draw instead.")
@output_options
def validity(thresholds: bool, output: Output) -> None:
    """What the program has been held against, check by check, and what against nothing.

    Each check with its source, what kind of reference that is, the figure expected and the
    figure got; and facts of the trade, whether the model was tuned on them or not, those that do
    not hold among them. They were made by the tests of this version and are shipped with it;
    nothing is computed anew.
    """
    output.check()
    if thresholds:
        from handlap.cli.reports.thresholds_report import thresholds_json, thresholds_report

        output.hand_over(thresholds_report(), thresholds_json(), pictures=dict)
        return

    from handlap.cli.reports.validity_report import validity_json, validity_report
    from handlap.sim.common.validity import shipped_checks

    checks = shipped_checks()
    output.hand_over(
        validity_report(checks),
        validity_json(checks),
        pictures=dict,
    )

"""Helpers: Pages on how a job is done, what figures mean, what is left out."""

from __future__ import annotations

import click


@click.command()
@click.argument("topic", required=False)
@click.option("--markdown", is_flag=True, help="Print the page as it is written, in Markdown.")
def explain(topic: str | None, markdown: bool) -> None:
    """Print a page on how something is done or meant: TOPIC, or without it the list of pages."""
    import sys

    from handlap.cli.explained import TOPICS, page
    from handlap.cli.reports.blocks import Facts
    from handlap.cli.reports.page_text import page_lines
    from handlap.cli.reports.text import block_lines
    from handlap.cli.screen import Screen, emit

    screen = Screen.of(sys.stdout)
    if topic is None:
        lines = [
            screen.strong("handlap explain TOPIC"),
            "",
            *block_lines(Facts(tuple(TOPICS.items())), screen),
        ]
    elif markdown:
        lines = [page(topic).rstrip("\n")]
    else:
        lines = page_lines(page(topic), screen)
    emit("\n".join(lines))

"""A report as pages to print: the same blocks as on the terminal and in the browser, in one PDF."""

from __future__ import annotations

from collections.abc import Mapping

from handlap.cli.reports.blocks import Picture, Report
from handlap.cli.reports.flow import Flow, PageSetting
from handlap.cli.reports.pdf_page import PAPERS, write_pdf

MARGIN = 18.0
TITLE, SMALL = 17.0, 7.0
"""Sizes of letters [pt]."""
SETTING = PageSetting(
    margin=MARGIN, foot=MARGIN, text=9.5, head=12.0, cells=9.5, above=3.0, below=1.6, rule=0.6, rule_at=0.3,
    with_next=14.0, names=36.0,
)  # fmt: skip
FOOT = (
    "The limits of the part's maker, local codes and a qualified machinist's judgement come before "
    "any number printed here."
)


NO_PICTURES: Mapping[str, bytes] = {}


def report_pdf(
    report: Report, paper: str = "A4", pictures: Mapping[str, bytes] = NO_PICTURES
) -> tuple[bytes, int]:
    """The report as PDF, and its number of pages.

    Parameters
    ----------
    paper : "A4" or "Letter"
    pictures : PNG by the name it has in the report
    """
    flow = Flow(*PAPERS[paper], SETTING)
    flow.words(report.answer, TITLE, bold=True)
    flow.words(report.subject)
    flow.y += 1.5
    for item in report.lead:
        flow.words(item, mark="•")
    for section in report.sections:
        flow.heading(section.title)
        for block in section.blocks:
            if not isinstance(block, Picture):
                flow.block(block)
            elif block.name in pictures:
                flow.picture(pictures[block.name], block.caption)
    for number, page in enumerate(flow.pages, 1):
        y = page.height - MARGIN + 6.0
        page.text(MARGIN, y, FOOT, SMALL)
        page.text(page.width - MARGIN, y, f"{number} of {len(flow.pages)}", SMALL, align="right")
    return write_pdf(flow.pages, f"{report.answer}: {report.subject}"), len(flow.pages)

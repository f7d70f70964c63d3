"""The measuring sheet: the face to scale with its lines and stations, and a table to write in."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from handlap.cli.reports.flow import Flow, PageSetting
from handlap.cli.reports.paper_blocks import Blanks, tick_box
from handlap.cli.reports.pdf_page import PAPERS, Page, write_pdf
from handlap.cli.reports.wording import subject
from handlap.cli.sheets.sheet_face import SIDES, Pens, draw_face
from handlap.cli.sheets.sheet_how_to_read import how_to_read
from handlap.sim.common import spoken
from handlap.sim.common.outline import Outline
from handlap.sim.common.units import System, leaf_number
from handlap.sim.face.stations import MeasuringLine
from handlap.sim.job.scenario import Scenario, StraightedgeLine
from handlap.sim.planning.cautions import cautions

MARGIN = 12.0
"""[mm]"""
SETTING = PageSetting(
    margin=MARGIN, foot=MARGIN, text=10.0, head=12.0, cells=10.0, above=3.0, below=0.5, rule=0.0, rule_at=0.0,
    with_next=12.0,
)  # fmt: skip
OVER = (1.0, 1.25, 1.5, 1.75, 2.0, 2.5, 3.0, 3.5, 4.0, 5.0, 6.0, 7.5, 10.0, 12.5, 15.0, 20.0, 50.0)
SCALES = (5.0, 3.0, 2.0, 1.5, *(1.0 / x for x in OVER))
"""Paper over part: the largest that fits is taken."""
BAR, BAR_INCHES = 50.0, 2.0
"""Length of the bar that shows whether the printer kept the scale [mm]."""
PENS = Pens(rim=1.4, opening=0.6, line=0.6, dot=0.9, sides=9.0, names=7.5)
WRITE_IN = (
    ("Date", 0.0, 50.0),
    ("By", 55.0, 50.0),
    ("Straightedge", 110.0, 80.0),
    ("Temperature", 195.0, 50.0),
)
"""What is written over the face, where it begins from the margin and how long it is with its line [mm]."""
ROWS, HEAD = (9.5, 8.8, 8.0, 7.2), 22.5
"""Heights of a row to write in, the first that takes no more pages than the last; and of what stands over the
rows of a line [mm]."""
TOP, GAP = 25.0, 7.0
"""Where columns begin, and what is between them [mm]."""
NOTES = 25.0
"""From so much left on the last page on, it is ruled for notes [mm]."""


@dataclass(frozen=True)
class MeasuringSheet:
    """A measuring sheet as PDF, the scale its face is drawn at, and its number of pages."""

    pdf: bytes
    scale: float
    pages: int


def scale_words(scale: float) -> str:
    """A scale as it is written on a drawing (ISO 5455).

    >>> scale_words(0.5), scale_words(1.0), scale_words(2.0), scale_words(1 / 1.5)
    ('1:2', '1:1', '2:1', '1:1.5')
    """
    return f"{scale:g}:1" if scale > 1.0 else f"1:{1.0 / scale:.3g}"


def measuring_pages(
    scenario: Scenario, lines: Sequence[MeasuringLine], system: System, paper: str = "A4"
) -> MeasuringSheet:
    """Draw the sheet.

    Parameters
    ----------
    lines : the lines to read
    system : units of the scenario
    paper : a name of :data:`handlap.cli.reports.pdf_page.PAPERS`
    """
    width, height = PAPERS[paper]
    first, scale = face_page(scenario, lines, height, width)
    how = Flow(width, height, SETTING)
    how.new_page()
    how.y = sheet_title(how.page, scenario, "Measuring sheet: how to read") + 1.0
    how_to_read(how, scenario, system)
    pages = [first, *how.pages]
    pages += table_pages(scenario, lines, system, width, height)
    title = f"Measuring sheet: {scenario.title}"
    number_pages(pages, scenario, "measuring sheet")
    return MeasuringSheet(write_pdf(pages, title), scale, len(pages))


def number_pages(pages: Sequence[Page], scenario: Scenario, what: str) -> None:
    """Put the last caution, the kind of sheet and the number under each page."""
    for i, page in enumerate(pages, 1):
        _foot(page, scenario, f"{what}, page {i} of {len(pages)}")


def _foot(page: Page, scenario: Scenario, number: str) -> None:
    y = page.height - MARGIN + 2.0
    page.line(MARGIN, y - 1.0, page.width - MARGIN, y - 1.0, 0.3)
    last = cautions(scenario.part.metal, weight=scenario.part.weight, wet=False)[-1]
    page.text(MARGIN, y, last, 6.5)
    page.text(page.width - MARGIN, y, number, 6.5, align="right")


def sheet_title(page: Page, scenario: Scenario, what: str) -> float:
    """What the page is and which job it belongs to; returns the lower edge."""
    y = page.text(MARGIN, MARGIN - 4.0, what, 15.0, bold=True)
    return page.paragraph(MARGIN, y, subject(scenario), page.width - 2 * MARGIN, 10.0)


# ---- the face


def face_page(
    scenario: Scenario, lines: Sequence[MeasuringLine], width: float, height: float
) -> tuple[Page, float]:
    """The face to scale, lying on the long side of the paper; with the scale."""
    flow = Flow(width, height, SETTING)
    flow.new_page()
    page, outline = flow.page, scenario.part.outline
    flow.y = sheet_title(page, scenario, "Measuring sheet: where to lay the straightedge") + 2.0
    ends = ((name, x, min(flow.wide, x + long)) for name, x, long in WRITE_IN)
    flow.put(Blanks(tuple(ends), 8.0, 4.0, 9.0))
    top = flow.y
    bottom = page.height - MARGIN - 22.0
    room = page.width - 2 * MARGIN - 2.0 * (SIDES + 4.0), bottom - top - 2.0 * SIDES
    size = 1e3 * outline.length, 1e3 * outline.width
    scale = next(
        (s for s in SCALES if size[0] * s <= room[0] and size[1] * s <= room[1]),
        min(room[0] / size[0], room[1] / size[1]),
    )
    draw_face(page, outline, lines, page.width / 2.0, 0.5 * (top + bottom), 1e3 * scale, pens=PENS)
    _legend(page, scale, bottom + 4.0)
    return page, scale


def _legend(page: Page, scale: float, y: float) -> None:
    x = MARGIN
    bar = BAR if spoken.system() == "mm" else BAR_INCHES * 25.4
    page.line(x, y + 2.0, x + bar, y + 2.0, 1.2)
    for end in (x, x + bar):
        page.line(end, y, end, y + 4.0, 1.2)
    page.text(x, y + 5.0, f"Scale {scale_words(scale)}", 11.0, bold=True)
    page.paragraph(
        x,
        y + 10.5,
        f"This bar is {spoken.distance(1e-3 * bar)} long where the printer kept the size.",
        bar + 15.0,
        7.5,
    )
    page.paragraph(
        x + bar + 22.0,
        y,
        "Full lines: the straightedge, from the arrow's tail to its head. Dots: stations, where leaves are "
        "tried; their distances along the line are in the tables. Grey: openings. Mark the part itself at "
        "the left end and on the near side, so that it is never read the wrong way round: a line read "
        "backwards cannot be found out afterwards.",
        page.width - 2 * MARGIN - bar - 22.0,
        9.0,
    )


# ---- tables


def table_pages(
    scenario: Scenario,
    lines: Sequence[MeasuringLine],
    system: System,
    width: float,
    height: float,
    *,
    filled: bool = False,
) -> list[Page]:
    """Tables in two columns, as many pages as they take.

    ``filled``: with the scenario's own readings written in.
    """
    read = {line.name: line for line in scenario.readings.lines} if filled else {}
    column = (width - 2 * MARGIN - GAP) / 2.0
    bottom = height - MARGIN - 3.0
    # Rows as high as they can be on no more pages.
    laid = [(row, _laid(lines, row, bottom)) for row in ROWS]
    fewest = min(len({place.page for place in places}) for _, places in laid)
    row, places = next(one for one in laid if len({place.page for place in one[1]}) == fewest)
    pages: list[Page] = []
    for place in places:
        if place.page == len(pages):
            pages.append(Page(width, height))
            sheet_title(pages[-1], scenario, "Measuring sheet: readings")
        place.end = _table(
            pages[-1], place, system, scenario.leaf_unit, MARGIN + place.side * (column + GAP), column, row,
            scenario.part.outline, read.get(place.line.name),
        )  # fmt: skip
    if places and not filled:
        for side in range(places[-1].side, 2):
            top = places[-1].end + GAP if side == places[-1].side else TOP
            _notes(pages[-1], MARGIN + side * (column + GAP), top, column, bottom)
    return pages


@dataclass
class _Placed:
    """Rows of one line in one column of a page, from ``top`` to ``end`` [mm]."""

    page: int
    side: int
    top: float
    line: MeasuringLine
    rows: Sequence[int]
    again: bool
    end: float = 0.0


def _laid(lines: Sequence[MeasuringLine], row: float, bottom: float) -> list[_Placed]:
    """Where the tables come to lie with rows of that height."""
    found: list[_Placed] = []
    page, side, y = -1, 1, bottom + 1.0
    longest = int((bottom - TOP - 5.0 - HEAD) // row)
    for line in lines:
        rest = list(range(len(line.at)))
        again = False
        while rest:
            fits = int((bottom - y - HEAD) // row)
            # A table is broken over columns only where it is longer than one.
            if fits < min(len(rest), longest):
                side = 1 - side
                page += side == 0
                y = TOP
                continue
            now, rest = rest[:fits], rest[fits:]
            found.append(_Placed(page, side, y, line, now, again))
            y += HEAD + row * len(now) + 5.0
            again = True
    return found


def _notes(page: Page, x: float, y: float, wide: float, bottom: float) -> None:
    """What is left of a column, ruled."""
    if bottom - y < NOTES:
        return
    y = page.text(x, y, "Notes", 11.0, bold=True) + 6.0
    while y < bottom:
        page.line(x, y, x + wide, y, 0.3)
        y += 8.0


def _table(
    page: Page,
    placed: _Placed,
    system: System,
    stamped: str,
    x: float,
    width: float,
    row: float,
    outline: Outline,
    read: StraightedgeLine | None,
) -> float:
    line, rows, y = placed.line, placed.rows, placed.top
    unit = "mm" if system == "mm" else "in"
    with spoken.speaking(system, stamped):
        length, distances = spoken.on_rule(line.length), [spoken.on_rule(at) for at in line.at]
    more = ", continued" if placed.again else ""
    page.text(x, y, f"{line.letter}   {line.name}{more}, {length} {unit}", 11.0, bold=True)
    for i, words in enumerate(ends_words(line, outline)):
        page.text(x, y + 5.0 + 3.6 * i, words, 7.5)
    tick = y + 13.1
    ways = (
        ("sits still", "rest", 0.0),
        ("rocks, held level", "level", 17.0),
        ("tips onto its start", "tipped start", 44.5),
        ("its end", "tipped end", 73.5),
    )
    for label, held, at in ways:
        tick_box(page, x + at, tick, 2.8, 0.6)
        page.text(x + at + 3.8, tick - 0.2, label, 8.0)
        if read is not None and read.held.startswith(held):
            page.text(x + at + 1.4, tick + 1.4, "×", 12.0, bold=True, align="center", middle=True)
    heads = (("", 12.0), (f"at, {unit}", 14.0), (f"goes, {stamped}", 0.0), (f"does not go, {stamped}", 0.0))
    free = (width - 26.0) / 2.0
    edges = [x]
    for _, wide in heads:
        edges.append(edges[-1] + (wide or free))
    top = y + HEAD
    for (head, _), left, right in zip(heads, edges, edges[1:], strict=False):
        page.text(0.5 * (left + right), top - 4.2, head, 8.0, align="center")
    for i, station in enumerate(rows):
        middle = top + (i + 0.5) * row
        page.text(0.5 * (edges[0] + edges[1]), middle, line.label(station), 10.0, bold=True,
                  align="center", middle=True)  # fmt: skip
        page.text(edges[2] - 1.5, middle, distances[station], 10.0, align="right", middle=True)
        if read is not None:
            for left, right, words in zip(
                edges[2:], edges[3:], _written(read, line.at[station], stamped), strict=False
            ):
                page.text(0.5 * (left + right), middle, words, 11.0, align="center", middle=True)
    end = top + len(rows) * row
    for i in range(len(rows) + 1):
        page.line(x, top + i * row, x + width, top + i * row, 0.4)
    for edge in edges:
        page.line(edge, top, edge, end, 0.4)
    return end


def ends_words(line: MeasuringLine, outline: Outline) -> tuple[str, str]:
    """Where a line starts and ends, as it can be taped on the face."""
    size = outline.length, outline.width
    return f"starts {spoken.taped(*line.start, *size)}", f"ends {spoken.taped(*line.end, *size)}"


def _written(read: StraightedgeLine, at: float, stamped: str) -> tuple[str, str]:
    """What was written for a station: which leaf goes, and which does not."""
    station = next((s for s in read.stations if abs(s.at - at) < 1e-6), None)
    if station is None:
        return "", ""
    goes = leaf_number(station.goes, stamped) if station.goes > 0.0 else "none"
    stops = leaf_number(station.stops, stamped) if math.isfinite(station.stops) else "open"
    return goes, stops

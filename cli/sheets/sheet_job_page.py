"""The job sheet as one HTML page: black and white, large, nothing fetched from outside."""

from __future__ import annotations

from handlap.cli.reports.page import escape, shown
from handlap.cli.sheets.sheet_face import SIDES, draw_face, draw_turns, face_size
from handlap.cli.sheets.sheet_job import (
    FACE_TITLE,
    FACE_WORDS,
    FOUND,
    LAP,
    TURN_TITLE,
    WRITE_IN,
    DyeMarks,
    JobSheet,
    SheetStage,
    dye_words,
    turn_words,
)
from handlap.cli.sheets.sheet_svg import Svg
from handlap.sim.common.outline import Array, Outline
from handlap.sim.common.spoken import swarf_unit

CSS = """
:root { color-scheme: light; }
* { box-sizing: border-box; }
body { margin: 0 auto; padding: 1rem; max-width: 60rem; color: #000; background: #fff;
  font: 1.15rem/1.4 "DejaVu Sans", Verdana, "Bitstream Vera Sans", sans-serif; }
h1 { font-size: 2rem; line-height: 1.15; margin: 0 0 .2rem; }
h2 { font-size: 1.35rem; margin: 1.5rem 0 .4rem; border-bottom: 2px solid #000; }
p { margin: .3rem 0; }
ul { margin: .3rem 0; padding-left: 1.3rem; }
.wide { overflow-x: auto; }
table { border-collapse: collapse; width: 100%; margin: .5rem 0; }
th, td { text-align: left; vertical-align: top; padding: .4rem .6rem .4rem 0;
  font-variant-numeric: tabular-nums; }
th { font-size: .95rem; border-bottom: 2px solid #000; vertical-align: bottom; }
td { border-bottom: 1px solid #000; white-space: nowrap; }
td.stroke { font-weight: 700; }
.tick { display: inline-block; width: 1em; height: 1em; border: 2px solid #000; }
dl { display: grid; grid-template-columns: 11rem minmax(0, 1fr); gap: .4rem 1rem; margin: .5rem 0; }
dt { font-weight: 700; }
dd { margin: 0; overflow-wrap: anywhere; }
.dye { display: flex; flex-wrap: wrap; gap: 1rem; }
figure { margin: 0; width: 17rem; break-inside: avoid; }
svg { width: 100%; height: auto; display: block; }
figcaption, .small { font-size: .95rem; }
td.found, th.found { border-left: 1px solid #000; min-width: 4.2rem; padding-left: .3rem; }
.write { display: flex; flex-wrap: wrap; gap: .6rem 1.5rem; margin: .8rem 0; }
.write span { flex: 1 1 12rem; display: flex; gap: .5rem; }
.write span::after { content: ""; flex: 1; border-bottom: 1px solid #000; }
.face { display: flex; flex-wrap: wrap; gap: 1rem 2rem; margin: 1rem 0; }
.face figure { flex: 2 1 28rem; width: auto; min-width: min(100%, 20rem); }
.face figure + figure { flex: 1 1 14rem; max-width: 22rem; }
.face strong { display: block; }
svg text { font-family: inherit; }
.band { white-space: nowrap; }
@media (max-width: 34rem) { dl { grid-template-columns: minmax(0, 1fr); } dd { margin-bottom: .5rem; } }
@media print {
  @page { size: PAPER; margin: 9mm 11mm; }
  body { max-width: none; padding: 0; font-size: 10pt; line-height: 1.25; }
  h1 { font-size: 17pt; } h2 { font-size: 13pt; margin: .7rem 0 .2rem; }
  table { font-size: 10pt; margin: .2rem 0; line-height: 1.15; }
  td.stroke { font-size: 12pt; }
  td { white-space: normal; }
  th, .small, figcaption { font-size: 8.5pt; } th, td { padding: .22rem .3rem .22rem 0; }
  td.found, th.found { min-width: 10mm; padding-left: .2rem; }
  .face { margin: .4rem 0; gap: 6mm; flex-wrap: nowrap; }
  .face figure, .face figure + figure { min-width: 0; } .face figure + figure { flex: 0 0 30%; }
  li, dd, p { margin-top: 0; margin-bottom: 0; line-height: 1.2; }
  dl { gap: .2rem .6rem; grid-template-columns: 8.5rem 1fr; }
  .wide { overflow: visible; }
  h2 { break-after: avoid; }
  tr, li, dd, figure { break-inside: avoid; }
  .dye figure { width: 5.6cm; } .dye { gap: .4rem; }
}
"""
RING = 0.85
"""Size of a ring over that of a dot: its line is drawn half outside of it."""
HEADS = (
    "",
    "up to stroke",
    "turn at",
    "brush, new sheet at",
    "metal off so far, {off}",
    "dye fading or gone, %",
    "dye gone, %",
    "leaf that goes, {unit}",
    "met, %",
    "next worse, %",
)


def job_sheet_page(sheet: JobSheet, outline: Outline, paper: str = "A4") -> str:
    """The sheet as HTML, to be printed on ``paper``, A4 or Letter."""
    style = CSS.replace("PAPER", paper.lower())
    title = f"Job sheet: {sheet.answer.lower()}"
    body = [f"<h1>{escape(title)}</h1>", f"<p>{escape(sheet.subject)}</p>"]
    body.append(f"<p>Wanted: {escape(sheet.wanted)}.</p>")
    body.append('<p class="write">' + "".join(f"<span>{escape(w)}</span>" for w in WRITE_IN) + "</p>")
    if not sheet.stages or sheet.answer != LAP:
        body.append(_list(sheet.reasons))
    # What can hurt is read before the first stroke.
    body.append(f"<section><h2>Take care</h2>{_list(sheet.cautions)}</section>")
    body.append(_face(sheet, outline))
    if sheet.first:
        body.append(_list(sheet.first))
    body += [_stage(stage, sheet.leaf_unit) for stage in sheet.stages]
    if sheet.where:
        body.append(f"<p>{escape(sheet.where)}</p>")
    if sheet.stop:
        pairs = "".join(f"<dt>{escape(name)}</dt><dd>{escape(rule)}</dd>" for name, rule in sheet.stop)
        body.append(f"<section><h2>Stop if</h2><dl>{pairs}</dl></section>")
    if sheet.dye:
        pictures = "".join(_picture(picture, outline) for picture in sheet.dye)
        body.append(
            f"<section><h2>The dye at a check</h2><p>{escape(dye_words())}</p>"
            f'<div class="dye">{pictures}</div></section>'
        )
    return (
        '<!doctype html>\n<html lang="en-GB">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(f'{title}: {sheet.subject}')}</title>\n<style>{style}</style>\n</head>\n<body>\n"
        + "\n".join(body)
        + "\n</body>\n</html>\n"
    )


def _list(items: tuple[str, ...]) -> str:
    return "<ul>" + "".join(f"<li>{escape(item)}</li>" for item in items) + "</ul>"


def _face(sheet: JobSheet, outline: Outline) -> str:
    """The face with its stations, and beside it the round of turns."""
    wide = 124.0
    scale = face_size(outline, wide, 90.0)
    high = scale * outline.width + 2.0 * SIDES + 1.0
    face = Svg(wide, high)
    draw_face(face, outline, sheet.lines, wide / 2.0, high / 2.0, scale, first=sheet.marked,
              deepest=sheet.deepest)  # fmt: skip
    figures = [(FACE_TITLE, face.whole(f"{FACE_TITLE}. {FACE_WORDS}"), FACE_WORDS)]
    if sheet.turns:
        words = turn_words(sheet.turns)
        turns = Svg(58.0, 50.0)
        draw_turns(turns, outline, sheet.turns, sheet.direction, 0.0, 0.0, turns.width, turns.height)
        figures.append((TURN_TITLE, turns.whole(f"{TURN_TITLE}. {words}"), words))
    return '<div class="face">' + "".join(
        f"<figure><strong>{title}</strong>{drawing}<figcaption>{escape(words)}</figcaption></figure>"
        for title, drawing, words in figures
    ) + "</div>"  # fmt: skip


def _stage(stage: SheetStage, unit: str) -> str:
    heads = "".join(
        f'<th scope="col">{escape(head.replace("{unit}", unit).replace("{off}", swarf_unit()))}</th>'
        for head in HEADS
    ) + "".join(
        f'<th scope="col" class="found">found, {escape(head.replace("{off}", swarf_unit()))}</th>'
        for head in FOUND
    )
    rows = "".join(
        '<tr><td><span class="tick"></span></td>'
        f'<td class="stroke">{escape(row.strokes)}</td><td>{escape(row.turn)}</td>'
        f"<td>{escape(row.care).replace(', brush', '<br>brush')}</td>"
        + "".join(
            f"<td>{shown(cell)}</td>"
            for cell in (row.grams, row.faded, row.gone, row.leaf, row.goal, row.worse)
        )
        + '<td class="found"></td>' * len(FOUND)
        + "</tr>"
        for row in stage.rows
    )
    facts = "".join(f"<p>{shown(fact)}</p>" for fact in stage.facts)
    notes = ""
    if any(row.block.spare for row in stage.rows):
        notes += '<p class="small">In brackets: only if the goal is not met by then.</p>'
    if stage.left_out:
        notes += (
            f'<p class="small">{stage.left_out} checks between these are left out for room; do them all the '
            "same.</p>"
        )
    return (
        f"<section><h2>Paper {escape(stage.title)}</h2>{facts}"
        f'<div class="wide"><table><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table></div>'
        f"{notes}</section>"
    )


def _picture(picture: DyeMarks, outline: Outline) -> str:
    wide, high = 1e3 * outline.length, 1e3 * outline.width
    rows, columns = picture.left.shape
    cell = wide / columns, high / rows
    largest = 0.46 * min(cell)
    dots, rings = (
        "".join(
            f'<circle cx="{(i + 0.5) * cell[0]:.1f}" cy="{high - (j + 0.5) * cell[1]:.1f}" '
            f'r="{largest * size * (RING if ring else 1.0):.1f}"/>'
            for j, i, size, ring in picture.marks()
            if ring == rings
        )
        for rings in (False, True)
    )
    rims = "".join(f'<polygon points="{_points(p, wide, high)}"/>' for p in (outline.rim, *outline.openings))
    edge = 0.01 * wide
    box = f"{-edge:.1f} {-edge:.1f} {wide + 2 * edge:.1f} {high + 2 * edge:.1f}"
    title = escape(picture.title)
    return (
        f'<figure><svg viewBox="{box}" role="img" aria-label="{title}">'
        f'<g fill="none" stroke="#000" stroke-width="{0.004 * wide:.2f}">{rims}</g><g>{dots}</g>'
        f'<g fill="none" stroke="#000" stroke-width="{0.2 * largest:.2f}">{rings}</g></svg>'
        f"<figcaption>{title}</figcaption></figure>"
    )


def _points(polygon: Array, wide: float, high: float) -> str:
    return " ".join(f"{1e3 * u + wide / 2:.1f},{high / 2 - 1e3 * v:.1f}" for u, v in polygon)

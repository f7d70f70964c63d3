"""One page for a browser or a printer: a report with its pictures, nothing fetched from outside."""

from __future__ import annotations

import base64
from collections.abc import Mapping
from html import escape as plain_escape

from handlap.cli.reports.blocks import (
    Block,
    Bullets,
    Drawing,
    Facts,
    Picture,
    Report,
    Section,
    Table,
    Words,
    together,
)

TONES = {"good": "#1f4e79", "doubt": "#7a5200", "bad": "#8f1f2f", "plain": "#22262b"}
"""Colour of the rule beside the answer; the words alone carry the meaning."""


def escape(text: str) -> str:
    """Text made harmless for HTML, numbers kept with their units."""
    return plain_escape(together(text))


CSS = """
:root { color-scheme: light; }
* { box-sizing: border-box; }
body { margin: 0 auto; padding: 1.2rem 1rem 3rem; max-width: 54rem; color: #22262b; background: #fff;
  font: 1rem/1.5 Georgia, "Times New Roman", serif; }
h1, h2, th, dt, figcaption, .subject, footer { font-family: system-ui, "Segoe UI", Roboto, sans-serif; }
header { border-left: .5rem solid var(--tone); padding: .1rem 0 .1rem 1rem; margin-bottom: 1.5rem; }
h1 { font-size: 1.8rem; line-height: 1.2; margin: 0 0 .2rem; }
.subject { margin: 0 0 .6rem; color: #4a5057; }
h2 { font-size: 1.15rem; margin: 2rem 0 .6rem; border-bottom: 1px solid #b9bec4; padding-bottom: .2rem; }
.wide { overflow-x: auto; }
table { border-collapse: collapse; margin: .5rem 0; }
th, td { padding: .25rem .9rem .25rem 0; text-align: right; vertical-align: top;
  font-variant-numeric: tabular-nums; }
th { font-weight: 600; font-size: .85rem; vertical-align: bottom; border-bottom: 1px solid #22262b;
  white-space: pre; }
td { border-bottom: 1px solid #e2e5e8; }
.left { text-align: left; }
.figures td { white-space: nowrap; }
dl { display: grid; grid-template-columns: 9.5rem 1fr; gap: .3rem 1rem; margin: .5rem 0; }
dt { font-weight: 600; font-size: .9rem; padding-top: .1rem; }
dd { margin: 0; }
ul { padding-left: 1.2rem; margin: .4rem 0; }
figure { margin: 1.2rem 0; break-inside: avoid; }
img { max-width: 100%; height: auto; display: block; }
figcaption { font-size: .85rem; color: #4a5057; }
.aside { font-size: .92rem; }
footer { margin-top: 2.5rem; font-size: .8rem; color: #4a5057; }
@media (max-width: 34rem) {
  dl { grid-template-columns: 1fr; gap: 0; } dd { margin-bottom: .5rem; }
  h1 { font-size: 1.5rem; }
  img { max-width: none; width: 42rem; }
}
@media print {
  body { max-width: none; padding: 0; font-size: 10pt; color: #000; }
  h1, h2, header, .subject, figcaption, footer { color: #000; }
  header { border-left-color: #000; }
  .wide { overflow: visible; }
  h2 { break-after: avoid; }
  tr, li, dd { break-inside: avoid; }
  img { max-height: 9.5cm; width: auto; }
  footer { margin-top: 1rem; }
}
"""


def render_page(report: Report, pictures: Mapping[str, bytes]) -> str:
    """The report as one HTML file; ``pictures`` are PNG by name."""
    title = f"{report.answer}: {report.subject}"
    lead = "".join(f"<li>{escape(item)}</li>" for item in report.lead)
    body = "\n".join(section_html(section, pictures) for section in report.sections)
    return (
        "<!doctype html>\n"
        '<html lang="en-GB">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}</title>\n<style>{CSS}</style>\n</head>\n"
        f'<body style="--tone: {TONES[report.tone]}">\n'
        f"<header>\n<h1>{escape(report.answer)}</h1>\n"
        f'<p class="subject">{escape(report.subject)}</p>\n<ul>{lead}</ul>\n</header>\n'
        f"<main>\n{body}\n</main>\n"
        "<footer>Worked out by handlap. The limits of the part's maker, local codes and a qualified "
        "machinist's judgement come before any number printed here.</footer>\n</body>\n</html>\n"
    )


def section_html(section: Section, pictures: Mapping[str, bytes]) -> str:
    """A section as HTML; ``pictures`` are PNG by name."""
    blocks = "\n".join(filter(None, (_block(block, pictures) for block in section.blocks)))
    kind = ' class="aside"' if section.aside else ""
    return f"<section{kind}>\n<h2>{escape(section.title)}</h2>\n{blocks}\n</section>"


def _block(block: Block, pictures: Mapping[str, bytes]) -> str:
    match block:
        case Words(text):
            return f"<p>{escape(text)}</p>"
        case Bullets(items):
            return "<ul>" + "".join(f"<li>{escape(item)}</li>" for item in items) + "</ul>"
        case Facts(rows):
            pairs = "".join(f"<dt>{escape(name)}</dt><dd>{escape(text)}</dd>" for name, text in rows)
            return f"<dl>{pairs}</dl>"
        case Table():
            return _table(block)
        case Picture():
            return _picture(block, pictures)
        case Drawing():
            return ""


def _table(table: Table) -> str:
    def row(cells: tuple[str, ...], tag: str) -> str:
        scope = ' scope="col"' if tag == "th" else ""
        return "<tr>" + "".join(
            f"<{tag}{scope}" + (' class="left"' if i in table.left else "") + f">{escape(cell)}</{tag}>"
            for i, cell in enumerate(cells)
        ) + "</tr>"  # fmt: skip

    body = "".join(row(cells, "td") for cells in table.rows)
    kind = "" if table.wraps is not None else ' class="figures"'
    head = row(table.heads, "th")
    return f'<div class="wide"><table{kind}><thead>{head}</thead><tbody>{body}</tbody></table></div>'


def _picture(picture: Picture, pictures: Mapping[str, bytes]) -> str:
    if picture.name not in pictures:
        return ""
    data = base64.b64encode(pictures[picture.name]).decode("ascii")
    image = f'<img src="data:image/png;base64,{data}" alt="{escape(picture.alt)}">'
    return (
        f'<figure><div class="wide">{image}</div><figcaption>{escape(picture.caption)}</figcaption></figure>'
    )

"""One page for a browser or a printer: a report with its pictures, nothing fetched from outside."""

from __future__ import annotations

import base64
import re
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

NONE: Mapping[str, bytes] = {}
NARROW = "max-width: 34rem"
"""Screens on which a page shows its pictures for narrow screens, as in the style below."""


def escape(text: str) -> str:
    """Text made harmless for HTML, numbers kept with their units."""
    return plain_escape(together(text))


_BAND = re.compile(r"\(?−?\d[\d.,]*(?:–| to )−?\d[\d.,]*\)?")
"""A band, or any range of numbers."""


def shown(text: str) -> str:
    """Text harmless for HTML in which no band breaks over two lines; not for attributes.

    >>> shown("42 (32–58)")
    '42 <span class="band">(32–58)</span>'
    """
    return _BAND.sub(lambda found: f'<span class="band">{found.group()}</span>', escape(text))


CSS = """
:root { color-scheme: light dark; --ground: #fff; --ink: #22262b; --quiet: #4a5057; --frame: #b9bec4;
  --hair: #e2e5e8; --shade: rgb(0 0 0 / .28); }
@media screen and (prefers-color-scheme: dark) {
  :root { --ground: #15181c; --ink: #e4e7ea; --quiet: #b3bac2; --frame: #59616a; --hair: #333940;
    --shade: rgb(255 255 255 / .3); }
  figure .card { background: #fff; padding: .5rem; border-radius: .4rem; }
}
* { box-sizing: border-box; }
body { margin: 0 auto; padding: 1.2rem 1rem 3rem; max-width: 56rem; color: var(--ink);
  background: var(--ground); overflow-wrap: break-word;
  font: .95rem/1.55 "DejaVu Sans", Verdana, "Bitstream Vera Sans", sans-serif; }
header { border-left: .5rem solid var(--tone); padding: .1rem 0 .1rem 1rem; margin-bottom: 1.5rem; }
h1 { font-size: 1.7rem; line-height: 1.2; margin: 0 0 .2rem; }
.subject { margin: 0 0 .6rem; color: var(--quiet); }
h2 { font-size: 1.1rem; margin: 2rem 0 .6rem; border-bottom: 1px solid var(--frame); padding-bottom: .2rem; }
.wide { overflow-x: auto; background:
  linear-gradient(to left, var(--ground) 40%, transparent) right / 3rem 100% no-repeat local,
  linear-gradient(to left, var(--shade), transparent) right / 1rem 100% no-repeat scroll; }
.wide:focus-visible, summary:focus-visible { outline: 3px solid var(--frame); outline-offset: 2px; }
table { border-collapse: separate; border-spacing: 0; margin: .5rem 0; }
th, td { padding: .25rem .9rem .25rem 0; text-align: right; vertical-align: top;
  font-variant-numeric: tabular-nums; }
th { font-weight: 600; font-size: .82rem; vertical-align: bottom; border-bottom: 1px solid var(--ink);
  white-space: pre; }
td { border-bottom: 1px solid var(--hair); font-size: .9rem; }
.left { text-align: left; }
.figures td, td:not(.left), .band { white-space: nowrap; }
dl { display: grid; grid-template-columns: 9.5rem 1fr; gap: .3rem 1rem; margin: .5rem 0; }
dt { font-weight: 600; font-size: .88rem; padding-top: .1rem; }
dd { margin: 0; min-width: 0; }
ul { padding-left: 1.2rem; margin: .4rem 0; }
details { margin: .8rem 0; }
summary { cursor: pointer; font-weight: 600; padding: .3rem 0; }
figure { margin: 1.2rem 0; break-inside: avoid; }
img { max-width: 100%; height: auto; display: block; }
figcaption { font-size: .82rem; color: var(--quiet); margin-top: .3rem; }
.aside { font-size: .92rem; }
footer { margin-top: 2.5rem; font-size: .8rem; color: var(--quiet); }
@media (max-width: 34rem) {
  dl { grid-template-columns: 1fr; gap: 0; } dd { margin-bottom: .5rem; }
  h1 { font-size: 1.4rem; }
  th:first-child, td:first-child { position: sticky; left: 0; background: var(--ground); max-width: 9rem;
    white-space: normal; padding-right: .6rem; }
}
@media print {
  body { max-width: none; padding: 0; font-size: 9.5pt; color: #000; background: #fff; }
  h1, h2, header, .subject, figcaption, footer { color: #000; }
  header { border-left-color: #000; }
  .wide { overflow: visible; background: none; }
  h2 { break-after: avoid; }
  tr, li, dd { break-inside: avoid; }
  img { max-height: 9.5cm; width: auto; }
  footer { margin-top: 1rem; }
}
"""


def render_page(report: Report, pictures: Mapping[str, bytes], narrow: Mapping[str, bytes] = NONE) -> str:
    """The report as one HTML file; ``pictures`` are PNG by name, ``narrow`` the same for a narrow screen."""
    title = f"{report.answer}: {report.subject}"
    lead = "".join(f"<li>{shown(item)}</li>" for item in report.lead)
    body = "\n".join(section_html(section, pictures, narrow) for section in report.sections)
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


def section_html(section: Section, pictures: Mapping[str, bytes], narrow: Mapping[str, bytes] = NONE) -> str:
    """A section as HTML; pictures as for :func:`render_page`."""
    blocks = "\n".join(filter(None, (_block(block, pictures, narrow) for block in section.blocks)))
    kind = ' class="aside"' if section.aside else ""
    return f"<section{kind}>\n<h2>{escape(section.title)}</h2>\n{blocks}\n</section>"


def _block(block: Block, pictures: Mapping[str, bytes], narrow: Mapping[str, bytes]) -> str:
    match block:
        case Words(text):
            return f"<p>{shown(text)}</p>"
        case Bullets(items):
            return "<ul>" + "".join(f"<li>{shown(item)}</li>" for item in items) + "</ul>"
        case Facts(rows):
            pairs = "".join(f"<dt>{escape(name)}</dt><dd>{shown(text)}</dd>" for name, text in rows)
            return f"<dl>{pairs}</dl>"
        case Table():
            return _table(block)
        case Picture():
            return _picture(block, pictures, narrow)
        case Drawing():
            return ""


def _table(table: Table) -> str:
    def row(cells: tuple[str, ...], tag: str) -> str:
        scope = ' scope="col"' if tag == "th" else ""
        return "<tr>" + "".join(
            f"<{tag}{scope}" + (' class="left"' if i in table.left else "") + f">{shown(cell)}</{tag}>"
            for i, cell in enumerate(cells)
        ) + "</tr>"  # fmt: skip

    body = "".join(row(cells, "td") for cells in table.rows)
    kind = "" if table.wraps is not None else ' class="figures"'
    head = row(table.heads, "th")
    name = escape(" ".join(f"Table: {', '.join(filter(None, table.heads))}".split()))
    whole = (
        f'<div class="wide" role="region" tabindex="0" aria-label="{name}"><table{kind}><thead>{head}</thead>'
        f"<tbody>{body}</tbody></table></div>"
    )
    if table.folded:
        return f"<details><summary>{escape(table.folded)}</summary>{whole}</details>"
    return whole


def _picture(picture: Picture, pictures: Mapping[str, bytes], narrow: Mapping[str, bytes]) -> str:
    if picture.name not in pictures:
        return ""
    image = f'<img src="{_data(pictures[picture.name])}" alt="{escape(picture.alt)}">'
    if picture.name in narrow:
        small = f'<source media="screen and ({NARROW})" srcset="{_data(narrow[picture.name])}">'
        image = f"<picture>{small}{image}</picture>"
    told = f"<figcaption>{shown(picture.caption)}</figcaption>"
    return f'<figure><div class="card">{image}</div>{told}</figure>'


def _data(png: bytes) -> str:
    return f"data:image/png;base64,{base64.b64encode(png).decode('ascii')}"

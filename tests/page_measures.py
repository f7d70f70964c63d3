"""What pages and pictures are measured by: scripts that run in a page, and boxes of text in a figure."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import matplotlib
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text
from matplotlib.transforms import Bbox
from PIL import Image

LEAST_CONTRAST = 4.5
"""Of text on its ground (WCAG 2.2, success criterion 1.4.3)."""

OPEN = """
for (const one of document.querySelectorAll('details')) one.open = true;
window.scrollTo(0, 0);
"""
TOO_WIDE = """
const wide = document.documentElement.clientWidth;
if (document.documentElement.scrollWidth <= wide) return [];
const own = (one) => {
  for (let at = one.parentElement; at; at = at.parentElement) {
    if (/auto|scroll|hidden/.test(getComputedStyle(at).overflowX)) return false;
  }
  return true;
};
return [...document.querySelectorAll('body *')].filter((one) =>
  one.getBoundingClientRect().right > wide + 1 && own(one)).slice(0, 5).map((one) =>
  `${one.tagName}.${one.className}: ${one.textContent.slice(0, 40)}`);
"""
ON_EACH_OTHER = """
const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
const all = [];
for (let node = walker.nextNode(); node; node = walker.nextNode()) {
  const one = node.parentElement;
  if (!node.textContent.trim() || one.closest('.unseen, script, style, textarea')) continue;
  if (!one.checkVisibility()) continue;
  if (getComputedStyle(one).clipPath !== 'none') continue;
  const range = document.createRange();
  range.selectNodeContents(node);
  for (const box of range.getClientRects()) {
    // Of a line of text as high as it is set, the letters take the middle.
    const thin = 0.15 * box.height;
    if (box.width > 1 && box.height > 1) {
      all.push([box.left, box.top + thin, box.right, box.bottom - thin, node, box]);
    }
  }
}
all.sort((a, b) => a[1] - b[1]);
const found = [];
for (let i = 0; i < all.length && found.length < 5; i++) {
  const a = all[i];
  for (let j = i + 1; j < all.length && all[j][1] < a[3]; j++) {
    const b = all[j];
    if (a[4] === b[4] || Math.min(a[2], b[2]) - Math.max(a[0], b[0]) <= 1.5) continue;
    if (Math.min(a[3], b[3]) - Math.max(a[1], b[1]) <= 1.5) continue;
    const stuck = (one) => {
      for (let at = one[4].parentElement; at; at = at.parentElement) {
        if (getComputedStyle(at).position === 'sticky') return true;
      }
      return false;
    };
    if (stuck(a) !== stuck(b)) continue;
    found.push(`${a[4].textContent.trim().slice(0, 40)} | ${b[4].textContent.trim().slice(0, 40)}`);
  }
}
return found;
"""
FAINT = """
const light = (c) => {
  const lit = (x) => (x <= 0.03928 ? x / 12.92 : ((x + 0.055) / 1.055) ** 2.4);
  const [r, g, b] = c.slice(0, 3).map((x) => lit(x / 255));
  return 0.2126 * r + 0.7152 * g + 0.0722 * b;
};
const parse = (c) => (c.match(/[\\d.]+/g) || [0, 0, 0, 0]).map(Number);
const ground = (one) => {
  for (let at = one; at; at = at.parentElement) {
    const c = parse(getComputedStyle(at).backgroundColor);
    if (c.length < 4 || c[3] > 0) return c;
  }
  const dark = getComputedStyle(document.documentElement).colorScheme.includes('dark');
  return dark && matchMedia('(prefers-color-scheme: dark)').matches ? [18, 18, 18] : [255, 255, 255];
};
return [...document.querySelectorAll('body *')].filter((one) =>
  one.checkVisibility() && !one.closest('script, .unseen') &&
  [...one.childNodes].some((node) => node.nodeType === 3 && node.textContent.trim())).map((one) => {
  const style = getComputedStyle(one), drawn = one instanceof SVGElement;
  const [a, b] = [light(parse(drawn ? style.fill : style.color)), light(ground(one))].sort((x, y) => y - x);
  const name = `${one.tagName}.${one.getAttribute('class') || ''}`;
  return [(a + 0.05) / (b + 0.05), name, one.textContent.slice(0, 30)];
}).filter(([ratio]) => ratio < arguments[0]).slice(0, 5);
"""
UNTOLD = """
const named = ['alt', 'aria-label', 'aria-labelledby'];
const told = (one) => named.some((name) => one.getAttribute(name))
  || one.closest('[aria-hidden=true]') || one.querySelector('title');
return [...document.querySelectorAll('img, svg, canvas')].filter((one) =>
  one.checkVisibility() && !told(one)).map((one) => one.outerHTML.slice(0, 80));
"""


@contextmanager
def drawn_figures() -> Iterator[list[tuple[str, str]]]:
    """Texts of figures that lie on each other, of all that are saved meanwhile, as they are saved."""
    found: list[tuple[str, str]] = []
    with unrendered(lambda figure: found.extend(texts_on_each_other(figure))):
        yield found


@contextmanager
def unrendered(look: Callable[[Figure], Any] = Figure.draw_without_rendering) -> Iterator[None]:
    """Figures saved meanwhile as PNG are laid out whole, by ``look``, but not rendered: they are white.

    For who looks at texts, names and sizes.  All that can fail in a drawing but its pixels still fails.
    """
    saved = Figure.savefig

    def save(figure: Figure, to: Any, **options: Any) -> None:
        if options.get("format") != "png":
            saved(figure, to, **options)
            return
        look(figure)
        width, height = (round(options["dpi"] * side) for side in figure.get_size_inches())
        Image.new("L", (width, height), 255).save(to, "PNG")

    Figure.savefig = save  # type: ignore[method-assign, assignment]
    try:
        yield
    finally:
        Figure.savefig = saved  # type: ignore[method-assign, assignment]


def texts_on_each_other(figure: Figure, least: float = 1.5) -> list[tuple[str, str]]:
    """Pairs of texts of a figure whose boxes share more than ``least`` pixels both ways."""
    canvas = figure.canvas
    with matplotlib.rc_context({"text.hinting": "none"}):
        own = FigureCanvasAgg(figure)
        figure.draw_without_rendering()
        boxes = sorted(_boxes(figure, own), key=lambda pair: pair[1].y0)
    figure.set_canvas(canvas)
    found = []
    for i, (text, a) in enumerate(boxes):
        for other, b in boxes[i + 1 :]:
            if b.y0 > a.y1:
                break
            shared = Bbox.intersection(a, b)
            if shared is not None and shared.width > least and shared.height > least:
                found.append((text, other))
    return found


def _boxes(figure: Figure, canvas: FigureCanvasAgg) -> list[tuple[str, Bbox]]:
    """Every text that shows, with its box [pixels]; of ticks those within their axes."""
    renderer = canvas.get_renderer()
    hidden: set[int] = set()
    for axes in figure.axes:
        for axis in (axes.xaxis, axes.yaxis):
            low, high = sorted(axis.get_view_interval())
            margin = 1e-6 * (high - low)
            for tick in (*axis.get_major_ticks(), *axis.get_minor_ticks()):
                off = not low - margin <= tick.get_loc() <= high + margin
                if off or not axes.axison or not axes.get_visible():
                    hidden |= {id(tick.label1), id(tick.label2)}
        if not axes.get_visible() or not axes.axison:
            hidden |= {id(axes.xaxis.label), id(axes.yaxis.label), id(axes.xaxis.offsetText)}
    found = []
    for text in figure.findobj(Text):
        assert isinstance(text, Text)
        shown = text.get_visible() and text.get_text().strip() and id(text) not in hidden
        if shown and (text.axes is None or text.axes.get_visible()):
            box = text.get_window_extent(renderer)
            # Of a line as high as it is set, the letters take the middle.
            thin = 0.1 * box.height
            found.append((text.get_text(), Bbox.from_extents(box.x0, box.y0 + thin, box.x1, box.y1 - thin)))
    return found

"""A page with knobs: one HTML file that works its lap anew whenever a knob is moved, and fetches nothing.

Style and scripts stand beside this module as files of their own and are put into the page, which allows
them by their digest and forbids everything else.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from handlap.cli.drawing.colours import BENCH_PAGE
from handlap.cli.reports.blocks import Report, Section, Table
from handlap.cli.reports.knob_data import continuous_knobs, error_words, knob_data
from handlap.cli.reports.page import escape
from handlap.cli.reports.script_page import as_properties, script_page
from handlap.cli.reports.wording import face_words, sentence, subject, wanted_words
from handlap.cli.sheets.sheet_job import LEAVES
from handlap.sim.common import spoken
from handlap.sim.common.spoken import height_unit, swarf_unit
from handlap.sim.teaching.knobs import HELD, KnobBench

HERE = Path(__file__).parent
SCRIPTS = ("knob_lap.js", "knob_figures.js", "knob_map.js", "knob_side.js", "knob_edge.js", "knob_page.js")
VIEWS = (
    ("side", "Side view", "Side", ""),
    ("curve", "Out of flat", "Curve", "full: now; dotted: A; broken: the limit; upright: the strokes shown"),
    ("height", "The face now", "Face", "brown: proud; blue: low; tilt taken off"),
    ("removed", "Metal off so far", "Off", "dark: much has gone"),
    ("pressure", "Pressure on the push", "Press", "dark: hard; hands in their mean place"),
    ("difference", "What B takes off, less A", "B − A", ""),
)
"""What can be seen: key, heading, its short form, and a line on how to read it."""
ROWS = (
    ("flatness", "flatness"),
    ("straightedge", "straightedge, worst"),
    ("mean_depth", "off on average"),
    ("greatest_depth", "off at the deepest"),
    ("taper_along", "lean of the cut, right end more +"),
    ("taper_across", "lean of the cut, far side more +"),
)


def render_knobs(knobs: KnobBench, *, lesson: str = "") -> str:
    """The page.

    ``lesson``: what a lesson asks, where the page is one of a lesson.
    """
    style = as_properties(BENCH_PAGE) + _file("knob_page.css")
    script = "\n".join(_file(name) for name in SCRIPTS)
    body = (
        f"{_head(knobs, lesson)}\n"
        '<noscript><p>This page works its lap in a script: without scripts it shows nothing.</p></noscript>\n'
        f'<main class="scripted" id="bench">\n{_knobs(knobs)}{_views()}</main>\n'
        f'<div class="scripted">\n{_figures()}<div class="pair">\n{_sketch()}{_edge(knobs)}</div></div>\n{_foot(knobs)}\n'
    )  # fmt: skip
    return script_page(f"Knobs: {subject(knobs.scenario)}", style, body, ("knob-data", _data(knobs)), script)


def _file(name: str) -> str:
    return (HERE / name).read_text(encoding="utf-8")


def _data(knobs: KnobBench) -> dict[str, Any]:
    data = knob_data(knobs)
    for held, line in zip(data["lines"], knobs.gauged.lines.lines, strict=True):
        held |= {"words": line.name, "start": list(line.start), "end": list(line.end)}
    return data


def _head(knobs: KnobBench, lesson: str) -> str:
    part = knobs.scenario.part
    asked = f"<p>{escape(lesson)}</p>" if lesson else ""
    return (
        f"<header>\n<h1>{knobs.strokes} strokes, with knobs to turn</h1>\n"
        f'<p class="subject">{escape(subject(knobs.scenario))}</p>\n'
        f"<p>{escape(sentence(face_words(part)))} {escape(sentence(wanted_words(part)))}</p>{asked}\n</header>"
    )


def _knobs(knobs: KnobBench) -> str:
    made = []
    for knob in continuous_knobs(knobs):
        name = knob["name"]
        made.append(
            f'<div class="knob"><label for="knob-{name}">{escape(knob["words"])}</label>'
            f'<output id="value-{name}" for="knob-{name}" aria-live="off"></output>\n'
            f'<input type="range" id="knob-{name}" min="{knob["low"]:g}" max="{knob["high"]:g}" step="any"></div>'
        )
    presets = "".join(
        f'<button type="button" data-preset="{i}">{escape(words)}</button>'
        for i, (words, _) in enumerate(knobs.presets)
    )
    if presets:
        presets = f'<div class="row" role="group" aria-label="Cases of the lesson">{presets}</div>\n'
    turns = "".join(
        f'<option value="{i}">{"never" if not every else f"every {every} strokes"}</option>'
        for i, every in enumerate(knobs.turns)
    )
    grits = "".join(f'<option value="{i}">{escape(p.grit.name)}</option>' for i, p in enumerate(knobs.papers))
    return (
        '<section id="knobs" aria-label="Knobs">\n<h2>Knobs</h2>\n' + presets + "\n".join(made) + "\n"
        '<div class="knob"><label for="knob-turn">Turn the part</label>'
        f'<select id="knob-turn">{turns}</select></div>\n'
        '<div class="knob"><label for="knob-grit">Paper</label>'
        f'<select id="knob-grit">{grits}</select></div>\n'
        '<p class="hint" id="paper-says"></p>\n'
        '<div class="row"><label><input type="checkbox" id="knob-own"> Start from the face of the job</label></div>\n'
        '<p class="hint">Hollow, crown and twist come on top of it; without it they are all there is.</p>\n'
        '<div class="knob"><label for="shown">Look after so many strokes</label>'
        f'<output id="value-shown" for="shown" aria-live="off">{knobs.strokes} of {knobs.strokes}</output>\n'
        f'<input type="range" id="shown" min="0" max="{knobs.strokes}" step="1" value="{knobs.strokes}"></div>\n'
        '<div class="row"><button type="button" id="keep" aria-pressed="false">Keep this as A</button>'
        '<button type="button" id="back">Back to the job</button></div>\n</section>\n'
    )


def _views() -> str:
    tabs = "".join(
        f'<button type="button" data-view="{key}" aria-pressed="false">{escape(short)}</button>'
        for key, _, short, _ in VIEWS
    )
    return (
        '<section class="seen" aria-label="What comes of it">\n<p id="answer" role="status" aria-live="polite"></p>\n'
        f'<div class="tabs" role="group" aria-label="What to see">{tabs}</div>\n<div class="views">\n'
        + "\n".join(_view(key, title, hint) for key, title, _, hint in VIEWS)
        + "\n</div></section>\n"
    )


def _view(key: str, title: str, hint: str) -> str:
    if key == "curve":
        title = f"{title}, {height_unit()}"
    head = f"<h2>{escape(title)}</h2>" + (f'<p class="hint">{escape(hint)}</p>' if hint else "")
    if key == "side":
        inside = (
            '<canvas id="side" role="img" aria-label="Side view: hands, part, paper and pressure along the '
            'stroke, heights exaggerated"></canvas><p class="hint" id="side-says"></p>'
            '<div class="row"><button type="button" id="run" aria-pressed="false">Strokes</button>'
            '<button type="button" id="stand-push">Push</button><button type="button" id="stand-pull">Pull</button></div>'
        )
    elif key == "curve":
        inside = '<canvas id="curve" role="img" aria-label="Out of flat against strokes"></canvas>'
    else:
        says = '<p class="hint" id="difference-says"></p>' if key == "difference" else ""
        inside = (
            f'<canvas id="map-{key}" role="img" aria-label="Map of the face: {escape(title.lower())}"></canvas>'
            f'<canvas class="bar" id="bar-{key}" aria-hidden="true"></canvas>'
            f'<div class="scale" id="scale-{key}"><span></span><span></span><span></span></div>{says}'
        )
    return f'<section class="view {key}" data-view="{key}">{head}{inside}</section>'


def _figures() -> str:
    rows = "".join(
        f'<tr><th scope="row">{words}, {height_unit()}</th><td id="start-{name}"></td><td id="kept-{name}"></td>'
        f'<td id="now-{name}"></td></tr>'
        for name, words in ROWS
    )
    rows += (
        f'<tr><th scope="row">metal off, {swarf_unit()}</th><td id="start-mass"></td><td id="kept-mass"></td>'
        '<td id="now-mass"></td></tr>'
    )
    return (
        '<section class="part" id="figures"><h2>Figures</h2>\n<table><thead><tr><td></td>'
        '<th scope="col">start</th><th scope="col"><span class="way">A</span>kept</th><th scope="col">now</th></tr>'
        f"</thead><tbody>{rows}</tbody></table></section>\n"
    )


def _sketch() -> str:
    return (
        '<section class="part" id="before"><h2>Draw before you see</h2>\n'
        '<p class="hint">The profile along the stroke, mean over the breadth, tilt taken off. Hide the answer, '
        "draw with finger or mouse how the face will be at the end, then let it come.</p>\n"
        '<div class="row"><button type="button" class="main" id="guess" aria-pressed="false">Hide the answer and '
        "draw</button></div>\n"
        '<div class="view"><canvas id="sketch" role="img" aria-label="Profile of the face, to draw on"></canvas></div>\n'
        '<p class="told" id="sketch-says" role="status" aria-live="polite"></p></section>\n'
    )


def _edge(knobs: KnobBench) -> str:
    leaves = sorted(knobs.scenario.readings.leaves or LEAVES[spoken.system()])
    options = "".join(
        f'<option value="{leaf:.9g}"{" selected" if i == 0 else ""}>{escape(spoken.leaf(leaf))}</option>'
        for i, leaf in enumerate(leaves)
    )
    return (
        '<section class="part" id="lay"><h2>Lay the straightedge, push a leaf</h2>\n'
        '<p class="hint">On the face shown above. Touch the part or the edge where the leaf is to go.</p>\n'
        '<div class="row"><label for="line">Along <select id="line"></select></label>'
        f'<label for="leaf">Leaf <select id="leaf">{options}</select></label>'
        '<button type="button" class="main" id="push-leaf">Push it under</button></div>\n'
        '<div class="knob"><label for="place">Place along the edge</label>'
        '<input type="range" id="place" min="0" max="100" value="50"></div>\n'
        '<p class="told" id="leaf-says" role="status" aria-live="polite"></p>\n'
        '<div class="view"><canvas id="laid" role="img" aria-label="The straightedge on the face, from the side">'
        '</canvas></div>\n<div class="view"><canvas id="laid-map" role="img" '
        'aria-label="Where the straightedge lies on the face"></canvas></div></section>\n'
    )


def _foot(knobs: KnobBench) -> str:
    grid, rows = knobs.bench.grid, knobs.papers[0].layouts[-1].x.size
    held = ", ".join(f"{words} {error_words(knobs, name)}" for name, words in _short(knobs)) or "not measured"
    return (
        "<footer>\n<p>What is exact: nothing is looked up or blended. Every knob works the whole lap in this page, "
        f"by the equations of the program, on {grid.n_cells} cells and {rows} rows; start figures are those of "
        f"that grid. Against handlap simulate it is taken to err by no more than: {held}; twice the most found on "
        "settings drawn for this very job. What it leaves out: bands and chance (every number at its middle, "
        "hands that wander by one fixed draw), dye, a part that bends, a plate that is not flat.</p>\n"
        "<p>Worked out by handlap. For a decision on a real part use a plan with its bands; the limits of the "
        "part's maker, local codes and a qualified machinist's judgement come before any number here.</p>\n</footer>"
    )


def knob_report(knobs: KnobBench) -> Report:
    """What the page holds, and how far its figures may be off."""
    rows = tuple((words, error_words(knobs, name)) for name, words in _short(knobs))
    lead = ["Every knob works the whole lap in the page. One face, middle values, no bands."]
    if knobs.chosen:
        lead.append(f"{knobs.strokes} strokes were chosen: {knobs.chosen}.")
    lead.append("For one lap stroke by stroke say --steps, for two ways side by side --way.")
    return Report(
        kind="play",
        answer=f"{knobs.strokes} strokes, with knobs to turn",
        tone="plain",
        subject=subject(knobs.scenario),
        lead=tuple(lead),
        sections=(Section("The page errs against simulate by no more than", (Table(("", ""), rows, (0,)),)),),
    )


def _short(knobs: KnobBench) -> list[tuple[str, str]]:
    names = {"flatness": "flatness", "straightedge": "straightedge", "mean_depth": "mean depth",
             "greatest_depth": "deepest", "taper_along": "lean along", "taper_across": "lean across"}  # fmt: skip
    return [(name, names[name]) for name in HELD if name in knobs.errors]

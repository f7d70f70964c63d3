"""A page with knobs: one HTML file that works its lap anew whenever a knob is moved, and fetches nothing.

Frame, style and scripts stand beside this module as files of their own and are put into the page, which
allows them by their digest and forbids everything else.
"""

from __future__ import annotations

import re
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
from handlap.sim.teaching.knobs import HELD, KnobRig

HERE = Path(__file__).parent
SCRIPTS = ("knob_lap.js", "knob_figures.js", "knob_map.js", "knob_side.js", "knob_edge.js", "knob_page.js")
MAPS = (
    ("height", "The face now", "brown: proud; blue: low; tilt taken off"),
    ("removed", "Metal off so far", "dark: much has gone"),
    ("pressure", "Pressure on the push", "dark: hard; hands in their mean place"),
    ("difference", "What B takes off, less A", ""),
)
"""Maps: key, heading, and a line on how to read it."""
TABS = (
    ("side", "Side"), ("curve", "Curve"), ("height", "Face"), ("removed", "Off"), ("pressure", "Press"),
    ("difference", "B − A"),
)  # fmt: skip
"""What a phone shows one at a time, in a word."""
ROWS = {
    "flatness": ("flatness", "flatness"),
    "straightedge": ("straightedge, worst", "straightedge"),
    "mean_depth": ("off on average", "mean depth"),
    "greatest_depth": ("off at the deepest", "deepest"),
    "taper_along": ("lean of the cut, right end more +", "lean along"),
    "taper_across": ("lean of the cut, far side more +", "lean across"),
}
"""Figures: what they are called in the table, and shorter."""
SLOT = re.compile(r"@(\w+)@")


def render_knobs(knobs: KnobRig, *, lesson: str = "") -> str:
    """The page.

    ``lesson``: what a lesson asks, where the page is one of a lesson.
    """
    style = as_properties(BENCH_PAGE) + _file("knob_page.css")
    script = "\n".join(_file(name) for name in SCRIPTS)
    filled = _filled(knobs, lesson)
    body = SLOT.sub(lambda slot: filled[slot[1]], _file("knob_page.html"))
    return script_page(
        f"Knobs: {subject(knobs.scenario)}", style, body, ("knob-data", knob_data(knobs)), script
    )


def _file(name: str) -> str:
    return (HERE / name).read_text(encoding="utf-8")


def _filled(knobs: KnobRig, lesson: str) -> dict[str, str]:
    """What stands in the slots of the frame, as HTML."""
    part = knobs.scenario.part
    lead = f"<p>{escape(sentence(face_words(part)))} {escape(sentence(wanted_words(part)))}</p>"
    turns = [f"every {every} strokes" if every else "never" for every in knobs.turns]
    leaves = sorted(knobs.scenario.readings.leaves or LEAVES[spoken.system()])
    return {
        "strokes": str(knobs.strokes),
        "subject": escape(subject(knobs.scenario)),
        "lead": lead + (f"\n<p>{escape(lesson)}</p>" if lesson else ""),
        "presets": _presets(knobs),
        "knobs": "\n".join(_knob(knob) for knob in continuous_knobs(knobs)),
        "turns": _options(turns),
        "opens": f'<p class="hint">{escape(_opens(knobs))}</p>' if knobs.paper_why else "",
        "papers": _options([paper.grit.name for paper in knobs.papers]),
        "tabs": "".join(
            f'<button type="button" data-view="{key}" aria-pressed="false">{escape(word)}</button>'
            for key, word in TABS
        ),
        "height": height_unit(),
        "maps": "\n".join(_map(*one) for one in MAPS),
        "rows": "\n".join(_row(key, f"{words}, {height_unit()}") for key, (words, _) in ROWS.items())
        + _row("mass", f"metal off, {swarf_unit()}"),
        "leaves": "".join(
            f'<option value="{leaf:.9g}">{escape(spoken.leaf(leaf))}</option>' for leaf in leaves
        ),
        "cells": str(knobs.rig.grid.n_cells),
        "count": str(knobs.papers[0].layouts[-1].x.size),
        "held": "; ".join(f"{words} {error_words(knobs, name)}" for name, words in _short(knobs))
        or "not measured",
    }


def _opens(knobs: KnobRig) -> str:
    """On which paper the page opens, and why."""
    return f"Opens on {knobs.papers[knobs.start.grit].grit.name}: {knobs.paper_why}."


def _presets(knobs: KnobRig) -> str:
    buttons = "".join(
        f'<button type="button" data-preset="{i}">{escape(words)}</button>'
        for i, (words, _) in enumerate(knobs.presets)
    )
    return (
        f'<div class="row" role="group" aria-label="Cases of the lesson">{buttons}</div>' if buttons else ""
    )


def _knob(knob: dict[str, Any]) -> str:
    name = knob["name"]
    return (
        f'<div class="knob"><label for="knob-{name}">{escape(knob["words"])}</label>'
        f'<output id="value-{name}" for="knob-{name}" aria-live="off"></output>\n'
        f'<input type="range" id="knob-{name}" min="{knob["low"]:g}" max="{knob["high"]:g}" '
        'step="any"></div>'
    )


def _options(words: list[str]) -> str:
    return "".join(f'<option value="{i}">{escape(text)}</option>' for i, text in enumerate(words))


def _map(key: str, title: str, hint: str) -> str:
    hint = f'<p class="hint">{escape(hint)}</p>\n' if hint else ""
    says = f'\n<p class="hint" id="{key}-says"></p>' if key == "difference" else ""
    return (
        f'<section class="view {key}" data-view="{key}"><h2>{escape(title)}</h2>\n{hint}'
        f'<canvas id="map-{key}" role="img" aria-label="Map of the face: {escape(title.lower())}"></canvas>'
        f'<canvas class="bar" id="bar-{key}" aria-hidden="true"></canvas>\n'
        f'<div class="scale" id="scale-{key}"><span></span><span></span><span></span></div>{says}</section>'
    )


def _row(key: str, words: str) -> str:
    cells = "".join(f'<td id="{when}-{key}"></td>' for when in ("start", "kept", "now", "error"))
    return f'<tr><th scope="row">{escape(words)}</th>{cells}</tr>'


def knob_report(knobs: KnobRig) -> Report:
    """What the page holds, and how far its figures may be off."""
    rows = tuple((words, error_words(knobs, name)) for name, words in _short(knobs))
    lead = ["Every knob works the whole lap in the page. One face, middle values, no bands."]
    if knobs.chosen:
        lead.append(f"{knobs.strokes} strokes were chosen: {knobs.chosen}.")
    if knobs.paper_why:
        lead.append(_opens(knobs))
    lead.append("For one lap stroke by stroke say --steps, for two ways side by side --way.")
    return Report(
        kind="play",
        answer=f"{knobs.strokes} strokes, with knobs to turn",
        tone="plain",
        subject=subject(knobs.scenario),
        lead=tuple(lead),
        sections=(Section("The page errs against simulate by no more than", (Table(("", ""), rows, (0,)),)),),
    )


def _short(knobs: KnobRig) -> list[tuple[str, str]]:
    return [(name, ROWS[name][1]) for name in HELD if name in knobs.errors]

"""What a search for a better way of working found."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from handlap.cli.reports.as_json import band, job_json
from handlap.cli.reports.blocks import Picture, Report, Section, Table, Words
from handlap.cli.reports.compare_differences import SIZES
from handlap.cli.reports.compare_report import MINUTES
from handlap.cli.reports.quantity import chance, number, quantity, stated
from handlap.cli.reports.wording import (
    BAND_WORDS,
    assumed_section,
    doubts_section,
    face_words,
    facts,
    microns,
    subject,
    wanted_words,
)
from handlap.sim.common.said import figure, said_of
from handlap.sim.common.spoken import height_unit, length_unit, per, per_length, unit
from handlap.sim.job.turning import short_words

if TYPE_CHECKING:
    from handlap.sim.comparing.improve import Improvement, TriedWay
    from handlap.sim.job.scenario import Scenario


def improve_report(found: Improvement) -> Report:
    """The report of a search."""
    before, honest = found.before, found.honest
    if found.helps:
        answer = "A better way was found"
        was, now = chance(before.chance), chance(honest.chance)
        lead = [
            f"The chance to end inside all limits "
            f"{f'stays {now}' if was == now else f'goes from {was} to {now}'}; "
            f"minutes go from {quantity(before.minutes)} to {quantity(honest.minutes)}."
        ]
    else:
        answer = "No better way was found"
        lead = [
            f"As it stands: {chance(before.chance)} to end inside all limits; the best that was found, on "
            f"fresh random numbers, {chance(honest.chance)}: no clear gain in chance or time."
        ]
    if found.selected.chance > honest.chance:
        lead.append(
            f"The search itself saw {chance(found.selected.chance)}: luck, on the numbers it chose by."
        )
    part = found.scenario_before.part
    sections = (
        Section("The face", (facts(("Face", face_words(part)), ("Wanted", _wanted(found))),)),
        _way(found),
        _figures(found),
        *doubts_section(found.scenario_before.warnings, found.notes),
        assumed_section(found.scenario_before),
        _how_sure(found),
    )
    return Report(
        "improve",
        answer,
        "good" if found.helps else "doubt",
        subject(found.scenario_before),
        tuple(lead),
        sections,
    )


def _wanted(found: Improvement) -> str:
    words = wanted_words(found.scenario_before.part)
    if found.minutes_most is not None:
        words += f"; at most {stated(found.minutes_most)} min"
    if found.sheets_most is not None:
        words += f"; at most {found.sheets_most} sheets"
    return words


def _way(found: Improvement) -> Section:
    old, new = found.scenario_before, found.scenario
    rows = (
        ("papers", ", ".join(found.papers_before), ", ".join(found.papers)),
        (
            "turning",
            _turning(old),
            _turning(new),
        ),
        ("turn every", _every(old.turning.every), _every(found.way.every)),
        ("stroke", old.strokes.pattern, new.strokes.pattern),
        (
            f"stroke, {length_unit()}",
            stated(per_length() * old.strokes.length),
            number(per_length() * new.strokes.length, 2),
        ),
        (
            f"hands at, {length_unit()}",
            stated(per_length() * old.hands.height.value),
            number(per_length() * new.hands.height.value, 2),
        ),
        (
            f"press, {unit('force')}",
            stated(per("force") * old.hands.press.value),
            number(per("force") * new.hands.press.value, 2),
        ),
    )
    return Section(
        "The way that was found", (Table(("", "as it stands", "found"), rows, (0, 1, 2), wraps=1),)
    )


def _turning(scenario: Scenario) -> str:
    return short_words(scenario.turning.name)


def _every(strokes: int | None) -> str:
    if strokes is None:
        return "the plan chooses"
    return f"{strokes}" if strokes else "never"


def _figures(found: Improvement) -> Section:
    held = "straightedge" if found.scenario_before.part.limit_by == "straightedge" else "flatness"

    def column(t: TriedWay) -> tuple[str, ...]:
        return (
            chance(t.chance),
            chance(t.chance_goal),
            "" if t.chance_allowance is None else chance(t.chance_allowance),
            microns(t.measured, ""),
            microns(t.greatest_depth, ""),
            quantity(t.minutes),
            quantity(t.sheets, whole=True),
        )

    names = (
        "all limits",
        "goal",
        "allowance",
        f"{held}, {height_unit()}",
        f"deepest, {height_unit()}",
        "minutes",
        "sheets",
    )
    columns = zip(names, column(found.before), column(found.honest), column(found.selected), strict=True)
    gain, minutes = found.gain, found.minutes_gain
    words = (
        f"Face by face on the fresh numbers: chance {_signed(100.0 * gain.mean)} % (more than the spread: "
        f"{SIZES[gain.size]}), minutes {_signed(minutes.mean)} ({SIZES[minutes.size]})."
    )
    return Section(
        "How it comes out",
        (
            Table(("", "as it\nstands", "found", "as the\nsearch saw it"), tuple(columns)),
            Words(words),
            Words(MINUTES),
            Picture(
                "ways.png",
                "Before and after, on fresh random numbers.",
                "Minutes, out of flat, deepest spot and sheets of the way as it stands and of the one found: "
                "the middle and 90 of 100 cases; the table has the figures.",
            ),
            Picture(
                "search.png",
                "What the search tried: chance against minutes, and the front of it.",
                "A mark for each way that was tried; the table has both ways on fresh numbers.",
            ),
        ),
    )


def _signed(value: float) -> str:
    text = number(value, 2, 0.1)
    return text if value <= 0.0 or not math.isfinite(value) else f"+{text}"


def _how_sure(found: Improvement) -> Section:
    rows = facts(
        (
            "Search",
            f"{found.runs} of {found.budget} ways tried, on {found.search_members} faces and hands or fewer; "
            "papers, turning and pattern first, then press, height, length and turning interval by a simplex",
        ),
        (
            "Check",
            f"{found.members} faces and pairs of hands drawn afresh, the same for both; seed {found.seed}. "
            f"{BAND_WORDS}",
        ),
    )
    return Section("How sure", (rows,), aside=True)


def improve_json(found: Improvement) -> dict[str, Any]:
    """The search as one JSON object."""
    new = found.scenario
    return {
        "schema": "handlap.improve/1",
        **job_json(found.scenario_before),
        "helps": found.helps,
        "way": {
            "name": found.way.name,
            "papers": list(found.papers),
            "turning": new.turning.name,
            "turn_every": new.turning.every,
            "pattern": new.strokes.pattern,
            "length_mm": figure(new.strokes.length, 1e3),
            "height_mm": figure(new.hands.height.value, 1e3),
            "press_n": figure(new.hands.press.value),
        },
        "as_it_stands": said_of(found.before),
        "found_on_fresh_numbers": said_of(found.honest),
        "found_as_the_search_saw_it": said_of(found.selected),
        "chance_gain": {"mean": figure(found.gain.mean), "more_than_spread": found.gain.size},
        "minutes_gain": {
            "mean": figure(found.minutes_gain.mean),
            "band": band(found.minutes_gain.band),
            "more_than_spread": found.minutes_gain.size,
        },
        **said_of(found, "runs budget members search_members seed minutes_most sheets_most tried notes"),
    }

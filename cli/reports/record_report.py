"""What the record of a part says."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from handlap.cli.reports.as_json import job_json
from handlap.cli.reports.blocks import Block, Bullets, Picture, Report, Section, Table, Tone, Words
from handlap.cli.reports.quantity import counted, number, off, stated
from handlap.cli.reports.wording import (
    AXES,
    BAND_WORDS,
    LIMIT,
    TAPER_SIGNS,
    doubts_section,
    face_words,
    facts,
    goal_of,
    limit_words,
    microns,
    roughness,
    sentence,
    subject,
    wanted_words,
)
from handlap.sim.common.said import figure, said_of, said_value
from handlap.sim.common.spoken import leaf, per, unit, weighed
from handlap.sim.planning.cautions import IN_SHORT

if TYPE_CHECKING:
    from handlap.sim.bench.after_cut import Effect
    from handlap.sim.bench.record import PartRecord, Weighed
    from handlap.sim.face.survey import Survey
    from handlap.sim.job.past_jobs import PastJob

JSON_UNITS = {"m": ("mm", 1e3), "m³": ("cm³", 1e6), "rad": ("°", 180.0 / math.pi), "": ("", 1.0)}
SHOWN_AS = {"m": "length", "m³": "volume"}
WAYS = {"part": "Part weighed", "swarf": "Swarf weighed"}
AGREEMENT = {
    "agree": "the two agree",
    "disagree": "weighing and model DISAGREE: oil or water in the part, lost swarf, a slip in the log?",
    "cannot tell": "the model knows too little without the weighing to agree or not",
}


def record_report(found: PartRecord, for_next: str = "") -> Report:
    """The record as a report; ``for_next``: what is kept of it for the next jobs, or how to."""
    answers = [limit.answer for limit in found.now.limits]
    answer, tone = _answer(answers, found.now.flat.contradicted)
    lead = tuple(sentence(limit_words(limit)) for limit in found.now.limits)
    sections = [
        Section(
            "The face",
            (
                _face(found),
                Picture("warp.png", "The face before and now: the case nearest to the middle.", "Maps."),
            ),
        ),
        Section("The work", tuple(_work(found))),
        Section("With what, and by whom", tuple(_by_whom(found))),
        Section("Metal off", tuple(_metal(found))),
    ]
    if found.now.effects:
        sections.append(Section("What the cut does", tuple(_effects(found))))
    sections += doubts_section(found.scenario.warnings, found.notes)
    entries = [f"{e.when[:10]}: {e.note}" for e in found.log.standing if e.note]
    if entries:
        sections.append(Section("Notes from the log", (Bullets(tuple(entries)),)))
    sections += [Section("Take care", (Words(IN_SHORT),)), _how_sure(found)]
    if for_next:
        sections.append(Section("For the next job", (Words(for_next),), aside=True))
    return Report("record", answer, tone, subject(found.scenario), lead, tuple(sections))


def _answer(answers: Sequence[str], contradicted: bool) -> tuple[str, Tone]:
    if "not met" in answers:
        return "Record: a limit is not met", "bad"
    if "cannot tell" in answers:
        return "Record: whether a limit is met cannot be told yet", "doubt"
    if contradicted:
        return (
            "Record: the limits are met as checked, but what was read before and logged contradicts",
            "doubt",
        )
    return "Record: the limits are met", "good"


def _surveyed(survey: Survey | None) -> str:
    if survey is None:
        return "not read after the last stroke"
    return (
        f"{microns(survey.bands.straightedge)} by the straightedge, {microns(survey.bands.flatness)} "
        f"{LIMIT['zone']}; {survey.shape.words}"
    )


def _face(found: PartRecord) -> Block:
    part, now = found.scenario.part, found.now
    by = "by the straightedge" if part.limit_by == "straightedge" else LIMIT["zone"]
    return facts(
        ("Part", part.name),
        ("Face", face_words(part)),
        ("Wanted", wanted_words(part)),
        ("Goal", goal_of(found.scenario)),
        ("Read before", _surveyed(found.before)),
        ("Read after", _surveyed(now.after)),
        (
            "With the log",
            f"{microns(now.measured)} {by} now, {microns(now.flatness)} {LIMIT['zone']}",
        ),
        ("Finish", f"{roughness(now.finish)} by the last paper, {found.log.paper}; not measured"),
    )


NOT_NOTED = "not noted"
"""What stands for a thing that nobody wrote down: never zero, and never what the program would expect."""
SIGN = "What is not noted may be written in by hand."
SIGNED = f"Signed {'_' * 30}   Date {'_' * 16}"


def _by_whom(found: PartRecord) -> list[Block]:
    """Instruments and people: what the log and the job say of them, and room for the rest."""
    readings = found.scenario.readings
    scales = [e.scale for e in found.log.standing if e.scale]
    leaves = ", ".join(leaf(x) for x in readings.leaves)
    return [
        facts(
            ("Part number", NOT_NOTED),
            ("Straightedge", NOT_NOTED),
            ("Leaves", leaves or NOT_NOTED),
            ("Scale", f"reads to {weighed(min(scales), min(scales))}" if scales else NOT_NOTED),
            ("Temperature", NOT_NOTED),
            ("Worked by", NOT_NOTED),
        ),
        Words(SIGN),
        Words(SIGNED),
    ]


def _work(found: PartRecord) -> list[Block]:
    rows = tuple(
        (p.paper, str(p.strokes), str(p.sheets), str(p.brushings) if p.brushings else NOT_NOTED)
        for p in found.work.papers
    )
    dates = sorted(e.when[:10] for e in found.log.standing if e.when)
    when = "" if not dates else dates[0] if dates[0] == dates[-1] else f"{dates[0]} to {dates[-1]}"
    how = "" if found.work.all_logged else ", where not written down guessed from the pace"
    return [
        facts(
            ("When", when or NOT_NOTED),
            ("Strokes", counted(found.log.strokes, "stroke")),
            ("Time", f"{number(found.work.minutes, 3)} min of strokes{how}"),
        ),
        Table(("paper", "strokes", "sheets", "brushings"), rows),
    ]


def _metal(found: PartRecord) -> list[Block]:
    now = found.now
    return [
        facts(
            ("Mean depth", f"{microns(now.mean_depth)}, by readings, weighings and dye together"),
            ("Deepest spot", microns(now.greatest_depth)),
            (
                "Taper",
                f"along {microns(now.taper_along)}, across {microns(now.taper_across)}; {TAPER_SIGNS}",
            ),
            *((WAYS[w.way], _weighed_words(w)) for w in found.weighed),
            ("Weighing", None if found.weighed else NOT_NOTED),
        )
    ]


def _weighed_words(weighed: Weighed) -> str:
    first, last = weighed.strokes
    return (
        f"{off(weighed.mass, 3)} from stroke {first} to {last}: "
        f"{microns(weighed.depth)} on average; the model without any weighing has "
        f"{microns(weighed.model)}: {AGREEMENT[weighed.agreement]}"
    )


def _shown(unit_of: str) -> tuple[str, float]:
    """Unit of an effect in the job at hand, and what SI is multiplied by."""
    if unit_of in SHOWN_AS:
        return unit(SHOWN_AS[unit_of]), per(SHOWN_AS[unit_of])
    return JSON_UNITS[unit_of]


def _before(effect: Effect) -> str:
    shown, factor = _shown(effect.unit)
    return f"{stated(float(f'{effect.before * factor:.5g}'))}{_with(shown)}"


def _with(unit: str) -> str:
    return unit if unit in ("", "°") else f" {unit}"


def _after(effect: Effect) -> str:
    """The figure after the cut; three decimals of a millimetre are a micrometre, four of an inch a tenth of a
    thousandth."""
    shown, factor = _shown(effect.unit)
    digits = 4 if shown == "in" else 3
    low, middle, high = (
        f"{x * factor:.{digits}f}" for x in (effect.after.p05, effect.after.p50, effect.after.p95)
    )
    span = "" if low == high else f" ({low}–{high})"
    return f"{middle}{_with(shown)}{span}"


def _effects(found: PartRecord) -> list[Block]:
    met = {True: "met", False: "NOT met", None: "cannot tell"}
    rows = tuple(
        (
            effect.name,
            _before(effect) if effect.before or effect.unit == "" else "",
            _after(effect),
            "" if effect.limit is None
            else f"{stated(float(f'{effect.limit * _shown(effect.unit)[1]:.5g}'))}: {met[effect.met]}",
        )
        for effect in found.now.effects
    )  # fmt: skip
    words = tuple(dict.fromkeys(sentence(f"{e.name}: {e.words}") for e in found.now.effects if e.words))
    tail = Words(
        "Volumes, cam and flange follow the mean depth; clearances, holes and thickness the deepest spot. "
        "Geometry only: the maker's limits decide, and facing does not straighten a bent cam line."
    )
    blocks: list[Block] = [Table(("what", "before", "after", "at least"), rows, (0, 3), wraps=0)]
    return [*blocks, Bullets(words), tail] if words else [*blocks, tail]


def _how_sure(found: PartRecord) -> Section:
    learnt = found.learnt
    looks = counted(len(learnt.ready.looks), "weighing or reading", "weighings and readings")
    rows = facts(
        (
            "Members",
            f"{learnt.effective:.0f} of {learnt.members} still count after {looks}; seed {found.seed}",
        ),
        ("Bands", BAND_WORDS),
        ("Limits", "met or not met from a chance of nine in ten; else it cannot be told"),
        ("u and v", AXES),
    )
    return Section("How sure", (rows,), aside=True)


def record_pictures(found: PartRecord) -> dict[str, bytes]:
    """PNG by name: the face before and now."""
    import matplotlib

    from handlap.cli.drawing.pictures import STYLE, png
    from handlap.cli.drawing.replan_pictures import then_and_now

    with matplotlib.rc_context(STYLE):
        return {"warp.png": png(then_and_now(found.scenario.part, found.learnt, found.now))}


def _survey_json(survey: Survey | None) -> dict[str, Any] | None:
    if survey is None:
        return None
    return {
        **said_of(survey.bands, "straightedge flatness"),
        "shape": survey.shape.words,
        "answer": survey.verdict.answer,
    }


def _effect_json(effect: Effect) -> dict[str, Any]:
    unit, factor = JSON_UNITS[effect.unit]
    return {
        "name": effect.name,
        "unit": unit or None,
        "before": figure(effect.before, factor),
        "after": said_value(effect.after, factor),
        "at_least": figure(effect.limit, factor),
        "met": effect.met,
    }


def record_json(found: PartRecord, kept: PastJob | None = None) -> dict[str, Any]:
    """The record as one object; ``kept``: the entry written for the next jobs."""
    now = found.now
    return {
        "schema": "handlap.record/1",
        **job_json(found.scenario),
        **said_of(found, "seed"),
        **said_of(found.learnt, "members effective"),
        "strokes": found.log.strokes,
        **said_of(now, "limits"),
        "read_before": _survey_json(found.before),
        "read_after": _survey_json(now.after),
        "now": said_of(now, "measured flatness"),
        "removed": said_of(now, "mean_depth greatest_depth taper_along taper_across"),
        **said_of(found, "weighed"),
        **said_of(found.work),
        **said_of(now, "finish"),
        "effects": [_effect_json(e) for e in now.effects],
        **said_of(found, "notes cautions"),
        "remembered": None if kept is None else {name: list(x) for name, x in kept.found.items()},
    }

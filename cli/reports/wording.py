"""Phrases the reports share."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

from handlap.cli.reports.assumptions import Assumption, assumptions_of
from handlap.cli.reports.blocks import Block, Facts, Section, Table, Words
from handlap.cli.reports.quantity import (
    chance,
    number,
    quantity,
    rounded_up,
    spread_words,
    stated,
    stated_height,
)
from handlap.sim.common import spoken
from handlap.sim.common.spoken import height_unit, length_unit, per, per_height, per_length, unit
from handlap.sim.common.units import System, from_si, plain, unit_of
from handlap.sim.common.words import listed
from handlap.sim.job.turning import SCHEDULES

if TYPE_CHECKING:
    from handlap.sim.bench.standing import LimitHeld
    from handlap.sim.job.results import AnotherDraw, Band, Errors, LapResult, Unknown
    from handlap.sim.job.scenario import Part, Scenario

FINEST = 0.01
"""Last digit of heights shown, µm or thousandths: a tenth of the error asked of a single lap, or finer
than anybody reads."""
LEAST_ERROR: dict[System, float] = {"mm": 0.001, "inch": 0.0001}
"""Smaller errors are not told one by one [µm, thou]: nothing at the bench shows them."""

TURNS = {name: schedule.words for name, schedule in SCHEDULES.items()}
TURNS["own"] = "the scenario's own round of turns"
TO_DO = {
    "face": "feel six lines with leaves",
    "place": "see where the worst gap is",
    "paper": "lap one block and weigh what came off",
    "press": "press on a bathroom scale as on the part",
    "hands": "see how high and how evenly you push",
    "pace": "count your strokes in a minute",
}
"""What would make something known better."""
SPREAD_OF = {"minutes": "minutes", "depth": "depth", "result": "the result"}
LIMIT = {"straightedge": "by the straightedge", "zone": "over the whole face (minimum zone)"}
BAND_WORDS = "A figure is the middle value; in brackets the range it falls in 90 times in 100."
TAPER_SIGNS = "+ is more off at the right, at the far side"
_DYE_SIGNS = (
    "Dye fades where some {depth} has come off, and is gone where the scratches it lay in are off too; both "
    "depths are known within a factor of 2. Fading everywhere: the paper touches everywhere. Gone: scratches "
    "are off there too. Neither says how much is left to do."
)
AXES = "u runs along the part from left to right, v across it from near to far, from the middle."

MINUTES_WORDS = {
    "stroke_minutes": "strokes",
    "turning_minutes": "turning",
    "brushing_minutes": "brushing",
    "sheet_minutes": "new sheets",
}
"""Names in :data:`handlap.sim.planning.effort.MINUTES_OF`, in words."""
CHECKS_NOT_COUNTED = "cleaning, looking and measuring at the checks are not counted"


def dye_signs() -> str:
    """What dye that fades, and dye that is gone, says."""
    return _DYE_SIGNS.format(depth=spoken.height(1e-6))


def place(u: float, v: float, length: float, width: float) -> str:
    """Where a point (u, v) [m] lies on a face of that size, in words and in the unit of the job."""
    far = "far" if v > width / 6 else "near" if v < -width / 6 else ""
    side = "right" if u > length / 6 else "left" if u < -length / 6 else ""
    if far and side:
        words = f"the {far} {side} corner"
    elif far:
        words = f"the middle of the {far} side"
    elif side:
        words = f"the {side} end"
    else:
        words = "the middle"
    return f"{words} ({spoken.taped(u, v, length, width)})"


def sentence(text: str) -> str:
    """Words as a sentence."""
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "!", "?")) else ".")


def paper_words(laps: Iterable[LapResult]) -> tuple[str, ...]:
    """Sentences on the papers of laps that nobody asked for, each once."""
    told = {f"On {lap.paper}, {lap.paper_why}." for lap in laps if lap.paper_why}
    return tuple(sorted(told))


def every(strokes: int) -> str:
    """An interval in strokes."""
    return f"{strokes}" if strokes else "never"


def subject(scenario: Scenario) -> str:
    """The job in a line, marked where its data are invented, and where it begins from earlier jobs."""
    return scenario.title + ("  [invented data]" if scenario.invented else "") + past_words(scenario)


def spread_share(unknown: Unknown) -> str:
    """How much of which spread it makes, in brackets; "" where that is hardly any."""
    if unknown.share < 0.05:
        return ""
    return f" ({100.0 * unknown.share:.0f} % of the spread in {SPREAD_OF[unknown.of]})"


def past_words(scenario: Scenario) -> str:
    """What is taken from earlier jobs, as the end of a line; "" where nothing is."""
    if scenario.past is None:
        return ""
    from handlap.sim.job.past_jobs import known_as

    return f"  [paper and hands {known_as(scenario.past.jobs)}; --afresh leaves them out]"


def face_words(part: Part) -> str:
    """Size and metal of the face."""
    area = number(per("area") * part.outline.area, 4)
    sides = (part.outline.length, part.outline.width)
    size = " × ".join(
        stated(round(per_length() * side, 2 if spoken.system() == "mm" else 3)) for side in sides
    )
    return f"{size} {length_unit()}, {area} {unit('area')} of {part.metal.name}"


def wanted_words(part: Part) -> str:
    """What is asked of the face."""
    asked = f"flat within {stated_height(part.limit)} {LIMIT[part.limit_by]}"
    if part.allowance is None:
        return asked + "; how much may come off is not stated"
    return asked + f"; no spot may lose more than {stated_height(part.allowance)}"


def goal_of(scenario: Scenario) -> str:
    """When the face of a job is done."""
    from handlap.sim.face.done import goal_words

    part = scenario.part
    return goal_words(part.limit, part.limit_by, scenario.readings.leaves or (part.limit,), spoken.leaf)


def limit_words(limit: LimitHeld) -> str:
    """A limit, and whether the part as it is now meets it."""
    counted = "" if limit.chance is None else f" (chance of meeting it {chance(limit.chance)})"
    return f"{limit.name}: {limit.answer}{counted}; {limit.reason}"


def microns(band: Band, shown: str | None = None) -> str:
    """A height with its band; ``shown`` "" for a table that has it in the head."""
    return quantity(band.scaled(per_height()), height_unit() if shown is None else shown, finest=FINEST)


def roughness(span: tuple[float, float]) -> str:
    """A range of Ra."""
    low, high = (number(per("roughness") * ra, 2) for ra in span)
    return f"Ra {low}–{high} {unit('roughness')}" if low != high else f"Ra {low} {unit('roughness')}"


def _within(error: float, system: System) -> str:
    """An error of a height [m] in the job's own units."""
    least = LEAST_ERROR[system]
    shown = from_si(error, "height", system)
    unit = unit_of("height", system)
    return f"{rounded_up(shown)} {unit}" if shown >= least else f"under {stated(least)} {unit}"


def error_words(errors: Errors, system: System) -> str:
    """How exactly what is reported was computed, in the units of the job."""
    figures = {
        "in the flatness": errors.flatness,
        "in the straightedge's reading": errors.straightedge,
        "at the deepest spot": errors.greatest_depth,
        "in the mean depth": errors.mean_depth,
    }
    told = [f"{_within(error, system)} {where}" for where, error in figures.items()]
    if errors.strokes is not None:
        few = errors.strokes < 1.0
        told.append(f"{'under 1 stroke' if few else rounded_up(errors.strokes) + ' strokes'} to the goal")

    def asked(height: float, more: str = "") -> str:
        return f" (asked: {plain(from_si(height, 'height', system), 2)}{more})"

    held = "" if errors.asked is None else asked(errors.asked, ", twice that at the deepest spot")
    return (
        f"computed to within {listed(told)}{held}. Worked twice as finely, no spot of the map "
        f"would move by more than {_within(errors.step, system)}{asked(errors.tolerance)}; {errors.cells} "
        f"cells, {errors.rows} places of the part"
    )


def _between(span: tuple[float, float]) -> str:
    """Low and high of a span in as many digits as tell them apart."""
    from handlap.sim.job.results import Band

    low, high = span
    return spread_words(Band(low, 0.5 * (low + high), high)) or number(low)


def minutes_words(minutes_of: Mapping[str, Band]) -> str:
    """What the minutes of all work are made of, and what they leave out."""
    told = (f"{quantity(minutes_of[name], 'min')} of {words}" for name, words in MINUTES_WORDS.items())
    return f"{', '.join(told)}; {CHECKS_NOT_COUNTED}"


def another_words(other: AnotherDraw, system: System) -> str:
    """How steady the middle values are, in the units of the job."""
    height = unit_of("height", system)
    spans = (
        ("{} strokes", other.strokes, 1.0),
        ("{} min", other.minutes, 1.0),
        (f"{{}} {height} at the deepest spot", other.greatest_depth, from_si(1.0, "height", system)),
        (f"{{}} {height} off on average", other.mean_depth, from_si(1.0, "height", system)),
    )
    told = [
        words.format(_between((span[0] * factor, span[1] * factor)))
        for words, span, factor in spans
        if span is not None
    ]
    if not told:
        return "too few members to tell what it would give"
    return (
        f"would give middle values of {listed(told)}, nine times in ten, on the same paper; more --members "
        "hold them stiller"
    )


def _spoken_unit(assumption: Assumption) -> tuple[str, float]:
    """Unit of a default in the job at hand, and what its value in the unit of JSON is multiplied by."""
    shown = {"mm": "length", "µm": "height", "N": "force", "kg": "mass", "mm³/(N·m)": "rate"}
    shown |= {"N/µm": "stiffness", "cm³": "volume"}
    if spoken.system() == "mm" or assumption.unit not in shown:
        return assumption.unit, 1.0
    quantity_of = shown[assumption.unit]
    with spoken.speaking("mm"):
        factor = per(quantity_of)
    return unit(quantity_of), per(quantity_of) / factor


def _taken(assumption: Assumption) -> str:
    assert not isinstance(assumption.value, str)
    shown, factor = _spoken_unit(assumption)
    with_unit = f" {shown}" if shown else ""
    assert assumption.low is not None and assumption.high is not None
    low, high = number(factor * assumption.low, 2), number(factor * assumption.high, 2)
    span = f"{low} to {high}" if "−" in low + high else f"{low}–{high}"
    return f"{_value(assumption, factor)}{with_unit} ({span})"


def plain_basis(text: str) -> str:
    """Where a number comes from, without signs that have to be explained.

    >>> plain_basis("derived (from memory), ×/÷ 3")
    'derived (from memory), within a factor of 3'
    """
    return re.sub(r"×/÷ ([\d.]+)", r"within a factor of \1", text)


def _fixed(assumption: Assumption) -> str:
    value = assumption.value
    if isinstance(value, str):
        return f"{assumption.key}: {value}"
    shown, factor = _spoken_unit(assumption)
    return f"{assumption.key}: {_value(assumption, factor)}" + (f" {shown}" if shown else "")


def _value(assumption: Assumption, factor: float) -> str:
    """The middle value: as it was chosen, or converted to as many digits as a choice has."""
    assert not isinstance(assumption.value, str)
    return stated(assumption.value) if factor == 1.0 else number(factor * assumption.value, 2)


def assumed_section(scenario: Scenario, *, varied: bool = True) -> Section:
    """What the scenario did not say, and what was taken for it."""
    assumed = assumptions_of(scenario)
    if not assumed:
        return Section("Taken for granted", (Words("Nothing: the scenario states everything."),), aside=True)
    wide = [a for a in assumed if a.low is not None]
    rest = [a for a in assumed if a.low is None]
    blocks: list[Block] = []
    if wide:
        lead = (
            "The scenario does not state these. The widest ranges make most of the width of the bands: state "
            "what you know."
            if varied
            else "The scenario does not state these; the middle value was used."
        )
        rows = tuple((a.key, _taken(a), plain_basis(a.basis)) for a in wide)
        blocks += [Words(lead), Table(("key", "taken (range)", "where from"), rows, (0, 1, 2), wraps=2)]
    if rest:
        blocks.append(Words("Not varied: " + "; ".join(_fixed(a) for a in rest) + "."))
    return Section("Taken for granted", tuple(blocks), aside=True)


def doubts_section(warnings: tuple[str, ...], notes: tuple[str, ...]) -> tuple[Section, ...]:
    """Warnings about the scenario and remarks on the readings, if there are any."""
    from handlap.cli.reports.blocks import Bullets

    items = tuple(dict.fromkeys((*warnings, *notes)))
    return (Section("Look again", (Bullets(items),)),) if items else ()


def facts(*rows: tuple[str, str | None]) -> Facts:
    """Facts without the rows of which nothing is known."""
    return Facts(tuple((name, text) for name, text in rows if text))

"""Ways of working: what may be done differently at the bench, and how it is written down.

A way is a set of changes to a scenario.  It is written as ``key=value`` pairs, such as
``turning=half every=40 papers=P120,P240 name=with the fine paper``; a value goes on to the next
``key=``.  Plain numbers are mm, N and strokes; another unit is written behind the number.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from handlap.sim.common import spoken
from handlap.sim.common.errors import InputError
from handlap.sim.common.units import PRESS_WORDS, number_of, parse_quantity, plain, show, to_si
from handlap.sim.job.scenario import Pattern, Scenario, Uncertain
from handlap.sim.job.stroke_path import PATTERNS
from handlap.sim.job.turning import SCHEDULES, short_words
from handlap.sim.materials import grits
from handlap.sim.materials.grits import Grit
from handlap.sim.materials.paper_law import BRUSHED, FRICTION_GAIN, LOADING_FLOORS, by_kind

NEVER = 0
MOST_EVERY = 100_000
LONGEST, HIGHEST, HARDEST = 2.0, 0.5, 2000.0
"""Longest stroke [m], highest hands [m] and hardest press [N] that a way may ask for."""
SHOWN = 8
"""Ways that are compared where none are named."""


@dataclass(frozen=True)
class Way:
    """One way of working; None leaves a thing as the scenario has it.

    Attributes
    ----------
    name : what it is called
    turning : name of a schedule of turns
    every, brush, sheet : strokes between turns, brushings and sheets, 0 = never
    pattern : of the stroke
    direction : of the stroke from the part's u axis [rad]
    length : of the stroke [m]
    height : of the hands over the paper [m]
    press : of the hands [N]
    papers : coarse to fine, all of them to be used
    wet : whether the paper is worked wet
    """

    name: str
    turning: str | None = None
    every: int | None = None
    pattern: Pattern | None = None
    direction: float | None = None
    length: float | None = None
    height: float | None = None
    press: float | None = None
    papers: tuple[Grit, ...] | None = None
    brush: int | None = None
    sheet: int | None = None
    wet: bool | None = None


def moved(quantity: Uncertain, value: float) -> Uncertain:
    """The quantity with another median, spread as before: by the same ratio, or as wide.

    >>> moved(Uncertain(40.0, 20.0, 80.0, "lognormal", "hands.press"), 20.0).high
    40.0
    """
    if quantity.law == "lognormal" and value > 0.0 and quantity.value > 0.0:
        ratio = value / quantity.value
        return replace(quantity, value=value, low=quantity.low * ratio, high=quantity.high * ratio)
    if quantity.law == "lognormal":
        return Uncertain.fixed(value, quantity.key)
    shift = value - quantity.value
    return replace(quantity, value=value, low=quantity.low + shift, high=quantity.high + shift)


def apply_way(scenario: Scenario, way: Way) -> Scenario:
    """The scenario worked in another way; what the hands hold keeps its spread."""
    hands, strokes, turning, paper = scenario.hands, scenario.strokes, scenario.turning, scenario.paper
    if way.turning is not None:
        states = SCHEDULES[way.turning].states
        turning = replace(turning, name=way.turning, states=states, every=None, assumed=False)
    if way.every is not None:
        turning = replace(turning, every=way.every)
    if way.height is not None:
        hands = replace(hands, height=moved(hands.height, way.height))
    if way.press is not None:
        hands = replace(hands, press=moved(hands.press, way.press))
    strokes = replace(
        strokes,
        pattern=way.pattern or strokes.pattern,
        direction=strokes.direction if way.direction is None else way.direction,
        length=way.length or strokes.length,
    )
    paper = replace(
        paper,
        grits=way.papers or paper.grits,
        start=None if way.papers else paper.start,
        brush_every=paper.brush_every if way.brush is None else way.brush,
        sheet_every=paper.sheet_every if way.sheet is None else way.sheet,
    )
    found = replace(scenario, hands=hands, strokes=strokes, turning=turning, paper=paper)
    return found if way.wet is None or way.wet == paper.wet else _worked(found, way.wet)


def _worked(scenario: Scenario, wet: bool) -> Scenario:
    """The scenario on paper worked wet, or dry: what was stated of paper stays, what was assumed moves."""
    metal, wear = scenario.part.metal, scenario.wear

    def otherwise(quantity: Uncertain, now: float, then: float) -> Uncertain:
        return moved(quantity, then) if math.isclose(quantity.value, now) else quantity

    def by_table(quantity: Uncertain, table: Mapping[tuple[bool, bool], float]) -> Uncertain:
        now, then = (by_kind(table, metal.family, state) for state in (not wet, wet))
        return otherwise(quantity, now, then)

    wear = replace(
        wear,
        friction=otherwise(wear.friction, metal.friction(not wet), metal.friction(wet)),
        loading_floor=by_table(wear.loading_floor, LOADING_FLOORS),
        brushing=by_table(wear.brushing, BRUSHED),
        friction_gain=by_table(wear.friction_gain, FRICTION_GAIN),
    )
    return replace(scenario, paper=replace(scenario.paper, wet=wet), wear=wear)


def _whole(text: str) -> int:
    if text == "never":
        return NEVER
    if not text.isdigit() or not 1 <= int(text) <= MOST_EVERY:
        raise ValueError(f'a whole number of strokes from 1 to {MOST_EVERY}, or "never"')
    return int(text)


def _in_job(value: float, kind: str) -> str:
    """A quantity of a way as the job speaks; in inches to three digits, for it may be a round one in mm."""
    return show(value, kind, spoken.system(), 4 if spoken.system() == "mm" else 3)


NO_NUMBERS = ("nan", "inf", "infinity")


def _quantity(
    kind: str, least: float, most: float, words: dict[str, float] | None = None
) -> Callable[[str], float]:
    def read(text: str) -> float:
        allowed = f"{show(least, kind, spoken.system())} to {show(most, kind, spoken.system())}"
        if words:
            allowed += ", or " + ", ".join(words)
        if words and text in words:
            return words[text]
        try:
            value = to_si(number_of(text), kind, spoken.system())
        except ValueError:
            # "nan" and "inf" are numbers to Python and to nobody else: the message is that of the range.
            value = math.nan if text.strip("+- ").lower() in NO_NUMBERS else parse_quantity(text, kind)
        if not math.isfinite(value) or not least <= value <= most:
            raise ValueError(allowed)
        return value

    return read


def _one_of(names: Sequence[str]) -> Callable[[str], str]:
    def read(text: str) -> str:
        if text not in names:
            raise ValueError(", ".join(names))
        return text

    return read


def _direction(text: str) -> float:
    named = {"along": 0.0, "across": math.pi / 2}
    if text in named:
        return named[text]
    try:
        return to_si(float(text), "angle")
    except ValueError:
        raise ValueError("along, across, or an angle in degrees from the long side") from None


def _papers(text: str) -> tuple[Grit, ...]:
    found = tuple(grits.find(name.strip()) for name in text.split(","))
    if any(b.diameter >= a.diameter for a, b in pairwise(found)):
        raise ValueError("papers from coarse to fine, such as P80,P120,P240")
    return found


def _yes_or_no(text: str) -> bool:
    if text not in ("yes", "no"):
        raise ValueError("yes, no")
    return text == "yes"


def _name(text: str) -> str:
    if not 1 <= len(text) <= 40 or not text.isprintable():
        raise ValueError("a name of 1 to 40 characters")
    return text


READERS: dict[str, Callable[[str], object]] = {
    "turning": _one_of(tuple(SCHEDULES)),
    "every": _whole,
    "pattern": _one_of(tuple(PATTERNS)),
    "direction": _direction,
    "length": _quantity("length", 0.005, LONGEST),
    "height": _quantity("length", 0.0, HIGHEST),
    "press": _quantity("force", -HARDEST, HARDEST, PRESS_WORDS),
    "papers": _papers,
    "brush": _whole,
    "sheet": _whole,
    "wet": _yes_or_no,
    "name": _name,
}
"""What a way may say: key → reader of its value, which raises ValueError with what is allowed."""


def parse_way(text: str) -> Way:
    """Read a way of working.

    Raises
    ------
    InputError : with everything that is wrong with it

    >>> parse_way("turning=half every=40").name
    'half turn every 40'
    >>> parse_way("height=20 name=low hands").height
    0.02
    """
    pairs: list[tuple[str, str]] = []
    faults: list[str] = []
    for word in text.split():
        if "=" in word:
            key, value = word.split("=", 1)
            pairs.append((key.lower(), value))
        elif pairs:
            pairs[-1] = (pairs[-1][0], f"{pairs[-1][1]} {word}".strip())
        else:
            faults.append(f'"{word}": a way is written as key=value pairs, such as "turning=half every=40"')
    found: dict[str, object] = {}
    for key, value in pairs:
        if key not in READERS:
            faults.append(f'"{key}" is no part of a way; allowed: {", ".join(READERS)}')
        elif key in found:
            faults.append(f'"{key}" is there twice')
        else:
            try:
                found[key] = READERS[key](value)
            except ValueError as fault:
                faults.append(f"{key}={value}: allowed: {fault}")
                found[key] = None
    if not pairs and not faults:
        faults.append("it says nothing")
    if faults:
        raise InputError(f'the way "{text}": ' + "; ".join(faults))
    name = found.pop("name", None)
    way = Way("", **found)  # type: ignore[arg-type]
    return replace(way, name=str(name) if name else way_words(way))


def way_words(way: Way) -> str:
    """A name for a way, from what it changes."""
    words = []
    if way.turning is not None:
        words.append(short_words(way.turning))
    if way.every is not None:
        every = f"every {way.every}" if way.every else "without turning"
        words.append(f"{words.pop()} {every}" if words else f"turned {every}")
    if way.pattern is not None:
        words.append(f"{way.pattern} strokes")
    if way.direction is not None:
        degrees = math.degrees(way.direction)
        known = {0.0: "along", 90.0: "across"}
        words.append(known.get(round(degrees, 6), f"at {plain(degrees)}°"))
    if way.length is not None:
        words.append(f"strokes of {_in_job(way.length, 'length')}")
    if way.height is not None:
        words.append(f"hands at {_in_job(way.height, 'length')}")
    if way.press is not None:
        words.append(f"press {_in_job(way.press, 'force')}")
    if way.papers is not None:
        words.append("-".join(grit.name for grit in way.papers))
    for strokes, what in ((way.brush, "brushed"), (way.sheet, "new sheet")):
        if strokes is not None:
            words.append(f"{what} every {strokes}" if strokes else f"{what} never")
    if way.wet is not None:
        words.append("worked wet" if way.wet else "worked dry")
    return ", ".join(words) or "as it stands"


def default_ways(scenario: Scenario, first: int = 0, sheet: int = 0, brush: int = 0) -> tuple[Way, ...]:
    """Some eight ways worth comparing on any part, the scenario's own first.

    Parameters
    ----------
    first : place of the paper that is begun on as it stands
    sheet, brush : strokes that a sheet of it serves and between brushings, 0 = never
    """
    height, grits_at_hand, wet = scenario.hands.height.value, scenario.paper.grits, scenario.paper.wet
    shorter = max(brush, brush * (sheet // 2 // brush)) if brush else sheet // 2
    tried = [
        _begun(grits_at_hand[first + 1 :]),
        _begun(grits_at_hand[first - 1 :]) if first else None,
        Way(f"new sheet every {shorter}", sheet=shorter) if 0 < shorter < sheet else None,
        Way("half the press", press=scenario.hands.press.value / 2),
        Way("worked dry" if wet else "worked wet", wet=not wet),
        Way("never turned", turning="none"),
        Way("half turn and walking", turning="half and walk"),
        Way(f"new sheet every {2 * sheet}", sheet=2 * sheet) if sheet else None,
        Way("hands half as high", height=height / 2) if height > 0.0 else None,
        Way("slanting strokes", pattern="diagonal"),
        Way("half turn every 20", turning="half", every=20),
        Way("quarter turns", turning="quarter"),
    ]
    found = [Way("as it stands")]
    for way in tried:
        # A way of its own first paper may have the same papers at hand.
        other = way is not None and (way.papers is not None or apply_way(scenario, way) != scenario)
        if way is not None and other and len(found) < SHOWN:
            same = replace(scenario.turning, assumed=False) == apply_way(scenario, way).turning
            if way.turning is None or not same:
                found.append(way)
    return tuple(found)


def _begun(papers: tuple[Grit, ...]) -> Way | None:
    return Way(f"begun on {papers[0].name}", papers=papers) if papers else None


def distinct(ways: Sequence[Way]) -> tuple[Way, ...]:
    """The ways, each with a name of its own.

    >>> [way.name for way in distinct([Way("a"), Way("a")])]
    ['a', 'a (2)']
    """
    seen: dict[str, int] = {}
    found = []
    for way in ways:
        seen[way.name] = seen.get(way.name, 0) + 1
        count = seen[way.name]
        found.append(way if count == 1 else replace(way, name=f"{way.name} ({count})"))
    return tuple(found)

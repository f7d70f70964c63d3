"""The keys of a scenario that ``handlap new`` asks for, and what it says of them."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache

from handlap.cli.asking.laid_questions import NAMES, STRIPS
from handlap.cli.asking.new_answers import NONE
from handlap.cli.reports.wording import plain_basis
from handlap.sim.common.spoken import reworded
from handlap.sim.common.units import System, unit_of
from handlap.sim.job.key_row import allowed_words
from handlap.sim.job.scenario_keys import BY_NAME, describe_keys
from handlap.sim.materials.metals import METALS

USUAL, GUESS = "usual", "guess"
UNITED = ("quantity", "uncertain quantity", "leaves", "points")
"""Kinds of keys whose plain numbers have a unit."""


@dataclass(frozen=True)
class AskedKey:
    """A key of the scenario that is asked for."""

    name: str
    heading: str
    text: str
    default: str
    more: str = ""


KEYS_ASKED: tuple[AskedKey, ...] = (
    AskedKey("part.metal", "The part", "Which metal is the face?", "A356"),
    AskedKey(
        "part.thickness", "The part", "How thick is it, if it is a thin plate that bends? Else: none.", NONE
    ),
    AskedKey("part.mass", "The part", "What does it weigh, with all that rests on the paper?", GUESS),
    AskedKey("part.limit", "The limits", "How flat must it be? The maker's figure comes first.", ""),
    AskedKey(
        "part.limit_by", "The limits", "How is that meant: by the straightedge, or as zone?", "straightedge"
    ),
    AskedKey("part.allowance", "The limits", "How much may come off at most, anywhere?", NONE),
    AskedKey("part.gasket", "The limits", "What gasket goes on it?", NONE),
    AskedKey("plate.length", "The plate", "How long is the flat plate the paper is stuck on?", USUAL),
    AskedKey("plate.width", "The plate", "How wide is it?", USUAL),
    AskedKey("plate.grade", "The plate", "Of what grade, with its standard?", NONE),
    AskedKey(
        "paper.grits", "The paper", "Which papers are at hand, coarse to fine, with commas between?", USUAL
    ),
    AskedKey("paper.wet", "The paper", "Worked wet? yes or no", "no"),
    AskedKey("paper.sheets", "The paper", "How many sheets are there, all grits together?", NONE),
    AskedKey(
        "hands.press",
        "The hands",
        "How hard do you press: light, firm, heavy, or a force?",
        USUAL,
        "Three numbers are its middle, least and greatest value.",
    ),
    AskedKey("hands.height", "The hands", "How high over the paper do the hands push?", USUAL),
    AskedKey("strokes.length", "The hands", "How far does the part travel one way?", USUAL),
    AskedKey("turning.schedule", "The hands", "How is the part turned as the work goes on?", USUAL),
    AskedKey("readings.edge_length", "The readings", "How long is the straightedge?", USUAL),
    AskedKey("readings.leaves", "The readings", "Which feeler leaves are at hand, as they are stamped?", ""),
)


def with_unit(text: str, name: str, system: System) -> str:
    """A question with the unit that a plain number has."""
    row = BY_NAME[name]
    unit = unit_of(row.quantity, system) if row.kind in UNITED else ""
    return f"{text} ({unit})" if unit else text


@cache
def help_words(name: str, system: System) -> str:
    """What the question mark at a prompt says of a key: meaning, what is allowed, default."""
    row = BY_NAME[name]
    words = reworded(row.help[:1].upper() + row.help[1:] + ".", system)
    if name == "part.metal":
        words += f" Known are {', '.join(metal.name for metal in METALS.values())}."
    allowed = allowed_words(row, system)
    if allowed:
        words += f" Allowed: {allowed}."
    if row.kind in ("quantity", "uncertain quantity"):
        own = '"2.5 cm" or "0.05 mm"' if system == "mm" else '"3 1/2 in" or "2 thou"'
        words += f" A number may bring its own unit, such as {own}."
    if row.basis:
        why = "" if row.basis == "ours" else reworded(f" ({row.basis.removeprefix('ours: ')})", system)
        words += f" Default: {default_words(name, system)}{why}."
    return words


@cache
def default_words(name: str, system: System) -> str:
    """The default of a key in words, in the units of the job."""
    return reworded(plain_basis(next(row.default for row in describe_keys() if row.name == name)), system)


_OPENING = re.compile("opening ([0-9]{1,4})")
_ORDER = ["title", "units", "outline", "part.length", "part.width", "part.polygon", *NAMES, "opening"]


def rank(name: str) -> tuple[int, int]:
    """Place of a question in the order they are asked in."""
    opening = _OPENING.fullmatch(name)
    if opening:
        return _ORDER.index("opening"), int(opening[1])
    if name in _ORDER:
        return _ORDER.index(name), 0
    keys = [asked.name for asked in KEYS_ASKED]
    place = keys.index("paper.grits") + 1
    keys[place:place] = STRIPS
    return len(_ORDER) + (keys.index(name) if name in keys else len(keys)), 0

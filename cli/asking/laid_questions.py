"""Holes in a row and strips of paper as a person would say them: how many, how large, how far apart."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from handlap.cli.asking.questions import Answers
from handlap.cli.asking.readings_text import length_of
from handlap.sim.common.errors import InputError
from handlap.sim.common.measured_number import read_length
from handlap.sim.common.spelling import nearest
from handlap.sim.common.units import System, show

NONE, WHOLE, CENTRED = "none", "whole", "centred"
MOST = 50
"""Holes of a row, or strips."""
SIDES = ("both", "near", "far")
LAYINGS = ("side by side", "end to end")
AT_A_TIME, SHARED = "one at a time", "shared out"
GRITS = (AT_A_TIME, SHARED)
SHEET: dict[System, tuple[str, str]] = {"mm": ("230", "280"), "inch": ("9", "11")}
"""Width and length of a full sheet of abrasive paper (common practice: 9 × 11 in)."""


@dataclass(frozen=True)
class Frame:
    """Size of a face, and where its left near corner lies in the frame of the file [m]."""

    length: float
    width: float
    corner: tuple[float, float]


@dataclass(frozen=True)
class Asking:
    """A question to be put: its name, text, help and default."""

    name: str
    text: str
    help: str
    default: str | None


@dataclass(frozen=True)
class HoleRow:
    """Holes in a row along the face; ``sided``: along its long sides, else one row over its middle."""

    key: str
    one: str
    text: str
    sided: bool

    @property
    def names(self) -> tuple[str, ...]:
        """What its answers are kept under, in the order they are asked in."""
        return (self.key, *(f"{self.key} {what}" for what in ("diameter", "apart", "side", "in", "first")))


ROWS = (
    HoleRow("bores", "bore", "How many large bores lie in a row, such as the cylinders of an engine?", False),
    HoleRow("bolts", "bolt hole", "How many bolt holes lie in a row along a long side?", True),
)
STRIPS = ("strips", "strips width", "strips length", "strips lie", "strips gap", "strips grits")
NAMES = tuple(name for row in ROWS for name in row.names)


def count_of(typed: str, otherwise: str) -> int:
    """A number of holes or strips; 0 for the word that says there are none.

    Raises
    ------
    InputError : says what is allowed
    """
    if typed.strip().lower() in (otherwise, "0", "no"):
        return 0
    if not typed.strip().isdecimal() or not 1 <= int(typed.strip()[:9]) <= MOST:
        raise InputError(f'"{typed}"; allowed: how many, 1 to {MOST}, or {otherwise}')
    return int(typed)


LEAST_GUESSED = 4
"""Words of fewer letters are too near to others to be guessed at."""


def one_of(typed: str, words: tuple[str, ...]) -> str:
    """The word that is meant, by its first letters, or mistyped; short words are not guessed at: cm is no mm.

    >>> one_of("ha", ("half", "quarter")), one_of("quater", ("half", "quarter"))
    ('half', 'quarter')
    """
    word = typed.strip().lower()
    guess = nearest(word, words) if len(word) >= LEAST_GUESSED else None
    fits = [known for known in words if word and known.startswith(word)] or ([guess] if guess else [])
    if len(fits) != 1:
        raise InputError(f'"{typed}"; allowed: {", ".join(words)} (first letters are enough)')
    return fits[0]


def length_typed(typed: str, system: System, *, least: float = 1e-3) -> float:
    """A length of at least so much [m], in the job's unit or its own."""
    try:
        return read_length(typed, system, least=least)
    except ValueError as error:
        raise InputError(f'"{typed}"; allowed: {error}') from None


# ---- holes in a row


def row_questions(row: HoleRow, answers: Answers, frame: Frame | None, system: System) -> Iterator[Asking]:
    """What is asked of a row, as it follows from the answers so far."""
    yield Asking(
        row.key,
        f"{row.text} A number, or {NONE}.",
        "Equal ones at equal distances; those of other sizes and in other places are asked for after it.",
        NONE,
    )
    try:
        count = count_of(answers.get(row.key, NONE), NONE)
    except InputError:
        return
    if not count:
        return
    unit = "mm" if system == "mm" else "in"
    yield Asking(f"{row.key} diameter", f"What is the diameter of a {row.one}? ({unit})",
                 "Of the hole as it meets the face.", None)  # fmt: skip
    if count > 1:
        share = None if frame is None else length_of(frame.length / count, system)
        yield Asking(
            f"{row.key} apart",
            f"How far apart are they, from middle to middle? ({unit})",
            "Measure from the left edge of one to the left edge of the next.",
            None if share is None else f"{round(share) if system == 'mm' else round(4 * share) / 4:g}",
        )
    if row.sided:
        yield Asking(f"{row.key} side", "Along both long sides, or the near or the far one alone?",
                     "The near side is the one towards you, the face lying long from left to right.",
                     SIDES[0])  # fmt: skip
        text = f"How far are their middles from that side? ({unit})"
    else:
        text = f"How far is the middle of the row from the near side? ({unit}, or {CENTRED})"
    yield Asking(
        f"{row.key} in",
        text,
        "Taped from the edge of the face.",
        None if row.sided else CENTRED,
    )
    yield Asking(
        f"{row.key} first",
        f"How far is the middle of the first one from the left end? ({unit}, or {CENTRED})",
        f"{CENTRED}: the row lies the same from both ends.",
        CENTRED,
    )


def check_row(row: HoleRow, name: str, answers: Answers, frame: Frame, system: System) -> None:
    """Refuse an answer about a row that cannot be on this face, and say what can.

    ``answers``: those so far, with the one to be checked.
    """
    typed = answers[name]
    count = count_of(answers[row.key], NONE)
    if name == row.key:
        return
    if name == f"{row.key} side":
        one_of(typed, SIDES)
        return
    if typed.lower() != CENTRED or name in (f"{row.key} diameter", f"{row.key} apart"):
        length_typed(typed, system)
    size = length_typed(answers[f"{row.key} diameter"], system)
    room = min(frame.length, frame.width)
    if size >= room:
        raise InputError(f"{_far(size, system)} across; allowed: less than the face, {_far(room, system)}")
    apart = _apart(row, answers, system)
    if name == f"{row.key} apart":
        if apart <= size:
            raise InputError(
                f"{_far(apart, system)} apart they would run into one another, for they are "
                f'{_far(size, system)} across; allowed: more than that ("<" goes back)'
            )
        if (count - 1) * apart + size >= frame.length:
            most = (frame.length - size) / (count - 1)
            raise InputError(
                f"{count} of them {_far(apart, system)} apart take "
                f"{_far((count - 1) * apart + size, system)}, and the face is {_far(frame.length, system)} "
                f"long; allowed: less than {_far(most, system)}"
            )
    elif name in (f"{row.key} in", f"{row.key} first") and typed.lower() != CENTRED:
        along = name.endswith("first")
        reach, whole = ((count - 1) * apart + size, frame.length) if along else (size, frame.width)
        at = length_typed(typed, system)
        least, most = 0.5 * size, whole - reach + 0.5 * size
        if not least < at < most:
            raise InputError(
                f"{_far(at, system)} puts {'one' if along else 'them'} over the edge; allowed: more than "
                f"{_far(least, system)} and less than {_far(most, system)}"
            )


def _far(value: float, system: System) -> str:
    return show(value, "length", system)


def _apart(row: HoleRow, answers: Answers, system: System) -> float:
    typed = answers.get(f"{row.key} apart")
    return 0.0 if typed is None else length_typed(typed, system)


def row_openings(row: HoleRow, answers: Answers, frame: Frame, system: System) -> list[dict[str, Any]]:
    """The holes of a row as a file holds them; none before the last question about it is answered."""
    count = count_of(answers.get(row.key, NONE), NONE)
    if not count or f"{row.key} first" not in answers:
        return []
    size = length_typed(answers[f"{row.key} diameter"], system)
    apart = _apart(row, answers, system) if count > 1 else 0.0
    first, inside = answers[f"{row.key} first"], answers[f"{row.key} in"]
    start = (
        0.5 * (frame.length - (count - 1) * apart)
        if first.lower() == CENTRED
        else length_typed(first, system)
    )
    off = 0.5 * frame.width if inside.lower() == CENTRED else length_typed(inside, system)
    side = one_of(answers.get(f"{row.key} side", SIDES[1]), SIDES)
    across = {"near": [off], "far": [frame.width - off], "both": [off, frame.width - off]}[side]
    return [
        {
            "circle": [
                length_of(frame.corner[0] + start + i * apart, system),
                length_of(frame.corner[1] + v, system),
                length_of(size, system),
            ]
        }
        for v in across
        for i in range(count)
    ]


# ---- strips of paper


def strip_questions(answers: Answers, system: System, grits: int) -> Iterator[Asking]:
    """What is asked of the paper as it is laid; ``grits``: how many are at hand."""
    yield Asking(
        "strips",
        f"Is the {WHOLE} plate papered, or how many pieces of paper lie on it?",
        "Sheets or strips of one size, about the middle of the plate. Pieces of other sizes go into the file "
        "under paper.strips.",
        WHOLE,
    )
    try:
        count = count_of(answers.get("strips", WHOLE), WHOLE)
    except InputError:
        return
    if not count:
        return
    unit = "mm" if system == "mm" else "in"
    width, length = SHEET[system]
    yield Asking("strips width", f"How wide is a piece, across the plate? ({unit})",
                 f"A full sheet is {width} by {length} {unit}.", width)  # fmt: skip
    yield Asking("strips length", f"How long is it, along the plate? ({unit})",
                 f"A full sheet is {width} by {length} {unit}.", length)  # fmt: skip
    if count > 1:
        yield Asking("strips lie", f"Do they lie {LAYINGS[0]}, or {LAYINGS[1]}?",
                     f"{LAYINGS[0]}: their long edges meet. {LAYINGS[1]}: one behind the other along the "
                     "plate.", LAYINGS[0])  # fmt: skip
        yield Asking("strips gap", f"How wide is the gap between two of them? ({unit})",
                     "0: they touch.", "0")  # fmt: skip
    if count > 1 and grits > 1:
        yield Asking(
            "strips grits",
            f"Do they all carry one grit at a time, or are they shared out among the {grits} grits "
            f"({AT_A_TIME}, {SHARED})?",
            f"{SHARED}: as many pieces for each grit. The work is then taken to keep to the pieces of the "
            "grit in use; where the part is wider than these it hangs over.",
            AT_A_TIME,
        )


def check_strip(name: str, answers: Answers, system: System, grits: int) -> None:
    """Refuse an answer about strips that cannot be read, or grits that cannot be shared out.

    ``answers``: those so far, with the one to be checked; ``grits``: how many are at hand.
    """
    typed = answers[name]
    if name == "strips":
        count_of(typed, WHOLE)
    elif name == "strips grits":
        count = count_of(answers["strips"], WHOLE)
        if one_of(typed, GRITS) == SHARED and count % grits:
            raise InputError(
                f"{count} pieces cannot be shared out evenly among {grits} grits; allowed: {AT_A_TIME}, or "
                '"<" back to their number'
            )
    elif name == "strips lie":
        one_of(typed, LAYINGS)
    else:
        length_typed(typed, system, least=0.0 if name == "strips gap" else 5e-3)


def pieces_of_a_grit(answers: Answers, grits: int) -> int:
    """How many pieces carry the grit in use, of those laid; 0: the whole plate is papered."""
    count = count_of(answers.get("strips", WHOLE), WHOLE)
    shared = one_of(answers.get("strips grits", AT_A_TIME), GRITS) == SHARED
    return count // grits if shared and grits > 1 and count % grits == 0 else count


def laid_strips(answers: Answers, system: System, grits: int) -> list[list[int | float]]:
    """Rectangles of paper as a file holds them; none before the last question about them is answered.

    ``grits``: how many are at hand.  Where pieces are shared out among them, those of the grit in use lie
    about the middle.
    """
    count = count_of(answers.get("strips", WHOLE), WHOLE)
    if not count or ("strips gap" if count > 1 else "strips length") not in answers:
        return []
    wide, long = (length_typed(answers[f"strips {what}"], system) for what in ("width", "length"))
    gap = length_typed(answers.get("strips gap", "0"), system, least=0.0)
    beside = one_of(answers.get("strips lie", LAYINGS[0]), LAYINGS) == LAYINGS[0]
    step = (wide if beside else long) + gap
    found = []
    count = pieces_of_a_grit(answers, grits)
    for i in range(count):
        middle = (i - 0.5 * (count - 1)) * step
        x, y = (0.0, middle) if beside else (middle, 0.0)
        corners = (x - 0.5 * long, y - 0.5 * wide, x + 0.5 * long, y + 0.5 * wide)
        found.append([length_of(c, system) for c in corners])
    return found

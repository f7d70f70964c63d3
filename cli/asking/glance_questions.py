"""What ``handlap glance`` asks, and how the answers become a scenario of which other commands go on."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, get_args

from handlap.cli.asking.new_answers import listed
from handlap.cli.asking.new_file import Document, compose, finish
from handlap.cli.asking.questions import Answers, Question, say
from handlap.cli.asking.readings_text import plain_number
from handlap.sim.common.errors import InputError, ScenarioError
from handlap.sim.common.measured_number import split_numbers
from handlap.sim.common.units import (
    POUND,
    System,
    from_si,
    in_unit,
    known_unit,
    number_and_unit,
    show_leaf,
)
from handlap.sim.job.scenario import Scenario, Where
from handlap.sim.job.scenario_file import load_text
from handlap.sim.materials.mass import slab_mass
from handlap.sim.materials.metals import METALS

NONE, USUAL = "none", "usual"
UNSURE = ("do not know", "don't know", "dont know", "not sure", "unknown", "no idea")
BARE: dict[System, tuple[float, float, str, str]] = {
    "mm": (1.0, 5.0, "mm", "µm"),
    "inch": (0.3, 0.5, "in", "thou"),
}
"""System → a bare leaf or limit below the first is in the first unit (0.05 is 0.05 mm), one from the second
on is in the second (50 is 50 µm); between them it is asked back."""


@dataclass(frozen=True)
class FaceSize:
    """Length and width of a face, and its thickness where it is thin [m]; ``system``: as it was written."""

    length: float
    width: float
    thickness: float | None
    system: System


def read_size(typed: str) -> FaceSize:
    """A size such as ``330 x 150``, ``13 x 6 x 0.2 in`` or ``200×100×6``.

    Raises
    ------
    InputError : says what is allowed

    >>> read_size("330 x 150"), read_size('10" x 4"').system
    (FaceSize(length=0.33, width=0.15, thickness=None, system='mm'), 'inch')
    """
    try:
        parts = [part for part in re.split(r"\s*(?:[x×*]|\bby\b)\s*", typed.strip().lower()) if part]
        parts = split_numbers(typed) if len(parts) < 2 else parts
        found = [number_and_unit(part) for part in parts]
    except ValueError:
        found = []
    units = [known_unit(unit, "length") if unit else "" for _, unit in found]
    if len(found) not in (2, 3) or None in units:
        raise InputError(
            f'"{typed}"; allowed: length x width, such as 330 x 150 or 13 x 6 in; and thickness behind it if '
            "it is a thin plate that bends, such as 200 x 100 x 6"
        )
    last = next((unit for unit in reversed(units) if unit), "mm")
    values = [in_unit(number, unit or last, "length") for (number, _), unit in zip(found, units, strict=True)]
    length, width = max(values[:2]), min(values[:2])
    return FaceSize(length, width, values[2] if len(values) == 3 else None, "inch" if last == "in" else "mm")


def read_heights(typed: str, system: System) -> list[float]:
    """Leaves, a limit or an allowance [m], each in its own unit, that of the last one, or the one in which
    alone a bare number makes sense.

    Raises
    ------
    InputError : for what is no number with a unit, or a bare one that may be meant in two ways

    >>> [round(1e6 * h) for h in read_heights("0,10 0,15", "mm") + read_heights("4 5 thou", "inch")]
    [100, 150, 102, 127]
    """
    try:
        found = [number_and_unit(part) for part in split_numbers(typed)]
    except ValueError as fault:
        raise InputError(f'"{typed}"; allowed: {fault}') from None
    values = []
    for number, written in found:
        unit = known_unit(written, "leaf") if written else _meant(number, system)
        if unit is None:
            raise InputError(f'"{typed}"; allowed: a number with its unit, such as {_example(system)}')
        values.append(in_unit(number, unit, "leaf"))
    return values


def _meant(number: float, system: System) -> str:
    below, above, small, large = BARE[system]
    if below <= number < above:
        raise InputError(f"{number:g}: {number:g} {small} or {number:g} {large}? Type it again with its unit")
    return small if number < below else large


def _example(system: System) -> str:
    return "0.05 mm or 50 µm" if system == "mm" else ".002 in or 2 thou"


def read_where(typed: str) -> str:
    """One of the four words, by its first letter or in other words for not knowing."""
    word = typed.strip().lower()
    if word in UNSURE:
        return "unknown"
    fits: list[str] = [where for where in get_args(Where) if word and where.startswith(word)]
    if word.startswith(("one corner", "a corner")):
        fits = ["corner"]
    if len(fits) != 1:
        raise InputError(f'"{typed}"; allowed: middle, ends, corner, or unknown (m, e, c, u)')
    return fits[0]


class GlanceJob:
    """The questions of a first look, and the file that comes of them."""

    def __init__(self, file: str, stem: str) -> None:
        self.file, self.stem = file, stem

    # ---- questions

    def questions(self, answers: Answers) -> list[Question]:
        """All that is to be asked, as it follows from the answers so far."""
        return list(self._all(answers))

    def _all(self, answers: Answers) -> Iterator[Question]:
        system = self._system(answers)
        yield self._question(
            "size",
            "How long and wide is the face? Such as 330 x 150, or 13 x 6 in. A thin plate that bends: its "
            "thickness too, such as 200 x 100 x 6.",
            "Plain numbers are mm. A casting some 30 mm deep hardly bends under the hands: leave it "
            "out. Bores and holes can be put into the file later.",
            None,
            answers,
        )
        yield self._question(
            "metal", "Which metal is it?", f"Known are {', '.join(METALS)}, and words for them such as "
            "aluminium or cast iron.", "A356", answers,
        )  # fmt: skip
        yield self._question(
            "limit",
            f"How flat must it be under a straightedge? Such as {_example(system)}.",
            "The maker's figure: the greatest gap a straightedge may show.",
            None,
            answers,
        )
        yield self._question(
            "off",
            f'How much may come off at most, anywhere? Or "{NONE}", if nobody has said.',
            "What the maker allows below new height, less what has been taken off before.",
            NONE,
            answers,
        )
        yield self._question(
            "gap",
            "The worst gap under the straightedge: thickest leaf that goes, thinnest that does not? "
            f"Such as {'0.10 0.15' if system == 'mm' else '.004 .006'}.",
            "Lay it along, across and cornerwise, and keep the worst. No leaf goes in anywhere: none and the "
            f"thinnest leaf, such as {'none 0.03' if system == 'mm' else 'none .0015'}. The thickest leaf "
            "goes too: that and open.",
            None,
            answers,
        )
        if not answers.get("gap", "").lower().startswith(NONE):
            yield self._question(
                "where",
                "Where is it: in the middle, at the ends (the edge rocks; hold it level), in one corner, or "
                "unknown?",
                "First letters are enough. Unknown makes every figure wider.",
                "unknown",
                answers,
            )
        yield self._question(
            "paper",
            "Which papers are at hand, coarse to fine? Such as P80 P120 P240.",
            "P grades; a US grade is written 320 US. Usual: P80, P120, P240.",
            USUAL,
            answers,
        )

    def _question(self, name: str, text: str, more: str, default: str | None, answers: Answers) -> Question:
        return Question(name, text, more, default, self._checked(name, answers), "")

    def _checked(self, name: str, answers: Answers) -> Callable[[str], None]:
        def check(typed: str) -> None:
            before = {k: v for k, v in answers.items() if _rank(k) < _rank(name)}
            told = self.load({**before, name: typed})
            understood = _understood(name, typed, told)
            if understood:
                say(understood, "  ")

        return check

    def _system(self, answers: Answers) -> System:
        return read_size(answers["size"]).system if "size" in answers else "mm"

    # ---- the file

    def document(self, answers: Answers) -> Document:
        """What the answers state, as a TOML document; questions not yet asked are filled in.

        Raises
        ------
        InputError : for an answer that cannot be read
        """
        size = read_size(answers.get("size", "240 x 140"))
        system = size.system

        def height(typed: str, what: str) -> int | float:
            values = read_heights(typed, system)
            if len(values) != 1:
                raise InputError(f'{what} "{typed}"; allowed: one number, such as {_example(system)}')
            return _number(values[0], "height", system)

        part: Document = {
            "length": _number(size.length, "length", system),
            "width": _number(size.width, "length", system),
            "metal": answers.get("metal", "A356"),
        }
        part["limit"] = height(answers["limit"], "limit") if "limit" in answers else "50 µm"
        if answers.get("off", NONE).lower() != NONE:
            part["allowance"] = height(answers["off"], "off")
        if size.thickness is not None:
            part["thickness"] = _number(size.thickness, "length", system)
        document: Document = {"title": self.stem, "units": system, "part": part}
        part["mass"] = self._mass(document, size)
        if answers.get("paper", USUAL).lower() != USUAL:
            document["paper"] = {"grits": listed(answers["paper"])}
        gap = self._gap(answers.get("gap", "100 µm 150 µm"), system)
        where = read_where(answers.get("where", "unknown"))
        document["readings"] = {"worst_gap": [*gap, where]}
        return document

    def _gap(self, typed: str, system: System) -> list[Any]:
        """The two leaves as the file holds them."""
        words = typed.strip().lower().replace(",", " ").split() if "none" in typed.lower() else typed.split()
        nothing, open_ended = words[:1] == [NONE], [w.lower() for w in words[-1:]] == ["open"]
        rest = " ".join(words[int(nothing) : len(words) - int(open_ended)])
        leaves = read_heights(rest, system) if rest else []
        if len(leaves) != (1 if nothing or open_ended else 2) or (nothing and open_ended):
            raise InputError(
                f'"{typed}"; allowed: two leaves, the one that goes and the one that does not, such as '
                f"{'0.10 0.15' if system == 'mm' else '.004 .006'}; none and a leaf; or a leaf and open"
            )
        if not nothing and not open_ended and leaves[0] >= leaves[1]:
            raise InputError(
                f'"{typed}"; allowed: the leaf that does not go is the thicker one, and comes second'
            )
        numbers: list[Any] = [_number(leaf, "leaf", system) for leaf in leaves]
        return ["none", *numbers] if nothing else [*numbers, "open"] if open_ended else numbers

    def _mass(self, document: Document, size: FaceSize) -> int | float:
        """Mass of a slab of the face's size [file unit]."""
        tried = self._loaded({**document, "part": {**document["part"], "mass": 1}})
        mass = slab_mass(tried.part.outline.area, size.thickness, tried.part.metal.density)
        return plain_number(float(f"{mass / (POUND if size.system == 'inch' else 1.0):.2g}"))

    def load(self, answers: Answers) -> Scenario:
        """What the loader makes of the answers so far; its faults are raised in its own words."""
        return self._loaded(self.document(answers))

    def _loaded(self, document: Document) -> Scenario:
        try:
            return load_text(compose(document, [], [], self.file), self.stem, file=self.file,
                             require_readings=False)  # fmt: skip
        except ScenarioError as error:
            raise InputError("\n".join(f"{f}".removeprefix(f"{f.file}: ") for f in error.faults)) from None

    def text(self, answers: Answers) -> str:
        """The whole file."""
        document = self.document(answers)
        thick = "its thickness" if "thickness" in document["part"] else "a slab 30 mm thick"
        intro = [
            f"{self.stem}, at first sight",
            'Written by "handlap glance".',
            f"The mass is a guess from {thick}: weigh the part. Openings are still to be put in. Only the "
            "worst gap of the face is known: lines of readings, once there are any, take its place.",
        ]
        return finish(document, intro, ["plate.length", "hands.press", "hands.height"], self.file)


def _number(value: float, quantity: str, system: System) -> int | float:
    return plain_number(round(from_si(value, quantity, system), 6))


def _understood(name: str, typed: str, job: Scenario) -> str:
    """What was understood, where the answer left the unit to be seen."""
    system = job.system
    worst = job.readings.worst
    if name == "limit":
        return f"Taken as {_both(job.part.limit, system)}."
    if name == "off" and job.part.allowance is not None:
        return f"Taken as {_both(job.part.allowance, system)}."
    if name == "gap" and worst is not None:
        goes = f"{_both(worst.goes, system)} goes" if worst.goes > 0.0 else "nothing goes"
        stops = f"{_both(worst.stops, system)} does not" if worst.stops < 1.0 else "nothing thicker was tried"
        words = f"Taken as: {goes}, {stops}."
        if worst.goes <= 0.0 and worst.stops >= job.part.limit:
            from handlap.sim.face.told import thinner_leaves

            words += f" That leaf cannot show that the limit is met: {thinner_leaves(job.part)}."
        return words
    return ""


def _both(height: float, system: System) -> str:
    """A height as leaves may be stamped, in either way of the system."""
    if system == "inch":
        return f"{show_leaf(height, 'in')} ({show_leaf(height, 'thou')})"
    return f"{show_leaf(height, 'mm')} ({show_leaf(height, 'µm')})"


ORDER = ("size", "metal", "limit", "off", "gap", "where", "paper")


def _rank(name: str) -> int:
    return ORDER.index(name) if name in ORDER else len(ORDER)

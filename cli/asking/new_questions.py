"""What ``handlap new`` asks, and how answers become a scenario."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any

from handlap.cli.asking.new_file import Document, builtin_outline, compose, outline_names
from handlap.cli.asking.questions import Question, say
from handlap.cli.asking.readings_text import line_text, plain_number
from handlap.sim.common.errors import InputError, ScenarioError
from handlap.sim.common.units import POUND, System, unit_of
from handlap.sim.face.stations import lines_of
from handlap.sim.job.key_row import Key, allowed_words
from handlap.sim.job.scenario import Scenario, Station
from handlap.sim.job.scenario_file import file_frame, load_text
from handlap.sim.job.scenario_keys import BY_NAME, describe_keys
from handlap.sim.job.scenario_values import SHORT_GASKETS
from handlap.sim.materials.metals import METALS

NONE, USUAL, GUESS = "none", "usual", "guess"
SLAB = 0.030
"""Thickness of the slab that a guess of the mass is made from [m]."""
MOST_OPENINGS = 200
RECTANGLE, POLYGON = "rectangle", "polygon"
LEAVES = {"mm": "30 40 50 60 80 100 150 200 250 300", "inch": "1.5 2 3 4 5 6 8 10 12 15"}
LIMITS = {"mm": "50", "inch": "2"}
SIZES = {"mm": ("240", "140"), "inch": ("10", "6")}
UNITED = ("quantity", "uncertain quantity", "leaves", "points")
"""Kinds of keys whose plain numbers have a unit."""
FILLED: Document = {"part": {"metal": "A356", "mass": "2 kg", "limit": "50 µm"}}
"""What stands in for questions not yet asked while an answer is checked."""

Answers = dict[str, str]


@dataclass(frozen=True)
class Asked:
    """A key of the scenario that is asked for."""

    name: str
    heading: str
    text: str
    default: str
    more: str = ""


KEYS_ASKED: tuple[Asked, ...] = (
    Asked("part.metal", "The part", "Which metal is the face?", "A356"),
    Asked("part.mass", "The part", "What does it weigh, with all that rests on the paper?", GUESS),
    Asked(
        "part.thickness", "The part", "How thick is it, if it is a thin plate that bends? Else: none.", NONE
    ),
    Asked("part.limit", "The limits", "How flat must it be? The maker's figure comes first.", ""),
    Asked(
        "part.limit_by", "The limits", "How is that meant: by the straightedge, or as zone?", "straightedge"
    ),
    Asked("part.allowance", "The limits", "How much may come off at most, anywhere?", NONE),
    Asked("part.gasket", "The limits", "What gasket goes on it?", NONE),
    Asked("plate.length", "The plate", "How long is the flat plate the paper is stuck on?", USUAL),
    Asked("plate.width", "The plate", "How wide is it?", USUAL),
    Asked("plate.grade", "The plate", "Of what grade, with its standard?", NONE),
    Asked(
        "paper.grits", "The paper", "Which papers are at hand, coarse to fine, with commas between?", USUAL
    ),
    Asked("paper.wet", "The paper", "Worked wet? yes or no", "no"),
    Asked("paper.sheets", "The paper", "How many sheets are there, all grits together?", NONE),
    Asked(
        "hands.press",
        "The hands",
        "How hard do you press: light, firm, heavy, or a force?",
        USUAL,
        "Three numbers are its middle, least and greatest value, such as 35 20 60.",
    ),
    Asked("hands.height", "The hands", "How high over the paper do the hands push?", USUAL),
    Asked("strokes.length", "The hands", "How far does the part travel one way?", USUAL),
    Asked("turning.schedule", "The hands", "How is the part turned as the work goes on?", USUAL),
    Asked("readings.leaves", "The readings", "Which feeler leaves are at hand?", ""),
)


def system_of(answers: Answers) -> System:
    """Units of the file."""
    return "inch" if answers.get("units") == "inch" else "mm"


class NewJob:
    """The questions of a new scenario, and its text."""

    def __init__(self, file: str, stem: str) -> None:
        self.file = file
        self.stem = stem
        self._guesses: dict[str, int | float] = {}

    def questions(self, answers: Answers) -> list[Question]:
        """All that is to be asked, as it follows from the answers so far."""
        return list(self._all(answers))

    def _all(self, answers: Answers) -> Iterator[Question]:
        yield self._plain("title", "The job", "What is the job, in a few words?", self.stem, answers)
        yield self._plain("units", "The job", "Plain numbers in mm, or in inch?", "mm", answers)
        yield Question(
            "outline",
            f"What outline has the face: {RECTANGLE}, {POLYGON}, or that of a built-in scenario by its name?",
            "A rectangle is asked for by its length and width, a polygon by its corners. Built-in outlines, "
            f"with their openings: {', '.join(outline_names())}.",
            RECTANGLE,
            self._checked("outline", answers),
            "The part",
        )
        shape = answers.get("outline", RECTANGLE)
        if shape == RECTANGLE:
            sizes = SIZES[system_of(answers)]
            for name, text, size in zip(
                ("part.length", "part.width"),
                ("How long is the face?", "How wide is it?"),
                sizes,
                strict=True,
            ):
                yield self._plain(name, "The part", text, size, answers)
        elif shape == POLYGON:
            text = "Its corners in order, U V of each, with semicolons between?"
            yield self._plain("part.polygon", "The part", text, None, answers)
        if shape in (RECTANGLE, POLYGON):
            yield from self._openings(answers)
        for asked in KEYS_ASKED:
            yield self._keyed(asked, answers)

    def _openings(self, answers: Answers) -> Iterator[Question]:
        for i in range(1, MOST_OPENINGS + 1):
            name = f"opening {i}"
            yield Question(
                name,
                f"Opening {i}: circle U V DIAMETER, slot U V LENGTH WIDTH ANGLE, polygon U V; U V; U V; or "
                f"{NONE} for no more.",
                "Bores, ports, bolt and water holes: everything that is not metal. U runs along the part, V "
                "across it, from the middle of a rectangle, or in the frame of a polygon's corners. Small "
                "holes matter little; leave out what is under 5 mm.",
                NONE,
                self._checked(name, answers),
                "The part",
            )
            if answers.get(name, NONE) == NONE:
                return

    def _plain(self, name: str, heading: str, text: str, default: str | None, answers: Answers) -> Question:
        told = _with_unit(text, name, system_of(answers))
        return Question(name, told, _help(name), default, self._checked(name, answers), heading)

    def _keyed(self, asked: Asked, answers: Answers) -> Question:
        system = system_of(answers)
        default = {"part.limit": LIMITS[system], "readings.leaves": LEAVES[system]}.get(
            asked.name, asked.default
        )
        text = _with_unit(asked.text, asked.name, system)
        if default == USUAL:
            text += f" Usual: {_default_words(asked.name)}."
        elif default == GUESS:
            text += f" A guess, from a slab 30 mm thick, is {self._mass_words(answers)}."
        return Question(
            asked.name,
            text,
            f"{_help(asked.name)} {asked.more}".strip(),
            default,
            self._checked(asked.name, answers),
            asked.heading,
        )

    def _checked(self, name: str, answers: Answers) -> Callable[[str], None]:
        """A check of an answer against the loader, with those before it and fillers for the rest."""

        def check(answer: str) -> None:
            before = {k: v for k, v in answers.items() if _rank(k) < _rank(name)}
            known = self._doubts(before)
            self._outline_known({**before, name: answer})
            scenario = self._load({**before, name: answer})
            for doubt in scenario.warnings:
                if doubt not in known:
                    say(f"Look again: {doubt}", "  ")

        return check

    def _outline_known(self, answers: Answers) -> None:
        shape = answers.get("outline", RECTANGLE)
        known = (RECTANGLE, POLYGON, *outline_names())
        if shape not in known:
            raise InputError(f'outline = "{shape}"; allowed: {", ".join(known)}')

    def _doubts(self, answers: Answers) -> tuple[str, ...]:
        try:
            return self._load(answers).warnings
        except InputError:
            return ()

    def _load(self, answers: Answers) -> Scenario:
        """What the loader makes of the answers so far; its faults are raised in its own words."""
        document = self.document(answers)
        filled: list[str] = []
        for table, values in FILLED.items():
            for key, value in values.items():
                if key not in document.setdefault(table, {}):
                    document[table][key] = value
                    filled.append(f"{table}.{key}")
        part = document["part"]
        if "polygon" not in part:
            size = part.get("length", raw_number(SIZES[system_of(answers)][0]))
            for key in ("length", "width"):
                if key not in part:
                    part[key] = size
                    filled.append(f"part.{key}")
        text = compose(document, [], [], self.file)
        try:
            return load_text(text, self.stem, file=self.file, require_readings=False)
        except ScenarioError as error:
            told = [fault for fault in error.faults if fault.key not in filled] or list(error.faults)
            raise ScenarioError(told) from None

    def document(self, answers: Answers) -> Document:
        """What the answers state, as a TOML document."""
        system = system_of(answers)
        document: Document = {"title": answers.get("title", self.stem), "units": answers.get("units", "mm")}
        part: Document = {}
        shape = answers.get("outline", RECTANGLE)
        if shape in (RECTANGLE, POLYGON):
            for name in ("part.length", "part.width") if shape == RECTANGLE else ("part.polygon",):
                if name in answers:
                    part[name.partition(".")[2]] = raw_value(BY_NAME[name], answers[name])
            openings = _openings_of(answers)
            if openings:
                part["openings"] = openings
        elif shape in outline_names():
            part.update(builtin_outline(shape, system))
        document["part"] = part
        for asked in KEYS_ASKED:
            answer = answers.get(asked.name)
            if answer is None or _unset(asked, answer):
                continue
            table, _, key = asked.name.partition(".")
            guessed = answer == GUESS and asked.default == GUESS
            value = self._guess(answers) if guessed else raw_value(BY_NAME[asked.name], answer)
            document.setdefault(table, {})[key] = value
        return document

    def _guess(self, answers: Answers) -> int | float:
        """Mass of a slab of the face's area [file unit]."""
        before = {k: v for k, v in answers.items() if _rank(k) < _rank("part.mass")}
        held = repr(sorted(before.items()))
        if held not in self._guesses:
            part = self._load(before).part
            mass = part.outline.area * SLAB * part.metal.density
            unit = POUND if system_of(answers) == "inch" else 1.0
            self._guesses[held] = plain_number(float(f"{mass / unit:.2g}"))
        return self._guesses[held]

    def _mass_words(self, answers: Answers) -> str:
        try:
            return f"{self._guess(answers)} {'lb' if system_of(answers) == 'inch' else 'kg'}"
        except InputError:
            return "made from the area"

    def text(self, answers: Answers) -> str:
        """The whole file."""
        document = self.document(answers)
        intro = [answers.get("title", self.stem), 'Written by "handlap new".']
        if answers.get("part.mass", GUESS) == GUESS:
            intro.append("The mass is a guess from a slab 30 mm thick: weigh the part.")
        unstated = [a.name for a in KEYS_ASKED if _unset(a, answers.get(a.name, a.default))]
        return finish(document, intro, unstated, self.file)


def _unset(asked: Asked, answer: str) -> bool:
    """Whether an answer leaves a key to its default."""
    return asked.default in (NONE, USUAL) and answer in (NONE, USUAL)


def _with_unit(text: str, name: str, system: System) -> str:
    """A question with the unit that a plain number has."""
    row = BY_NAME[name]
    unit = unit_of(row.quantity, system) if row.kind in UNITED else ""
    return f"{text} ({unit})" if unit else text


def _openings_of(answers: Answers) -> list[Document]:
    """Openings up to the first question answered by "none"."""
    found = []
    for i in range(1, MOST_OPENINGS + 1):
        answer = answers.get(f"opening {i}", NONE)
        if answer == NONE:
            break
        found.append(raw_opening(answer))
    return found


def finish(document: Document, intro: list[str], unstated: list[str], file: str) -> str:
    """The text of a new file, tried on the loader and with a line of readings as an example."""
    bare = compose(document, intro, unstated, file)
    scenario = load_text(bare, file, file=file, require_readings=False)
    system, middle = file_frame(bare)
    lines = lines_of(scenario, system, standard=True)
    leaves = scenario.readings.leaves
    example = ""
    if lines and lines[0].at:
        leaf = leaves[0] if leaves else 30e-6
        stations = tuple(Station(at, 0.0, leaf) for at in lines[0].at[:2])
        example = line_text(lines[0], "rest", stations, system, middle, scenario.leaf_unit)
    text = compose(document, intro, unstated, file, example)
    load_text(text, file, file=file, require_readings=False)
    return text


OPENING = re.compile("opening ([0-9]{1,4})")
_ORDER = ["title", "units", "outline", "part.length", "part.width", "part.polygon", "opening"]


def _rank(name: str) -> tuple[int, int]:
    """Place of a question in the order they are asked in."""
    opening = OPENING.fullmatch(name)
    if opening:
        return _ORDER.index("opening"), int(opening[1])
    if name in _ORDER:
        return _ORDER.index(name), 0
    keys = [asked.name for asked in KEYS_ASKED]
    return len(_ORDER) + (keys.index(name) if name in keys else len(keys)), 0


@cache
def _help(name: str) -> str:
    row = BY_NAME[name]
    words = row.help[:1].upper() + row.help[1:] + "."
    if name == "part.metal":
        words += f" Known are {', '.join(metal.name for metal in METALS.values())}."
    allowed = allowed_words(row)
    if allowed:
        words += f" Allowed: {allowed}."
    if row.kind in ("quantity", "uncertain quantity"):
        words += ' A number may bring its own unit, such as "2.5 in" or "0.05 mm".'
    if row.basis:
        words += f" Default: {_default_words(name)} ({row.basis})."
    return words


@cache
def _default_words(name: str) -> str:
    return next(row.default for row in describe_keys() if row.name == name)


def raw_number(typed: str) -> int | float | str:
    """What was typed as a file would hold it: a plain number, or the text with its unit."""
    if re.fullmatch(r"[+-]?\d{1,15}", typed):
        return int(typed)
    if re.fullmatch(r"[+-]?(\d+\.\d*|\.\d+)([eE][+-]?\d{1,3})?|[+-]?\d+[eE][+-]?\d{1,3}", typed):
        value = float(typed)
        return value if abs(value) < 1e300 else typed
    return typed


def listed(typed: str) -> list[Any]:
    """Numbers or words with commas or blanks between them, as a file would hold them."""
    parts = typed.split(",") if "," in typed else typed.split()
    return [raw_number(part.strip()) for part in parts if part.strip()]


def _points(typed: str) -> list[list[Any]]:
    return [listed(corner) for corner in typed.split(";") if corner.strip()]


def raw_value(row: Key, typed: str) -> Any:
    """An answer as the value of a key; what cannot be read so stays text, for the loader to refuse."""
    if row.kind in ("quantity", "whole number"):
        return raw_number(typed)
    if row.kind == "uncertain quantity":
        parts = listed(typed)
        if len(parts) == 3:
            return dict(zip(("value", "low", "high"), parts, strict=True))
        return raw_number(typed)
    if row.kind == "yes or no":
        return {"yes": True, "y": True, "true": True, "no": False, "n": False, "false": False}.get(
            typed.lower(), typed
        )
    if row.kind == "points":
        return _points(typed)
    if row.kind == "gasket":
        word = typed.strip().lower()
        return typed if typed in row.choices or word in SHORT_GASKETS else listed(typed)
    if row.kind in ("leaves", "grits"):
        return listed(typed)
    return typed


def raw_opening(typed: str) -> Document:
    """An opening as a file would hold it.

    Raises
    ------
    InputError : if it is none of the three kinds
    """
    kind, _, rest = typed.partition(" ")
    if kind not in ("circle", "slot", "polygon"):
        raise InputError(f'"{typed}"; allowed: circle, slot or polygon with its numbers, or {NONE}')
    return {kind: _points(rest) if kind == "polygon" else listed(rest)}

"""What ``handlap new`` asks, and how answers become a scenario."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from dataclasses import replace

from handlap.cli.asking.laid_questions import (
    NAMES,
    ROWS,
    STRIPS,
    Asking,
    Frame,
    check_row,
    check_strip,
    laid_strips,
    pieces_of_a_grit,
    row_openings,
    row_questions,
    strip_questions,
)
from handlap.cli.asking.new_answers import (
    DOUBTED,
    MOST_OPENINGS,
    NONE,
    leaves_typed,
    listed,
    openings_of,
    raw_number,
    raw_value,
    refuse_doubtful,
)
from handlap.cli.asking.new_file import Document, builtin_outline, compose, finish, outline_names
from handlap.cli.asking.new_keys import (
    GUESS,
    KEYS_ASKED,
    USUAL,
    AskedKey,
    default_words,
    help_words,
    rank,
    with_unit,
)
from handlap.cli.asking.questions import Answers, Question, say
from handlap.cli.asking.readings_text import plain_number
from handlap.cli.screen import Screen
from handlap.sim.common.errors import InputError, ScenarioError
from handlap.sim.common.spoken import reworded
from handlap.sim.common.units import POUND, System, show
from handlap.sim.face.told import too_thick_to_show
from handlap.sim.job.scenario import Scenario
from handlap.sim.job.scenario_file import file_frame, load_text
from handlap.sim.job.scenario_keys import BY_NAME
from handlap.sim.materials.mass import SLAB, slab_mass

RECTANGLE, POLYGON = "rectangle", "polygon"
LEAVES = {"mm": "30 40 50 60 80 100 150 200 250 300", "inch": "1.5 2 3 4 5 6 8 10 12 15"}
LIMITS = {"mm": "50", "inch": "2"}
SIZES = {"mm": ("240", "140"), "inch": ("10", "6")}
FILLED: Document = {"part": {"metal": "A356", "mass": "2 kg", "limit": "50 µm"}}
"""What stands in for questions not yet asked while an answer is checked."""


def system_of(answers: Answers) -> System:
    """Units of the file."""
    return "inch" if raw_value(BY_NAME["units"], answers.get("units", "mm")) == "inch" else "mm"


class NewJob:
    """The questions of a new scenario, and its text."""

    def __init__(self, file: str, stem: str) -> None:
        self.file = file
        self.stem = stem
        self._guesses: dict[str, int | float] = {}
        self._frames: dict[str, Frame] = {}
        self._made: dict[str, tuple[str, Scenario]] = {}

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
        shape = _shape(answers)
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
            yield from self._rows(answers)
            yield from self._openings(answers)
        for asked in KEYS_ASKED:
            question = self._keyed(asked, answers)
            first = asked is KEYS_ASKED[0]
            yield replace(question, picture=self._drawing(answers)) if first else question
            if asked.name == "paper.grits":
                for strip in strip_questions(answers, system_of(answers), _grits(answers)):
                    yield self._laid(strip, "The paper", answers)

    def _rows(self, answers: Answers) -> Iterator[Question]:
        frame = self._frame(answers)
        for row in ROWS:
            for asked in row_questions(row, answers, frame, system_of(answers)):
                yield self._laid(asked, "The part", answers)

    def _laid(self, asked: Asking, heading: str, answers: Answers) -> Question:
        check = self._checked(asked.name, answers)
        return Question(asked.name, asked.text, asked.help, asked.default, check, heading)

    def _frame(self, answers: Answers) -> Frame | None:
        """The face before any openings; None while its outline is not known."""
        before = {k: v for k, v in answers.items() if rank(k) < rank(NAMES[0])}
        sized = "part.polygon" in before or {"part.length", "part.width"} <= before.keys()
        if not sized or _shape(answers) not in (RECTANGLE, POLYGON):
            return None
        held = repr(sorted(before.items()))
        if held not in self._frames:
            try:
                text, job = self._composed(before)
            except InputError:
                return None
            outline, middle = job.part.outline, file_frame(text)[1]
            corner = middle[0] - outline.length / 2.0, middle[1] - outline.width / 2.0
            self._frames[held] = Frame(outline.length, outline.width, corner)
        return self._frames[held]

    def _drawing(self, answers: Answers) -> list[str]:
        """The face as it has been described, in letters."""
        if self._frame(answers) is None:
            return []
        from handlap.cli.drawing.face_drawing import outline_drawing

        try:
            outline = self._load({k: v for k, v in answers.items() if rank(k) < rank("part.metal")})
        except InputError:
            return []
        return outline_drawing(outline.part.outline, Screen.of(sys.stderr).width)

    def _openings(self, answers: Answers) -> Iterator[Question]:
        for i in range(1, MOST_OPENINGS + 1):
            name = f"opening {i}"
            yield Question(
                name,
                f"Opening {i}: circle U V DIAMETER, slot U V LENGTH WIDTH ANGLE, polygon U V; U V; U V; or "
                f"{NONE} for no more.",
                "Bores, ports, bolt and water holes: everything that is not metal. U runs along the part, V "
                "across it, from the middle of a rectangle, or in the frame of a polygon's corners. Small "
                f"holes matter little; leave out what is under {reworded('5 mm', system_of(answers))}.",
                NONE,
                self._checked(name, answers),
                "The part",
            )
            if answers.get(name, NONE) == NONE:
                return

    def _plain(self, name: str, heading: str, text: str, default: str | None, answers: Answers) -> Question:
        told = with_unit(text, name, system_of(answers))
        return Question(
            name, told, help_words(name, system_of(answers)), default, self._checked(name, answers), heading
        )

    def _keyed(self, asked: AskedKey, answers: Answers) -> Question:
        system = system_of(answers)
        default = {"part.limit": LIMITS[system], "readings.leaves": LEAVES[system]}.get(
            asked.name, asked.default
        )
        text = with_unit(asked.text, asked.name, system)
        if default == USUAL:
            text += f" Usual: {default_words(asked.name, system)}."
        elif default == GUESS:
            text += f" A guess, from {self._slab_words(answers)}, is {self._mass_words(answers)}."
        return Question(
            asked.name,
            text,
            f"{help_words(asked.name, system)} {asked.more}".strip(),
            default,
            self._checked(asked.name, answers),
            asked.heading,
        )

    def _checked(self, name: str, answers: Answers) -> Callable[[str], None]:
        """A check of an answer against the loader, with those before it and fillers for the rest."""

        def check(answer: str) -> None:
            before = {k: v for k, v in answers.items() if rank(k) < rank(name)}
            known = self._doubts(before)
            self._outline_known({**before, name: answer})
            self._understood(name, {**before, name: answer})
            try:
                scenario = self._load({**before, name: answer})
            except ScenarioError as error:
                raise _of_holes(error) if name in NAMES else error from None
            for doubt in scenario.warnings:
                # How stiff a part is taken to be rests on its mass, which is a filler before it is known.
                early = doubt.startswith("part.thickness") and rank(name) < rank("part.mass")
                if doubt not in known and not early:
                    say(f"Look again: {doubt}", "  ")
            if name == "readings.leaves":
                remark = too_thick_to_show(scenario.part, scenario.readings.leaves)
                if remark:
                    say(remark, "  ")

        return check

    def _understood(self, name: str, answers: Answers) -> None:
        """Refuse what cannot be read as holes in a row or as strips; ask back what lacks its unit."""
        system = system_of(answers)
        frame = self._frame(answers)
        if name in STRIPS:
            check_strip(name, answers, system, _grits(answers))
        for row in ROWS:
            if name in row.names and frame is not None:
                check_row(row, name, answers, frame, system)
        if name in DOUBTED:
            refuse_doubtful(answers[name], BY_NAME[name], system)

    def _outline_known(self, answers: Answers) -> None:
        shape = _shape(answers)
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
        return self._composed(answers)[1]

    def _composed(self, answers: Answers) -> tuple[str, Scenario]:
        """The text of the answers so far with fillers for the rest, and what the loader makes of it."""
        held = repr(sorted(answers.items()))
        if held not in self._made:
            # Every question asks for the same few again: what was answered before it, and its own answer.
            self._made[held] = self._compose(answers)
        return self._made[held]

    def _compose(self, answers: Answers) -> tuple[str, Scenario]:
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
            return text, load_text(text, self.stem, file=self.file, require_readings=False)
        except ScenarioError as error:
            told = [fault for fault in error.faults if fault.key not in filled] or list(error.faults)
            raise ScenarioError(told) from None

    def document(self, answers: Answers) -> Document:
        """What the answers state, as a TOML document."""
        system = system_of(answers)
        document: Document = {
            "title": answers.get("title", self.stem),
            "units": raw_value(BY_NAME["units"], answers.get("units", "mm")),
        }
        part: Document = {}
        shape = _shape(answers)
        if shape in (RECTANGLE, POLYGON):
            for name in ("part.length", "part.width") if shape == RECTANGLE else ("part.polygon",):
                if name in answers:
                    part[name.partition(".")[2]] = raw_value(BY_NAME[name], answers[name])
            openings = [*self._in_rows(answers), *openings_of(answers)]
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
            if asked.name == "readings.leaves":
                document.setdefault("readings", {}).update(leaves_typed(answer, system))
                continue
            guessed = answer == GUESS and asked.default == GUESS
            value = self._guess(answers) if guessed else raw_value(BY_NAME[asked.name], answer)
            document.setdefault(table, {})[key] = value
        strips = laid_strips(answers, system, _grits(answers))
        if strips:
            document.setdefault("paper", {})["strips"] = strips
        return document

    def _in_rows(self, answers: Answers) -> list[Document]:
        # The frame is made of what comes before the rows.
        frame = self._frame(answers) if any(row.key in answers for row in ROWS) else None
        if frame is None:
            return []
        return [hole for row in ROWS for hole in row_openings(row, answers, frame, system_of(answers))]

    def _guess(self, answers: Answers) -> int | float:
        """Mass of a slab of the face's area [file unit]."""
        before = {k: v for k, v in answers.items() if rank(k) < rank("part.mass")}
        held = repr(sorted(before.items()))
        if held not in self._guesses:
            part = self._load(before).part
            mass = slab_mass(part.outline.area, part.thickness, part.metal.density)
            unit = POUND if system_of(answers) == "inch" else 1.0
            self._guesses[held] = plain_number(float(f"{mass / unit:.2g}"))
        return self._guesses[held]

    def _slab_words(self, answers: Answers) -> str:
        """What the mass is guessed from."""
        if answers.get("part.thickness", NONE) == NONE:
            return f"a slab {show(SLAB, 'length', system_of(answers), 2)} thick without its openings"
        return "its thickness, without its openings"

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
            intro.append(f"The mass is a guess from {self._slab_words(answers)}: weigh the part.")
        pieces = pieces_of_a_grit(answers, _grits(answers))
        if pieces and str(pieces) != answers["strips"].strip():
            intro.append(
                f"Each grit has {pieces} of the {answers['strips'].strip()} pieces of paper on the plate; "
                "those of the grit in use lie about the middle, and the work keeps to them."
            )
        unstated = [a.name for a in KEYS_ASKED if _unset(a, answers.get(a.name, a.default))]
        return finish(document, intro, unstated, self.file)


def _grits(answers: Answers) -> int:
    """How many grits are at hand."""
    typed = answers.get("paper.grits", USUAL)
    if typed in (NONE, USUAL):
        return len(default_words("paper.grits", "mm").split(","))
    return len(listed(typed))


def _of_holes(error: ScenarioError) -> InputError:
    """What is wrong with holes in a row, once for all of them."""
    holes = [fault for fault in error.faults if fault.key.startswith("part.openings[")]
    if len(holes) != len(error.faults):
        return error
    why = holes[0].allowed.partition(";")[2].strip() or holes[0].allowed
    more = f", and {len(holes) - 1} more like it" if len(holes) > 1 else ""
    number = holes[0].key.partition("[")[2].rstrip("]")
    return InputError(
        f"opening {number} does not fit: {why}{more}; allowed: holes clear of one another and of the edge "
        '("<" goes back to their number, size and distance)'
    )


def _shape(answers: Answers) -> str:
    """The outline that is meant, the two plain ones by their first letters too."""
    typed = answers.get("outline", RECTANGLE).strip().lower()
    return next((kind for kind in (RECTANGLE, POLYGON) if typed and kind.startswith(typed)), typed)


def _unset(asked: AskedKey, answer: str) -> bool:
    """Whether an answer leaves a key to its default."""
    return asked.default in (NONE, USUAL) and answer in (NONE, USUAL)

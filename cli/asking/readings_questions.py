"""What ``handlap readings`` asks, line by line, and the readings that come of it."""

from __future__ import annotations

import math
import re
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from handlap.cli.asking.questions import Answers, Question, say
from handlap.cli.asking.readings_text import leaf_of, leaf_words, length_of
from handlap.cli.drawing.line_drawing import KEY, line_drawing
from handlap.cli.screen import Screen
from handlap.sim.common import spoken
from handlap.sim.common.errors import InputError, harmless
from handlap.sim.common.measured_number import Doubted, doubtful, split_numbers
from handlap.sim.common.units import System, from_si, number_of, plain
from handlap.sim.face.stations import MeasuringLine, same_line
from handlap.sim.face.told import too_thick_to_show
from handlap.sim.job.findings import Findings
from handlap.sim.job.holding import HELD_WORDS, read_held
from handlap.sim.job.scenario import Held, Scenario, Station, StraightedgeLine
from handlap.sim.job.scenario_keys import BY_NAME
from handlap.sim.job.scenario_values import READERS

SKIP = "skip"
LEAVES = "leaves"
NO_LEAVES = "none"
SAME_PLACE = 1e-4
"""Stations no further apart than this are the same one [m]."""
HELD_HELP = (
    "As ticked on the measuring sheet; first letters are enough. Sits still: on two high points. Rocks, "
    "held level: it rocks on a crown and was held so that the same leaf goes under both ends. Tips: it was "
    "pressed down onto its start or its end."
)


@dataclass(frozen=True)
class ReadLine:
    """What was typed for one line."""

    line: MeasuringLine
    held: Held
    stations: tuple[Station, ...]


class ReadingsJob:
    """The questions about a scenario's lines.

    Parameters
    ----------
    lines : those to ask for
    number : of all lines of the sheet, for "3 of 6"
    """

    def __init__(
        self, job: Scenario, lines: Sequence[MeasuringLine], number: int, system: System, file: str
    ) -> None:
        self.job, self.lines, self.number = job, tuple(lines), number
        self.system, self.file = system, file
        self._doubted: set[tuple[str, str]] = set()

    # ---- questions

    def questions(self, answers: Answers) -> list[Question]:
        """All that is to be asked."""
        return list(self._all(answers))

    def _all(self, answers: Answers) -> Iterator[Question]:
        if not self.job.readings.leaves:
            yield Question(
                LEAVES,
                "Which feeler leaves are at hand, thin to thick? With them one number is enough where a leaf "
                f"goes ({self._unit()})",
                BY_NAME["readings.leaves"].help,
                NO_LEAVES,
                self._check_leaves,
                "Leaves",
            )
        for line in self.lines:
            yield from self._line(line, answers)

    def _findings(self) -> Findings:
        return Findings(self.file, self.system, leaf_unit=self.job.leaf_unit)

    def _unit(self) -> str:
        return self.job.leaf_unit

    def _line(self, line: MeasuringLine, answers: Answers) -> Iterator[Question]:
        outline = self.job.part.outline
        size = outline.length, outline.width
        length = plain(from_si(line.length, "length", self.system))
        unit = "mm" if self.system == "mm" else "in"
        heading = f"{line.letter}  {line.name}, {length} {unit}"
        known = self._known(line)
        width = Screen.of(sys.stderr).width
        read = {i for i in range(len(line.at)) if not _is_skip(answers.get(self._name(line, i), SKIP))}
        yield Question(
            held_name(line),
            f"It starts {spoken.taped(*line.start, *size)}, and ends {spoken.taped(*line.end, *size)}. How "
            f"was the straightedge held: {'; '.join(HELD_WORDS.values())}?",
            HELD_HELP,
            HELD_WORDS[known.held if known is not None else "rest"],
            _check_held,
            heading,
            line_drawing(outline, line, width, read=read),
        )
        for i, at in enumerate(line.at):
            distance = f"{length_of(at, self.system)} {unit}"
            if i == 0:
                text = (
                    f"{line.label(i)}, {distance} from the start: thickest leaf that goes, thinnest that "
                    f"does not ({self._unit()})"
                )
                if self._one_is_enough():
                    text += f"; or one leaf for each of the {len(line.at)} at once"
            else:
                text = f"{line.label(i)}, {distance} ({self._unit()})"
            yield Question(
                self._name(line, i),
                text,
                f"{self._help()} {KEY}.",
                self._default(known, at),
                self._check_station(line, i),
                heading,
                line_drawing(outline, line, width, read=read, now=i),
                self._spread(line, i),
            )

    def _help(self) -> str:
        two = " ".join(str(leaf) for leaf in self._examples())
        thin = self._examples()[0]
        words = (
            f'Two numbers, such as {two}. "none {thin}": not even the {thin} goes. "{two.split()[1]} open": '
            f'the {two.split()[1]} goes and nothing thicker was tried. "{SKIP}": not read.'
        )
        if self._one_is_enough():
            words += (
                " One number is enough, for your leaves are known: the thickest that goes. A whole line at "
                f'once: one for each station, such as "none none {thin} none none".'
            )
        return words

    def _examples(self) -> tuple[int | float, int | float]:
        """Two leaves as they are stamped, of those at hand where there are two."""
        leaves = self.leaves({LEAVES: self._typed_leaves})
        two = (
            leaves[:2] if len(leaves) > 1 else ((40e-6, 50e-6) if self.system == "mm" else (38.1e-6, 50.8e-6))
        )
        return leaf_of(two[0], self._unit()), leaf_of(two[1], self._unit())

    def _one_is_enough(self) -> bool:
        return bool(self.leaves({LEAVES: self._typed_leaves}))

    def _name(self, line: MeasuringLine, station: int) -> str:
        return f"{line.name} @ {1e3 * line.at[station]:.2f}"

    def _known(self, line: MeasuringLine) -> StraightedgeLine | None:
        return next((known for known in self.job.readings.lines if same_line(known, line)), None)

    def _default(self, known: StraightedgeLine | None, at: float) -> str:
        if known is None:
            return SKIP
        station = next((s for s in known.stations if abs(s.at - at) <= SAME_PLACE), None)
        if station is None:
            return SKIP
        goes = f"{leaf_of(station.goes, self.job.leaf_unit)}" if station.goes > 0.0 else "none"
        return (
            f"{goes} {leaf_of(station.stops, self.job.leaf_unit)}"
            if math.isfinite(station.stops)
            else f"{goes} open"
        )

    # ---- answers

    def leaves(self, answers: Answers) -> tuple[float, ...]:
        """Leaves at hand [m]: those of the file, or those typed."""
        if self.job.readings.leaves or answers.get(LEAVES, NO_LEAVES) == NO_LEAVES:
            return self.job.readings.leaves
        return tuple(self._read_leaves(answers[LEAVES]))

    def _read_leaves(self, typed: str) -> list[float]:
        found = self._findings()
        raw = [_number(part) for part in _split(typed)]
        values = READERS["leaves"](raw, BY_NAME["readings.leaves"], "readings.leaves", found)
        _refuse(found)
        return list(values)

    def _check_leaves(self, typed: str) -> None:
        if typed != NO_LEAVES:
            remark = too_thick_to_show(self.job.part, self._read_leaves(typed))
            if remark:
                say(remark, "  ")

    def _check_station(self, line: MeasuringLine, station: int) -> Callable[[str], None]:
        def check(typed: str) -> None:
            texts = self._spread(line, station)(typed)
            self._refuse_doubtful(typed)
            for i in range(len(line.at)):
                text = texts.get(self._name(line, i), SKIP)
                if not _is_skip(text):
                    self.station(line, i, text, {LEAVES: self._typed_leaves})
            self._doubt_leaves({name: text for name, text in texts.items() if not _is_skip(text)})

        return check

    def _refuse_doubtful(self, typed: str) -> None:
        """Ask back leaves without a unit that are none in that of the job, all of an answer at once."""
        doubt = None
        texts = []
        for text in typed.split(";"):
            words = _split(text)
            for i, word in enumerate(words):
                number = _number(word)
                if isinstance(number, str):
                    continue
                found = doubtful(number, "leaf", self._unit(), self.system)
                if found is not None:
                    doubt = doubt or found
                    words[i] = f"{word}{found.meant[0].split()[-1]}"
            texts.append(" ".join(words))
        if doubt is not None:
            raise Doubted(doubt, "; ".join(texts))

    def _spread(self, line: MeasuringLine, station: int) -> Callable[[str], dict[str, str]]:
        """Readings by the name of their station, of an answer that may hold those of all that follow."""
        rest = [self._name(line, i) for i in range(station, len(line.at))]

        def spread(typed: str) -> dict[str, str]:
            typed = " ".join(typed.split())
            texts = [text.strip() for text in typed.split(";") if text.strip()]
            if len(texts) < 2:
                words = _split(typed)
                texts = [typed] if len(words) < 3 else words
            elif len(texts) == 2 != len(rest) and all(len(text.split()) == 1 for text in texts):
                texts = [" ".join(texts)]  # both leaves of one station
            if len(texts) > 1 and len(texts) != len(rest):
                raise InputError(
                    f'"{typed}" has {len(texts)} readings; allowed: two leaves for {line.label(station)} '
                    f"alone, or one reading for each of the {len(rest)} stations from {line.label(station)} "
                    f'to {line.label(len(line.at) - 1)} ("{SKIP}" for one that was not read)'
                )
            return dict(zip(rest, texts, strict=False))

        return spread

    _typed_leaves = NO_LEAVES

    def follow(self, answers: Answers) -> list[Question]:
        """As :meth:`questions`, keeping an eye on the leaves typed."""
        self._typed_leaves = answers.get(LEAVES, NO_LEAVES)
        return self.questions(answers)

    def _doubt_leaves(self, texts: dict[str, str]) -> None:
        """Leaves that are not among those at hand have to be typed twice."""
        leaves = self.leaves({LEAVES: self._typed_leaves})
        odd: dict[float, None] = {}
        for name, typed in texts.items():
            if not leaves or (name, typed) in self._doubted:
                continue
            found = self._findings()
            for raw in _parts(typed):
                if isinstance(raw, str) and raw.isalpha():
                    continue
                value = READERS["quantity"](raw, BY_NAME["readings.leaves"], "leaf", found)
                if value and all(abs(value - leaf) > 1e-3 * leaf for leaf in leaves):
                    self._doubted.add((name, typed))
                    odd[value] = None
        if odd:
            there = ", ".join(str(leaf_of(leaf, self.job.leaf_unit)) for leaf in leaves)
            said = ", ".join(leaf_words(value, self.job.leaf_unit) for value in odd)
            raise InputError(
                f"{said} {'is' if len(odd) == 1 else 'are'} not among your leaves ({there}); type it "
                "again if that is what you used"
            )

    def station(self, line: MeasuringLine, index: int, typed: str, answers: Answers) -> Station:
        """A reading as typed.

        Raises
        ------
        InputError : in the words of the loader
        """
        at = line.at[index]
        label = f"{line.label(index)}"
        found = self._findings()
        raw = [length_of(at, self.system), *_parts(typed)]
        rows = READERS["stations"]([raw], BY_NAME["readings.line[].stations"], label, found)
        _refuse(found, f"{label}[1]", label)
        row = rows[0]
        if len(row) == 3:
            return Station(at, row[1], row[2])
        leaves = self.leaves(answers)
        if not leaves:
            raise InputError(
                f'{label}: "{typed}"; allowed: two, the leaf that goes and the leaf that stops; one is '
                "enough only where the leaves at hand are known"
            )
        thicker = [leaf for leaf in leaves if leaf > row[1] * (1.0 + 1e-9)]
        return Station(at, row[1], thicker[0] if thicker else math.inf)

    def result(self, answers: Answers) -> list[ReadLine]:
        """Every line of which at least one station was read."""
        found = []
        for line in self.lines:
            known = self._known(line)
            texts = [
                answers.get(self._name(line, i), self._default(known, at)) for i, at in enumerate(line.at)
            ]
            asked = any(self._name(line, i) in answers for i in range(len(line.at)))
            stations = [
                self.station(line, i, text, answers) for i, text in enumerate(texts) if not _is_skip(text)
            ]
            if known is not None and asked:
                # What the file has of other places on the line was not asked about.
                apart = [s for s in known.stations if all(abs(s.at - at) > SAME_PLACE for at in line.at)]
                stations = sorted([*stations, *apart], key=lambda station: station.at)
            if stations and (asked or held_name(line) in answers):
                before = HELD_WORDS[known.held if known is not None else "rest"]
                held = read_held(answers.get(held_name(line), before))
                found.append(ReadLine(line, held, tuple(stations)))
        return found

    def changed(self, read: ReadLine) -> bool:
        """Whether a line says other than the file does."""
        known = self._known(read.line)
        if known is None or known.held != read.held or len(known.stations) != len(read.stations):
            return True
        return any(
            abs(a.at - b.at) > SAME_PLACE
            or abs(a.goes - b.goes) > 1e-9
            or not (a.stops == b.stops or abs(a.stops - b.stops) <= 1e-9)
            for a, b in zip(known.stations, read.stations, strict=True)
        )


def held_name(line: MeasuringLine) -> str:
    """What the answer is kept under that says how a line was held."""
    return f"{line.name} held"


def _check_held(typed: str) -> None:
    read_held(typed)


def _refuse(found: Findings, instead: str = "", of: str = "") -> None:
    if not found.faults:
        return
    # Without the file, in which nothing stands yet, and without what keys are called there.
    words = [fault.told(harmless(fault.key)) for fault in found.faults]
    raise InputError("\n".join(w.replace(instead, of, 1) if instead else w for w in words))


def _is_skip(typed: str) -> bool:
    return bool(typed) and SKIP.startswith(typed.lower())


def _split(typed: str) -> list[str]:
    try:
        return split_numbers(typed.replace("/", " "))
    except ValueError as fault:
        raise InputError(f'"{typed}"; allowed: {fault}') from None


def _number(part: str) -> int | float | str:
    try:
        value = number_of(part)
    except ValueError:
        return part
    return int(value) if re.fullmatch(r"\d{1,9}", part) else value


def _parts(typed: str) -> list[int | float | str]:
    """Numbers and words of a reading, words by their first letters; "-" stands for none."""
    found: list[int | float | str] = []
    for part in _split(typed.replace(";", " ")):
        word = part.lower()
        known = next((k for k in ("none", "open") if k.startswith(word)), "none" if word == "-" else "")
        found.append(known or _number(word if word.isalpha() else part))
    return found

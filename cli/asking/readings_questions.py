"""What ``handlap readings`` asks, line by line, and the readings that come of it."""

from __future__ import annotations

import math
import re
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from handlap.cli.asking.questions import Question
from handlap.cli.asking.readings_text import leaf_of, leaf_words, length_of
from handlap.cli.drawing.line_drawing import KEY, line_drawing
from handlap.cli.reports.wording import place
from handlap.cli.screen import Screen
from handlap.sim.common.errors import InputError
from handlap.sim.common.units import System, from_si, plain
from handlap.sim.face.stations import MeasuringLine, same_line
from handlap.sim.job.findings import Findings
from handlap.sim.job.part_keys import HOLDS
from handlap.sim.job.scenario import Held, Scenario, Station, StraightedgeLine
from handlap.sim.job.scenario_keys import BY_NAME
from handlap.sim.job.scenario_values import READERS

SKIP = "skip"
LEAVES = "leaves"
NO_LEAVES = "none"
SAME_PLACE = 1e-4
"""Stations no further apart than this are the same one [m]."""
HELD_HELP = (
    "rest: it sits still on two high points. level: it rocks on a crown and was held so that the same leaf "
    "goes under both ends. tipped start, tipped end: it was pressed down onto that end."
)

Answers = dict[str, str]


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
        read = {i for i in range(len(line.at)) if answers.get(self._name(line, i), SKIP) != SKIP}
        yield Question(
            held_name(line),
            f"From {place(*line.start, *size)} to {place(*line.end, *size)}. How was the straightedge held: "
            f"{', '.join(HOLDS)}?",
            HELD_HELP,
            known.held if known is not None else "rest",
            _check_held,
            heading,
            line_drawing(outline, line, width, read=read),
        )
        for i, at in enumerate(line.at):
            distance = f"{length_of(at, self.system)} {unit}"
            yield Question(
                self._name(line, i),
                f"{line.label(i)}, {distance} from the start: thickest leaf that goes, thinnest that does "
                f"not ({self._unit()})",
                f'Two numbers, such as 40 50. "none 30": not even the 30 goes. "300 open": the 300 goes and '
                f'nothing thicker was tried. One number is enough where the leaves are known. "{SKIP}": not '
                f"read. {KEY}.",
                self._default(known, at),
                self._check_station(line, i),
                heading,
                line_drawing(outline, line, width, read=read, now=i),
            )  # fmt: skip

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
        raw = [_number(part) for part in re.split(r"[\s,]+", typed) if part]
        values = READERS["leaves"](raw, BY_NAME["readings.leaves"], "readings.leaves", found)
        _refuse(found)
        return list(values)

    def _check_leaves(self, typed: str) -> None:
        if typed != NO_LEAVES:
            self._read_leaves(typed)

    def _check_station(self, line: MeasuringLine, station: int) -> Callable[[str], None]:
        def check(typed: str) -> None:
            if typed.lower() == SKIP:
                return
            self.station(line, station, typed, {LEAVES: self._typed_leaves})
            self._doubt_leaf(self._name(line, station), typed)

        return check

    _typed_leaves = NO_LEAVES

    def follow(self, answers: Answers) -> list[Question]:
        """As :meth:`questions`, keeping an eye on the leaves typed."""
        self._typed_leaves = answers.get(LEAVES, NO_LEAVES)
        return self.questions(answers)

    def _doubt_leaf(self, name: str, typed: str) -> None:
        """A leaf that is not among those at hand has to be typed twice."""
        leaves = self.leaves({LEAVES: self._typed_leaves})
        if not leaves or (name, typed) in self._doubted:
            return
        found = self._findings()
        for raw in _parts(typed):
            if isinstance(raw, str) and raw.isalpha():
                continue
            value = READERS["quantity"](raw, BY_NAME["readings.leaves"], "leaf", found)
            if value and all(abs(value - leaf) > 1e-3 * leaf for leaf in leaves):
                self._doubted.add((name, typed))
                there = ", ".join(str(leaf_of(leaf, self.job.leaf_unit)) for leaf in leaves)
                raise InputError(
                    f"{leaf_words(value, self.job.leaf_unit)} is not among your leaves ({there}); type it "
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
            stations = [
                self.station(line, i, answers[self._name(line, i)], answers)
                for i in range(len(line.at))
                if answers.get(self._name(line, i), SKIP).lower() != SKIP
            ]
            if stations:
                held: Held = answers.get(held_name(line), "rest")  # type: ignore[assignment]
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
    found = Findings("")
    READERS["choice"](typed, BY_NAME["readings.line[].held"], "held", found)
    _refuse(found)


def _refuse(found: Findings, instead: str = "", of: str = "") -> None:
    if not found.faults:
        return
    words = [str(fault).removeprefix(f"{fault.file}: ") for fault in found.faults]
    raise InputError("\n".join(w.replace(instead, of, 1) if instead else w for w in words))


def _number(part: str) -> int | float | str:
    if re.fullmatch(r"\d{1,9}", part):
        return int(part)
    if re.fullmatch(r"\d{0,9}\.\d{1,9}", part):
        return float(part)
    return part


def _parts(typed: str) -> list[int | float | str]:
    """Numbers and words of a reading; "-" stands for none."""
    joined = re.sub(r"(?<=\d)\s+(?=(?:µm|um|mm|in|thou)\b)", "", typed)
    return ["none" if part == "-" else _number(part.lower() if part.isalpha() else part)
            for part in re.split(r"[\s,;/]+", joined) if part]  # fmt: skip

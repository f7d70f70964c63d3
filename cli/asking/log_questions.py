"""What ``handlap log`` asks at a terminal: what was done since the last entry, and the entry it comes to."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

from handlap.cli.asking.questions import Answers, Question
from handlap.cli.asking.readings_questions import ReadingsJob
from handlap.sim.bench.job_log import Entry, JobLog
from handlap.sim.bench.log_file import look_over
from handlap.sim.bench.log_given import entry_of, last_scale, leaf_nowhere, named_line
from handlap.sim.bench.next_block import NextBlock, next_block
from handlap.sim.common.errors import Fault, InputError, ScenarioError, harmless
from handlap.sim.face.stations import MeasuringLine, lines_of
from handlap.sim.job.findings import Findings
from handlap.sim.job.scenario import Scenario, StraightedgeLine
from handlap.sim.lapping.dye_words import read_share
from handlap.sim.materials import grits

NONE, NOW, AS_PLANNED, NOWHERE, ALL = "none", "now", "as the sheet", "nowhere", "all"
AGAIN = "type the same again if it is so"
YES, NO = "yes", "no"
LINES = "lines"
KEYS: dict[str, tuple[str, ...]] = {
    "strokes": ("strokes",),
    "paper": ("paper",),
    "brush_every": ("brush_every",),
    "turned": ("turn_every",),
    "part_weight": ("part_g", "part_weight"),
    "swarf": ("swarf_g", "swarf"),
    "scale": ("scale_g", "scale"),
    "dye": ("dye", "dye_seen", "dye_left"),
    "minutes": ("minutes",),
    "note": ("note",),
    "when": ("when",),
}
"""Which faults belong to which question, by what stands last in their key."""


class LogJob:
    """The questions about one entry of a job's log.

    Parameters
    ----------
    log : what is written already
    path : where it lies
    """

    def __init__(self, job: Scenario, log: JobLog, path: Path) -> None:
        self.job, self.log, self.path = job, log, path
        self.sheet = lines_of(job, job.system)
        self._asked_back: set[tuple[str, str]] = set()
        self._answers: Answers = {}

    # ---- questions

    def questions(self, answers: Answers) -> list[Question]:
        """All that is to be asked, by the answers so far."""
        self._answers = answers
        return [*self._work(answers), *self._looks(answers), *self._rest(answers)]

    def block(self, answers: Answers) -> NextBlock:
        """The job sheet's next line, on the paper answered where one is."""
        try:
            paper = grits.find(answers["paper"]).name
        except (KeyError, ValueError):
            paper = ""
        return next_block(self.job, self.log, paper)

    def _work(self, answers: Answers) -> Iterator[Question]:
        papers = ", ".join(grit.name for grit in self.job.paper.grits)
        block = self.block(answers)
        yield self._question(
            "strokes",
            "How many strokes since the last entry, there and back?",
            "Enter takes what the job sheet has next. 0: none yet, for what is weighed or read before the "
            "first stroke, or between.",
            str(block.strokes),
            "Strokes",
        )
        if not _whole(answers.get("strokes", "0")):
            return
        yield self._question(
            "paper",
            f"On which paper ({papers})?",
            "The paper that these strokes were done on; a new entry for each paper.",
            block.paper or None,
        )
        yield self._yes("new_sheet", "Was a fresh sheet laid before them?", block.new_sheet)
        yield self._yes("brushed", "Was the paper brushed or rinsed before them?", block.brushed)
        strokes = _whole(answers["strokes"]) or 0
        if block.brush_every and strokes > block.brush_every:
            yield self._question(
                "brush_every",
                "Brushed again every how many of these strokes (0: not)?",
                "Brushing within the block, counted from its start.",
                str(block.brush_every),
            )
        if len(self.job.turning.states) > 1:
            often = f"every {block.turn_every} strokes" if block.turn_every else "not at all"
            yield self._question(
                "turned",
                f"Was the part turned as the sheet has it, {often}? Else every how many (0: not turned)?",
                f'Enter: as on the sheet. A number: strokes between turns. "{NO}" or 0: it was not turned.',
                AS_PLANNED,
            )

    def _looks(self, answers: Answers) -> Iterator[Question]:
        yield self._question(
            "part_weight",
            "What does the part weigh, clean and dry (g)?",
            f'Such as 3120.41; "{NONE}": not weighed. Weigh it once before the first stroke.',
            NONE,
            "Weighed and seen",
        )
        yield self._question(
            "swarf",
            "How much swarf was gathered since it was weighed last (g)?",
            f'Such as 0.42; "{NONE}": not weighed.',
            NONE,
        )
        weighed = [n for n in ("part_weight", "swarf") if answers.get(n, NONE).lower() != NONE]
        if weighed and last_scale(self.log, weighed[0]) is None:
            yield self._question(
                "scale",
                "What is the least division of the scale (g)?",
                "The smallest step it shows, such as 0.01. It is taken for the same from now on.",
                None,
            )
        yield self._question(
            "dye",
            "What shows of the dye?",
            'In words, such as "gone at both ends, fading in the middle"; or the share of the face that '
            f'still shows dye, such as 30%; "{NONE}": not looked at.',
            NONE,
        )
        letters = "; ".join(f"{line.letter} {line.name}" for line in self.sheet)
        yield self._question(
            LINES,
            f"Which lines were read with the leaves ({letters})?",
            f'Letters, such as A C. "{ALL}": all of them. "{NOWHERE} 50": a leaf of 50 goes in at no station '
            f'of any line; letters after it are read besides. "{NONE}": none were.',
            NONE,
            "Leaves",
        )
        readings = self._readings(answers)
        if readings is not None:
            yield from readings.follow(answers)

    def _rest(self, answers: Answers) -> Iterator[Question]:
        looked = answers.get("dye", NONE) != NONE or answers.get(LINES, NONE) != NONE
        first = not any(entry.dyed for entry in self.log.standing)
        heading = "And then"
        yield self._yes("dyed", "Was new dye put on after looking?", looked or first, heading)
        yield self._question("minutes", "How many minutes did it take?", f'Or "{NONE}".', NONE, heading)
        yield self._question(
            "note", "Anything else worth keeping?", f'A line of text, or "{NONE}".', NONE, heading
        )
        yield self._question(
            "when",
            "When was it done?",
            'A time of today such as 14:30, or 2026-01-05 14:30, or "now".',
            NOW,
            heading,
        )

    def _question(self, name: str, text: str, told: str, default: str | None, heading: str = "") -> Question:
        return Question(name, text, told, default, self._check(name), heading)

    def _yes(self, name: str, text: str, default: bool, heading: str = "") -> Question:
        return Question(name, text, f'"{YES}" or "{NO}"; the first letter is enough.',
                        YES if default else NO, _check_yes, heading)  # fmt: skip

    # ---- answers

    def _readings(self, answers: Answers) -> ReadingsJob | None:
        """The questions about the lines named, held as they were when they were read before."""
        try:
            _, lines = self._lines(answers.get(LINES, NONE))
        except InputError:
            return None
        if not lines:
            return None
        before = tuple(replace(line, stations=()) for line in self.job.readings.lines)
        blank = replace(self.job, readings=replace(self.job.readings, lines=before))
        return ReadingsJob(blank, lines, len(self.sheet), self.job.system, Path(self.job.source).name)

    def _lines(self, typed: str) -> tuple[str, list[MeasuringLine]]:
        """The leaf that goes nowhere ("" for none), and the lines to be read station by station."""
        words = typed.replace(",", " ").split()
        nowhere = ""
        if words and len(words[0]) > 2 and NOWHERE.startswith(words[0].lower()):
            if len(words) < 2:
                raise InputError(f'which leaf goes nowhere, such as "{NOWHERE} 50"')
            nowhere, words = words[1], words[2:]
            found = Findings("")
            if leaf_nowhere(self.job, nowhere, NOWHERE, found) is None:
                raise InputError(_said(found.faults[0]))
        if [w.lower() for w in words] in ([], [NONE], [NO]):
            return nowhere, []
        if [w.lower() for w in words] == [ALL]:
            return nowhere, list(self.sheet)
        lines = []
        for word in words:
            line = named_line(self.job, word)
            if line is None or not line.at:
                letters = "; ".join(f"{line.letter} {line.name}" for line in self.sheet)
                raise InputError(f'"{harmless(word)}" is no line of the sheet; there are {letters}')
            lines.append(line)
        return nowhere, list(dict.fromkeys(lines))

    def given(self, answers: Answers) -> dict[str, Any]:
        """The answers as an entry is described (:mod:`handlap.sim.bench.log_given`)."""
        said = {k: v for k, v in answers.items() if v.lower() != NONE}
        given: dict[str, Any] = {k: said.get(k) for k in ("part_weight", "swarf", "scale", "note")}
        strokes = _whole(answers.get("strokes", "0"))
        if strokes:
            given["strokes"], given["paper"] = strokes, said.get("paper")
            given |= {name: _is_yes(said.get(name, NO)) for name in ("new_sheet", "brushed")}
            given["brush_every"] = _whole(said.get("brush_every", "0")) or None
            turned = said.get("turned", AS_PLANNED)
            if turned.lower() == NO or turned == "0":
                given["not_turned"] = True
            elif not _as_planned(turned):
                given["turn_every"] = _whole(turned)
        if not said.get("part_weight") and not said.get("swarf"):
            given["scale"] = None
        dye = said.get("dye")
        if dye is not None:
            given["dye_left" if _is_share(dye) else "dye"] = dye
        if "minutes" in said:
            given["minutes"] = _minutes(said["minutes"])
        given["dyed"] = _is_yes(said.get("dyed", NO))
        given["when"] = None if said.get("when", NOW) == NOW else said["when"]
        given["goes_nowhere"] = self._lines(answers.get(LINES, NONE))[0] or None
        return given

    def entry(self, answers: Answers) -> Entry | None:
        """The entry that the answers come to; None where they say nothing.

        Raises
        ------
        ScenarioError, InputError : where they cannot be taken
        """
        readings = self._readings(answers)
        lines = [
            StraightedgeLine(r.line.name, r.line.start, r.line.end, r.held, r.stations)
            for r in (readings.result(answers) if readings is not None else ())
        ]
        given = self.given(answers)
        read = {line.name for line in lines}
        nothing = not any(v for k, v in given.items() if k != "when") and not lines
        if nothing:
            return None
        entry = entry_of(self.job, given, self.log, lines=lines, option=lambda name: name)
        # A line read station by station says more than the leaf that goes nowhere.
        kept = [line for line in entry.readings[: len(entry.readings) - len(lines)] if line.name not in read]
        return replace(entry, readings=(*kept, *entry.readings[len(entry.readings) - len(lines) :]))

    def against(self, entry: Entry) -> tuple[list[str], list[str]]:
        """What speaks against an entry, and what is odd in it and was not asked back yet, in words."""
        _, faults, odd = look_over(self.job, entry, self.path)
        asked = {name for name, _ in self._asked_back}
        # Leaves are asked back where they are typed.
        left = [f for f in odd if _last(f) != "readings" and not any(_last(f) in KEYS[n] for n in asked)]
        return [_said(fault) for fault in faults], [_said(fault).removesuffix(INSIST_TAIL) for fault in left]

    def numbered(self, entry: Entry) -> Entry:
        """The entry with its number, count and paper, as it would be written."""
        return look_over(self.job, entry, self.path)[0]

    def insists(self, entry: Entry) -> Entry:
        """The entry, marked where something odd in it stands because it was asked back."""
        _, _, odd = look_over(self.job, entry, self.path)
        return replace(entry, as_is=True) if odd else entry

    # ---- checks

    def _check(self, name: str) -> Callable[[str], None]:
        def check(typed: str) -> None:
            self._form(name, typed)
            if typed.lower() in (NONE, NOW, AS_PLANNED) or (name, typed) in self._asked_back:
                return
            if name == LINES:
                self._lines(typed)
                return
            self._look(name, typed)

        return check

    def _form(self, name: str, typed: str) -> None:
        """Whole numbers and minutes as such."""
        if name in ("strokes", "brush_every") and _whole(typed) is None:
            raise InputError(f'"{harmless(typed)}"; allowed: a whole number of strokes, there and back')
        if name == "turned" and not _as_planned(typed) and typed.lower() != NO and _whole(typed) is None:
            raise InputError(f'"{harmless(typed)}"; allowed: a number of strokes, or "{AS_PLANNED}"')
        if name == "minutes" and typed.lower() != NONE and _minutes(typed) is None:
            raise InputError(f'"{harmless(typed)}"; allowed: a number of minutes')

    def _look(self, name: str, typed: str) -> None:
        """An answer is held against the log at once, by what was answered before it."""
        answers = {**_before(self._answers, name), name: typed}
        if name == "strokes":
            # Which paper is still to be asked; the strokes are odd on any.
            answers["paper"] = self.block({}).paper or self.job.paper.grits[0].name
        if name in ("part_weight", "swarf") and last_scale(self.log, name) is None:
            answers.pop("scale", None)
        try:
            entry = self.entry({k: v for k, v in answers.items() if k != LINES})
            if entry is None:
                return
            if entry.scale is None and (entry.swarf is not None or entry.part_mass is not None):
                # The scale is still to be asked for; whatever it is, it is finer than what it weighed.
                entry = replace(entry, scale=1e-6)
            _, faults, odd = look_over(self.job, entry, self.path, insist=AGAIN)
        except ScenarioError as wrong:
            faults, odd = list(wrong.faults), []
        mine = [fault for fault in faults if _last(fault) in KEYS[name]]
        if mine:
            raise InputError("\n".join(map(_said, mine)))
        asked_back = [fault for fault in odd if _last(fault) in KEYS[name]]
        if asked_back:
            self._asked_back.add((name, typed))
            raise InputError("\n".join(map(_said, asked_back)))


INSIST_TAIL = "; if it is so, say so with --as-is"


def _before(answers: Answers, name: str) -> Answers:
    """Answers to what is asked before a question."""
    order = list(KEYS)
    later = set(order[order.index(name) :]) if name in order else set()
    return {k: v for k, v in answers.items() if k not in later}


def _last(fault: Fault) -> str:
    """What a fault is about, of the entry."""
    place, comma, key = fault.key.partition(", ")
    return (key if comma else place).partition(" ")[0]


def _said(fault: Fault) -> str:
    """A fault without file and key: whoever is asked knows what was asked."""
    allowed = harmless(fault.allowed)
    return f"{harmless(fault.got)}; allowed: {allowed}" if fault.got else allowed


def _whole(typed: str) -> int | None:
    return int(typed) if typed.isascii() and typed.isdigit() and len(typed) < 8 else None


def _minutes(typed: str) -> float | None:
    try:
        value = float(typed.replace(",", "."))
    except ValueError:
        return None
    return value if 0.0 <= value < 1e6 else None


def _as_planned(typed: str) -> bool:
    return typed.lower() in (AS_PLANNED, NONE, *YES_WORDS)


YES_WORDS, NO_WORDS = ("y", "yes"), ("n", "no")


def _is_yes(typed: str) -> bool:
    return typed.lower() in YES_WORDS


def _check_yes(typed: str) -> None:
    if typed.lower() not in (*YES_WORDS, *NO_WORDS):
        raise InputError(f'"{harmless(typed)}"; allowed: "{YES}" or "{NO}"')


def _is_share(text: str) -> bool:
    try:
        read_share(text)
    except ValueError:
        return False
    return True

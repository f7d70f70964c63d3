"""Runs the commands of handlap on mutated files and says what they did wrong.

As a program it runs any numbers of any kind, and keeps the files of those that fail::

    python tests/hard/fuzzing.py scenario 10000 12000       # these numbers
    python tests/hard/fuzzing.py all 10000 11000            # of every kind
    python tests/hard/fuzzing.py --often scenario 0 500     # every sound file through some long command
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
import unicodedata
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path

HERE = Path(__file__).resolve().parent
if __name__ == "__main__":
    sys.path[:0] = [str(HERE), str(HERE.parent), str(HERE.parents[1] / ".src")]

import mutations  # noqa: E402
import other_mutations  # noqa: E402
from bad_scenarios import SHORT  # noqa: E402
from nursery_client import Nursery, Ran  # noqa: E402
from tried_commands import NEW_ANSWERS, clean, lay_out  # noqa: E402

REFUSED_WITHIN, WORKED_WITHIN, LONG_WITHIN = 15.0, 60.0, 300.0
"""Times of the processor allowed for a refusal, for the work on a sound file, and for that of long commands:
several times what they take [s]."""
QUICK = ("survey", "measuring-sheet", "simulate")
MOST_MEGABYTES = 1000.0
READ_ANSWERS = ["", *["30 40"] * 9, "", *["none 30"] * 9, "end"]
HEIGHTS = SHORT.partition("[[readings.line]]")[0] + '[readings]\nheights = "h.csv"\n'
FEW = ("--members", "16")
WORK: tuple[tuple[int, int, tuple[str, ...]], ...] = (
    (8, 0, ("survey", "{file}", *FEW, "--json-file", "out/r.json")),
    (30, 1, ("measuring-sheet", "{file}", "--out", "out/sheet.pdf")),
    (24, 2, ("simulate", "{file}", "--strokes", "5")),
    (200, 3, ("plan", "{file}", "--members", "8")),
    (400, 15, ("why", "{file}", *FEW, "--dye", "gone at both ends", "--strokes", "20")),
    (400, 47, ("compare", "{file}", *FEW, "--no-turns", "--way", "turning=half")),
    (400, 79, ("job-sheet", "{file}", "--members", "8", "--out", "out")),
    (400, 111, ("play", "{file}", "--strokes", "20", "--frames", "4", "--out", "out/play.html")),
    (400, 143, ("record", "{file}", *FEW)),
    (400, 175, ("improve", "{file}", "--budget", "10", *FEW)),
)
"""What is done with a sound file: the numbers (one in so many, and which), and the command."""


@dataclass(frozen=True)
class Attempt:
    """One run of a command on one mutant.

    Attributes
    ----------
    args : of the command
    file : which file holds the mutant; "" if it is typed
    named : one of these has to stand in the message of a refusal; () where any words will do
    typed : lines typed
    keeps : files it may leave behind though it refuses, such as drafts
    within : longest time if it is sound [s]; what may take longer than usual is left out of quick runs
    """

    args: tuple[str, ...]
    file: str = ""
    named: tuple[str, ...] = ()
    typed: bytes = b""
    keeps: tuple[str, ...] = ()
    within: float = WORKED_WITHIN


@dataclass
class Tally:
    """What came of many mutants."""

    mutants: int = 0
    refused: int = 0
    runs: int = 0
    slowest: float = 0.0
    slowest_refusal: float = 0.0
    biggest: float = 0.0
    failed: list[str] = field(default_factory=list)
    commands: Counter[str] = field(default_factory=Counter)

    def add(self, other: Tally) -> None:
        """Take the counts of another one in."""
        self.mutants += other.mutants
        self.refused += other.refused
        self.runs += other.runs
        self.slowest = max(self.slowest, other.slowest)
        self.slowest_refusal = max(self.slowest_refusal, other.slowest_refusal)
        self.biggest = max(self.biggest, other.biggest)
        self.failed += other.failed
        self.commands += other.commands

    def words(self) -> str:
        """The counts on one line."""
        return (
            f"{self.mutants} mutants, {self.refused} refused, {self.runs} runs, "
            f"slowest {self.slowest:.1f} s, slowest refusal {self.slowest_refusal:.1f} s, "
            f"biggest {self.biggest:.0f} MB, "
            f"{len(self.failed)} failed"
        )


def lay_out_all(folder: Path) -> Path:
    """A folder with everything that mutants are put in the place of, one after the other."""
    lay_out(folder)
    (folder / "heights.toml").write_text(HEIGHTS, encoding="utf-8")
    (folder / "h.csv").write_text(mutations.SOUND_TABLE, encoding="utf-8")
    (folder / "ex").mkdir()
    for name, text in other_mutations.sound_exercise().items():
        (folder / "ex" / name).write_text(text, encoding="utf-8")
    return folder


# ---- which commands read a mutant


def _work(number: int, file: str, often: bool) -> list[Attempt]:
    """What is done with a sound file of that number; ``often``: a survey and one of the long ones."""
    chosen = [args for every, which, args in WORK if number % every == which]
    if often:
        chosen += [WORK[0][2], WORK[2][2]]
        chosen.append(WORK[3 + number % (len(WORK) - 3)][2])
    return [
        Attempt(
            tuple(arg.format(file=file) for arg in args),
            within=WORKED_WITHIN if args[0] in QUICK else LONG_WITHIN,
        )
        for args in chosen
    ]


def _on_draft(kind: str) -> tuple[Attempt, list[Attempt]]:
    """What goes on from a draft."""
    new = kind == "new-draft"
    draft = "out/n.new-draft.json" if new else "bare.readings-draft.json"
    typed = "".join(f"{line}\n" for line in ["yes", *(NEW_ANSWERS if new else READ_ANSWERS)]).encode()
    args = ("new", "out/n.toml") if new else ("readings", "bare.toml")
    keeps = (draft, f"{draft}.damaged", f"{draft}.old")
    return Attempt(args, draft, ("draft", "ended"), typed, keeps), []


def attempts_on(kind: str, number: int, often: bool = False) -> tuple[Attempt, list[Attempt]]:
    """What reads a mutant of that kind, and what more is done if it is sound."""
    if kind == "scenario":
        # A log belongs to readings; a sheet is printed before there are any.
        return Attempt(("log", "m.toml", "--show"), "m.toml", ("m.toml",)), _work(number, "m.toml", often)
    if kind == "log":
        named = ("job.log.jsonl",)
        more = [Attempt(("log", "job.toml", "--strokes", "5", "--paper", "P120"), named=named)]
        if number % 50 == 9:
            more.append(Attempt(("record", "job.toml", *FEW), within=LONG_WITHIN))
        if number % 50 == 33 or often:
            more.append(Attempt(("replan", "job.toml", *FEW), within=LONG_WITHIN))
        return Attempt(("log", "job.toml", "--show"), "job.log.jsonl", named), more
    if kind == "table":
        return Attempt(("log", "heights.toml", "--show"), "h.csv", ("h.csv", "heights.toml")), [
            attempt
            for attempt in _work(number, "heights.toml", often)
            if attempt.args[0] != "measuring-sheet"
        ]
    if kind == "lesson":
        more = [Attempt(("lesson", "m.toml", "--members", "8", "--tell"), within=LONG_WITHIN)]
        # Whoever answers nothing is only told the story.
        first = Attempt(("lesson", "m.toml", "--members", "8"), "m.toml", ("m.toml",), within=LONG_WITHIN)
        return first, more if often or number % 10 == 9 else []
    if kind == "form":
        keeps = ("ex/answers-draft.json",)
        ask = Attempt(("exercise", "ex"), "ex/answers.toml", ("answers.toml", "input ended"), keeps=keeps)
        mark = Attempt(("exercise", "ex", "--mark"), "ex/answers.toml", ("answers.toml",), within=LONG_WITHIN)
        return (mark, [ask]) if often or number % 5 == 4 else (ask, [])
    if kind == "seal":
        ask = Attempt(
            ("exercise", "ex"), named=("truth.seal", "input ended"), keeps=("ex/answers-draft.json",)
        )
        return Attempt(("exercise", "ex", "--mark"), "ex/truth.seal", ("truth.seal",), within=LONG_WITHIN), [
            ask
        ]
    if kind == "new":
        more = [Attempt(("log", "out/n.toml", "--show"))]
        if number % 16 == 0 or often:
            more = [Attempt(("measuring-sheet", "out/n.toml", "--out", "out/sheet.pdf"))]
        keeps = ("out/n.new-draft.json",)
        return Attempt(
            ("new", "out/n.toml"), "", ("kept", "ended", "cannot be read as text;"), keeps=keeps
        ), more
    if kind == "readings":
        keeps = ("bare.readings-draft.json",)
        return Attempt(
            ("readings", "bare.toml"), "", ("kept", "ended", "cannot be read as text;"), keeps=keeps
        ), [
            Attempt(
                ("survey", "bare.toml", *FEW) if number % 8 == 0 or often else ("log", "bare.toml", "--show")
            ),
        ]
    if kind in ("new-draft", "readings-draft"):
        return _on_draft(kind)
    raise KeyError(kind)


KINDS: dict[str, int] = {
    "scenario": 5200, "log": 2200, "table": 1000, "lesson": 500, "form": 400, "seal": 150, "new": 250,
    "readings": 150, "new-draft": 100, "readings-draft": 50,
}  # fmt: skip
"""Kinds of mutants, and how many of each make ten thousand."""
NAMES_NEW = ("title", "units", "outline", "part.length", "part.width", "opening 1", "part.metal", "part.mass")
NAMES_READINGS = ("leaves", "A held", "A 1", "A 2", "B 1")


def mutant(kind: str, number: int, sound_log: list[dict[str, object]]) -> mutations.Mutant:
    """The mutant of that kind and number."""
    make: dict[str, Callable[[int], mutations.Mutant]] = {
        "scenario": mutations.scenario,
        "log": partial(mutations.log, sound=sound_log),
        "table": mutations.table,
        "new": partial(mutations.answers, sound=NEW_ANSWERS),
        "readings": partial(mutations.answers, sound=READ_ANSWERS),
        "new-draft": partial(other_mutations.draft, kind="handlap.new-draft/1", names=NAMES_NEW),
        "readings-draft": partial(
            other_mutations.draft, kind="handlap.readings-draft/1", names=NAMES_READINGS
        ),
        **other_mutations.MUTATE,
    }
    return make[kind](number)


# ---- what is demanded


TURNS = ("LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI")
"""Marks that turn the direction of writing, as the bidirectional algorithm of Unicode calls them."""


def obeyed(text: str) -> list[str]:
    """Characters a terminal would obey, by their numbers."""
    found = {c for c in set(text) - {"\n"} if unicodedata.category(c) in ("Cc", "Cs")}
    found |= {c for c in set(text) if unicodedata.bidirectional(c) in TURNS}
    return sorted(f"U+{ord(c):04X}" for c in found)


def complaints(attempt: Attempt, ran: Ran, changed: Iterable[str]) -> list[str]:
    """What a run did wrong."""
    found = []
    if ran.overrun:
        found.append(f"not done after {ran.seconds:.0f} s")
    elif ran.crashed or ran.code not in (0, 2, 3):
        found.append(f"ended with {ran.code}")
    if ran.megabytes > MOST_MEGABYTES:
        found.append(f"took {ran.megabytes:.0f} MB")
    if "RuntimeWarning" in ran.err or "DeprecationWarning" in ran.err:
        found.append("a warning of the interpreter")
    for name, text in (("stdout", ran.out), ("stderr", ran.err)):
        if obeyed(text):
            found.append(f"{', '.join(obeyed(text)[:5])} on {name}")
    if ran.code == 2:
        if ran.seconds > REFUSED_WITHIN:
            found.append(f"refused only after {ran.seconds:.1f} s")
        if "handlap: " not in ran.err or not ran.err.split("handlap: ", 1)[1].strip():
            found.append("refused without a word")
        if attempt.named and not any(name in ran.err for name in attempt.named):
            found.append("the message names no file")
        if len(ran.err) > 40_000:
            found.append(f"a message of {len(ran.err)} characters")
        if ran.out:
            found.append("refused, and yet something on stdout")
        left = [name for name in changed if name not in attempt.keeps]
        if left:
            found.append(f"refused, and yet wrote {', '.join(left)}")
    return found


# ---- running


class Sandbox:
    """A folder of its own and a nursery; mutants are tried one after the other."""

    def __init__(self, nursery: Nursery, folder: Path) -> None:
        self.nursery, self.folder = nursery, lay_out_all(folder)
        self.scrap = folder.parent / f"{folder.name}-scrap"
        self.scrap.mkdir()
        self.sound = self._read()
        self.sound_log = [json.loads(line) for line in self.sound["job.log.jsonl"].decode().splitlines()]

    def _places(self) -> list[Path]:
        return [Path(at) / name for at, _, names in os.walk(self.folder) for name in names]

    def _read(self) -> dict[str, bytes]:
        return {str(path.relative_to(self.folder)): path.read_bytes() for path in self._places()}

    def _marks(self) -> dict[str, tuple[int, int, int]]:
        found = {}
        for path in self._places():
            state = path.lstat()
            found[str(path.relative_to(self.folder))] = (state.st_ino, state.st_size, state.st_mtime_ns)
        return found

    def restore(self) -> None:
        """Everything as it was laid out."""
        clean(self.folder)
        for path in self._places():
            name = str(path.relative_to(self.folder))
            if name not in self.sound:
                path.unlink()
            elif path.read_bytes() != self.sound[name]:
                path.write_bytes(self.sound[name])

    def run(self, attempt: Attempt) -> tuple[Ran, list[str]]:
        """One run, and what it did wrong."""
        before = self._marks()
        ran = self.nursery.run(
            list(attempt.args), self.folder, typed=attempt.typed, scrap=self.scrap, seconds=attempt.within
        )
        after = self._marks()
        changed = [name for name in before.keys() | after.keys() if before.get(name) != after.get(name)]
        return ran, complaints(attempt, ran, changed)

    def try_data(
        self, kind: str, number: int, data: bytes, often: bool = False, quick: bool = False
    ) -> tuple[list[tuple[Attempt, Ran, list[str]]], bool]:
        """All runs on one mutant, and whether the first of them refused it."""
        self.restore()
        first, more = attempts_on(kind, number, often)
        if first.file:
            (self.folder / first.file).write_bytes(data)
        else:
            first = replace(first, typed=data)
        done = [(first, *self.run(first))]
        refused = done[0][1].code == 2
        if not refused or kind == "form":
            if kind == "scenario" and "no readings" in done[0][1].out:
                more = [attempt for attempt in more if attempt.args[0] == "measuring-sheet"]
            done += [
                (attempt, *self.run(attempt))
                for attempt in more
                if not quick or attempt.within <= WORKED_WITHIN
            ]
        return done, refused

    def try_number(self, kind: str, number: int, often: bool = False, quick: bool = False) -> Tally:
        """One mutant, counted."""
        made = mutant(kind, number, self.sound_log)
        done, refused = self.try_data(kind, number, made.data, often, quick)
        tally = Tally(mutants=1, refused=refused, runs=len(done))
        for attempt, ran, wrong in done:
            tally.commands[f"{attempt.args[0]} {ran.code}"] += 1
            tally.slowest = max(tally.slowest, ran.seconds)
            tally.slowest_refusal = max(tally.slowest_refusal, ran.seconds if ran.code == 2 else 0.0)
            tally.biggest = max(tally.biggest, ran.megabytes)
            if wrong:
                tally.failed.append(
                    f"{kind} {number} ({made.label[:80]}): handlap {' '.join(attempt.args)}: "
                    f"{'; '.join(wrong)}\n{ran.err[:700]}"
                )
        return tally


def try_many(
    nurseries: Sequence[Nursery], folder: Path, numbers: Sequence[tuple[str, int]], quick: bool = False
) -> Tally:
    """Mutants by kind and number, shared among nurseries; ``quick``: without the long commands."""

    def some(place: int) -> Tally:
        sandbox = Sandbox(nurseries[place], folder / f"bench-{place}")
        tally = Tally()
        for kind, number in numbers[place :: len(nurseries)]:
            tally.add(sandbox.try_number(kind, number, quick=quick))
        return tally

    other_mutations.sound_exercise()
    whole = Tally()
    with ThreadPoolExecutor(len(nurseries)) as pool:
        for tally in pool.map(some, range(len(nurseries))):
            whole.add(tally)
    return whole


def main() -> None:
    """Any numbers, by hand."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("kind", choices=("all", *KINDS))
    parser.add_argument("first", type=int)
    parser.add_argument("last", type=int)
    parser.add_argument("--often", action="store_true", help="each sound one through a long command too")
    parser.add_argument("--keep", type=Path, help="write the mutants into this folder, and run nothing")
    asked = parser.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="handlap-fuzz-"))
    chosen = list(KINDS) if asked.kind == "all" else [asked.kind]
    numbers = [(kind, number) for kind in chosen for number in range(asked.first, asked.last)]
    if asked.keep:
        asked.keep.mkdir(parents=True, exist_ok=True)
        lay_out(folder / "log")
        text = (folder / "log" / "job.log.jsonl").read_text(encoding="utf-8")
        sound_log = [json.loads(line) for line in text.splitlines()]
        for kind, number in numbers:
            (asked.keep / f"{kind}-{number}").write_bytes(mutant(kind, number, sound_log).data)
        return
    nursery = Nursery(folder, lay_out(folder / "warm") / "job.toml")
    sandbox = Sandbox(nursery, folder / "bench")
    whole: dict[str, Tally] = {kind: Tally() for kind in chosen}
    for kind, number in numbers:
        tally = sandbox.try_number(kind, number, asked.often)
        whole[kind].add(tally)
        for failed in tally.failed:
            print(failed, flush=True)
    nursery.close()
    for kind, tally in whole.items():
        print(f"{kind}: {tally.words()}; {dict(tally.commands)}")


if __name__ == "__main__":
    main()

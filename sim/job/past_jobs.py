"""What earlier jobs of the same person have taught: records, and the file of their own that keeps them.

Plain TOML, one ``[[job]]`` an entry, written only when asked and read by whoever plans.  A job's entry says
what that job found by itself, as a low, a middle and a high value (5, 50 and 95 %): times what the program
takes where nothing is known, or millimetres where that is zero.
"""

from __future__ import annotations

import contextlib
import math
import re
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from handlap.sim.common.errors import Fault, ScenarioError, what_is_known
from handlap.sim.common.spelling import did_you_mean, nearest
from handlap.sim.job.given_file import read_small_text
from handlap.sim.job.toml_edit import split_blocks, value_text
from handlap.sim.materials import grits, metals

VARIABLE = "HANDLAP_PAST_JOBS"
NONE_WORDS = ("", "none", "off")
FILE_NAME = "past-jobs.toml"
LARGEST = 1_000_000
"""[bytes]"""
MOST_JOBS = 500
CUT = "cut"
"""What a hundred strokes on a new sheet took off, over what was taken beforehand."""
SCRAP = "a scrap"
"""What stands in place of a log where papers were tried on a scrap."""
BY_PAPER = (
    "ageing", "loading_floor", "dulling_floor", "brushing", "bedding", "blunt_bedding", "edge_rate",
    "edge_rise", "friction", "friction_gain",
)  # fmt: skip
"""What belongs to a kind of paper on a metal, wet or dry."""
BY_HANDS = (
    "height", "bias_along", "bias_across", "wobble_along", "wobble_across", "push_over_pull",
    "strokes_per_minute",
)  # fmt: skip
"""What belongs to a pair of hands, whatever they hold."""
IN_MM = ("bias_along", "bias_across")
"""Quantities about zero, kept in millimetres; all others are factors."""
FACTOR, OFFSET = (0.01, 100.0), (-500.0, 500.0)
Z95 = 1.6448536269514722
HEAD = """\
# What your own jobs have taught, one [[job]] each: handlap past-jobs lists them and takes them out, and
# handlap record SCENARIO --remember writes them.  Correct or delete by hand what you know better.
# Under job.found stand [low, middle, high] (5, 50, 95 %): times what is taken where nothing is known, or
# millimetres where the name says so; "cut" is what a hundred strokes on a new sheet take off.
"""


@dataclass(frozen=True)
class PastJob:
    """One job's entry.

    Attributes
    ----------
    job, log, when : its name, where its log lay, the day it was recorded
    mark : by which the same job is known again; "" for one written by hand
    metal, paper, wet, abrasive : what was cut with what; ``abrasive`` in the user's own word, "" for none
    hands : whose, in the user's own word
    stated : keys that its scenario stated, so that what was found is beside them
    weighed : whether anything was weighed
    found : low, middle and high by name [factor, or mm]
    """

    job: str
    metal: str
    paper: str
    wet: bool
    found: Mapping[str, tuple[float, float, float]]
    abrasive: str = ""
    hands: str = ""
    log: str = ""
    when: str = ""
    mark: str = ""
    stated: tuple[str, ...] = ()
    weighed: bool = False

    def said(self, name: str) -> tuple[float, float]:
        """Middle and standard deviation of what was found: of the logarithm, or [m]."""
        low, middle, high = self.found[name]
        if name in IN_MM:
            return 1e-3 * middle, 1e-3 * (high - low) / (2.0 * Z95)
        return math.log(middle), math.log(high / low) / (2.0 * Z95)


def past_file(environ: Mapping[str, str], platform: str, home: Path) -> Path | None:
    """Where the entries are kept; None where the user wants none.

    Parameters
    ----------
    environ, platform, home : as ``os.environ``, ``sys.platform`` and ``Path.home()``

    >>> past_file({"XDG_DATA_HOME": "/data"}, "linux", Path("/home/a")).as_posix()
    '/data/handlap/past-jobs.toml'
    """
    named = environ.get(VARIABLE)
    if named is not None:
        return None if named.strip().lower() in NONE_WORDS else Path(named).expanduser()
    if platform == "win32":
        folder = Path(environ.get("APPDATA") or home / "AppData" / "Roaming")
    elif platform == "darwin":
        folder = home / "Library" / "Application Support"
    else:
        given = environ.get("XDG_DATA_HOME", "")
        # By the XDG Base Directory Specification a path that is not absolute is not to be used.
        folder = Path(given) if given.startswith("/") else home / ".local" / "share"
    return folder / "handlap" / FILE_NAME


def read_past(path: Path) -> tuple[PastJob, ...]:
    """All entries of a file, the oldest first; none where there is no file.

    Raises
    ------
    ScenarioError : with everything that is wrong in it
    """
    try:
        there = path.exists()
    except OSError:
        there = True
    return parse_past(read_small_text(path, LARGEST), str(path)) if there else ()


def parse_past(text: str, file: str) -> tuple[PastJob, ...]:
    """All entries of a text.

    Raises
    ------
    ScenarioError : with everything that is wrong in it
    """
    try:
        document = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        at = re.search(r"at line (\d+)", str(error))
        where = f"line {at[1]}" if at else "the end"
        raise ScenarioError([Fault(file, where, "", f"no TOML: {error}. {_REMEDY}")]) from None
    faults = [Fault(file, key, "", "unknown key; allowed: [[job]]") for key in document if key != "job"]
    listed = document.get("job", [])
    if not isinstance(listed, list) or len(listed) > MOST_JOBS:
        raise ScenarioError([Fault(file, "job", "", f"at most {MOST_JOBS} tables, each headed [[job]]")])
    lines = _lines_of_jobs(text)
    found = []
    for number, raw in enumerate(listed, 1):
        line = f" (line {lines[number - 1]})" if number <= len(lines) else ""
        entry = _entry(raw, file, f"job {number}{line}", faults)
        found += [entry] if entry is not None else []
    if faults:
        raise ScenarioError(faults)
    return tuple(found)


_REMEDY = "Mend it, or move it away: nothing of it was changed"


def _lines_of_jobs(text: str) -> list[int]:
    """The line on which every ``[[job]]`` stands, from 1."""
    found, line = [], 1
    for block in split_blocks(text):
        if block.header == "job" and block.listed:
            head = re.search(r"^[ \t]*\[\[", block.text, re.MULTILINE)
            found.append(line + block.text[: head.start() if head else 0].count("\n"))
        line += block.text.count("\n")
    return found


def _entry(raw: Any, file: str, label: str, faults: list[Fault]) -> PastJob | None:
    """One entry; what is wrong with it goes to ``faults``."""
    before = len(faults)

    def fault(key: str, got: Any, allowed: str) -> None:
        faults.append(Fault(file, f"{label}, {key}", "" if got is None else str(got)[:60], allowed))

    if not isinstance(raw, dict):
        fault("job", raw, "a table headed [[job]]")
        return None
    for key in raw:
        if key not in _KEYS:
            fault(key, None, _unknown(key, _KEYS))
    held: dict[str, Any] = {}
    for key, (kind, words) in _KEYS.items():
        value = raw.get(key)
        if value is None:
            if key in _NEEDED:
                fault(key, None, f"missing; {words}")
        elif not isinstance(value, kind) or (isinstance(value, str) and not _plain(value)):
            fault(key, value, words)
        else:
            held[key] = value
    if "paper" in held:
        try:
            held["paper"] = grits.find(held["paper"]).name
        except ValueError as error:
            fault("paper", held["paper"], what_is_known(error))
    if "metal" in held:
        # A scenario may state a metal of its own, which no table knows.
        with contextlib.suppress(ValueError):
            held["metal"] = metals.find(held["metal"]).name
    held["found"] = _found(held.get("found", {}), fault)
    stated = held.get("stated", [])
    if not all(isinstance(key, str) for key in stated):
        fault("stated", stated, _KEYS["stated"][1])
    held["stated"] = tuple(stated)
    return PastJob(**held) if len(faults) == before else None


_TEXT = "a text in quotes, on one line"
_KEYS: dict[str, tuple[type, str]] = {
    "job": (str, f"{_TEXT}: the name of the job"),
    "when": (str, f"{_TEXT}: the day it was recorded"),
    "log": (str, f"{_TEXT}: where its log lay"),
    "mark": (str, f"{_TEXT}, by which the job is known again"),
    "metal": (str, f"{_TEXT}: the metal of the face"),
    "paper": (str, f"{_TEXT}: the grade of the paper"),
    "wet": (bool, "true or false"),
    "abrasive": (str, f"{_TEXT}: the kind of paper, as in paper.abrasive of a scenario"),
    "hands": (str, f"{_TEXT}: whose hands, as in hands.whose of a scenario"),
    "stated": (list, "a list of keys that the scenario of the job stated"),
    "weighed": (bool, "true or false"),
    "found": (dict, "a table [job.found] of low, middle and high values"),
}
_NEEDED = ("job", "metal", "paper", "wet", "found")


def _unknown(key: str, known: Iterable[str]) -> str:
    """What is said of a key that is none."""
    return f"unknown key{did_you_mean(nearest(key, known))}; allowed: {', '.join(known)}"


def _plain(text: str) -> bool:
    return text.isprintable() and len(text) <= 1000


def _file_name_of(name: str) -> str:
    return f"{name}_mm" if name in IN_MM else name


def _found(raw: Mapping[str, Any], fault: Any) -> dict[str, tuple[float, float, float]]:
    """What was found, by name."""
    known = {_file_name_of(name): name for name in (CUT, *BY_PAPER, *BY_HANDS)}
    found: dict[str, tuple[float, float, float]] = {}
    for key, value in raw.items():
        name = known.get(key)
        if name is None:
            fault(f"found.{key}", None, _unknown(key, known))
            continue
        least, most = OFFSET if name in IN_MM else FACTOR
        numbers = isinstance(value, list) and all(type(x) in (int, float) for x in value)
        if not numbers or len(value) != 3 or not all(least <= x <= most for x in value):
            fault(f"found.{key}", value, f"[low, middle, high], each from {least:g} to {most:g}")
        elif not value[0] < value[1] < value[2]:
            fault(f"found.{key}", value, "[low, middle, high], rising: what is found has a spread")
        else:
            found[name] = (float(value[0]), float(value[1]), float(value[2]))
    return found


def entry_text(entry: PastJob) -> str:
    """An entry as TOML, headed ``[[job]]``."""
    lines = ["[[job]]"]
    for key in _KEYS:
        value = getattr(entry, key)
        if key != "found" and (key in _NEEDED or value):
            lines.append(f"{key} = {value_text(list(value) if key == 'stated' else value)}")
    lines += ["", "[job.found]"]
    for name, three in entry.found.items():
        rounded = [float(f"{x:.3g}") for x in three]
        lines.append(f"{_file_name_of(name)} = {value_text(rounded)}")
    return "\n".join(lines) + "\n"


def same_job(one: PastJob, other: PastJob) -> bool:
    """Whether two entries are of one job: by its mark, or, written by hand, by name and log."""
    if one.mark and other.mark:
        return one.mark == other.mark
    return (one.job, one.log) == (other.job, other.log)


def with_entry(text: str, jobs: Sequence[PastJob], entry: PastJob) -> tuple[str, bool]:
    """The text with one more entry at its end, and whether an older one of the same job was taken out.

    ``jobs``: what the text holds.  All else stays byte for byte.
    """
    older = [number for number, job in enumerate(jobs, 1) if same_job(job, entry)]
    kept = without(text, older) if text.strip() else HEAD
    if kept and not kept.endswith("\n"):
        kept += "\n"
    return kept + "\n" + entry_text(entry), bool(older)


def without(text: str, numbers: Sequence[int]) -> str:
    """The text without the entries of these numbers, from 1."""
    kept, at = [], 0
    for block in split_blocks(text):
        at += block.header == "job" and block.listed
        own = block.header == "job" or block.header.startswith("job.")
        kept.append(_above(block.text) if own and at in numbers else block.text)
    return "".join(kept)


def _above(text: str) -> str:
    """What stands above a table and is no remark on it: what a blank line keeps apart."""
    lines = text.splitlines(keepends=True)
    header = next(number for number, line in enumerate(lines) if line.lstrip().startswith("["))
    blank = [number for number in range(header) if not lines[number].strip()]
    return "".join(lines[: blank[-1] + 1]) if blank and any(x.strip() for x in lines[: blank[-1]]) else ""


def known_as(jobs: Sequence[PastJob]) -> str:
    """The jobs by name in words, "from your last three jobs (head, cover, sole)".

    >>> known_as([PastJob(n, "A356", "P120", False, {}) for n in ("head", "cover")])
    'from your last two jobs (head, cover)'
    """
    names = ", ".join(job.job for job in jobs)
    if len(jobs) == 1:
        return f"from your last job ({names})"
    words = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
    count = words[len(jobs)] if len(jobs) < len(words) else str(len(jobs))
    return f"from your last {count} jobs ({names})"

"""What a page for the bench hands over: one text, a line of JSON an entry, read whole or not at all.

The first line says of which job and page it is, the last how many lines there are between, with a sum
over them (CRC-32, the polynomial of IEEE 802.3), so that a text that was cut short or changed on its way
is noticed.  An entry holds the keys of a line of the log in the units of the bench (mm, µm, g); besides
``id`` and ``when`` it has no place in the log yet.  ``takes_back`` names an entry of the text, by its id,
that does not count.  ``open`` holds strokes that are counted but not written down as an entry.
"""

from __future__ import annotations

import json
import re
import zlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from handlap.sim.bench.job_log import MOST_ENTRIES, MOST_STROKES, Entry, EntryFaults, LogMark
from handlap.sim.bench.log_lines import from_json
from handlap.sim.common.errors import Fault, ScenarioError
from handlap.sim.common.spelling import shortened

SCHEMA = 1
LARGEST = 2_000_000
"""[bytes]"""
ID = re.compile(r"[a-z0-9]{4,16}-[1-9][0-9]{0,5}")
"""A phone's own mark, and a number that counts up on it."""
HEAD = "handlap_bench"
"""What the first line of such a text holds."""
TORN = "the text was cut short or changed on its way; hand it over anew from the page. Nothing was written"
HEAD_KEYS = {"handlap_bench", "page", "part", "scenario", "entries", "strokes", "against", "phone"}


@dataclass(frozen=True)
class PageEntry:
    """An entry of the text: ``line`` of the text, ``takes_back``: id of another that does not count; ""."""

    line: int
    entry: Entry
    takes_back: str


@dataclass(frozen=True)
class PageText:
    """What a page handed over.

    Attributes
    ----------
    file : name for messages
    page : mark of the page
    part, scenario : mark of the part, and by what name a log knows the job
    entries, strokes : what the log held when the page was made [-]
    against : marks of the scenario the page was made from
    found : the entries in their order
    uncounted : strokes that the page counts and has not written down yet [-]
    """

    file: str
    page: str
    part: str
    scenario: str
    entries: int
    strokes: int
    against: tuple[LogMark, ...]
    found: tuple[PageEntry, ...]
    uncounted: int

    @property
    def ids(self) -> frozenset[str]:
        """Ids of all entries, those taken back included."""
        return frozenset(one.entry.id for one in self.found)


def sum_of(lines: Iterable[str]) -> str:
    """The sum over lines, each with its end, in eight letters.

    >>> sum_of(["{}"])
    'dda1b006'
    """
    text = "".join(line + "\n" for line in lines)
    return f"{zlib.crc32(text.encode('utf-8')):08x}"


def head_of(
    page: str, part: str, scenario: str, entries: int, strokes: int, against: Sequence[LogMark]
) -> dict[str, Any]:
    """The first line as an object, but for the phone, which the page puts in."""
    return {
        "handlap_bench": SCHEMA,
        "page": page,
        "part": part,
        "scenario": scenario,
        "entries": entries,
        "strokes": strokes,
        "against": {mark.subject: [mark.digest, mark.words] for mark in against},
    }


def text_of(head: Mapping[str, Any], entries: Sequence[Mapping[str, Any]], uncounted: int = 0) -> str:
    """The text as the page writes it."""
    lines = [_json(head), *map(_json, entries)]
    lines += [_json({"open": uncounted})] if uncounted else []
    return "\n".join([*lines, _json({"end": len(lines) - 1, "sum": sum_of(lines)})]) + "\n"


def _json(value: Mapping[str, Any]) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))


def read_page_text(text: str, file: str) -> PageText:
    """What a page handed over, from its text.

    Raises
    ------
    ScenarioError : if it is torn, with the line; or with everything that is wrong in its entries
    """
    lines = [line.rstrip() for line in text.removeprefix("\ufeff").splitlines()]
    while lines and not lines[-1]:
        lines.pop()
    objects = summed_objects(lines, file, HEAD, "a page for the bench")
    head = _head(objects[0], file)
    inner = objects[1:-1]
    uncounted = 0
    if inner and set(inner[-1]) == {"open"}:
        uncounted = _whole(inner.pop()["open"], f"line {len(lines) - 1}, open", file, MOST_STROKES)
    if len(inner) > MOST_ENTRIES:
        words = f"at most {MOST_ENTRIES} entries"
        raise ScenarioError([Fault(file, "", f"{len(inner)} entries", words)])
    faults: list[Fault] = []
    found = [_entry(raw, number, file, faults) for number, raw in enumerate(inner, 2)]
    known: set[str] = set()
    for one in found:
        label = f"line {one.line}"
        if one.entry.id in known:
            faults.append(Fault(file, f"{label}, id", one.entry.id, "an id of its own: it was there before"))
        if one.takes_back and one.takes_back not in known:
            faults.append(Fault(file, f"{label}, takes_back", one.takes_back, "the id of an entry before it"))
        known.add(one.entry.id)
    if faults:
        raise ScenarioError(faults)
    return PageText(file, **head, found=tuple(found), uncounted=uncounted)


def summed_objects(lines: Sequence[str], file: str, head: str, page: str) -> list[dict[str, Any]]:
    """The objects of all lines, once it is sure that they are those a page wrote.

    Parameters
    ----------
    head : the key that the first line holds
    page : what page it is, for messages

    Raises
    ------
    ScenarioError : if it is torn, or no such text
    """
    if not lines:
        raise ScenarioError([Fault(file, "", "nothing in it", f"the text that {page} gives")])
    objects = []
    for number, line in enumerate(lines, 1):
        try:
            found = json.loads(line)
        except (ValueError, RecursionError):
            found = None
        if not isinstance(found, dict):
            if number == 1:
                words = f"the first line of the text that {page} gives"
                raise ScenarioError([Fault(file, "line 1", shortened(line), words)])
            raise ScenarioError([Fault(file, f"line {number}", shortened(line), f"one JSON object; {TORN}")])
        objects.append(found)
    if head not in objects[0]:
        words = f"the first line of the text that {page} gives"
        raise ScenarioError([Fault(file, "line 1", shortened(lines[0]), words)])
    last, inner = objects[-1], len(objects) - 2
    here = f"line {len(lines)}"
    if set(last) != {"end", "sum"}:
        raise ScenarioError([Fault(file, here, shortened(lines[-1]), f'the last line, {{"end": …}}; {TORN}')])
    if last["end"] != inner:
        words = f"as many lines as are between the first and this, {inner}; {TORN}"
        raise ScenarioError([Fault(file, f"{here}, end", shortened(last["end"]), words)])
    if last["sum"] != sum_of(lines[:-1]):
        words = f"{sum_of(lines[:-1])}, the sum over the lines before it; {TORN}"
        raise ScenarioError([Fault(file, f"{here}, sum", shortened(last["sum"]), words)])
    return objects


def _head(raw: Mapping[str, Any], file: str) -> dict[str, Any]:
    """The fields of the first line."""
    faults = []
    if raw["handlap_bench"] != SCHEMA:
        words = f"{SCHEMA}; a page of another version: make a new one"
        faults.append(Fault(file, "line 1, handlap_bench", shortened(raw["handlap_bench"]), words))
    for name in sorted(set(raw) - HEAD_KEYS):
        faults.append(Fault(file, "line 1", shortened(name), "no such key"))
    for name in ("page", "part", "scenario"):
        if not isinstance(raw.get(name), str):
            faults.append(Fault(file, f"line 1, {name}", shortened(raw.get(name)), "a text"))
    try:
        marks = from_json({"against": raw.get("against", {})}, file, "line 1", whole=False).against
    except EntryFaults as wrong:
        faults += wrong.faults
    if faults:
        raise ScenarioError(faults)
    counts = {name: _whole(raw.get(name), f"line 1, {name}", file, 10**7) for name in ("entries", "strokes")}
    return {name: raw[name] for name in ("page", "part", "scenario")} | counts | {"against": marks}


def _whole(value: Any, key: str, file: str, most: int) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= most:
        raise ScenarioError([Fault(file, key, shortened(value), f"a whole number from 0 to {most}")])
    return value


def _entry(raw: Mapping[str, Any], line: int, file: str, faults: list[Fault]) -> PageEntry:
    """An entry of the text; what is wrong with it is written down."""
    label = f"line {line}"
    own = {name: value for name, value in raw.items() if name != "takes_back"}
    back = raw.get("takes_back", "")
    for name in sorted({"n", "at", "against", "void", "corrected"} & set(own)):
        faults.append(Fault(file, label, name, "no such key: only the log itself holds it"))
        own.pop(name)
    if not isinstance(raw.get("id"), str) or not ID.fullmatch(raw["id"]):
        words = "an id such as k3f9q2-12"
        faults.append(Fault(file, f"{label}, id", shortened(raw.get("id", "")), words))
    if not isinstance(back, str) or (back and set(own) > {"id", "when"}):
        words = "the id of an earlier entry, and nothing else with it"
        faults.append(Fault(file, f"{label}, takes_back", shortened(back), words))
        back = ""
    try:
        entry = from_json({"n": 1, "at": 0, **own}, file, label, whole=not back)
    except EntryFaults as wrong:
        faults += wrong.faults
        entry = Entry(1, 0, "", id=str(raw.get("id", "")))
    if not entry.when:
        faults.append(Fault(file, f"{label}, when", "", "missing: the time it was written"))
    return PageEntry(line, entry, back)

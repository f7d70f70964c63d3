"""The log of a job at the bench: what was done, weighed and read, entry by entry.

An entry is one visit to the bench and one line of the log.  Within it things happen in this
order: paper, sheet and brushing, then the strokes, then what was weighed and read, then new dye.
Inside SI; :mod:`handlap.sim.bench.log_lines` turns entries into lines of a file and back.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Annotated

import numpy as np

from handlap.sim.common.errors import Fault, WholeError
from handlap.sim.job.scenario import Part, StraightedgeLine
from handlap.sim.lapping import dye_picture
from handlap.sim.lapping.dye_picture import DyePicture
from handlap.sim.lapping.dye_words import read_dye

GRAM = 1e-3
MOST_ENTRIES = 1000
MOST_STROKES = 20_000
"""More than this in one entry is a slip of the pen."""
MOST_STROKES_IN_ALL = 200_000
"""Strokes that stand in one log: some eighty hours at the bench."""
MOST_READINGS_IN_ALL = 3000
"""Readings in one log: fifty looks along all lines.  What is learned from them takes memory that grows with
the square of their number."""
WORDS_READINGS = f"at most {MOST_READINGS_IN_ALL} readings in one log"


@dataclass(frozen=True)
class LogMark:
    """What a log was logged against, of one subject: a digest, and the main thing of it in words."""

    subject: str
    digest: str
    words: str


@dataclass(frozen=True)
class Logged:
    """How a field of an entry stands in its line of the file; what is at its default is left out there.

    Attributes
    ----------
    key : its name in the line
    low, high : least and greatest number allowed there
    unit : what a number there is in [SI]
    said : whether what somebody says goes into the line as it is
    """

    key: str
    low: float = 0.0
    high: float = 0.0
    unit: float = 1.0
    said: bool = False


@dataclass(frozen=True)
class Entry:
    """One visit to the bench; its fields in the order of its line.

    Attributes
    ----------
    number : its place in the log, from 1
    at : strokes done since the start of the job when it was written, its own included [-]
    when : time it was written, as text
    strokes : strokes done in it [-]
    paper : name of the paper they were done on
    new_sheet, brushed : before the strokes
    brush_every : strokes between brushings during them; 0: none
    turn_every : strokes between turns; 0: not turned; None: as the scenario has it
    swarf : swarf gathered since the last weighing of swarf [kg]
    part_mass : what the part weighs [kg]
    scale : least division of the scale [kg]
    readings : straightedge lines read after the strokes
    dye_left : share of the face on which dye is left, full or fading [-]
    dye_faded : share on which it is fading or gone [-]
    dye_grid : shares on which it is left on a raster (rows, columns), (3, 5) or finer, NaN where there is
        nothing to see
    dye_sd : standard errors of these shares, as measured from a photo; None: judged by eye
    dye_seen : a raster (3, 5) in letters or words, which tell fading from gone; "" for none
    dyed : new dye put on at the end
    minutes : time taken [min]
    note : words
    void : number of an earlier entry that is taken back
    corrected : the scenario was wrong before and is right now, for all that is in the log
    as_is : whoever wrote it insists: what is only improbable in it stands
    against : marks of the scenario where they are not those of the entries before
    id : what a page for the bench calls it, "PHONE-NUMBER"; "" for one written at the command line
    """

    number: Annotated[int, Logged("n", 1, 10**6)]
    at: Annotated[int, Logged("at", 0, 10**7)]
    when: Annotated[str, Logged("when")]
    id: Annotated[str, Logged("id")] = ""
    void: Annotated[int | None, Logged("void", 1, 10**6, said=True)] = None
    corrected: Annotated[bool, Logged("corrected", said=True)] = False
    paper: Annotated[str, Logged("paper", said=True)] = ""
    new_sheet: Annotated[bool, Logged("new_sheet", said=True)] = False
    brushed: Annotated[bool, Logged("brushed", said=True)] = False
    strokes: Annotated[int, Logged("strokes", 0, MOST_STROKES, said=True)] = 0
    brush_every: Annotated[int, Logged("brush_every", 0, MOST_STROKES, said=True)] = 0
    turn_every: Annotated[int | None, Logged("turn_every", 0, MOST_STROKES, said=True)] = None
    swarf: Annotated[float | None, Logged("swarf_g", 0.0, 1e5, GRAM)] = None
    part_mass: Annotated[float | None, Logged("part_g", 1e-3, 1e7, GRAM)] = None
    scale: Annotated[float | None, Logged("scale_g", 1e-6, 1e4, GRAM)] = None
    readings: Annotated[tuple[StraightedgeLine, ...], Logged("readings")] = ()
    dye_left: Annotated[float | None, Logged("dye_left", 0.0, 1.0)] = None
    dye_faded: Annotated[float | None, Logged("dye_faded", 0.0, 1.0)] = None
    dye_grid: Annotated[tuple[tuple[float, ...], ...] | None, Logged("dye_grid")] = None
    dye_sd: Annotated[tuple[tuple[float, ...], ...] | None, Logged("dye_sd")] = None
    dye_seen: Annotated[str, Logged("dye_seen")] = ""
    dyed: Annotated[bool, Logged("dyed", said=True)] = False
    as_is: Annotated[bool, Logged("as_is", said=True)] = False
    minutes: Annotated[float | None, Logged("minutes", 0.0, 1e4, said=True)] = None
    note: Annotated[str, Logged("note", said=True)] = ""
    against: Annotated[tuple[LogMark, ...], Logged("against")] = ()

    @property
    def writer(self) -> str:
        """Whose clock it was written by: a phone's, or "" for the command line."""
        return self.id.rpartition("-")[0]

    @property
    def count_read(self) -> int:
        """Readings of straightedge lines in it [-]."""
        return sum(len(line.stations) for line in self.readings)

    @property
    def dye_pictures(self) -> tuple[DyePicture, ...]:
        """What was seen of the dye.  Zones tell more than shares of the whole face, which then only add
        what the zones leave open."""
        zones = None
        if self.dye_seen:
            zones = read_dye(self.dye_seen)
        elif self.dye_grid is not None:
            sd = None if self.dye_sd is None else np.array(self.dye_sd)
            zones = dye_picture.of_shares(np.array(self.dye_grid), sd)
        left, faded = self.dye_left, self.dye_faded
        if zones is not None:
            gone_told, faded_told = np.split(np.isfinite(zones.seen), 2)
            left, faded = None if gone_told.any() else left, None if faded_told.any() else faded
        whole = None if left is None and faded is None else dye_picture.of_face(left, faded)
        return tuple(picture for picture in (zones, whole) if picture is not None)

    @property
    def looked(self) -> bool:
        """Whether something was weighed or read that bears on the numbers."""
        return bool(
            self.readings or self.dye_pictures or self.swarf is not None or self.part_mass is not None
        )


@dataclass(frozen=True)
class JobLog:
    """All entries of a log in their order, those taken back included.

    ``damage``: what was found damaged, in words; such lines are left out.  ``notes``: what else
    the user should know of it, in words; ``file``: its name, for messages.
    """

    part: str
    name: str
    entries: tuple[Entry, ...] = ()
    damage: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    file: str = "the log"

    @property
    def standing(self) -> tuple[Entry, ...]:
        """The entries that stand, with ``at`` counted over them alone."""
        taken_back = {e.void for e in self.entries if e.void is not None}
        found, done = [], 0
        for entry in self.entries:
            if entry.void is None and entry.number not in taken_back:
                done += entry.strokes
                found.append(replace(entry, at=done))
        return tuple(found)

    @property
    def strokes(self) -> int:
        """Strokes done so far [-]."""
        return sum(entry.strokes for entry in self.standing)

    @property
    def last_dye(self) -> tuple[Entry, DyePicture, int, bool] | None:
        """The last look at the dye that tells zones apart: its entry, what was seen, strokes since the dye
        was put on, and whether the face was worked before that; None if there is none."""
        found, since, before = None, 0, 0
        for entry in self.standing:
            since += entry.strokes
            zoned = [picture for picture in entry.dye_pictures if picture.zoned]
            if zoned and since:
                found = entry, zoned[0], since, before > 0
            if entry.dyed:
                since, before = 0, before + since
        return found

    @property
    def paper(self) -> str:
        """Paper in use, "" before the first."""
        return next((e.paper for e in reversed(self.standing) if e.paper), "")


def part_mark(part: Part) -> str:
    """A mark of the face and its metal, by which a log knows its part.

    Outline and openings to the hundredth of a millimetre, and the name of the metal.
    """
    digest = hashlib.sha256(part.metal.name.encode())
    for polygon in (part.outline.rim, *part.outline.openings):
        digest.update(np.round(1e5 * polygon).astype(np.int64).tobytes())
    return digest.hexdigest()[:16]


class EntryFaults(WholeError):
    """What is wrong with one line, all of it."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(str(f) for f in self.faults))


def sequence_faults(entries: Sequence[Entry], file: str) -> list[Fault]:
    """What is wrong with the order of entries: numbers, strokes going backwards, nothing to take back."""
    faults: list[Fault] = []
    strokes: dict[int, int] = {}
    done = read = 0
    for place, entry in enumerate(entries, 1):
        label = f"line {place + 1}"
        read += entry.count_read
        if read > MOST_READINGS_IN_ALL:
            faults.append(Fault(file, f"{label}, readings", f"{read} in all", WORDS_READINGS))
            break
        if entry.number != place:
            faults.append(
                Fault(file, f"{label}, n", str(entry.number), f"{place}: the entries count up by one")
            )
        if entry.void is not None:
            if entry.void not in strokes:
                faults.append(Fault(file, f"{label}, void", str(entry.void), "an earlier entry that stands"))
            done -= strokes.pop(entry.void, 0)
        else:
            strokes[place] = entry.strokes
            done += entry.strokes
            if done > MOST_STROKES_IN_ALL:
                words = f"at most {MOST_STROKES_IN_ALL} strokes in one log"
                faults.append(Fault(file, f"{label}, strokes", f"{done} in all", words))
                break
        if entry.at < done:
            faults.append(Fault(file, f"{label}, at", str(entry.at), f"{done}: strokes cannot go backwards"))
        elif entry.at > done:
            faults.append(
                Fault(file, f"{label}, at", str(entry.at), f"{done}: that many are written down so far")
            )
    return faults


def next_entry(log: JobLog, entry: Entry, file: str) -> Entry:
    """The entry with its number and count of strokes, checked against the log.

    ``entry.at`` may hold the count of strokes as the user has it (0: not said); ``strokes`` then
    follows from it where it is not given.

    Raises
    ------
    EntryFaults : if strokes would go backwards, the two disagree, or there is nothing to take back
    """
    faults: list[Fault] = []
    done, number = log.strokes, len(log.entries) + 1
    strokes = entry.strokes
    if entry.at:
        if entry.at < done:
            words = f"{done} or more: so many are in the log, and strokes cannot go backwards"
            faults.append(Fault(file, "strokes so far", str(entry.at), words))
        elif not strokes:
            strokes = entry.at - done
        elif done + strokes != entry.at:
            words = f"{done + strokes}: {done} in the log and {strokes} now"
            faults.append(Fault(file, "strokes so far", str(entry.at), words))
    paper = entry.paper or (log.paper if strokes else "")
    if strokes and not paper:
        faults.append(Fault(file, "paper", "", "missing: the paper the strokes were done on"))
    if entry.void is not None:
        standing = {e.number: e for e in log.standing}
        if entry.void not in standing:
            allowed = ", ".join(map(str, standing)) or "nothing: the log is empty"
            faults.append(Fault(file, "void", str(entry.void), allowed))
        else:
            done -= standing[entry.void].strokes
    if number > MOST_ENTRIES:
        faults.append(Fault(file, "", f"{number} entries", f"at most {MOST_ENTRIES} entries in one log"))
    if entry.void is None and done + strokes > MOST_STROKES_IN_ALL:
        words = f"at most {MOST_STROKES_IN_ALL} strokes in one log"
        faults.append(Fault(file, "strokes", f"{done + strokes} in all", words))
    read = sum(e.count_read for e in (*log.entries, entry))
    if entry.readings and read > MOST_READINGS_IN_ALL:
        faults.append(Fault(file, "readings", f"{read} in all", WORDS_READINGS))
    if entry.void is not None and (entry.strokes or entry.looked or entry.dyed):
        words = "nothing else with it: strokes and readings go into an entry of their own"
        faults.append(Fault(file, "void", str(entry.void), words))
    if faults:
        raise EntryFaults(faults)
    return replace(entry, number=number, at=done + strokes, strokes=strokes, paper=paper)

"""Checking and converting the value of one key of a scenario file.

One function per kind of :class:`handlap.sim.job.key_row.Key`.  Each returns the value in SI,
or None after writing down what is wrong with it, so that all faults of a file are found.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from typing import Any

from handlap.sim.common.errors import InputError, what_is_known
from handlap.sim.common.units import show, unit_of
from handlap.sim.job.findings import Findings
from handlap.sim.job.key_row import Key
from handlap.sim.job.outline_faults import outline_fault
from handlap.sim.job.scenario import WorstGap
from handlap.sim.job.scenario_numbers import number, numbers, read_quantity, read_uncertain, read_whole
from handlap.sim.materials import grits
from handlap.sim.materials.grits import Grit

LIST_MOST = 2000
"""Entries a list may hold."""
MOST_READINGS = 600
"""Readings of all lines of a file, on which the work of the survey grows; a face is read at some sixty."""
MOST_CORNERS, MOST_STRIPS, MOST_LUMPS, MOST_STATES, MOST_WAYS = 500, 60, 60, 100, 40
"""Entries of lists that every step of a lap, or a whole ensemble, goes through."""
LUMP_HEIGHT = (-0.005, 0.005)
"""Heights of lumps under the paper that are believed; below zero: a dent in the plate [m]."""


def read_text(raw: Any, row: Key, label: str, found: Findings) -> str | None:
    """A text of one line that is not empty."""
    if not isinstance(raw, str) or not raw.strip() or len(raw) > 300 or not raw.isprintable():
        found.fault(label, raw, "a text in quotes, on one line, of 1 to 300 characters")
        return None
    return raw.strip()


def read_choice(raw: Any, row: Key, label: str, found: Findings) -> str | None:
    """One of the words of the row."""
    if not isinstance(raw, str) or raw not in row.choices:
        found.fault(label, raw, "one of " + ", ".join(f'"{c}"' for c in row.choices))
        return None
    return raw


def read_flag(raw: Any, row: Key, label: str, found: Findings) -> bool | None:
    """True or false."""
    if not isinstance(raw, bool):
        found.fault(label, raw, "true or false, without quotes")
        return None
    return raw


def entries(
    raw: Any, label: str, found: Findings, least: int, what: str, most: int = LIST_MOST
) -> list[Any] | None:
    """A list whose number of entries is within bounds."""
    if not isinstance(raw, list) or not least <= len(raw) <= most:
        got = f"{len(raw)} of them" if isinstance(raw, list) and len(raw) > most else raw
        found.fault(label, got, f"a list of {least} to {most} {what}")
        return None
    return raw


def read_point(raw: Any, row: Key, label: str, found: Findings) -> tuple[float, float] | None:
    """A position [u, v] [m]."""
    values = numbers(raw, label, found, (("u", "length"), ("v", "length")), row)
    return None if values is None else (values[0], values[1])


def read_points(raw: Any, row: Key, label: str, found: Findings) -> list[tuple[float, float]] | None:
    """Corners of a closed polygon that does not cross itself [m]."""
    listed = entries(raw, label, found, 3, "corners [u, v]", MOST_CORNERS)
    if listed is None:
        return None
    points = [read_point(p, row, f"{label}[{i}]", found) for i, p in enumerate(listed, 1)]
    if any(p is None for p in points):
        return None
    corners = [p for p in points if p is not None]
    if corners[0] == corners[-1]:
        corners.pop()
    wrong = outline_fault(corners)
    if wrong:
        found.fault(label, raw, f"corners in order round the edge; {wrong}")
        return None
    return corners


def read_circle(raw: Any, row: Key, label: str, found: Findings) -> list[float] | None:
    """A round hole: u, v, diameter [m]."""
    values = numbers(raw, label, found, tuple((n, "length") for n in ("u", "v", "diameter")), row)
    if values is not None and values[2] <= 0.0:
        found.fault(f"{label} (diameter)", raw[2], "above 0")
        return None
    return values


def read_slot(raw: Any, row: Key, label: str, found: Findings) -> list[float] | None:
    """A slot: u, v, length over all, width [m], angle [rad]."""
    shape = (*((n, "length") for n in ("u", "v", "length", "width")), ("angle", "angle"))
    values = numbers(raw, label, found, shape, row)
    if values is not None and not 0.0 < values[3] <= values[2]:
        found.fault(label, raw, "a width above 0 and no greater than the length over all")
        return None
    return values


def read_leaves(raw: Any, row: Key, label: str, found: Findings) -> list[float] | None:
    """Thicknesses of feeler leaves, sorted, each once [m]."""
    listed = entries(raw, label, found, 1, "thicknesses")
    if listed is None:
        return None
    values = [read_quantity(t, row, f"{label}[{i}]", found) for i, t in enumerate(listed, 1)]
    return None if any(v is None for v in values) else sorted({float(v) for v in values if v is not None})


def _leaf(raw: Any, word: str, worth: float, row: Key, label: str, found: Findings) -> float | None:
    if raw == word:
        return worth
    if isinstance(raw, str) and raw.isalpha():
        found.fault(label, raw, f'a leaf\'s thickness, or "{word}"')
        return None
    if raw == 0 and not isinstance(raw, bool) and worth == 0.0:
        return 0.0
    return read_quantity(raw, row, label, found)


def read_stations(raw: Any, row: Key, label: str, found: Findings) -> list[tuple[float, ...]] | None:
    """Stations (at, goes, stops) [m]; (at, goes) where the leaf that stops is left out."""
    listed = entries(raw, label, found, 1, "readings [at, goes, stops]", MOST_READINGS)
    if listed is None:
        return None
    stations: list[tuple[float, ...]] = []
    for i, entry in enumerate(listed, 1):
        here = f"{label}[{i}]"
        if not isinstance(entry, list) or len(entry) not in (2, 3):
            found.fault(here, entry, '[at, goes or "none", stops or "open"]')
            continue
        at = number(entry[0], f"{here} (at)", found, "length", "distance from the start of the line")
        goes = _leaf(entry[1], "none", 0.0, row, f"{here} (goes)", found)
        if len(entry) == 2:
            if at is not None and goes is not None:
                stations.append((at, goes))
            continue
        stops = _leaf(entry[2], "open", math.inf, row, f"{here} (stops)", found)
        if at is None or goes is None or stops is None:
            continue
        if stops <= goes:
            found.fault(here, entry, "a leaf that stops thicker than the leaf that goes")
            continue
        if goes == 0.0 and stops == math.inf:
            found.fault(here, entry, "at least one leaf that was tried")
            continue
        stations.append((at, goes, stops))
    return stations


def read_depths(raw: Any, row: Key, label: str, found: Findings) -> list[tuple[float, str, float]] | None:
    """How far leaves slide in: (leaf [m], "start" or "end", depth [m])."""
    listed = entries(raw, label, found, 1, 'entries [leaf, "start" or "end", depth]')
    if listed is None:
        return None
    depths = []
    for i, entry in enumerate(listed, 1):
        here = f"{label}[{i}]"
        if not isinstance(entry, list) or len(entry) != 3 or entry[1] not in ("start", "end"):
            found.fault(here, entry, '[leaf, "start" or "end", depth]')
            continue
        leaf = read_quantity(entry[0], row, f"{here} (leaf)", found)
        depth = number(entry[2], f"{here} (depth)", found, "length", "how far the leaf slides in")
        if leaf is not None and leaf <= 0.0:
            found.fault(f"{here} (leaf)", entry[0], "above 0")
        elif depth is not None and depth <= 0.0:
            found.fault(f"{here} (depth)", entry[2], "above 0")
        elif leaf is not None and depth is not None:
            depths.append((leaf, entry[1], depth))
    return depths


def read_worst_gap(raw: Any, row: Key, label: str, found: Findings) -> WorstGap | None:
    """The worst gap of a face: leaf that goes, leaf that stops [m], and where."""
    if not isinstance(raw, list) or len(raw) != 3:
        found.fault(label, raw, f"[goes, stops, where]; where: {', '.join(row.choices)}")
        return None
    if raw[2] not in row.choices:
        found.fault(f"{label} (where)", raw[2], ", ".join(row.choices))
    goes = _leaf(raw[0], "none", 0.0, row, f"{label} (goes)", found)
    stops = _leaf(raw[1], "open", math.inf, row, f"{label} (stops)", found)
    if raw[2] not in row.choices or goes is None or stops is None:
        return None
    if not goes < stops:
        found.fault(f"{label} (stops)", raw[1], "thicker than the leaf that goes")
        return None
    if goes <= 0.0 and not math.isfinite(stops):
        found.fault(label, raw, "at least one leaf, that goes or that stops")
        return None
    return WorstGap(goes, stops, raw[2])


def read_strips(raw: Any, row: Key, label: str, found: Findings) -> list[list[float]] | None:
    """Rectangles of paper (x0, y0, x1, y1) [m]."""
    listed = entries(raw, label, found, 1, "rectangles [x0, y0, x1, y1]", MOST_STRIPS)
    if listed is None:
        return None
    shape = tuple((n, "length") for n in ("x0", "y0", "x1", "y1"))
    strips = []
    for i, entry in enumerate(listed, 1):
        values = numbers(entry, f"{label}[{i}]", found, shape, row)
        if values is not None and not (values[0] < values[2] and values[1] < values[3]):
            found.fault(f"{label}[{i}]", entry, "x0 below x1 and y0 below y1")
        elif values is not None:
            strips.append(values)
    return strips


def read_lumps(raw: Any, row: Key, label: str, found: Findings) -> list[list[float]] | None:
    """Round lumps (x, y, diameter, height) [m]."""
    listed = entries(raw, label, found, 1, "lumps [x, y, diameter, height]", MOST_LUMPS)
    if listed is None:
        return None
    shape = (("x", "length"), ("y", "length"), ("diameter", "length"), ("height", "height"))
    lumps = []
    for i, entry in enumerate(listed, 1):
        values = numbers(entry, f"{label}[{i}]", found, shape, row)
        if values is None:
            continue
        low, high = LUMP_HEIGHT
        if values[2] <= 0.0:
            found.fault(f"{label}[{i}] (diameter)", entry[2], "above 0")
        elif not low <= values[3] <= high:
            ends = " to ".join(show(h, "height", found.system) for h in LUMP_HEIGHT)
            found.fault(f"{label}[{i}] (height)", entry[3], ends)
        else:
            lumps.append(values)
    return lumps


def read_turns(raw: Any, row: Key, label: str, found: Findings) -> list[list[float]] | None:
    """A round of turns (part, operator) [rad]."""
    listed = entries(raw, label, found, 1, "pairs [turn of the part, turn of the operator]", MOST_STATES)
    if listed is None:
        return None
    shape = (("part", "angle"), ("operator", "angle"))
    turns = [numbers(t, f"{label}[{i}]", found, shape, row) for i, t in enumerate(listed, 1)]
    return None if any(t is None for t in turns) else [t for t in turns if t is not None]


def read_grits(raw: Any, row: Key, label: str, found: Findings) -> list[Any] | None:
    """Names or plain numbers of papers; :func:`find_grits` looks them up."""
    listed = entries(raw, label, found, 1, 'papers such as "P80"')
    if listed is None:
        return None
    for i, entry in enumerate(listed, 1):
        if isinstance(entry, bool) or not isinstance(entry, str | int):
            found.fault(f"{label}[{i}]", entry, 'a paper such as "P80", or a plain number')
            return None
    return listed


def read_ways(raw: Any, row: Key, label: str, found: Findings) -> list[str] | None:
    """Ways of working, each a text of key=value pairs; see :mod:`handlap.sim.job.ways`."""
    # Ways are built from scenarios, so that module needs this one first.
    from handlap.sim.job.ways import parse_way

    listed = entries(raw, label, found, 1, 'ways such as "turning=half every=40"', MOST_WAYS)
    if listed is None:
        return None
    sound = True
    for i, entry in enumerate(listed, 1):
        if not isinstance(entry, str):
            found.fault(f"{label}[{i}]", entry, 'a way such as "turning=half every=40"')
            sound = False
            continue
        try:
            parse_way(entry)
        except InputError as fault:
            found.fault(f"{label}[{i}]", entry, str(fault).removeprefix(f'the way "{entry}": '))
            sound = False
    return listed if sound else None


def find_grits(listed: list[Any], system: str | None, label: str, found: Findings) -> tuple[Grit, ...] | None:
    """Look papers up and see that they go from coarse to fine."""
    papers: list[Grit] = []
    for i, entry in enumerate(listed, 1):
        text = str(entry).strip()
        bare = text.isdigit()
        marked = {"P": f"P{text}", "US": f"{text} US"}.get(system or "", text)
        try:
            papers.append(grits.find(marked if bare else text))
        except ValueError as error:
            found.fault(f"{label}[{i}]", entry, what_is_known(error))
    for before, after in itertools.pairwise(papers):
        if after.diameter >= before.diameter:
            found.fault(label, listed, f"coarse to fine; {after.name} does not follow {before.name}")
            return None
    return tuple(papers) if len(papers) == len(listed) else None


def read_direction(raw: Any, row: Key, label: str, found: Findings) -> float | None:
    """A direction in words or degrees, as an angle from u [rad]."""
    if raw == "along":
        return 0.0
    if raw == "across":
        return math.pi / 2.0
    if isinstance(raw, str) and raw.isalpha():
        found.fault(label, raw, '"along", "across", or degrees from the u axis')
        return None
    return read_quantity(raw, row, label, found)


SHORT_GASKETS = {"mls": "multi-layer steel", "coated mls": "coated multi-layer steel"}
"""What the trade calls them for short (common practice)."""


def read_gasket(raw: Any, row: Key, label: str, found: Findings) -> str | tuple[float, float] | None:
    """A kind of gasket in words, or the range of roughness it takes [m]."""
    words = ", ".join(f'"{c}"' for c in row.choices)
    unit = unit_of(row.quantity, found.system)
    if isinstance(raw, str):
        raw = SHORT_GASKETS.get(raw.strip().lower(), raw)
        if raw in row.choices:
            return str(raw)
    if not isinstance(raw, list):
        found.fault(label, raw, f"one of {words}, or [least Ra, greatest Ra] in {unit}")
        return None
    values = numbers(raw, label, found, (("least", "roughness"), ("greatest", "roughness")), row)
    if values is not None and not values[0] < values[1]:
        found.fault(label, raw, "a least Ra below the greatest")
        return None
    return None if values is None else (values[0], values[1])


READERS: dict[str, Callable[[Any, Key, str, Findings], Any]] = {
    "text": read_text,
    "file": read_text,
    "choice": read_choice,
    "yes or no": read_flag,
    "whole number": read_whole,
    "quantity": read_quantity,
    "uncertain quantity": read_uncertain,
    "point": read_point,
    "points": read_points,
    "circle": read_circle,
    "slot": read_slot,
    "leaves": read_leaves,
    "stations": read_stations,
    "depths": read_depths,
    "worst gap": read_worst_gap,
    "strips": read_strips,
    "lumps": read_lumps,
    "grits": read_grits,
    "turns": read_turns,
    "ways": read_ways,
    "direction": read_direction,
    "gasket": read_gasket,
}
"""Kind of key → function that checks and converts its value."""

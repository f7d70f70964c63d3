"""Heights of a face from a table (CSV) whose headers carry the unit.

Columns: two positions, ``u_mm``/``v_mm`` (or x, y; units mm, cm, m, in), and ``height_um``
(or h; units um, mm, m, thou, in, uin), in any order; ``point`` and ``note`` are allowed and
not used.  Fields are parted by commas, with a decimal point, or by semicolons, with a decimal
comma or point.  Lines that start with ``#`` and empty lines are skipped.
"""

from __future__ import annotations

import csv
import re
from decimal import Decimal
from pathlib import Path

import numpy as np

from handlap.sim.common import spoken
from handlap.sim.common.errors import Fault, ScenarioError
from handlap.sim.common.outline import Array
from handlap.sim.common.units import OTHER_SPELLINGS, UNITS
from handlap.sim.job.given_file import read_small_text
from handlap.sim.job.scenario import HeightTable

LARGEST_FILE = 2_000_000
"""[bytes]"""
FEWEST_POINTS, MOST_POINTS = 4, 3000
"""Points of a table; memory and time of the survey grow with the square and the cube of their number."""
GREATEST_HEIGHT = 0.02
"""Greatest distance between heights that is believed [m]."""

_NAMES = {"u": "u", "x": "u", "v": "v", "y": "v", "height": "height", "h": "height", "z": "height"}
_IDLE = {"point", "note"}
_HEADER = re.compile(r"([a-z]+)_([a-zµμ]+)")
_NUMBER = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?")
FEWEST_DISTINCT = 4
"""Different heights from which on digits that all of them skip are taken as not read."""
FINEST_PLACE = 12
"""Decimals beyond which no digit of a height means anything."""
ERROR_SHARE, LEAST_ERROR = 0.5, 1e-6
"""Error assumed of a height over the step of its digits [-], and at least [m]: half a division is
common practice for what a person reads off a dial; no stand, plate or probe under a warped part
is better than a micron."""
HEADERS = "two positions such as u_mm, v_mm and a height such as height_um or height_thou"


def read_height_table(path: Path, sd: float = 0.0) -> HeightTable:
    """Heights from a file.

    Parameters
    ----------
    path : the CSV file
    sd : standard deviation of one height [m]

    Returns
    -------
    The table, positions as in the file [m], heights positive = proud [m].

    Raises
    ------
    ScenarioError : with every fault found and its line
    """
    return parse_height_table(read_small_text(path, LARGEST_FILE), path.name, sd)


def parse_height_table(text: str, source: str, sd: float = 0.0) -> HeightTable:
    """Heights from the text of a CSV file; see :func:`read_height_table`.

    >>> table = parse_height_table("u_mm;v_mm;height_um\\n0;0;1,5\\n10;0;2\\n0;10;0\\n9;9;1", "t")
    >>> table.u.tolist(), table.height.tolist()
    ([0.0, 0.01, 0.0, 0.009], [1.5e-06, 2e-06, 0.0, 1e-06])
    """
    lines = [
        (number, line)
        for number, line in enumerate(text.splitlines(), 1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not lines:
        raise ScenarioError([Fault(source, "", "an empty table", HEADERS)])
    if len(lines) - 1 > MOST_POINTS:
        got = f"{len(lines) - 1} points"
        raise ScenarioError([Fault(source, "", got, f"at most {MOST_POINTS} points: leave some out evenly")])
    semicolon = ";" in lines[0][1]
    rows = [(number, _fields(line, ";" if semicolon else ",")) for number, line in lines]
    columns = _columns(rows[0][1], source, rows[0][0])
    faults: list[Fault] = []
    values, at, written = [], [], []
    for number, fields in rows[1:]:
        row = _row(fields, columns, semicolon, source, number, faults, len(rows[0][1]))
        if row is not None:
            values.append(row)
            at.append(number)
            written.append(_plain(fields[columns["height"][0]], semicolon))
    table = np.array(values, dtype=float).reshape(-1, 3)
    if not faults:
        faults = _table_faults(table, at, source)
    if faults:
        raise ScenarioError(faults)
    u, v, height = (np.ascontiguousarray(column) for column in table.T)
    _, multiplier, divisor = columns["height"]
    return HeightTable(u, v, height, sd, source, step=written_step(written) * multiplier / divisor)


def written_step(written: list[str]) -> float:
    """Step in which numbers are written: their last place, or 2, 5 or 10 of it where they keep to that.

    A dial of 0.01 mm gives heights that all end in 0 when they are written in µm.

    >>> [written_step(row) for row in (["0", "12.3", "3", "7"], ["0", "120", "-30", "70"], ["0", "0"])]
    [0.1, 10.0, 1.0]
    """
    numbers = [Decimal(text) for text in written]
    places = [int(number.as_tuple().exponent) for number in numbers]
    place = 10.0 ** max(min([*places, 0]), -FINEST_PLACE)
    steps = {round(float(number) / place) for number in numbers}
    if len(steps) >= FEWEST_DISTINCT:
        return place * next(m for m in (10, 5, 2, 1) if all(k % m == 0 for k in steps))
    return place


def assumed_error(step: float) -> float:
    """Standard deviation of a height of which nobody stated it [m]; ``step`` of its digits [m]."""
    return max(ERROR_SHARE * step, LEAST_ERROR)


def _plain(text: str, semicolon: bool) -> str:
    """A number with a decimal point; where semicolons part the fields it may have had a comma."""
    return text.replace(",", ".") if semicolon and text.count(",") == 1 else text


def _fields(line: str, separator: str) -> list[str]:
    try:
        return [f.strip() for f in next(csv.reader([line], delimiter=separator))]
    except csv.Error:
        return [f.strip() for f in line.split(separator)]


def _columns(headers: list[str], source: str, line: int) -> dict[str, tuple[int, float, float]]:
    """Place, multiplier and divisor of u, v and height."""
    columns: dict[str, tuple[int, float, float]] = {}
    faults: list[Fault] = []
    for i, header in enumerate(headers):
        plain = header.lower()
        if plain in _IDLE:
            continue
        found = _HEADER.fullmatch(plain)
        name = _NAMES.get(found[1]) if found else None
        unit = OTHER_SPELLINGS.get(found[2], found[2]) if found else ""
        if name is None or unit not in UNITS["length"]:
            faults.append(Fault(source, f"line {line}", f'"{header}"', HEADERS))
        elif name in columns:
            faults.append(Fault(source, f"line {line}", f'"{header}"', f"one column for {name}"))
        else:
            columns[name] = (i, *UNITS["length"][unit])
    for name in ("u", "v", "height"):
        if name not in columns and not faults:
            faults.append(Fault(source, f"line {line}", "", f"no column for {name}: {HEADERS}"))
    if faults:
        raise ScenarioError(faults)
    return columns


def _row(
    fields: list[str],
    columns: dict[str, tuple[int, float, float]],
    semicolon: bool,
    source: str,
    line: int,
    faults: list[Fault],
    width: int,
) -> list[float] | None:
    if len(fields) != width:
        hint = "; decimal commas need semicolons between fields" if len(fields) > width else ""
        faults.append(
            Fault(source, f"line {line}", f"{len(fields)} fields", f"{width} as in the headers{hint}")
        )
        return None
    row = []
    for name in ("u", "v", "height"):
        place, multiplier, divisor = columns[name]
        text = fields[place]
        plain = _plain(text, semicolon)
        value = float(plain) if _NUMBER.fullmatch(plain) else np.inf
        if not np.isfinite(value):
            shown = text if len(text) <= 40 else text[:39] + "…"
            allowed = f"a number for {name}" + (", without thousands separator" if "," in text else "")
            faults.append(Fault(source, f"line {line}", f'"{shown}"', allowed))
            return None
        row.append(value * multiplier / divisor)
    return row


def _table_faults(table: Array, lines: list[int], source: str) -> list[Fault]:
    if len(table) < FEWEST_POINTS:
        return [Fault(source, "", f"{len(table)} points", f"at least {FEWEST_POINTS} points")]
    faults = []
    first: dict[tuple[float, float], int] = {}
    for line, (u, v) in zip(lines, table[:, :2].tolist(), strict=True):
        if (u, v) in first:
            faults.append(
                Fault(source, f"line {line}", "", f"the same position as line {first[u, v]}: give it once")
            )
        first.setdefault((u, v), line)
    span = np.ptp(table, axis=0)
    if span[2] > GREATEST_HEIGHT:
        faults.append(
            Fault(
                source,
                "",
                f"heights {spoken.position(span[2], '.4g')} apart",
                "heights within 20 mm: check the unit",
            )
        )
    centred = table[:, :2] - table[:, :2].mean(axis=0)
    if np.linalg.svd(centred, compute_uv=False)[1] < 1e-6 * max(span[0], span[1]):
        faults.append(Fault(source, "", "points on one line", "points that cover the face"))
    return faults

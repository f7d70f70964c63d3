"""Every key of a scenario file, gathered from the fields of the records of a job.

The loader is driven by this table: a key that is not here is refused, and one that is here is
checked against its row.  To add a key, write it on the field of its record; a field that holds the value
of its key as it stands is filled by :meth:`handlap.sim.job.scenario_given.Given.record`.
"""

from __future__ import annotations

from dataclasses import dataclass

from handlap.sim.common.units import unit_of
from handlap.sim.job.job_part import Insert, Part, Proud
from handlap.sim.job.job_plate import Paper, Plate
from handlap.sim.job.job_readings import Readings, StraightedgeLine
from handlap.sim.job.job_wear import Wear
from handlap.sim.job.job_work import Exact, Hands, Strokes, Turning
from handlap.sim.job.key_row import Key, allowed_words, keys_of
from handlap.sim.job.scenario import Scenario
from handlap.sim.job.surroundings import Surroundings

RECORDS: dict[str, type] = {
    "": Scenario,
    "part.": Part,
    "part.proud[].": Proud,
    "part.inserts[].": Insert,
    "readings.": Readings,
    "readings.line[].": StraightedgeLine,
    "part.after.": Surroundings,
    "plate.": Plate,
    "paper.": Paper,
    "hands.": Hands,
    "strokes.": Strokes,
    "turning.": Turning,
    "wear.": Wear,
    "exact.": Exact,
}
"""Table of a scenario file → the record whose fields hold its keys, in the order in which they are listed."""
TABLE_OF: dict[type, str] = {record: table for table, record in RECORDS.items()}


def _gathered() -> tuple[Key, ...]:
    keys = [key for table, record in RECORDS.items() for _, key in keys_of(record, table)]
    for key in [key for key in keys if key.after]:
        keys.remove(key)
        keys.insert(1 + [other.name for other in keys].index(key.after), key)
    return tuple(keys)


KEYS: tuple[Key, ...] = _gathered()
BY_NAME: dict[str, Key] = {key.name: key for key in KEYS}


@dataclass(frozen=True)
class KeyRow:
    """A row of the table in words, for print."""

    name: str
    kind: str
    unit_mm: str
    unit_inch: str
    allowed: str
    default: str
    basis: str
    help: str
    required: bool


def _default_words(row: Key) -> str:
    if row.required:
        return "must be given"
    if row.default is None:
        return (row.default_words or "none") + _spread_words(row)
    if isinstance(row.default, bool):
        return "true" if row.default else "false"
    unit = unit_of(row.quantity, "mm")
    words = f"{row.default:g}" if isinstance(row.default, float) else str(row.default)
    words += f" {unit}" if unit and isinstance(row.default, float) else ""
    return words + _spread_words(row)


def _spread_words(row: Key) -> str:
    factor = f", ×/÷ {row.factor:g}" if row.factor > 1.0 else ""
    return factor + (f" ± {row.plus_minus:g}" if row.plus_minus > 0.0 else "")


def describe_keys() -> tuple[KeyRow, ...]:
    """Every key in words, in the order of the table."""
    return tuple(
        KeyRow(
            name=row.name,
            kind=row.kind,
            unit_mm=unit_of(row.quantity, "mm"),
            unit_inch=unit_of(row.quantity, "inch"),
            allowed=allowed_words(row),
            default=_default_words(row),
            basis=row.basis,
            help=row.help,
            required=row.required,
        )
        for row in KEYS
    )

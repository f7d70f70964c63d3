"""Every key of a scenario file, in one table.

The loader is driven by this table: a key that is not here is refused, and one that is here is
checked against its row.  To add a key, add a row (:mod:`handlap.sim.job.part_keys`,
:mod:`handlap.sim.job.after_keys`, :mod:`handlap.sim.job.bench_keys`, :mod:`handlap.sim.job.work_keys`), and
use its value where the record is built (:mod:`handlap.sim.job.scenario_part`,
:mod:`handlap.sim.job.scenario_bench`,
:mod:`handlap.sim.job.scenario_build`).
"""

from __future__ import annotations

from dataclasses import dataclass

from handlap.sim.common.units import unit_of
from handlap.sim.job.after_keys import AFTER_KEYS
from handlap.sim.job.bench_keys import BENCH_KEYS
from handlap.sim.job.key_row import Key, allowed_words
from handlap.sim.job.part_keys import PART_KEYS
from handlap.sim.job.work_keys import WORK_KEYS

KEYS: tuple[Key, ...] = PART_KEYS + AFTER_KEYS + BENCH_KEYS + WORK_KEYS
BY_NAME: dict[str, Key] = {key.name: key for key in KEYS}


def key(name: str) -> Key:
    """The row of a dotted key (KeyError if there is none)."""
    return BY_NAME[name]


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
        return row.default_words or "none"
    if isinstance(row.default, bool):
        return "true" if row.default else "false"
    unit = unit_of(row.quantity, "mm")
    words = f"{row.default:g}" if isinstance(row.default, float) else str(row.default)
    words += f" {unit}" if unit and isinstance(row.default, float) else ""
    if row.factor > 1.0:
        words += f", ×/÷ {row.factor:g}"
    if row.plus_minus > 0.0:
        words += f" ± {row.plus_minus:g}"
    return words


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

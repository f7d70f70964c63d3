"""What a scenario file states, and the defaults that stand in for what it does not."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, TypeVar

from handlap.sim.common.units import show, to_si
from handlap.sim.job.findings import Findings
from handlap.sim.job.key_row import keys_of
from handlap.sim.job.scenario import Uncertain
from handlap.sim.job.scenario_keys import BY_NAME, TABLE_OF
from handlap.sim.job.scenario_values import READERS

FilledRecord = TypeVar("FilledRecord")


@dataclass(frozen=True)
class MadeDefault:
    """A default that depends on other keys; what is left out is as the table has it.

    ``value``: its middle [SI]; ``factor``: its spread ×/÷, 5 to 95 % [-]; ``basis``: where it comes from;
    ``unused``: why the job makes no use of it, and then it has no spread.
    """

    value: float | None = None
    factor: float = 0.0
    basis: str = ""
    unused: str = ""


AS_TABLE = MadeDefault()


class Given:
    """Values by key; hands out defaults and writes down those in force.

    Attributes
    ----------
    values : values by dotted key [SI], without those that were faulty
    stated : every key that was there, faulty or not
    found : where faults and warnings go
    assumed, assumed_plain : defaults in force, as in :class:`handlap.sim.job.scenario.Scenario`
    """

    def __init__(self, values: dict[str, Any], stated: set[str], found: Findings) -> None:
        self.values = values
        self.stated = stated
        self.found = found
        self.assumed: list[Uncertain] = []
        self.assumed_plain: list[tuple[str, str, str]] = []

    def note(self, name: str, words: str, basis: str = "") -> None:
        """Write down a plain default in force."""
        self.assumed_plain.append((name, words, basis or BY_NAME[name].basis))

    def get(self, name: str) -> Any:
        """Stated value, else the default of the table, without a word about it."""
        row = BY_NAME[name]
        if name in self.values or row.default is None:
            return self.values.get(name)
        return READERS[row.kind](row.default, row, name, Findings(""))

    def plain(self, name: str) -> Any:
        """The same, but a default in force is written down."""
        value = self.get(name)
        row = BY_NAME[name]
        if name not in self.stated and value is not None:
            words = str(row.default)
            if isinstance(row.default, bool):
                words = "yes" if row.default else "no"
            elif row.kind == "quantity":
                words = show(value, row.quantity, self.found.system)
            self.note(name, words)
        return value

    def uncertain(self, name: str, made: MadeDefault = AS_TABLE) -> Uncertain:
        """Stated value, or the default with its spread, which is then written down."""
        row = BY_NAME[name]
        if name in self.values:
            value: Uncertain = self.values[name]
            return value
        default = to_si(float(row.default or 0.0), row.quantity) if made.value is None else made.value
        if made.unused:
            return Uncertain.fixed(default, name, f"not used: {made.unused}")
        factor, basis = made.factor or row.factor, made.basis or row.basis
        if row.plus_minus > 0.0:
            half = to_si(row.plus_minus, row.quantity)
            found = Uncertain(default, default - half, default + half, "normal", name, True, basis)
        else:
            found = Uncertain(default, default / factor, default * factor, "lognormal", name, True, basis)
        if name not in self.stated:
            self.assumed.append(found)
        return found

    def record(
        self, kind: type[FilledRecord], made: Mapping[str, MadeDefault] | None = None, **fields: Any
    ) -> FilledRecord:
        """A record of a table of the file.

        A field that is named as its key, and not among ``fields``, holds what is stated, or the default of
        the table; where there is neither, the default of the record.

        Parameters
        ----------
        kind : the record, see :data:`handlap.sim.job.scenario_keys.RECORDS`
        made : defaults of uncertain quantities that depend on other keys, by field
        fields : values of its other fields
        """
        table = TABLE_OF[kind]
        for name, key in keys_of(kind, table):
            if name in fields or key.name != table + name:
                continue
            if key.kind == "uncertain quantity":
                fields[name] = self.uncertain(key.name, (made or {}).get(name, AS_TABLE))
            else:
                value = self.get(key.name)
                fields[name] = getattr(kind, name, None) if value is None else value
        return kind(**fields)

    def clash(self, one: str, other: str) -> None:
        """Refuse two keys that say the same thing."""
        if one in self.stated and other in self.stated:
            self.found.fault(other, None, f"give either {one} or {other}, not both")

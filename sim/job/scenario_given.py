"""What a scenario file states, and the defaults that stand in for what it does not."""

from __future__ import annotations

from typing import Any

from handlap.sim.common.units import show, to_si
from handlap.sim.job.findings import Findings
from handlap.sim.job.key_row import keys_of
from handlap.sim.job.scenario import Uncertain
from handlap.sim.job.scenario_keys import BY_NAME
from handlap.sim.job.scenario_values import READERS


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

    def uncertain(
        self, name: str, default: float | None = None, factor: float = 1.0, basis: str = ""
    ) -> Uncertain:
        """Stated value, or the default [SI] with its spread ×/÷ ``factor``, which is then written down."""
        row = BY_NAME[name]
        if name in self.values:
            value: Uncertain = self.values[name]
            return value
        if default is None:
            default = to_si(float(row.default or 0.0), row.quantity)
            factor, basis = row.factor, row.basis
        if row.plus_minus > 0.0:
            half = to_si(row.plus_minus, row.quantity)
            made = Uncertain(default, default - half, default + half, "normal", name, True, basis)
        else:
            made = Uncertain(default, default / factor, default * factor, "lognormal", name, True, basis)
        if name not in self.stated:
            self.assumed.append(made)
        return made

    def taken(self, table: str, record: type) -> dict[str, Any]:
        """Values of the fields of a record whose keys are named as they are: stated, or their defaults.

        Left out where nothing is stated and the table has no default: the record has its own.
        """
        found: dict[str, Any] = {}
        for name, key in keys_of(record, table):
            if key.name != table + name:
                continue
            if key.kind == "uncertain quantity":
                found[name] = self.uncertain(key.name)
            elif (value := self.get(key.name)) is not None:
                found[name] = value
        return found

    def clash(self, one: str, other: str) -> None:
        """Refuse two keys that say the same thing."""
        if one in self.stated and other in self.stated:
            self.found.fault(other, None, f"give either {one} or {other}, not both")

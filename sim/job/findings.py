"""What reading a file brings up: faults and doubts, collected so that all are reported at once."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from handlap.sim.common.errors import Fault, spoken_key
from handlap.sim.common.spelling import shortened
from handlap.sim.common.units import System, unit_of

MOST_WHOLE = 10**15
"""Whole numbers beyond it are neither printed nor turned into doubles: some have thousands of digits."""
IMMENSE = "a number of more than fifteen digits"


@dataclass
class Findings:
    """What reading a file brought up: faults refuse it, warnings go to the report."""

    file: str
    system: System = "mm"
    leaf_unit: str = ""
    """What leaves are stamped in, where the file says so; else as heights of its system."""
    faults: list[Fault] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)

    def unit(self, quantity: str) -> str:
        """What a plain number of a quantity stands in, in this file."""
        return self.leaf_unit if quantity == "leaf" and self.leaf_unit else unit_of(quantity, self.system)

    def fault(self, label: str, got: Any, allowed: str) -> None:
        """Write down a fault; ``got`` None stands for nothing found."""
        self.faults.append(Fault(self.file, label, "" if got is None else as_found(got), allowed))

    def warn(self, label: str, words: str) -> None:
        """Write down a doubt that does not refuse the file."""
        self.warnings.append(f"{spoken_key(label)}: {words}")


def is_immense(raw: Any) -> bool:
    """Whether it is a whole number that nobody means."""
    return isinstance(raw, int) and abs(raw) > MOST_WHOLE


def as_found(raw: Any) -> str:
    """A value as the user wrote it, on one line and shortened.

    >>> as_found([1, "none", True])
    '[1, "none", true]'
    """
    if isinstance(raw, bool):
        text = "true" if raw else "false"
    elif isinstance(raw, str):
        text = '"' + raw.replace("\n", "\\n") + '"'
    elif isinstance(raw, list):
        text = "[" + ", ".join(as_found(r) for r in raw[:12]) + (", …]" if len(raw) > 12 else "]")
    elif isinstance(raw, dict):
        text = "{" + ", ".join(f"{k} = {as_found(v)}" for k, v in list(raw.items())[:8]) + "}"
    elif is_immense(raw):
        text = IMMENSE
    else:
        text = str(raw)
    return shortened(text, most=80)

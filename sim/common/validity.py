"""What the program was held against: the checks of one run of its tests, as shipped with it.

The tests write the file (``pytest --validity=FILE``), a test holds it to the run it is part of, and
``handlap validity`` shows it.  What has been held against nothing is said in
:mod:`handlap.sim.common.unproven`.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, fields, replace
from pathlib import Path
from typing import Any, Literal, TypeVar, get_args

from handlap.sim.common.errors import HandlapError
from handlap.sim.common.trade_fact import TradeFact

CheckKind = Literal[
    "published",
    "closed form",
    "independent implementation",
    "known truth",
    "common practice",
    "from memory",
    "regression",
]
KIND_WORDS: Mapping[str, str] = {
    "published": "a table, standard or worked example in print, as cited",
    "closed form": "a formula derived by hand, or a law of conservation",
    "independent implementation": "a second way of computing it, sharing nothing with the program's own",
    "known truth": "invented cases whose hidden truth the program had to find",
    "common practice": "what the trade does or knows, without a source",
    "from memory": "recalled from the literature and not looked up again",
    "regression": "printed by the program itself: shows that it has not changed, not that it is right",
}
"""What each kind of check is worth, the strongest first."""

CheckSubject = Literal[
    "wear",
    "pose of the part",
    "paper",
    "edges of the paper",
    "plates",
    "bending",
    "flatness",
    "straightedge",
    "survey",
    "log",
    "dye",
    "materials",
    "engine and pump",
    "plan",
]
SUBJECTS: tuple[CheckSubject, ...] = get_args(CheckSubject)
KINDS: tuple[CheckKind, ...] = get_args(CheckKind)

CheckSense = Literal["equal", "at least", "at most"]
SENSES: tuple[CheckSense, ...] = get_args(CheckSense)

SHIPPED = Path(__file__).with_name("validity.json")
"""The file that belongs to this version of the program."""
SCHEMA = "handlap.checks/2"
Noted = TypeVar("Noted", "Check", TradeFact)
DIGITS = 6
"""Significant digits kept of every figure."""


@dataclass(frozen=True)
class Made:
    """With what a run of the tests was made: versions and platform, no date and no place."""

    program: str
    python: str
    numpy: str
    scipy: str
    numba: str
    platform: str


@dataclass(frozen=True)
class Check:
    """One figure held against another.

    Attributes
    ----------
    name : what was computed, on which case; no two checks share one
    subject : part of the program it is about
    kind, source : what sort of reference it is, and which
    expected, got : the two figures, in ``unit``; of many the pair that differs most
    apart : got less expected, in ``unit``, to more digits than the two tell
    tolerance : how far they may differ, in ``unit``; zero for a bound
    sense : whether it has to be equal within the tolerance, at least as large, or at most
    count : how many figures were compared
    test : file and name of the test
    made : index of the run in :attr:`Checks.made`
    """

    name: str
    subject: CheckSubject
    kind: CheckKind
    source: str
    expected: float
    got: float
    apart: float
    tolerance: float
    unit: str
    sense: CheckSense
    count: int
    test: str
    made: int = 0

    @property
    def passed(self) -> bool:
        """Whether the figure got is what it has to be; never where it is no number."""
        return passes(self.apart, self.tolerance, self.sense)


@dataclass(frozen=True)
class Checks:
    """All checks and facts of the trade, in their order, and the runs they were made in."""

    made: tuple[Made, ...]
    checks: tuple[Check, ...]
    facts: tuple[TradeFact, ...] = ()


def passes(apart: float, tolerance: float, sense: CheckSense) -> bool:
    """Whether a figure that is ``apart`` more than expected holds.

    >>> passes(0.1, 0.2, "equal"), passes(0.1, 0.0, "at least"), passes(math.nan, 9.0, "equal")
    (True, True, False)
    """
    if not math.isfinite(apart):
        return False
    above = {"equal": abs(apart), "at least": -apart, "at most": apart}[sense]
    # Both were rounded for the file.
    return above <= tolerance * (1.0 + 10.0 ** (2 - DIGITS))


def to_text(checks: Checks) -> str:
    """The file's text: one check a line, so that a change shows as what it is."""

    def lines(rows: Iterable[Any]) -> str:
        return ",\n".join(json.dumps(asdict(row), ensure_ascii=False, allow_nan=False) for row in rows)

    return (
        f'{{"schema": "{SCHEMA}",\n"made": [\n{lines(checks.made)}\n],\n'
        f'"checks": [\n{lines(checks.checks)}\n],\n"facts": [\n{lines(checks.facts)}\n]}}\n'
    )


def from_text(text: str) -> Checks:
    """Read what :func:`to_text` wrote.

    Raises
    ------
    ValueError : if it is no such file
    """
    data = json.loads(text)
    if not isinstance(data, dict) or data.get("schema") != SCHEMA:
        raise ValueError(f"not a file of checks: schema {SCHEMA} expected")
    made = tuple(Made(**_only(Made, row)) for row in data["made"])
    checks = tuple(Check(**_only(Check, row)) for row in data["checks"])
    facts = tuple(TradeFact(**_only(TradeFact, row)) for row in data["facts"])
    for check in checks:
        if check.kind not in KINDS or check.subject not in SUBJECTS or check.sense not in SENSES:
            raise ValueError(f"unknown kind, subject or sense in the check {check.name!r}")
    both: list[Check | TradeFact] = [*checks, *facts]
    for noted in both:
        if not 0 <= noted.made < len(made):
            raise ValueError(f"unknown run in the check {noted.name!r}")
    if len({noted.name for noted in both}) < len(both):
        raise ValueError("two checks share a name")
    return Checks(made, checks, facts)


def _only(record: Any, row: Any) -> dict[str, Any]:
    """The row, if it holds the fields of the record, all and no others."""
    if not isinstance(row, dict) or set(row) != {field.name for field in fields(record)}:
        raise ValueError(f"a row of {record.__name__.lower()} has other fields than it should")
    return row


def shipped_checks(path: Path = SHIPPED) -> Checks:
    """The checks that belong to this version of the program.

    Raises
    ------
    HandlapError : if the file is missing from the installation, or damaged
    """
    try:
        return from_text(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, KeyError, TypeError) as fault:
        raise HandlapError(f"the file of checks is missing or damaged, install anew: {fault}") from fault


def joined(
    older: Checks, newer: Sequence[Check], made: Made, ran: Iterable[str], facts: Sequence[TradeFact] = ()
) -> Checks:
    """The newer checks and facts, and the older ones of tests that did not run this time.

    ``ran``: tests of the new run; what they checked before is forgotten.
    """
    gone = set(ran)
    new_names = {check.name for check in newer} | {fact.name for fact in facts}
    runs: list[Made] = []

    def placed(noted: Noted, run: Made) -> Noted:
        if run not in runs:
            runs.append(run)
        return replace(noted, made=runs.index(run))

    def together(new: Sequence[Noted], old: Sequence[Noted]) -> list[Noted]:
        kept = [noted for noted in old if noted.test not in gone and noted.name not in new_names]
        return [placed(noted, made) for noted in new] + [
            placed(noted, older.made[noted.made]) for noted in kept
        ]

    checks = together(newer, older.checks)
    checks.sort(key=lambda c: (SUBJECTS.index(c.subject), KINDS.index(c.kind), c.source, c.test, c.name))
    known = sorted(together(facts, older.facts), key=lambda fact: fact.name)
    return Checks(tuple(runs), tuple(checks), tuple(known))

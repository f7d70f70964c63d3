"""The book of checks that one run of the tests keeps, and the fixture ``checked`` that writes into it."""

from __future__ import annotations

import ast
import functools
import importlib.metadata
import platform
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike

from handlap.sim.common.trade_fact import TradeFact
from handlap.sim.common.validity import (
    DIGITS,
    KINDS,
    SENSES,
    SUBJECTS,
    Check,
    CheckKind,
    CheckSense,
    CheckSubject,
    Made,
)

LAST = ("test_the_shipped_checks_are_those_of_this_run", "test_the_shipped_checks_are_those_of_the_long_run")
ROOT = Path(__file__).parents[1]
WIDEST = 3.0
"""Most that a fact of the trade may be missed by, times or over: the spread of the wear rate itself."""


@functools.cache
def _functions(file: str) -> frozenset[str]:
    path = ROOT / file
    if not path.is_file():
        return frozenset()
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return frozenset(node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef))


@dataclass
class Book:
    """What was checked, and which tests were there, passed and failed, by their ids."""

    checks: list[Check] = field(default_factory=list)
    facts: list[TradeFact] = field(default_factory=list)
    there: set[str] = field(default_factory=set)
    passed: set[str] = field(default_factory=set)
    failed: set[str] = field(default_factory=set)

    def exists(self, test: str) -> bool:
        """Whether a test of that id is still written down, be it part of this run or not.

        Where the run holds all cases of its function the case has to be among them.
        """
        file, _, name = test.partition("::")
        function = name.partition("[")[0]
        if function not in _functions(file):
            return False
        cases = {t for t in self.there if t.partition("[")[0] == f"{file}::{function}"}
        return len(cases) <= 1 or test in cases


def made_now() -> Made:
    """Versions and platform of this run."""
    version = importlib.metadata.version
    return Made(
        program=version("handlap"),
        python=platform.python_version(),
        numpy=version("numpy"),
        scipy=version("scipy"),
        numba=version("numba"),
        platform=f"{platform.system()} {platform.machine()}",
    )


def _short(value: float) -> float:
    return float(f"{value:.{DIGITS}g}")


@dataclass
class Checked:
    """Calls assert and note.  One object serves one test."""

    book: Book
    test: str

    def __call__(
        self,
        name: str,
        *,
        expected: ArrayLike,
        got: ArrayLike,
        tolerance: float,
        unit: str = "",
        kind: CheckKind,
        source: str,
        about: CheckSubject,
        sense: CheckSense = "equal",
    ) -> None:
        """Assert that every figure got is what it has to be, within the tolerance.

        Parameters
        ----------
        name : what was computed, on which case; once in the whole run
        expected, got : figures of one shape, or one expected of all, in ``unit``
        tolerance : how far they may differ [unit]; nought for a bound
        kind, source : what sort of reference, and which
        about : the part of the program
        sense : "equal", or whether the figure has to be "at least" or "at most" what is expected

        Raises
        ------
        AssertionError : if one differs by more, or is no number
        ValueError : if the check could not fail, or its name is taken
        """
        if kind not in KINDS or about not in SUBJECTS or sense not in SENSES:
            raise ValueError(f"{name}: unknown kind, subject or sense")
        self._refuse_taken(name)
        found = np.atleast_1d(np.asarray(got, dtype=float))
        wanted = np.broadcast_to(np.asarray(expected, dtype=float), found.shape)
        if not found.size or not np.isfinite(wanted).all() or not np.isfinite(tolerance):
            raise ValueError(f"{name}: nothing is expected")
        if sense == "equal" and not 0.0 < tolerance:
            raise ValueError(f"{name}: a tolerance is needed")
        if sense == "equal" and np.any(wanted) and tolerance >= np.abs(wanted).max():
            raise ValueError(f"{name}: a tolerance as large as the figure lets nothing pass for it")
        apart = found - wanted
        above = {"equal": abs(apart), "at least": -apart, "at most": apart}[sense]
        worst = np.unravel_index(np.argmax(np.where(np.isnan(above), np.inf, above)), found.shape)
        check = Check(
            name=name,
            subject=about,
            kind=kind,
            source=source,
            expected=_short(wanted[worst]),
            got=_short(found[worst]),
            apart=_short(apart[worst]),
            tolerance=_short(tolerance),
            unit=unit,
            sense=sense,
            count=int(found.size),
            test=self.test,
        )
        if np.isfinite(found[worst]):
            self.book.checks.append(check)
        how = "" if sense == "equal" else f"{sense} "
        assert np.isfinite(found).all() and above[worst] <= tolerance, (
            f"{name}: {check.got} {unit}, expected {how}{check.expected} within {tolerance:.3g} {unit} "
            f"({kind}: {source})"
        )

    def trade_fact(self, fact: TradeFact, *, holds: bool) -> None:
        """Note down a fact of the trade, and assert that it holds, or does not, as is said of it.

        Parameters
        ----------
        fact : what the trade says and what the program got
        holds : what is said of it; False: that it fails is known, and shown

        Raises
        ------
        AssertionError : if it is the other way round
        ValueError : if nothing could contradict the fact, or its name is taken
        """
        self._refuse_taken(fact.name)
        if fact.least is None and fact.most is None:
            raise ValueError(f"{fact.name}: the trade says no figure")
        if fact.least is not None and fact.most is not None and not 0.0 < fact.least <= fact.most:
            raise ValueError(f"{fact.name}: {fact.least:g} to {fact.most:g} is no range")
        if not 1.0 <= fact.within <= WIDEST:
            raise ValueError(f"{fact.name}: {fact.within:g} times, or over, lets nearly anything pass")
        low, middle, high = (
            None if x is None or not np.isfinite(x) else _short(x) for x in (fact.low, fact.middle, fact.high)
        )
        noted = replace(fact, low=low, middle=middle, high=high, test=self.test)
        self.book.facts.append(noted)
        said, found = ("holds" if it else "does not hold" for it in (holds, noted.holds))
        assert noted.holds == holds, (
            f"{fact.name}: said to be one that {said}, but it {found}: got {middle} ({low} to {high}) "
            f"{fact.unit}, the trade says {fact.trade!r}"
        )

    def _refuse_taken(self, name: str) -> None:
        if name in {check.name for check in self.book.checks} | {fact.name for fact in self.book.facts}:
            raise ValueError(f"two checks are called {name!r}")

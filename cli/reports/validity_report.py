"""What the page of checks says: held against what, and what against nothing."""

from __future__ import annotations

import importlib.metadata
from itertools import groupby
from typing import Any

from handlap.cli.reports.as_json import figure
from handlap.cli.reports.blocks import Block, Bullets, Facts, Report, Section, Table, Words
from handlap.cli.reports.quantity import counted
from handlap.cli.reports.wording import sentence
from handlap.sim.common.unproven import LEFT_OUT, UNPROVEN
from handlap.sim.common.validity import KIND_WORDS, KINDS, SUBJECTS, Check, Checks, Made

SIGNS = {"equal": "", "at least": "≥ ", "at most": "≤ "}


def validity_report(checks: Checks) -> Report:
    """The checks as a report, by what they are about."""
    all_of = checks.checks
    failed = [check for check in all_of if not check.passed]
    answer = (
        f"{len(failed)} of {counted(len(all_of), 'check')} failed"
        if failed
        else f"{counted(len(all_of), 'check')} held, none of them on a real lap"
    )
    lead = (
        *(f"failed: {check.name}" for check in failed),
        "They hold the computation against other computations, tables and formulas; what it rests on is "
        "partly from memory or derived, as said below.",
        *_made_words(checks.made),
    )
    by_subject = [(subject, [c for c in all_of if c.subject == subject]) for subject in SUBJECTS]
    sections = (
        Section("What each kind of check is worth", (_kinds(all_of),)),
        Section("Held against nothing measured", (Bullets(UNPROVEN),)),
        *(Section(subject.capitalize(), tuple(_of_subject(held))) for subject, held in by_subject if held),
        Section("What the model leaves out", (Facts(LEFT_OUT),)),
    )  # fmt: skip
    tone = "bad" if failed else "doubt"
    return Report("validity", answer, tone, "what handlap has been held against", lead, sections)  # type: ignore[arg-type]


def _made_words(runs: tuple[Made, ...]) -> list[str]:
    now = importlib.metadata.version("handlap")
    words = [
        f"made by the tests of handlap {m.program} with Python {m.python}, numpy {m.numpy}, scipy {m.scipy}, "
        f"numba {m.numba} on {m.platform}"
        for m in runs
    ]
    if any(m.program != now for m in runs):
        words.append(f"this is handlap {now}, for which they have not all been made anew")
    return words


def _kinds(checks: tuple[Check, ...]) -> Table:
    rows = [(kind, str(sum(c.kind == kind for c in checks)), KIND_WORDS[kind]) for kind in KINDS]
    return Table(("kind", "checks", "what it is"), tuple(row for row in rows if row[1] != "0"), (0, 2), 2)


def _of_subject(checks: list[Check]) -> list[Block]:
    """A table under each source."""
    blocks: list[Block] = []
    for (kind, source), held in groupby(checks, key=lambda c: (c.kind, c.source)):
        rows = tuple(
            (
                check.name,
                f"{SIGNS[check.sense]}{_text(check.expected)}",
                _text(check.got),
                f"± {_text(check.tolerance, 3)}" if check.tolerance else "",
                check.unit,
                "yes" if check.passed else "NO",
            )
            for check in held
        )
        blocks += [
            Words(f"{sentence(kind).rstrip('.')}: {source}"),
            Table(("check", "expected", "got", "within", "unit", "held"), rows, (0, 4, 5), 0),
        ]
    return blocks


def _text(value: float, digits: int = 5) -> str:
    """A figure; powers of ten where noughts would fill the line."""
    digits_of, _, power = f"{value + 0.0:.{digits}g}".partition("e")
    return (digits_of + (f"e{int(power)}" if power else "")).replace("-", "−")


def validity_json(checks: Checks) -> dict[str, Any]:
    """The checks as one object."""
    return {
        "schema": "handlap.validity/1",
        "made": [vars(made) for made in checks.made],
        "kinds": dict(KIND_WORDS),
        "checks": [_check_json(check) for check in checks.checks],
        "unproven": list(UNPROVEN),
        "left_out": [{"what": what, "how_much": size} for what, size in LEFT_OUT],
    }


def _check_json(check: Check) -> dict[str, Any]:
    return {
        "name": check.name,
        "about": check.subject,
        "kind": check.kind,
        "source": check.source,
        "unit": check.unit or None,
        "expected": figure(check.expected),
        "sense": check.sense,
        "tolerance": figure(check.tolerance),
        "got": figure(check.got),
        "passed": check.passed,
        "figures_compared": check.count,
        "test": check.test,
        "made": check.made,
    }

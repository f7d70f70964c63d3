"""What the page of checks says: held against what, and what against nothing."""

from __future__ import annotations

import importlib.metadata
import math
from itertools import groupby
from typing import Any

from handlap.cli.reports.blocks import Block, Bullets, Facts, Report, Section, Table, Words
from handlap.cli.reports.quantity import counted
from handlap.cli.reports.wording import sentence
from handlap.sim.common.said import figure, said_of
from handlap.sim.common.trade_fact import TradeFact
from handlap.sim.common.unproven import LEFT_OUT, UNPROVEN
from handlap.sim.common.validity import KIND_WORDS, KINDS, SUBJECTS, Check, Checks, Made

SIGNS = {"equal": "", "at least": "≥ ", "at most": "≤ "}
TRADE_WORDS = (
    "What people say of their own benches: common practice, without a source and often of a single case; and "
    "what the program gets, its middle and 5 to 95 % of faces, hands and papers. Sizes of parts are invented "
    "where the trade says none. A fact holds if the trade's figures meet that band and the middle is off "
    "from theirs by no more than “within”, times or over (1: inside them). That is wide: one that holds "
    "says little.",
    "“Tuned on”: numbers of the model were moved while looking at this fact, so it is a fit and no evidence. "
    "“Does not hold”: a known fault of the model; do not rely on the program there.",
)


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
        *_trade_lead(checks.facts),
        *_made_words(checks.made),
    )
    by_subject = [(subject, [c for c in all_of if c.subject == subject]) for subject in SUBJECTS]
    sections = (
        Section("What each kind of check is worth", (_kinds(all_of),)),
        Section("Held against nothing measured", (Bullets(UNPROVEN),)),
        *([_trade(checks.facts)] if checks.facts else []),
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


def _trade_lead(facts: tuple[TradeFact, ...]) -> list[str]:
    """How many facts of the trade fail, and how many of the others are no evidence."""
    if not facts:
        return []
    fail = sum(not fact.holds for fact in facts)
    tuned = sum(fact.holds and fact.tuned for fact in facts)
    return [
        f"Of {counted(len(facts), 'fact')} of the trade {fail} {'does' if fail == 1 else 'do'} not hold; of "
        f"the {len(facts) - fail} that hold, {tuned} {'was' if tuned == 1 else 'were'} tuned on."
    ]


def _trade(facts: tuple[TradeFact, ...]) -> Section:
    """What the trade knows, those that fail first."""
    rows = tuple(fact_cells(fact) for fact in sorted(facts, key=lambda fact: fact.holds))
    table = Table(TRADE_HEADS, rows, (0, 1, 5, 6), 0)
    return Section("What the trade knows", (*(Words(words) for words in TRADE_WORDS), table))


TRADE_HEADS = ("fact", "trade", "got (5–95 %)", "off by", "within", "tuned on", "holds")


def fact_cells(fact: TradeFact) -> tuple[str, ...]:
    """A fact as cells under ``TRADE_HEADS``."""
    unit = f" {fact.unit}" if fact.unit else ""
    got = f"{_rough(fact.middle)}{unit} ({_rough(fact.low)}–{_rough(fact.high)})"
    return (
        fact.name,
        fact.trade,
        got,
        f"× {_rough(fact.miss)}" if math.isfinite(fact.miss) else "",
        f"× {_rough(fact.within)}" if fact.within > 1.0 else "inside",
        "tuned on" if fact.tuned else "no",
        "holds" if fact.holds else "does not hold",
    )


def _rough(value: float | None) -> str:
    """Two digits, or whole; what the members never come to has no figure."""
    if value is None or not math.isfinite(value):
        return "never"
    return _text(round(value)) if abs(value) >= 10.0 else _text(value, 2)


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
    """A figure; powers of ten where zeros would fill the line."""
    digits_of, _, power = f"{value + 0.0:.{digits}g}".partition("e")
    return (digits_of + (f"e{int(power)}" if power else "")).replace("-", "−")


def validity_json(checks: Checks) -> dict[str, Any]:
    """The checks as one object."""
    return {
        "schema": "handlap.validity/1",
        "made": [vars(made) for made in checks.made],
        "kinds": dict(KIND_WORDS),
        "checks": [_check_json(check) for check in checks.checks],
        "trade_facts": [fact_json(fact) for fact in checks.facts],
        "unproven": list(UNPROVEN),
        "left_out": [{"what": what, "how_much": size} for what, size in LEFT_OUT],
    }


def _check_json(check: Check) -> dict[str, Any]:
    return {
        "name": check.name,
        "about": check.subject,
        **said_of(check, "kind source"),
        "unit": check.unit or None,
        **said_of(check, "expected sense tolerance got passed"),
        "figures_compared": check.count,
        **said_of(check, "test made"),
    }


def fact_json(fact: TradeFact) -> dict[str, Any]:
    """A fact of the trade as an object."""
    return {
        "name": fact.name,
        "kind": "common practice",
        "trade": fact.trade,
        "least": figure(fact.least),
        "most": figure(fact.most),
        "within": figure(fact.within),
        "unit": fact.unit or None,
        "got": {"p05": figure(fact.low), "p50": figure(fact.middle), "p95": figure(fact.high)},
        "count": fact.count,
        "off_by": figure(fact.miss),
        "tuned_on": fact.tuned,
        "holds": fact.holds,
        "test": fact.test,
        "made": fact.made,
    }

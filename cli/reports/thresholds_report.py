"""The lines that verdicts and stops draw, in one table; each is read from the module that draws it."""

from __future__ import annotations

from typing import Any

from handlap.cli.reports.blocks import Report, Section, Table, Words
from handlap.cli.reports.quantity import stated
from handlap.sim.bench import stop_rules
from handlap.sim.bench.forecast import MODEL
from handlap.sim.common.said import figure
from handlap.sim.comparing import paired
from handlap.sim.face import survey
from handlap.sim.planning import leg, papers, verdict, work

ThresholdRow = tuple[str, float, str, str]
"""What it decides, its value in SI, the unit it is shown in, and what it says."""


def thresholds() -> tuple[tuple[str, tuple[ThresholdRow, ...]], ...]:
    """All lines, under the question that they answer."""
    return (
        (
            "Is the face inside its limit? (survey, replan, record)",
            (
                ("yes", survey.SURE, "%", "from this chance on"),
                ("no", 1.0 - survey.SURE, "%", "from this chance down; between them: cannot tell"),
                ("room for the model", MODEL, "µm", "bands of the flatness are wider by this on either side"),
            ),
        ),
        (
            "Leave it, lap it, or a machine shop? (plan)",
            (
                ("leave", verdict.LEAVE_AT, "%", "flat already with this chance"),
                ("needs work", verdict.NEEDS_WORK_AT, "%", "flat already with less than this chance"),
                ("lap", verdict.LAP_AT, "%", "inside limit and allowance in the end with this chance"),
                ("machine shop", verdict.SHOP_AT, "%", "… with no more than this; between them: cannot tell"),
                (
                    "two senses of the limit",
                    verdict.DISAGREE,
                    "%",
                    "straightedge and zone may differ by this much in chance",
                ),
                ("computing", verdict.NUMERICS, "%", "of the limit that the computing itself may err by"),
                ("tips", work.TIP_REFUSED, "%", "of the work with the press off the face: not planned"),
            ),
        ),
        (
            "When is it done, when to stop? (plan, job-sheet, replan)",
            (
                ("goal of a plan", leg.STOP_AT, "%", "of the limit: leaves and straightedges err"),
                ("worse", stop_rules.WORSE, "%", "chance that the next block makes it worse: stop"),
                ("too deep", stop_rules.DEEP, "%", "chance that it takes more than may come off: stop"),
                ("out of reach", stop_rules.OUT_OF_REACH, "%", "of the cases get there at all: give up"),
                ("readings that rose", stop_rules.REREAD, "µm", "are believed from this leaf on"),
                ("cut", stop_rules.FAR_RATE, "times", "or one over it, off what was assumed: plan anew"),
            ),
        ),
        (
            "Which paper, which way? (plan, compare)",
            (
                ("alike", papers.ALIKE, "%", "of the cases in which one must be quicker, or they are alike"),
                ("plainly slower", papers.PLAINLY, "%", "of the cases: no paper to start on, however coarse"),
                ("not told apart", papers.NOT_TOLD_APART, "times", "as dear, by minutes over the chance"),
                ("surer", papers.CLEARLY, "%", "more chance to meet both limits: named beside the one taken"),
                ("an order", paired.SURE, "%", "sure that one way stands before another"),
            ),
        ),
    )


def _shown(value: float, unit: str) -> str:
    factor = {"%": 100.0, "µm": 1e6, "times": 1.0}[unit]
    return f"{stated(factor * value)} {unit}"


def thresholds_report() -> Report:
    """The table as a report."""
    sections = [
        Section(
            title,
            (
                Table(
                    ("what", "line", ""),
                    tuple((name, _shown(value, unit), words) for name, value, unit, words in rows),
                    (0, 1, 2),
                    wraps=2,
                ),
            ),
        )
        for title, rows in thresholds()
    ]
    lead = ("A chance between yes and no, or between lap and machine shop, is printed beside “cannot tell”",)
    words = Words("They are ours, not a standard's: chosen so that a wrong “yes” is rarer than one in ten.")
    return Report(
        "validity", "Where lines are drawn", "plain", "", lead, (*sections, Section("Whose", (words,)))
    )


def thresholds_json() -> dict[str, Any]:
    """The table as one object."""
    return {
        "schema": "handlap.thresholds/1",
        "questions": [
            {
                "question": title,
                "lines": [
                    {"name": name, "value": figure(value), "shown_in": unit, "says": words}
                    for name, value, unit, words in rows
                ],
            }
            for title, rows in thresholds()
        ],
    }

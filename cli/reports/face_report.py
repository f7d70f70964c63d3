"""What a command says where the face decides before any lap: leave it, or it cannot be told."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from handlap.cli.reports.as_json import job_json, schema_of
from handlap.cli.reports.blocks import Bullets, Report, Section, Words
from handlap.cli.reports.plan_report import ANSWERS
from handlap.cli.reports.wording import (
    doubts_section,
    face_words,
    facts,
    goal_of,
    sentence,
    subject,
    wanted_words,
)
from handlap.sim.common.said import said_of

if TYPE_CHECKING:
    from handlap.sim.face.told import FaceDecides

KINDS = {"simulate": "lap"}
"""Commands whose report is not called as they are."""
NOTHING = {
    "leave": "No lap is needed, so none was worked: there is no best way of doing what is better left alone.",
    "cannot tell": "No lap was worked: it would rest on a face that the readings do not give.",
}


def face_report(command: str, found: FaceDecides) -> Report:
    """The report of a command that stopped at the face."""
    scenario, verdict = found.scenario, found.verdict
    answer, tone = ANSWERS[verdict.answer]
    part = scenario.part
    sections = [
        Section(
            "The face",
            (
                facts(
                    ("Face", face_words(part)), ("Wanted", wanted_words(part)), ("Goal", goal_of(scenario))
                ),
                Words(NOTHING[verdict.answer]),
            ),
        )
    ]
    if verdict.to_find_out:
        items = tuple(sentence(what) for what in verdict.to_find_out)
        sections.append(Section("To find out", (Bullets(items),)))
    sections += doubts_section(scenario.warnings, ())
    return Report(
        kind=KINDS.get(command, command),  # type: ignore[arg-type]
        answer=answer,
        tone=tone,
        subject=subject(scenario),
        lead=tuple(sentence(reason) for reason in verdict.reasons),
        sections=tuple(sections),
    )


def face_json(command: str, found: FaceDecides) -> dict[str, Any]:
    """The same as one JSON object: the verdict, and none of the keys that a lap would fill."""
    return {
        "schema": schema_of(command),
        **job_json(found.scenario),
        "verdict": said_of(found.verdict, "answer reasons to_find_out"),
    }

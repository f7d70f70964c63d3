"""The pages that the program carries: what each tells, and its text."""

from __future__ import annotations

from pathlib import Path

from handlap.sim.common.errors import InputError

TOPICS: dict[str, str] = {
    "bench": "One job at the bench, from the first block to the record.",
    "plan": "A plan read line by line, with what its figures mean.",
    "ways": "Ways of working compared; how often to turn; why a face comes out convex.",
    "plates": "Plates that are not flat, seams in the paper, parts that bend.",
    "files": "A job as a file: a whole one, and what its keys mean.",
    "commands": "Every command, what its options share, exit codes, completion, built-in jobs.",
    "model": "What the model is, and what it leaves out.",
    "checks": "What it has been held against, and a case to work by hand.",
    "teaching": "Lessons, exercises, the page with knobs.",
    "python": "The same answers as records, for a study of many jobs.",
}
"""Every page by its name, in the order of reading."""


def page(topic: str) -> str:
    """The text of a page, in Markdown.

    Raises
    ------
    InputError : if there is no such page
    """
    if topic not in TOPICS:
        raise InputError(f'there is no page "{topic}"; the pages are {", ".join(TOPICS)}')
    return (Path(__file__).with_name("pages") / f"{topic}.md").read_text(encoding="utf-8")

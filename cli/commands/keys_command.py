"""Helpers: Every key of a scenario file, its range, default and spread."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from handlap.sim.common.errors import InputError

if TYPE_CHECKING:
    from handlap.cli.screen import Screen
    from handlap.sim.job.scenario_keys import KeyRow
    from handlap.sim.teaching.lesson_key_words import LessonKey


@click.command()
@click.argument("word", required=False)
@click.option("--json", "as_json", is_flag=True, help="Print the keys as one JSON object instead of text.")
def keys(word: str | None, as_json: bool) -> None:
    """List every key a scenario file may hold: range, default, spread, where it comes from.

    With WORD only the keys that have it in their name or their help. The word "lesson" lists the
    keys of a lesson's file; other words find them too.
    """
    import sys

    from handlap.cli.screen import Screen, emit
    from handlap.sim.job.scenario_keys import describe_keys

    rows = [
        row for row in describe_keys() if word is None or word.lower() in f"{row.name} {row.help}".lower()
    ]
    taught = _lesson_keys(word)
    if word is not None and not rows and not taught:
        raise InputError(f'no key has "{word}" in its name or its help; "handlap keys" lists all')
    if as_json:
        from dataclasses import asdict

        from handlap.cli.reports.as_json import dumps

        found = {"schema": "handlap.keys/1", "keys": [asdict(row) for row in rows]}
        emit(dumps(found | ({"lesson_keys": [asdict(row) for row in taught]} if taught else {})))
        return
    screen = Screen.of(sys.stdout)
    lines = _listing(rows, screen) + _lesson_listing(taught, screen)
    if word is None:
        from handlap.cli.reports.text import wrapped

        lines += ["", *wrapped("Keys of a lesson's file: handlap keys lesson", screen.width)]
    emit("\n".join(lines).lstrip("\n"))


def _lesson_keys(word: str | None) -> list[LessonKey]:
    """Keys of a lesson's file that have a word; all for "lesson", none without a word."""
    from handlap.sim.teaching.lesson_key_words import describe_lesson_keys

    if word is None:
        return []
    plain = word.lower()
    every = plain in ("lesson", "lessons")
    return [row for row in describe_lesson_keys() if every or plain in f"{row.name} {row.help}".lower()]


def _lesson_listing(rows: list[LessonKey], screen: Screen) -> list[str]:
    from handlap.cli.reports.text import wrapped

    if not rows:
        return []
    head = wrapped("In a lesson's file (handlap lesson --new FILE lays one down)", screen.width)
    lines = ["", *(screen.strong(line) for line in head)]
    for row in rows:
        must = "; must be given" if row.required and "[]" not in row.name else ""
        lines.append(screen.strong(row.name))
        lines += wrapped(f"{row.help}{must}", screen.width, "    ")
    return lines


def _why(basis: str) -> str:
    """Where a default comes from, in brackets."""
    if basis == "ours":
        return " (our choice)"
    return f" ({basis.replace('ours:', 'our choice:')})" if basis else ""


def _listing(rows: list[KeyRow], screen: Screen) -> list[str]:
    from handlap.cli.reports.text import wrapped
    from handlap.cli.reports.wording import plain_basis

    lines: list[str] = []
    table = None
    for row in rows:
        if row.name.partition(".")[0].removesuffix("[]") != table and "." in row.name:
            table = row.name.partition(".")[0].removesuffix("[]")
            lines += ["", screen.strong(f"[{table}]")]
        unit = f", {row.unit_mm}" if row.unit_mm else ""
        lines.append(screen.strong(row.name))
        lines += wrapped(f"{row.help}", screen.width, "    ")
        told = [f"{row.kind}{unit}"]
        if row.allowed:
            told.append(f"allowed: {row.allowed}")
        told.append(plain_basis(f"default: {row.default}" + _why(row.basis)))
        if row.required:
            told[-1] = "must be given"
        lines += wrapped("; ".join(told), screen.width, "    ")
    return lines

"""``handlap keys``."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from handlap.sim.common.errors import InputError

if TYPE_CHECKING:
    from handlap.cli.screen import Screen
    from handlap.sim.job.scenario_keys import KeyRow


@click.command()
@click.argument("word", required=False)
@click.option("--json", "as_json", is_flag=True, help="Print the keys as one JSON object instead of text.")
def keys(word: str | None, as_json: bool) -> None:
    """List every key a scenario file may hold: range, default, spread, where it comes from.

    With WORD only the keys that have it in their name or their help.
    """
    import sys

    from handlap.cli.screen import Screen, emit
    from handlap.sim.job.scenario_keys import describe_keys

    rows = [
        row for row in describe_keys() if word is None or word.lower() in f"{row.name} {row.help}".lower()
    ]
    if word is not None and not rows:
        raise InputError(f'no key has "{word}" in its name or its help; "handlap keys" lists all')
    if as_json:
        from dataclasses import asdict

        from handlap.cli.reports.as_json import dumps

        emit(dumps({"schema": "handlap.keys/1", "keys": [asdict(row) for row in rows]}))
        return
    emit("\n".join(_listing(rows, Screen.of(sys.stdout))))


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

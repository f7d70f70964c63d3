"""The table of what hard use tries is complete, and its runs are sound ones."""

from __future__ import annotations

from pathlib import Path

import pytest
from nursery_client import Nursery
from tried_commands import TRIED, Tried, filled

from handlap.cli.main import commands


def test_every_command_is_tried() -> None:
    """A new command needs a row in tests/hard/tried_commands.py."""
    assert [tried.name for tried in TRIED if not tried.also] == [entry.name for entry in commands()]


@pytest.mark.parametrize("tried", [t for t in TRIED if not t.slow], ids=lambda tried: tried.name)
def test_quick_ones_run(nursery: Nursery, sandbox: Path, tried: Tried) -> None:
    """The others are run to their end by the tests of kills."""
    typed = "".join(f"{line}\n" for line in tried.typed).encode()
    ran = nursery.run([tried.name, *filled(tried.writes or tried.args)], sandbox, typed=typed)
    assert ran.code in tried.codes, ran.err
    assert not ran.crashed
    assert bool(tried.writes) == any((sandbox / "out").iterdir()) or tried.name in ("readings", "log")

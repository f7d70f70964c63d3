"""A person at a pseudo-terminal: reads what is asked, types a line, reads on."""

from __future__ import annotations

import contextlib
import os
import select
import subprocess
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import pytest

pty = pytest.importorskip("pty", reason="no pseudo-terminals here")

PROMPT = b"> "
PROGRAM = "from handlap.cli.main import run; run()"
SOURCE = Path(__file__).parent.parent / ".src"


@dataclass(frozen=True)
class Sitting:
    """What was seen on the screen, the exit code, and the lines that nobody asked for any more."""

    screen: str
    code: int
    left: tuple[str, ...]

    @property
    def words(self) -> str:
        """The screen with its lines run together."""
        return " ".join(self.screen.split())


def sit(
    args: Sequence[str], typed: Sequence[str], where: Path, *, width: int = 100, seconds: float = 600.0
) -> Sitting:
    """Run the command line at a terminal and type a line at every prompt; then the end of the input.

    ``width`` in columns.
    """
    ours, theirs = pty.openpty()
    env = {**os.environ, "COLUMNS": str(width), "TERM": "dumb", "PYTHONPATH": str(SOURCE)}
    child = subprocess.Popen(
        [sys.executable, "-c", PROGRAM, *args], stdin=theirs, stdout=theirs, stderr=theirs, cwd=where,
        env=env, start_new_session=True,
    )  # fmt: skip
    os.close(theirs)
    seen, answered, lines = b"", 0, list(typed)
    ends = time.monotonic() + seconds
    try:
        while time.monotonic() < ends:
            ready, _, _ = select.select([ours], [], [], 0.2)
            data = b""
            if ready:
                with contextlib.suppress(OSError):  # how the other end says that it has gone
                    data = os.read(ours, 1 << 16)
                if not data:
                    break
            seen += data
            if seen[answered:].endswith(PROMPT):
                answered = len(seen)
                os.write(ours, (lines.pop(0) + "\n").encode() if lines else b"\x04")
        code = child.wait(timeout=max(1.0, ends - time.monotonic()))
    finally:
        if child.poll() is None:
            child.kill()
            child.wait()
        os.close(ours)
    return Sitting(seen.decode(errors="replace").replace("\r\n", "\n"), code, tuple(lines))

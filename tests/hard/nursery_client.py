"""Asks the nursery, a process with everything imported, to run commands under limits."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
SOURCE = HERE.parents[1] / ".src"
GIGABYTE = 1 << 30
MOST_ADDRESSES = 4 * GIGABYTE
"""Addresses a child may take: far more than the memory it may use, as threads reserve theirs [bytes]."""


@dataclass(frozen=True)
class Ran:
    """How a command went; times are those of the processor where it had to wait for its turn [s]."""

    code: int
    seconds: float
    after_interrupt: float | None
    overrun: bool
    megabytes: float
    out: str
    err: str

    @property
    def crashed(self) -> bool:
        """Whether it ended otherwise than by a message and an exit code of the house."""
        fault = "Traceback" in self.err or "fault in handlap" in self.err or "Exception ignored" in self.err
        return fault or self.code not in (0, 1, 2, 3, 130)


class Nursery:
    """The process; ``warm``: a scenario to load the kernels with."""

    def __init__(self, folder: Path, warm: Path | None) -> None:
        self.scrap = folder
        env = {**os.environ, "PYTHONPATH": str(SOURCE), "OPENBLAS_NUM_THREADS": "1", "COLUMNS": "80"}
        env.pop("HANDLAP_DEBUG", None)
        self.process = subprocess.Popen(
            [sys.executable, str(HERE / "nursery.py"), *([str(warm)] if warm else [])],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=env, cwd=folder, start_new_session=True,
        )  # fmt: skip
        assert self.process.stdout is not None
        if self.process.stdout.readline() != b"ready\n":
            raise RuntimeError("the nursery did not start")

    def run(
        self, args: list[str], cwd: Path, *, typed: bytes = b"", scrap: Path | None = None, **more: Any
    ) -> Ran:
        """Run a command; see ``nursery.py`` for what else may be asked."""
        answer = self.ask({"args": args, "cwd": str(cwd), "typed": typed.hex(), **more}, scrap)
        return Ran(**answer)

    def ask(self, request: dict[str, Any], scrap: Path | None = None) -> dict[str, Any]:
        """The bare answer to a request."""
        place = scrap or Path(tempfile.mkdtemp(dir=self.scrap))
        request = {"memory": MOST_ADDRESSES, "scrap": str(place), **request}
        assert self.process.stdin is not None and self.process.stdout is not None
        self.process.stdin.write(json.dumps(request).encode() + b"\n")
        self.process.stdin.flush()
        line = self.process.stdout.readline()
        if not line:
            raise RuntimeError("the nursery is gone")
        return dict(json.loads(line))

    def close(self) -> None:
        """End the process."""
        assert self.process.stdin is not None and self.process.stdout is not None
        self.process.stdin.close()
        self.process.wait(timeout=30)
        self.process.stdout.close()

"""A line on stderr that says what is being done and how far it is."""

from __future__ import annotations

import sys
import time

from handlap.cli.screen import ANEW, Screen, emit, is_terminal

BETWEEN = 0.08
"""Least time between two drawings [s]."""
CELLS = 20


class Progress:
    """A progress line; silent where stderr is no terminal.  Use it in a ``with`` statement.

    Calling it with the share done (0 … 1, None where it cannot be known) and what is being done
    draws it.
    """

    def __init__(self) -> None:
        self.shown = is_terminal(sys.stderr)
        self._last = -1.0
        self._what = ""

    def __enter__(self) -> Progress:
        return self

    def __call__(self, done: float | None, what: str) -> None:
        """Draw the line, unless it was drawn a moment ago."""
        now = time.monotonic()
        if not self.shown or (what == self._what and now - self._last < BETWEEN):
            return
        self._last, self._what = now, what
        line = f"{what} …"
        if done is not None:
            done = min(1.0, max(0.0, done))
            full = round(done * CELLS)
            line = f"[{'=' * full}{' ' * (CELLS - full)}] {100 * done:3.0f} %  {what}"
        emit(f"{ANEW}{line[: Screen.of(sys.stderr).width - 1]}", error=True, end="")

    def __exit__(self, *_: object) -> None:
        if self.shown and self._last >= 0.0:
            emit(ANEW, error=True, end="")

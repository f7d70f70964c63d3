"""What is said on stderr while a command works: a line how far it is, and beforehand what takes long."""

from __future__ import annotations

import sys
import time

from handlap.cli.screen import ANEW, Screen, emit, is_terminal, note

BETWEEN = 0.08
"""Least time between two drawings [s]."""
CELLS = 20
MUCH_LONGER = 2.0
"""What was said to take long is not said again, unless this many times as long is to come."""


class ProgressLine:
    """A progress line, silent where stderr is no terminal, and remarks, which are not.

    Use it in a ``with`` statement.

    Calling it with the share done (0 … 1, None where it cannot be known) and what is being done
    draws it.
    """

    def __init__(self) -> None:
        self.shown = is_terminal(sys.stderr)
        self._last = -1.0
        self._what = ""
        self._ahead = 0.0
        self._begun = time.process_time()

    def __enter__(self) -> ProgressLine:
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

    def ahead(self, seconds: float, words: str) -> None:
        """A remark in lines of its own, once a command: how many seconds the work to come takes."""
        if self._ahead and seconds < MUCH_LONGER * self._ahead:
            return
        self._ahead = seconds
        if self.shown and self._last >= 0.0:
            emit(ANEW, error=True, end="")
            # The line comes back with what is done next, in whatever words.
            self._last, self._what = 0.0, ""
        note(words, prose=True)

    def spent(self) -> float:
        """Processor time that the command has taken so far [s]."""
        return time.process_time() - self._begun

    def __exit__(self, *_: object) -> None:
        if self.shown and self._last >= 0.0:
            emit(ANEW, error=True, end="")

"""What the terminal can show, and how to put text on it."""

from __future__ import annotations

import codecs
import contextlib
import errno
import os
import re
import shutil
import sys
import textwrap
from dataclasses import dataclass
from typing import TextIO

from handlap.sim.common.errors import HandlapError, spelt_out

NARROWEST, WIDEST = 34, 80

PLAIN = {
    "µ": "u",
    "×": "x",
    "÷": "/",
    "±": "+/-",
    "–": "-",
    "—": "-",
    "−": "-",
    "²": "2",
    "³": "3",
    "·": ".",
    "°": "deg",
    "…": "...",
    "≤": "<=",
    "≥": ">=",
    "→": "->",
    "λ": "lambda",
    "ν": "nu",
    "ρ": "rho",
    "α": "alpha",
    "∫": "integral of ",
    "⁴": "^4",
    "½": "1/2",
    "≈": "about ",
    "é": "e",
    "“": '"',
    "”": '"',
    "’": "'",
    "•": "-",
    "─": "-",
    "▁": "1",
    "▂": "2",
    "▃": "3",
    "▄": "4",
    "▅": "5",
    "▆": "6",
    "▇": "7",
    "█": "8",
}
"""What stands in for a character that an old terminal cannot show."""


def _plain(fault: UnicodeError) -> tuple[str, int]:
    if not isinstance(fault, UnicodeEncodeError):
        raise fault
    lost = fault.object[fault.start : fault.end]
    return "".join(PLAIN.get(character, "?") for character in lost), fault.end


codecs.register_error("handlap-plain", _plain)

BOLD, NORMAL, ANEW = "\x1b[1m", "\x1b[0m", "\r\x1b[K"
"""What is sent to a terminal on purpose: bold type, plain type, the line once more (in blanks where
nobody wants escape sequences)."""
_OURS = re.compile("(" + "|".join(re.escape(code) for code in (BOLD, NORMAL, ANEW)) + ")")
# Control characters, and marks that turn the direction of writing round: a name must not steer a terminal.
_STEERS = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")


def without_steering(text: str) -> str:
    """Text with all that would steer a terminal spelt out, but for what this program sends itself.

    >>> without_steering("a\\x1b[2Jb")
    'a\\\\u001b[2Jb'
    """
    if not _STEERS.search(text):
        return text
    return "".join(
        part if i % 2 else _STEERS.sub(lambda found: spelt_out(found[0]), part)
        for i, part in enumerate(_OURS.split(text))
    )


@dataclass(frozen=True)
class Screen:
    """Columns there are, and whether headings may be set off with bold type."""

    width: int = WIDEST
    bold: bool = False

    @staticmethod
    def of(stream: TextIO) -> Screen:
        """The screen behind a stream; ``COLUMNS`` and ``NO_COLOR`` are honoured."""
        width = shutil.get_terminal_size((WIDEST, 24)).columns
        terminal = is_terminal(stream) and os.environ.get("TERM", "") != "dumb"
        return Screen(max(NARROWEST, min(WIDEST, width)), terminal and not os.environ.get("NO_COLOR"))

    def strong(self, text: str) -> str:
        """Text in bold type where that is wanted."""
        return f"{BOLD}{text}{NORMAL}" if self.bold else text


def is_terminal(stream: TextIO) -> bool:
    """Whether a person looks at this stream."""
    try:
        return stream.isatty()
    except (AttributeError, ValueError):
        return False


def emit(text: str, *, error: bool = False, end: str = "\n") -> None:
    """Write to stdout (or stderr), in plain letters where the stream knows no better ones.

    What nobody can be told on stderr is left unsaid.

    Raises
    ------
    BrokenPipeError : if nobody reads stdout any more
    HandlapError : if stdout is closed, or cannot be written
    """
    stream: TextIO | None = sys.stderr if error else sys.stdout
    try:
        if stream is None:
            raise OSError(errno.EBADF, "it is closed")
        encoding = getattr(stream, "encoding", None) or "utf-8"
        shown = without_steering(text) + end
        if ANEW in shown and not (screen := Screen.of(stream)).bold:
            shown = shown.replace(ANEW, f"\r{' ' * (screen.width - 1)}\r")
        stream.write(shown.encode(encoding, "handlap-plain").decode(encoding))
        stream.flush()
    except OSError as fault:
        if error or fault.errno != errno.EPIPE:
            let_go(stream)
        if error:
            return
        if fault.errno == errno.EPIPE:
            raise
        raise HandlapError(
            f"the answer cannot be written to standard output: {fault.strerror or fault}"
        ) from None


def let_go(stream: TextIO | None) -> None:
    """Have what a stream still holds go nowhere, so that there is nothing to fail at exit."""
    if stream is None:
        return
    with contextlib.suppress(OSError, ValueError), open(os.devnull, "wb") as nowhere:
        os.dup2(nowhere.fileno(), stream.fileno())


def note(text: str, *, prose: bool = False) -> None:
    """A remark that is no part of the result: to stderr, in lines that fit where that is a terminal.

    ``prose``: in such lines elsewhere, too; not for what has a path in it that somebody may look for.
    """
    if prose or is_terminal(sys.stderr):
        width = Screen.of(sys.stderr).width
        text = textwrap.fill(text, width, break_long_words=False, break_on_hyphens=False)
    emit(text, error=True)

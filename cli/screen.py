"""What the terminal can show, and how to put text on it."""

from __future__ import annotations

import codecs
import os
import shutil
import sys
from dataclasses import dataclass
from typing import TextIO

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
        return f"\x1b[1m{text}\x1b[0m" if self.bold else text


def is_terminal(stream: TextIO) -> bool:
    """Whether a person looks at this stream."""
    try:
        return stream.isatty()
    except (AttributeError, ValueError):
        return False


def emit(text: str, *, error: bool = False, end: str = "\n") -> None:
    """Write to stdout (or stderr), in plain letters where the stream knows no better ones."""
    stream = sys.stderr if error else sys.stdout
    encoding = getattr(stream, "encoding", None) or "utf-8"
    stream.write((text + end).encode(encoding, "handlap-plain").decode(encoding))
    stream.flush()


def note(text: str) -> None:
    """A remark that is no part of the result: to stderr."""
    emit(text, error=True)

"""The pieces a report is made of; text and page each show them in their own way."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

Tone = Literal["good", "doubt", "bad", "plain"]

_UNIT = re.compile(
    r"(?<=\d) (?=(?:µm|mm³|mm|cm²|%|g|kJ|min|W|N|N·m|kg|thou|grains|lbf|lb|oz|psi)(?:[ ,;:.)]|$))"
    r"|(?<=±) (?=\d)"
)


def together(text: str) -> str:
    """The text with a space that does not break between each number and its unit.

    >>> together("12 µm (4–28) in 5 min").count(chr(0xA0))
    2
    """
    return _UNIT.sub("\N{NO-BREAK SPACE}", text)


@dataclass(frozen=True)
class Words:
    """A paragraph."""

    text: str


@dataclass(frozen=True)
class Bullets:
    """A list of sentences."""

    items: tuple[str, ...]


@dataclass(frozen=True)
class Facts:
    """Names and what is known of each."""

    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Table:
    """Rows of cells under heads; a head may hold a line break.  ``left``: columns set left."""

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    left: tuple[int, ...] = (0,)
    wraps: int | None = None
    """The column that gives way where space is short."""
    folded: str = ""
    """On a page it is folded away under these words; "": it stands open."""


@dataclass(frozen=True)
class Drawing:
    """Lines of characters, for terminals only; ``alt`` says the same in words."""

    lines: tuple[str, ...]
    alt: str


@dataclass(frozen=True)
class Picture:
    """A picture by the name of its file, for pages only; ``alt`` says it to who cannot see it."""

    name: str
    caption: str
    alt: str


Block = Words | Bullets | Facts | Table | Drawing | Picture


@dataclass(frozen=True)
class Section:
    """A heading and what stands under it; ``aside`` marks what a hurried reader may skip."""

    title: str
    blocks: tuple[Block, ...]
    aside: bool = False


@dataclass(frozen=True)
class Report:
    """A whole report: the answer first, then the job it is about, then the sections."""

    kind: str
    """Of which command it is; in the names of the files it leaves."""
    answer: str
    tone: Tone
    subject: str
    lead: tuple[str, ...]
    sections: tuple[Section, ...]

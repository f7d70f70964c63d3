"""The pages that the program carries (``cli/pages/*.md``) as text for a terminal.

They are written in the part of Markdown that they need, so that a browser of the repository shows them
with their pictures: headings, paragraphs, lists, tables, fenced and indented code.
"""

from __future__ import annotations

import re
import shlex
from itertools import groupby

from handlap.cli.reports.blocks import Bullets, Table, Words
from handlap.cli.reports.text import INDENT, block_lines, wrapped
from handlap.cli.screen import Screen

_FENCE = re.compile(r"^```(\w*)\n(.*?)^```$", flags=re.M | re.S)
_PICTURE = re.compile(r"^!\[[^\]]*\]\([^)]*\)\s*$", flags=re.M)
_LINK = re.compile(r"\[([^\]]+)\]\([^)]*\)")
_MARKED = re.compile(r"\*\*|`")


def page_lines(page: str, screen: Screen) -> list[str]:
    """A page in lines that fit the screen; only code that cannot be broken may be longer."""
    lines: list[str] = []
    at = 0
    for fence in _FENCE.finditer(page):
        lines += _prose(page[at : fence.start()], screen)
        lines += ["", *_code(fence[2], fence[1], screen.width)]
        at = fence.end()
    return [line.rstrip() for line in lines + _prose(page[at:], screen)][1:]


def _prose(text: str, screen: Screen) -> list[str]:
    lines: list[str] = []
    for chunk in re.split(r"\n{2,}", _PICTURE.sub("", text).strip("\n")):
        if chunk.strip():
            lines += ["", *_chunk(chunk, screen)]
    return lines


def _chunk(chunk: str, screen: Screen) -> list[str]:
    """One heading, list, table, piece of indented code or paragraph."""
    rows = chunk.split("\n")
    if chunk.startswith("#"):
        title = _plain(chunk.lstrip("# "))
        lines = wrapped(title.upper() if chunk.startswith("# ") else title, screen.width)
        return [screen.strong(line) for line in lines]
    if chunk.startswith("- "):
        items = re.split(r"\n- ", chunk[2:])
        return block_lines(Bullets(tuple(_plain(item.replace("\n", " ")) for item in items)), screen)
    if chunk.startswith("|"):
        cells = [tuple(_plain(cell.strip()) for cell in row.strip("|").split("|")) for row in rows]
        wide = len(cells[0])
        return block_lines(Table(cells[0], tuple(cells[2:]), tuple(range(wide)), wraps=1), screen)
    if all(row.startswith("    ") for row in rows):
        return rows
    return block_lines(Words(_plain(chunk.replace("\n", " "))), screen)


def _plain(text: str) -> str:
    """A text without what marks code, weight and links."""
    return _MARKED.sub("", _LINK.sub(r"\1", text))


def _code(code: str, language: str, width: int) -> list[str]:
    rows = code.rstrip("\n").split("\n")
    if language != "sh":
        return [INDENT + row for row in rows]
    return [line for row in rows for line in _command(row, width)]


def _command(row: str, width: int) -> list[str]:
    """A command line, broken between its words in the way that a shell takes; an option keeps its value."""
    words = [shlex.quote(word) if word != "&&" else word for word in shlex.split(row)]
    units: list[str] = []
    for is_option, group in groupby(words, key=lambda word: word.startswith("--")):
        found = list(group)
        if not is_option and units and units[-1].startswith("--"):
            units[-1] = f"{units[-1]} {found.pop(0)}"
        units += found
    lines = [INDENT + units[0]]
    for unit in units[1:]:
        if len(lines[-1]) + len(unit) + 3 <= width:
            lines[-1] += f" {unit}"
        else:
            lines[-1] += " \\"
            lines.append(INDENT * 3 + unit)
    return lines

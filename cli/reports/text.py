"""Reports on a terminal of 40 to 80 columns."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence

from handlap.cli.reports.blocks import (
    Block,
    Bullets,
    Drawing,
    Facts,
    Picture,
    Report,
    Section,
    Table,
    Words,
    together,
)
from handlap.cli.screen import Screen

INDENT = "  "
SPACINGS = (("  ", 2), ("  ", 1), ("", 1))
"""Indent of a table and columns between two cells: the first that fits."""
NARROW = 60
"""Below this many columns facts stand under their names."""
LEAST_WRAPPED = 16


def paragraphs(texts: Iterable[str], width: int) -> str:
    """Texts one under the other, each wrapped to a width [columns]."""
    return "\n".join(line for text in texts for line in wrapped(text, width))


def render(report: Report, screen: Screen) -> str:
    """The report as text."""
    lines = [screen.strong(line) for line in wrapped(report.answer.upper(), screen.width)]
    lines += wrapped(report.subject, screen.width)
    lines += _bullets(report.lead, screen.width)
    for section in report.sections:
        lines += ["", *_heading(section, screen), *_section(section, screen)]
    return "\n".join(line.rstrip() for line in lines)


def _heading(section: Section, screen: Screen) -> list[str]:
    rule = "─" * max(0, screen.width - len(section.title) - 1)
    return [f"{screen.strong(section.title)} {rule}"]


def _section(section: Section, screen: Screen) -> list[str]:
    lines: list[str] = []
    for block in section.blocks:
        found = block_lines(block, screen)
        if lines and found and (isinstance(block, Table | Drawing) or _is_tall(section, block)):
            lines.append("")
        lines += found
    return lines


def _is_tall(section: Section, block: Block) -> bool:
    """Whether a block follows a table, and so wants a blank line before it."""
    at = section.blocks.index(block)
    return at > 0 and isinstance(section.blocks[at - 1], Table | Drawing)


def block_lines(block: Block, screen: Screen) -> list[str]:
    """One block in lines that fit the screen."""
    match block:
        case Words(text):
            return wrapped(text, screen.width, INDENT)
        case Bullets(items):
            return _bullets(items, screen.width)
        case Facts(rows):
            return _facts(rows, screen.width)
        case Table():
            return _table(block, screen.width)
        case Drawing(lines, alt):
            return (
                list(lines)
                if max(map(len, lines), default=0) <= screen.width
                else wrapped(alt, screen.width, INDENT)
            )
        case Picture():
            return []


def wrapped(text: str, width: int, indent: str = "", hanging: str | None = None) -> list[str]:
    """Text in lines of that width; ``hanging`` is the indent of the second and later lines."""
    lines = textwrap.wrap(
        together(text),
        width,
        initial_indent=indent,
        subsequent_indent=indent if hanging is None else hanging,
        break_on_hyphens=False,
    )
    return [line.replace("\N{NO-BREAK SPACE}", " ") for line in lines] or [""]


def _bullets(items: Sequence[str], width: int) -> list[str]:
    return [line for item in items for line in wrapped(item, width, "  - ", "    ")]


def _facts(rows: Sequence[tuple[str, str]], width: int) -> list[str]:
    label = max((len(name) for name, _ in rows), default=0)
    lines = []
    for name, text in rows:
        if width < NARROW:
            lines += [*wrapped(name, width, INDENT), *wrapped(text, width, INDENT * 2)]
        else:
            lines += wrapped(text, width, f"{INDENT}{name:<{label}}  ", " " * (label + 4))
    return lines


def _table(table: Table, width: int) -> list[str]:
    """Columns side by side; where they do not fit, one row under the other."""
    heads = [head.split("\n") for head in table.heads]
    deep = max(len(head) for head in heads)
    heads = [[""] * (deep - len(head)) + head for head in heads]
    columns = range(len(heads))
    wide = [max(len(cell) for cell in (*heads[c], *(row[c] for row in table.rows))) for c in columns]
    rooms = [width - len(indent) - gap * (len(wide) - 1) for indent, gap in SPACINGS]
    spacing, room = next(
        (found for found in zip(SPACINGS, rooms, strict=True) if found[1] >= sum(wide)),
        (SPACINGS[0], rooms[0]),
    )
    if table.wraps is not None and sum(wide) > room:
        wide[table.wraps] = max(LEAST_WRAPPED, room - sum(wide) + wide[table.wraps])
    if sum(wide) > room:
        return _stacked(table, width)
    lines = [_row([head[i] for head in heads], wide, table.left, spacing) for i in range(deep)]
    for row in table.rows:
        cells = [
            textwrap.wrap(cell, w, break_on_hyphens=False) or [""] for cell, w in zip(row, wide, strict=True)
        ]
        tall = max(len(cell) for cell in cells)
        for i in range(tall):
            lines.append(
                _row([cell[i] if i < len(cell) else "" for cell in cells], wide, table.left, spacing)
            )
    return lines


def _row(cells: Sequence[str], wide: Sequence[int], left: Sequence[int], spacing: tuple[str, int]) -> str:
    set_cells = [
        f"{cell:<{w}}" if c in left else f"{cell:>{w}}"
        for c, (cell, w) in enumerate(zip(cells, wide, strict=True))
    ]
    indent, gap = spacing
    return indent + (" " * gap).join(set_cells)


def _stacked(table: Table, width: int) -> list[str]:
    lines: list[str] = []
    heads = [head.replace("\n", " ") for head in table.heads]
    for row in table.rows:
        lines += wrapped(f"{heads[0]} {row[0]}" if 0 not in table.left else row[0], width, INDENT)
        for head, cell in zip(heads[1:], row[1:], strict=True):
            lines += wrapped(f"{head}: {cell}", width, INDENT * 2, INDENT * 3)
    return lines

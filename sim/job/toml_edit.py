"""Writing TOML, and exchanging tables of a TOML text with the rest left byte for byte.

The standard library reads TOML and does not write it.  Only what scenario files need is here.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

WIDTH = 96
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_HEADER = re.compile(r"[ \t]*(\[\[?)[ \t]*([^\]\n]*?)[ \t]*\]\]?")


def value_text(value: Any, indent: str = "") -> str:
    """A value as TOML; long lists over several lines.

    >>> value_text({"circle": [-42, 0, 72.5]}), value_text("a \\"b\\""), value_text(True)
    ('{circle = [-42, 0, 72.5]}', '"a \\\\"b\\\\""', 'true')
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return _float_text(value)
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key_text(k)} = {_flat(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list | tuple):
        flat = _flat(value)
        nested = any(isinstance(v, list | tuple | dict) for v in value)
        if len(indent) + len(flat) <= WIDTH and not (nested and len(value) > 1):
            return flat
        inner = indent + "    "
        return "[\n" + "".join(f"{inner}{value_text(v, inner)},\n" for v in value) + f"{indent}]"
    raise TypeError(f"no TOML for {type(value).__name__}")


def _flat(value: Any) -> str:
    """A value on one line."""
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_flat(v) for v in value) + "]"
    return value_text(value)


def _float_text(value: float) -> str:
    if not math.isfinite(value):
        raise ValueError("no number")
    text = f"{value:.10g}"
    return text if any(c in text for c in ".en") else text + ("" if abs(value) < 1e15 else ".0")


def key_text(name: str) -> str:
    """A key, in quotes where it needs them."""
    return name if _BARE.fullmatch(name) else json.dumps(name, ensure_ascii=False)


@dataclass(frozen=True)
class TomlBlock:
    """A run of whole lines of a TOML text: one table with its header, or what stands before any.

    ``header`` is the dotted name, "" before the first; ``listed`` marks ``[[…]]``.
    """

    header: str
    listed: bool
    text: str


def split_blocks(text: str) -> list[TomlBlock]:
    """A TOML text cut at its headers; joined again the blocks are the text.

    Comments and blank lines that stand right before a header go with it.

    >>> [b.header for b in split_blocks("a = 1\\n# about b\\n[b]\\nc = [\\n[1],\\n]\\n[[d.e]]\\n")]
    ['', 'b', 'd.e']
    """
    blocks: list[TomlBlock] = []
    header, listed = "", False
    held: list[str] = []
    for line, at_top in zip(_lines(text), _tops(text), strict=True):
        found = _HEADER.match(line) if at_top else None
        if found is not None:
            above = len(held)
            while above > 0 and (not held[above - 1].strip() or held[above - 1].lstrip().startswith("#")):
                above -= 1
            # A blank line ends what belongs to the table above.
            blocks.append(TomlBlock(header, listed, "".join(held[:above])))
            held = held[above:]
            header, listed = _plain_name(found[2]), found[1] == "[["
        held.append(line)
    blocks.append(TomlBlock(header, listed, "".join(held)))
    return blocks


def _lines(text: str) -> list[str]:
    """Lines with their ends; only \\n ends a line of TOML."""
    return re.findall(r"[^\n]*\n|[^\n]+", text)


def _plain_name(dotted: str) -> str:
    return ".".join(part.strip().strip("\"'") for part in dotted.split("."))


def _tops(text: str) -> list[bool]:
    """For every line whether it begins outside strings and brackets."""
    tops: list[bool] = []
    depth, quote = 0, ""
    for line in _lines(text):
        tops.append(depth == 0 and not quote)
        header = tops[-1] and _HEADER.match(line) is not None
        i = 0
        while i < len(line):
            if quote:
                if quote[0] == '"' and line[i] == "\\":
                    i += 2
                elif line.startswith(quote, i):
                    i += len(quote)
                    quote = ""
                else:
                    i += 1
                continue
            character = line[i]
            if character == "#":
                break
            if character in "\"'":
                quote = character * 3 if line.startswith(character * 3, i) else character
                i += len(quote)
                continue
            if not header:
                depth += (character in "[{") - (character in "]}")
            i += 1
        if len(quote) == 1:  # cannot happen in valid TOML
            quote = ""
    return tops


def exchange_lists(text: str, name: str, tables: Sequence[tuple[str | None, str]]) -> str:
    """Exchange or add tables ``[[name]]`` of a valid TOML text; all else stays byte for byte.

    Parameters
    ----------
    tables : pairs of what to find in the ``name = "…"`` of a table that is replaced (None: added)
        and the new table, header included, with "\\n" at line ends

    The new ones come after the last block of that name or of the table it belongs to, or at
    the end.  Line ends are those of the text.
    """
    newline = "\r\n" if "\r\n" in text else "\n"
    blocks = split_blocks(text)
    own = name.rpartition(".")[0]
    added: list[str] = []
    for wanted, new in tables:
        fresh = new.replace("\n", newline)
        at = next(
            (i for i, b in enumerate(blocks) if b.listed and b.header == name and _named(b, wanted)), None
        )
        if at is None:
            added.append(fresh)
        else:
            blocks[at] = TomlBlock(name, True, _lead(blocks[at].text) + fresh)
    if added:
        last = max((i for i, b in enumerate(blocks) if b.header in (name, own) and b.header), default=-1)
        last = last if last >= 0 else len(blocks) - 1
        before = blocks[last].text
        if before and not before.endswith("\n"):
            before += newline
        blocks[last] = TomlBlock(
            blocks[last].header, blocks[last].listed, before + "".join(newline + a for a in added)
        )
    return "".join(block.text for block in blocks)


def add_key(text: str, table: str, line: str) -> str:
    """Put a line ``key = value`` right under the header of a table, which is added if missing."""
    newline = "\r\n" if "\r\n" in text else "\n"
    blocks = split_blocks(text)
    for i, block in enumerate(blocks):
        if block.header == table and not block.listed:
            lines = _lines(block.text)
            at = next(k for k, row in enumerate(lines) if _HEADER.match(row))
            if not lines[at].endswith("\n"):
                lines[at] += newline
            lines.insert(at + 1, line + newline)
            blocks[i] = TomlBlock(block.header, False, "".join(lines))
            return "".join(b.text for b in blocks)
    first = next((i for i, b in enumerate(blocks) if b.header.startswith(table + ".")), len(blocks))
    before = "".join(b.text for b in blocks[:first])
    gap = "" if not before else newline if before.endswith("\n") else newline * 2
    after = "".join(b.text for b in blocks[first:])
    return f"{before}{gap}[{table}]{newline}{line}{newline}{after}"


def _named(block: TomlBlock, wanted: str | None) -> bool:
    import tomllib

    if wanted is None:
        return False
    # Read alone, the table is valid: it is a run of whole lines from its header on.
    table: Any = tomllib.loads(block.text)
    for part in block.header.split("."):
        table = table[part]
    return bool(table[-1].get("name", "").strip() == wanted)


def _lead(text: str) -> str:
    """Comments and blank lines before the header of a block."""
    held = ""
    for line in _lines(text):
        if _HEADER.match(line):
            break
        held += line
    return held

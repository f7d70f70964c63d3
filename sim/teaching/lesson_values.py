"""Values of a lesson's file, checked: texts, whole numbers, words of a list, lists of tables."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from handlap.sim.common.errors import Fault
from handlap.sim.common.spelling import nearest
from handlap.sim.job.findings import Findings

LONGEST_TEXT = 4000


def refuse_unknown(table: dict[str, Any], known: tuple[str, ...], prefix: str, found: Findings) -> None:
    """Refuse keys that are not known, and name the nearest one."""
    for name in table:
        if name not in known:
            near = nearest(name, known, 0.55)
            hint = f'no such key; the nearest is "{prefix}{near}"' if near else "no such key"
            inside = f"[{prefix.rstrip('.')}]" if prefix else "the file"
            allowed = f"{hint}; {inside} may hold {', '.join(known)}"
            found.faults.append(Fault(found.file, prefix + name, "", allowed))


def text_of(raw: Any, label: str, found: Findings) -> str:
    """A text, or an empty one where it is at fault."""
    if isinstance(raw, str) and 0 < len(raw.strip()) <= LONGEST_TEXT:
        return raw.strip()
    missing = "missing: " if raw is None else ""
    found.fault(label, raw, f"{missing}a text of at most {LONGEST_TEXT} characters")
    return ""


def whole_of(
    raw: Any, label: str, low: int, high: int, found: Findings, *, needed: bool = False
) -> int | None:
    """A whole number in a range, or None."""
    if raw is None and not needed:
        return None
    if isinstance(raw, int) and not isinstance(raw, bool) and low <= raw <= high:
        return raw
    missing = "missing: " if raw is None else ""
    counted = "; the number of the choice meant to be right, counted from 1" if label == "intends" else ""
    found.fault(label, raw, f"{missing}a whole number from {low} to {high}{counted}")
    return None


def words_of(raw: Any, label: str, known: tuple[str, ...] | None, found: Findings) -> tuple[str, ...] | None:
    """A list of texts, of those known where any are, or None."""
    if raw is None:
        return None
    if isinstance(raw, list) and all(isinstance(r, str) and (known is None or r in known) for r in raw):
        return tuple(raw)
    found.fault(label, raw, f"a list of {'texts' if known is None else ', '.join(known)}")
    return None


def tables_of(
    raw: Any,
    label: str,
    least: int,
    most: int,
    known: tuple[str, ...],
    found: Findings,
    read: Callable[[dict[str, Any], str, Findings], Any],
) -> tuple[Any, ...] | None:
    """A list of tables, each read by ``read``; None where one of them is at fault."""
    if (
        not isinstance(raw, list)
        or not all(isinstance(r, dict) for r in raw)
        or not least <= len(raw) <= most
    ):
        missing = "missing: " if raw is None else ""
        found.fault(label, raw, f"{missing}{least} to {most} tables [[{label}]] with {', '.join(known)}")
        return None
    made = []
    for i, table in enumerate(raw, 1):
        refuse_unknown(table, known, f"{label}[{i}].", found)
        made.append(read(table, f"{label}[{i}]", found))
    return None if any(m is None for m in made) else tuple(made)


def one_of(raw: Any, label: str, known: tuple[str, ...], found: Findings, *, needed: bool) -> str | None:
    """One of the words known, or None."""
    if raw is None and not needed:
        return None
    if isinstance(raw, str) and raw in known:
        return raw
    near = nearest(str(raw), known, 0.55)
    hint = f'; the nearest is "{near}"' if near else ""
    found.fault(label, raw, f"{'missing: ' if raw is None else ''}one of {', '.join(known)}{hint}")
    return None

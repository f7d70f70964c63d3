"""The text of a page for the bench, from a file or from standard input."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

from handlap.sim.common.errors import Fault, ScenarioError

if TYPE_CHECKING:
    from handlap.sim.bench.bench_page_text import PageText

STANDARD_INPUT = "-"
TYPED = "standard input"


def read_page(source: str) -> PageText:
    """What a page handed over, from a file, or from standard input for ``-``.

    Raises
    ------
    ScenarioError : if it cannot be read, is torn, or with all that is wrong in it
    """
    from handlap.sim.bench.bench_page_text import LARGEST, read_page_text

    return read_page_text(*given_text(source, LARGEST))


def given_text(source: str, largest: int) -> tuple[str, str]:
    """A text of at most so many bytes, and by what name messages call it.

    Raises
    ------
    ScenarioError : if it cannot be read
    """
    from handlap.sim.job.given_file import read_small_text

    if source != STANDARD_INPUT:
        path = Path(source)
        return read_small_text(path, largest), path.name
    data = sys.stdin.buffer.read(largest + 1)
    if len(data) > largest:
        raise ScenarioError([Fault(TYPED, "", "more", f"at most {largest} bytes")])
    try:
        return data.decode("utf-8-sig"), TYPED
    except UnicodeDecodeError as error:
        raise ScenarioError([Fault(TYPED, "", f"byte {error.start} is no UTF-8", "text in UTF-8")]) from None

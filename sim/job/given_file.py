"""Files that people hand over: found by name, kept inside their folder, and read within a bound."""

from __future__ import annotations

import os
from collections.abc import Mapping
from importlib import resources
from itertools import islice
from pathlib import Path

from handlap.sim.common.errors import Fault, ScenarioError
from handlap.sim.common.spelling import did_you_mean, nearest

LONGEST_SHOWN = 120
"""Letters of a name that are shown back."""
MOST_LOOKED_AT = 2000
"""Files of a folder among which a mistyped one is looked for."""


def builtin_paths(below: str = "") -> dict[str, Path]:
    """TOML files that come with the program, by name, from the folder of the scenarios or one below it."""
    folder = resources.files("handlap.scenarios")
    folder = folder / below if below else folder
    paths = [Path(str(entry)) for entry in folder.iterdir() if entry.name.endswith(".toml")]
    return {path.stem: path for path in sorted(paths)}


def located(path_or_name: str | Path, builtin: Mapping[str, Path], kind: str) -> Path:
    """The file that is meant: the built-in one of that name, else the one at that path.

    Parameters
    ----------
    builtin : the built-in ones by name
    kind : what they are, for messages

    Raises
    ------
    ScenarioError : if there is none; says which there are
    """
    asked = str(path_or_name)
    if asked in builtin:
        return builtin[asked]
    path = Path(path_or_name)
    try:
        there = path.exists()
    except (OSError, ValueError):
        there = False
    if there and asked:
        return path
    near = _file_like(path) or nearest(path.stem.lower(), builtin)
    hint = did_you_mean(near)
    shown = asked if len(asked) <= LONGEST_SHOWN else asked[: LONGEST_SHOWN - 1] + "…"
    allowed = (
        f"no such file, and no built-in {kind} of that name{hint}\nbuilt-in {kind}s: {', '.join(builtin)}"
    )
    raise ScenarioError([Fault(shown or '""', "", "", allowed)])


def _file_like(path: Path) -> str | None:
    """A file of nearly that name and the same ending in the same folder, as it would be typed."""
    try:
        with os.scandir(path.parent) as there:
            names = [entry.name for entry in islice(there, MOST_LOOKED_AT) if entry.is_file()]
    except (OSError, ValueError):
        return None
    alike = [name for name in names if Path(name).suffix == (path.suffix or ".toml")]
    stems = {Path(name).stem: name for name in sorted(alike)}
    near = nearest(path.stem, stems, 0.6)
    return None if near is None else str(path.with_name(stems[near]))


def path_beside(folder: Path, name: str) -> Path | None:
    """The place of a file that is named in another one; None if it leads out of the folder of that one.

    >>> path_beside(Path("/jobs"), "../secret.csv") is None
    True
    """
    folder = folder.resolve()
    try:
        path = (folder / name).resolve()
    except (OSError, RuntimeError, ValueError):
        return None
    return None if Path(name).is_absolute() or not path.is_relative_to(folder) else path


def read_small_text(path: Path, largest: int) -> str:
    """The text of a UTF-8 file no larger than a bound in bytes.

    Raises
    ------
    ScenarioError : if there is no such file, or it is a folder, too large, unreadable, not UTF-8
    """

    def refuse(got: str, allowed: str) -> ScenarioError:
        return ScenarioError([Fault(path.name or str(path), "", got, allowed)])

    try:
        if path.is_dir():
            raise refuse("a folder", "a file")
        if not path.exists():
            raise refuse("no such file", f"a file that exists (looked for {path})")
        if not path.is_file():
            raise refuse("no ordinary file", "an ordinary file")
        size = path.stat().st_size
        if size > largest:
            raise refuse(f"{size} bytes", f"at most {largest} bytes")
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise refuse(f"byte {error.start} is no UTF-8", "text in UTF-8") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise refuse(f"unreadable ({reason})", "a file that can be read") from None

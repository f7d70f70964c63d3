"""The errors that handlap raises on purpose; the command line turns each into an exit code."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

MOST_SHOWN = 40
"""Faults printed at once; the rest are counted."""


def harmless(text: str) -> str:
    """A text of one line in which whatever a terminal would obey, or not show, is spelt out.

    >>> harmless("wipe \\x1b[2J it, 5 µm")
    'wipe \\\\u001b[2J it, 5 µm'
    """
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() else " " if c.isspace() else spelt_out(c) for c in text)


def spelt_out(character: str) -> str:
    """A character as JSON and Python write it in letters, such as ``\\u001b``."""
    return f"\\u{ord(character):04x}" if ord(character) < 0x10000 else f"\\U{ord(character):08x}"


def what_is_known(error: ValueError) -> str:
    """The part of "no metal X; the nearest is …; known are …" that follows the complaint."""
    parts = re.split(r"[;:] ", str(error), maxsplit=1)
    return parts[-1]


class WholeError(Exception):
    """An exception that crosses to another process, or is copied, with all that it carries.

    Python makes an exception anew from its message alone, which is not what all of ours are made of.
    """

    def __reduce__(self) -> tuple[Any, ...]:
        """Class, message and everything else, for pickle and copy."""
        return _as_it_was, (type(self), self.args, self.__dict__)


def _as_it_was(kind: type[WholeError], args: tuple[object, ...], held: Mapping[str, object]) -> WholeError:
    found = kind.__new__(kind, *args)
    found.__dict__.update(held)
    return found


class HandlapError(WholeError):
    """Root of every error raised on purpose."""

    exit_code = 1


class InputError(HandlapError):
    """What the user gave cannot be used; the message says what would be."""

    exit_code = 2


_SPOKEN = (
    (re.compile(r"readings\.leaves\[(\d+)\]"), "leaf {} of your set"),
    (re.compile(r"readings\.line\[(\d+)\]\.stations\[(\d+)\]"), "line {} of your readings, place {}"),
    (re.compile(r"readings\.line\[(\d+)\]"), "line {} of your readings"),
    (re.compile(r"part\.openings\[(\d+)\]"), "opening {}"),
    (re.compile(r"paper\.grits\[(\d+)\]"), "paper {} of your list"),
    (re.compile(r"paper\.strips\[(\d+)\]"), "strip {} of paper"),
)
"""Keys that only files have, and what they are called by those who never opened one."""


def spoken_key(key: str) -> str:
    """A key, behind what a person calls the thing where that is not to be guessed from the key."""
    for pattern, words in _SPOKEN:
        found = pattern.match(key)
        if found:
            return f"{words.format(*found.groups())}, {key}"
    return key


@dataclass(frozen=True)
class Fault:
    """One thing wrong with a file.

    Attributes
    ----------
    file : name of the file
    key : dotted key, or "line 12" of a table; empty when the whole file is meant
    got : what was found, shortened for print; empty when nothing was there
    allowed : what is allowed, in words, and what to do about it
    """

    file: str
    key: str
    got: str
    allowed: str

    def __str__(self) -> str:
        """The fault on one line.

        >>> str(Fault("head.toml", "part.limit", "-5", "a height from 1 to 5000 µm"))
        'head.toml: part.limit = -5; allowed: a height from 1 to 5000 µm'
        >>> str(Fault("head.toml", "part.limit", "", "missing; a height from 1 to 5000 µm"))
        'head.toml: part.limit: missing; a height from 1 to 5000 µm'
        >>> str(Fault("head.toml", "readings.leaves[9]", "229", "1 to 200 µm"))
        'head.toml: leaf 9 of your set, readings.leaves[9] = 229; allowed: 1 to 200 µm'
        """
        file, key = harmless(self.file), spoken_key(harmless(self.key))
        return self.told(f"{file}: {key}" if key else file)

    def told(self, where: str) -> str:
        """The fault behind other words for where it stands, such as the key alone."""
        # ``allowed`` may run over several lines, and may quote what was typed.
        got, allowed = harmless(self.got), "\n".join(map(harmless, self.allowed.split("\n")))
        if not got:
            return f"{where}: {allowed}"
        joint = " = " if self.key and not self.key.startswith("line ") else ": "
        return f"{where}{joint}{got}; allowed: {allowed}"


class ScenarioError(InputError):
    """A scenario file, or a table it names, cannot be used; carries every fault found."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        lines = [str(f) for f in self.faults[:MOST_SHOWN]]
        if len(self.faults) > MOST_SHOWN:
            lines.append(f"… and {len(self.faults) - MOST_SHOWN} more")
        super().__init__("\n".join(lines))


class TippingError(InputError):
    """The force of face on paper acts outside the face that stands on paper: the part tips over."""


class SolverError(HandlapError):
    """An iteration did not converge; ``state`` holds what is needed to look into it."""

    def __init__(self, message: str, state: Mapping[str, object] | None = None) -> None:
        self.state = dict(state or {})
        super().__init__(message)

"""The sealed truth of an exercise: a file that nobody reads by accident or by a curious look.

It keeps honest people honest, no more: the key stands in this module, so whoever reads the code
can open it, and whoever knows level and number can have the exercise made again.  What it does
do: no figure and no word of the truth can be made out in the file, a changed or damaged file is
found out, and a file of another exercise is told apart.

The file is ASCII: a head to be read by anyone, the content (JSON, packed with zlib, hidden under
a stream of SHAKE-256, in base 85), and a check (HMAC with SHA-256) over all of it.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
import zlib
from collections.abc import Mapping
from typing import Any

from handlap.sim.common.errors import InputError

FORMAT = 1
"""Number of the format; a file with another number is refused in words."""
HEAD = "handlap sealed truth, format "
OF = "exercise: "
NOTICE = "Opened by handlap exercise FOLDER --mark, once all answers are entered; not for reading."
CHECK = "check: "
COLUMNS = 96
LARGEST = 1_000_000
"""Bytes of a file that is looked at, and of what may come out of it."""
_KEY = hashlib.sha256(b"answers first, then the truth; handlap exercise, format 1").digest()
_SALT = 16


def hidden(data: bytes, key: bytes) -> bytes:
    """The data under the stream of a key; done twice it is the data again."""
    stream = hashlib.shake_256(key).digest(len(data))
    return bytes(a ^ b for a, b in zip(data, stream, strict=True))


def _hidden(data: bytes, salt: bytes) -> bytes:
    return hidden(data, _KEY + salt)


def _check(text: str) -> str:
    return hmac.new(_KEY, text.encode("ascii"), hashlib.sha256).hexdigest()


def seal(exercise: str, content: Mapping[str, Any]) -> str:
    """The sealed file of an exercise.

    Parameters
    ----------
    exercise : what it is called; readable in the file
    content : anything JSON can hold; not readable in it

    Returns
    -------
    The text of the file, the same for the same content.
    """
    data = zlib.compress(json.dumps(content, sort_keys=True, allow_nan=False).encode("utf-8"), 9)
    salt = hashlib.sha256(exercise.encode("utf-8") + data).digest()[:_SALT]
    body = base64.b85encode(salt + _hidden(data, salt)).decode("ascii")
    lines = [
        f"{HEAD}{FORMAT}",
        f"{OF}{exercise}",
        NOTICE,
        *(body[i : i + COLUMNS] for i in range(0, len(body), COLUMNS)),
    ]
    text = "\n".join(lines) + "\n"
    return f"{text}{CHECK}{_check(text)}\n"


def sealed_exercise(data: bytes, file: str) -> str:
    """What exercise a sealed file belongs to, from its readable head, after checking all of it.

    Raises
    ------
    InputError : if it is no such file, of another format, or has been changed
    """
    return _parts(data, file)[0]


def open_seal(data: bytes, file: str) -> tuple[str, dict[str, Any]]:
    """Exercise and content of a sealed file.

    Parameters
    ----------
    data : the bytes of the file
    file : its name, for messages

    Raises
    ------
    InputError : if it is no such file, of another format, or has been changed
    """
    exercise, body = _parts(data, file)
    try:
        packed = base64.b85decode(body)
        content = zlib.decompressobj().decompress(_hidden(packed[_SALT:], packed[:_SALT]), LARGEST)
        return exercise, dict(json.loads(content))
    except (ValueError, zlib.error):
        raise InputError(f"{file}: {CHANGED}") from None


def openings_of(content: Mapping[str, Any], file: str) -> list[dict[str, Any]]:
    """The earlier openings that a sealed content remembers.

    Raises
    ------
    InputError : if it holds something else, sealed though it was
    """
    found = content.get("openings")
    if not isinstance(found, list) or not all(_is_opening(one) for one in found):
        raise InputError(f"{file}: {CHANGED}")
    return found


def _is_opening(one: Any) -> bool:
    if not isinstance(one, dict) or not isinstance(one.get("answers"), dict):
        return False
    marks = (one.get("got"), one.get("most"))
    return all(isinstance(n, int | float) and not isinstance(n, bool) and 0 <= n <= 1000 for n in marks)


CHANGED = (
    "the sealed truth has been changed or damaged and cannot be trusted; have the exercise made again "
    "into a new folder, by its level and number, and put your answers there"
)


def _parts(data: bytes, file: str) -> tuple[str, str]:
    """Exercise and body of a sealed file whose check holds."""
    try:
        text = data[: LARGEST + 1].decode("ascii").replace("\r\n", "\n")
    except UnicodeDecodeError:
        text = ""
    lines = text.split("\n")
    if not lines[0].startswith(HEAD):
        raise InputError(f"{file}: this is no sealed truth of handlap exercise")
    number = lines[0].removeprefix(HEAD)
    if number != str(FORMAT):
        raise InputError(
            f"{file}: sealed in format {number[:12]}; this handlap knows format {FORMAT} only: "
            "open it with the version that made it"
        )
    whole = len(lines) >= 6 and lines[-1] == "" and lines[-2].startswith(CHECK) and lines[1].startswith(OF)
    signed = "\n".join(lines[:-2]) + "\n"
    if not whole or not hmac.compare_digest(lines[-2].removeprefix(CHECK), _check(signed)):
        raise InputError(f"{file}: {CHANGED}")
    return lines[1].removeprefix(OF), "".join(lines[3:-2])

"""A photo somebody hands over: opened within bounds, torn or strange files refused in words.

File size and number of pixels are looked at before anything is unpacked, so that a small file that swells
to a huge picture costs nothing.
"""

from __future__ import annotations

import contextlib
import struct
import warnings
import zlib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from handlap.sim.common.errors import Fault, ScenarioError

if TYPE_CHECKING:
    from PIL.Image import Image as Picture

LARGEST = 60_000_000
"""Of the file [bytes]."""
MOST_PIXELS = 64_000_000
"""More than phones hand over in their everyday mode; unpacked it takes three bytes a pixel."""
FEWEST_SIDE = 200
"""A side of fewer pixels shows no face [pixels]."""
KINDS = {"JPEG": "JPEG", "PNG": "PNG"}
WHAT = "a photo as JPEG or PNG (phones that keep another kind, such as HEIC, can hand it over as JPEG)"
ORIENTATION = 0x0112
"""Tag of EXIF (JEITA CP-3451) that says how the camera was held."""
TURNED = {
    2: "mirrored",
    3: "turned by half a turn",
    4: "mirrored upside down",
    5: "mirrored and turned by a quarter",
    6: "turned by a quarter, clockwise",
    7: "mirrored and turned by a quarter",
    8: "turned by a quarter, anticlockwise",
}
"""What has to be done to show the picture upright, by the value of that tag."""
_TORN = (OSError, SyntaxError, ValueError, IndexError, KeyError, TypeError, EOFError, OverflowError,
         struct.error, zlib.error, ZeroDivisionError, MemoryError)  # fmt: skip
"""What the library raises on torn files of one kind or the other."""


@dataclass(frozen=True)
class Photo:
    """A picture as it is to be shown.

    Attributes
    ----------
    name : of the file, for messages
    pixels : coded values (rows, columns, 3)
    turned : how it was turned to stand upright, in words; "" for not at all
    """

    name: str
    pixels: NDArray[np.uint8]
    turned: str = ""

    @property
    def size(self) -> tuple[int, int]:
        """Columns and rows [pixels]."""
        return int(self.pixels.shape[1]), int(self.pixels.shape[0])


def read_photo(path: Path) -> Photo:
    """A JPEG or PNG file as a picture, turned upright as the camera noted.

    Raises
    ------
    ScenarioError : if there is none, or it is too large, torn, no picture, or one without colours to tell
    """
    name = path.name or str(path)
    _look_at_file(path, name)
    from PIL import Image

    with warnings.catch_warnings():
        # Our own bound is below the one that the library warns of.
        warnings.simplefilter("ignore")
        try:
            with Image.open(path, formats=tuple(KINDS)) as picture:
                _look_at_size(picture, name)
                return _unpacked(picture, name)
        except Image.DecompressionBombError:
            raise _refuse(name, "far too many pixels", f"at most {MOST_PIXELS // 10**6} million") from None
        except Image.UnidentifiedImageError:
            raise _refuse(name, "no picture that can be read", WHAT) from None
        except _TORN as error:
            raise _refuse(name, f"torn or damaged ({_plain(error)})", f"{WHAT}, whole") from None


def _look_at_file(path: Path, name: str) -> None:
    try:
        if not path.exists():
            raise _refuse(name, "no such file", f"a photo that exists (looked for {path})")
        if not path.is_file():
            raise _refuse(name, "no ordinary file", WHAT)
        size = path.stat().st_size
        with path.open("rb"):
            pass
    except (OSError, ValueError) as error:
        raise _refuse(name, f"unreadable ({_plain(error)})", "a file that can be read") from None
    if size == 0:
        raise _refuse(name, "an empty file", WHAT)
    if size > LARGEST:
        words = f"at most {LARGEST // 10**6} MB"
        raise _refuse(name, f"{size / 1e6:.0f} MB", words)


def _look_at_size(picture: Picture, name: str) -> None:
    """Bounds on the pixels that the head of the file speaks of, before they are unpacked."""
    wide, high = picture.size
    if wide * high > MOST_PIXELS:
        words = f"at most {MOST_PIXELS // 10**6} million pixels, as photos have"
        raise _refuse(name, f"{wide} × {high} pixels", words)
    if min(wide, high) < FEWEST_SIDE:
        words = f"at least {FEWEST_SIDE} pixels each way: the face could not be made out"
        raise _refuse(name, f"{wide} × {high} pixels", words)


def _unpacked(picture: Picture, name: str) -> Photo:
    """The pixels, upright."""
    from PIL import Image

    turn = 1
    with contextlib.suppress(Exception):
        # Notes of the camera that are damaged are no reason to refuse its picture.
        turn = int(picture.getexif().get(ORIENTATION, 1))
    picture.load()
    shown: Picture = picture
    if picture.mode in ("I", "F") or picture.mode.startswith("I;16"):
        deep = np.asarray(picture, dtype=float) / 65535.0
        shown = Image.fromarray((255.0 * np.clip(deep, 0.0, 1.0)).astype(np.uint8))
    pixels = np.asarray(shown.convert("RGB"))
    return Photo(name, np.ascontiguousarray(_upright(pixels, turn)), TURNED.get(turn, ""))


def _upright(pixels: NDArray[np.uint8], turn: int) -> NDArray[np.uint8]:
    """Pixels (rows, columns, 3) turned as the tag says.

    >>> _upright(np.arange(6, dtype=np.uint8).reshape(2, 3, 1), 6)[:, :, 0].tolist()
    [[3, 0], [4, 1], [5, 2]]
    """
    if turn in (2, 4, 5, 7):
        pixels = pixels[:, ::-1]
    quarters = {3: 2, 4: 2, 5: 1, 6: 3, 7: 3, 8: 1}.get(turn, 0)
    return np.rot90(pixels, quarters)


def _plain(error: BaseException) -> str:
    text = getattr(error, "strerror", None) or str(error) or type(error).__name__
    return text.splitlines()[0][:80]


def _refuse(name: str, got: str, allowed: str) -> ScenarioError:
    return ScenarioError([Fault(name, "", got, allowed)])

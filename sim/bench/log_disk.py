"""The file of a log on the disk: opened for one at a time, written whole or not at all, a torn line kept."""

from __future__ import annotations

import contextlib
import os
import stat
from collections.abc import Iterator
from pathlib import Path

from handlap.sim.common.errors import HandlapError, InputError

DAMAGED = ".damaged"


def damaged_path(path: Path) -> Path:
    """Where a damaged last line is kept."""
    return path.with_name(path.name + DAMAGED)


def no_file(path: Path) -> InputError:
    """What is said of a place that no log can be in."""
    return InputError(f"{path}: no ordinary file; that is no log")


@contextlib.contextmanager
def opened(path: Path) -> Iterator[int]:
    """The file to write to, made where there is none, and nobody else's until it is closed."""
    try:
        handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_APPEND, 0o666)
    except OSError as fault:
        raise InputError(f"cannot write {path}: {fault.strerror or fault}; nothing was written") from None
    if not stat.S_ISREG(os.fstat(handle).st_mode):
        os.close(handle)
        raise no_file(path)
    try:
        # Two at the same bench must not write into one another; elsewhere there is no such lock.
        with contextlib.suppress(ImportError, OSError):
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX)
        yield handle
    finally:
        os.close(handle)
        with contextlib.suppress(OSError):
            if path.stat().st_size == 0:
                path.unlink()


def write(handle: int, path: Path, data: bytes, size: int) -> None:
    """Write all of it, down to the disk, or leave the file as it was."""
    try:
        left = memoryview(data)
        while left:
            left = left[os.write(handle, left) :]
        os.fsync(handle)
    except OSError as fault:
        with contextlib.suppress(OSError):
            os.ftruncate(handle, size)
        raise HandlapError(
            f"the entry could not be written to {path}: {fault.strerror or fault}. It is not in the log; "
            "all that was there before still is"
        ) from None


def set_aside(path: Path, tail: bytes) -> None:
    """Keep a damaged line in a file of its own, before it is taken out of the log."""
    aside = damaged_path(path)
    try:
        handle = os.open(aside, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o666)
        try:
            size = os.fstat(handle).st_size
            write(handle, aside, tail + b"\n", size)
        finally:
            os.close(handle)
        sync_folder(path.parent)
    except OSError as fault:
        raise HandlapError(f"cannot keep the damaged line in {aside}: {fault.strerror or fault}") from None


def sync_folder(folder: Path) -> None:
    """A new file's name has to reach the disk too."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)

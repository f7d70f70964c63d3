"""Files written whole or not at all, one by one and as sets."""

from __future__ import annotations

import contextlib
import errno
import os
import tempfile
import time
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

from handlap.sim.common.errors import HandlapError, InputError

REMEDIES = {
    errno.EACCES: "no permission to write there; choose another place",
    errno.EPERM: "no permission to write there; choose another place",
    errno.EROFS: "that file system is read-only; choose another place",
    errno.ENOENT: "the folder it should go into does not exist; make it first",
    errno.ENOTDIR: "something on the way to it is no folder",
    errno.EISDIR: "that is a folder; name a file",
    errno.ENOSPC: "the disk is full; nothing was left behind",
    errno.EDQUOT: "your quota is used up; nothing was left behind",
    errno.EFBIG: "files may not be that large here; nothing was left behind",
    errno.ENAMETOOLONG: "the name is too long",
}
A_FILE = "that is a file; name a folder"
FULL = (errno.ENOSPC, errno.EDQUOT, errno.EIO, errno.EFBIG)
ABANDONED = 3600.0
"""A temporary file untouched for so long belongs to a run that was killed [s]."""


def _refused(path: Path, fault: OSError) -> HandlapError:
    why = REMEDIES.get(fault.errno or 0, fault.strerror or str(fault))
    kind = HandlapError if fault.errno in FULL else InputError
    return kind(f"cannot write {path}: {why}")


def _no_folder(path: Path, why: str) -> InputError:
    return InputError(f"cannot write into {path}: {why}")


def make_folder(path: Path) -> Path:
    """The folder, made if it is not there.

    Raises
    ------
    InputError : if it cannot be made, or is a file
    """
    try:
        path.mkdir(parents=True, exist_ok=True)
    except FileExistsError:
        raise _no_folder(path, A_FILE) from None
    except OSError as fault:
        raise _refused(path, fault) from None
    if not os.access(path, os.W_OK | os.X_OK):
        raise _no_folder(path, REMEDIES[errno.EACCES])
    return path


def write_whole(path: Path, content: str | bytes) -> None:
    """Write a file so that it is never seen half-written; one already there is replaced.

    Raises
    ------
    InputError : if it cannot be written there
    HandlapError : if the disk is full
    """
    write_set({path: content})


def write_set(files: Mapping[Path, str | bytes], stale: Iterable[Path] = ()) -> None:
    """Write files that belong together, each whole; what they replace goes only once all are on the disk.

    Two that write the same set at once do so one after the other, so that in the end all files
    are those of one of them.

    Parameters
    ----------
    files : content by place; the first one's folder is locked while they take their places
    stale : places of files of an older set, which are removed if they are there

    Raises
    ------
    InputError : if one cannot be written there
    HandlapError : if the disk is full
    """
    ready: list[tuple[str, Path]] = []
    try:
        for path, content in files.items():
            data = content.encode("utf-8") if isinstance(content, str) else content
            if path.is_dir():
                raise InputError(f"cannot write {path}: that is a folder; name a file")
            if path.exists() and not path.is_file():
                # A pipe or a device cannot be replaced, only written to.
                try:
                    path.write_bytes(data)
                except OSError as fault:
                    raise _refused(path, fault) from None
                continue
            ready.append((_set_down(path, data), path))
        if not ready:
            return
        with _locked(ready[0][1].parent):
            for temporary, path in ready:
                try:
                    os.replace(temporary, path)
                except OSError as fault:
                    raise _refused(path, fault) from None
            for place in stale:
                with contextlib.suppress(OSError):
                    place.unlink()
    finally:
        for temporary, _ in ready:
            with contextlib.suppress(OSError):
                os.unlink(temporary)


def _set_down(path: Path, data: bytes) -> str:
    """Put data on the disk beside the place they are for; returns the name they have until then."""
    temporary, done = "", False
    prefix, suffix = f".{path.name[:40]}.", ".part"
    _sweep(path.parent, prefix, suffix)
    try:
        handle, temporary = tempfile.mkstemp(prefix=prefix, suffix=suffix, dir=path.parent)
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        os.chmod(temporary, _mode(path))
        done = True
    except OSError as fault:
        raise _refused(path, fault) from None
    finally:
        if temporary and not done:
            with contextlib.suppress(OSError):
                os.unlink(temporary)
    return temporary


@contextlib.contextmanager
def _locked(folder: Path) -> Iterator[None]:
    """Keep others of us out of a folder; where there are no such locks, nobody is kept out."""
    handle = None
    with contextlib.suppress(ImportError, OSError):
        import fcntl

        handle = os.open(folder, os.O_RDONLY)
        fcntl.flock(handle, fcntl.LOCK_EX)
    try:
        yield
    finally:
        if handle is not None:
            os.close(handle)


def _sweep(folder: Path, prefix: str, suffix: str) -> None:
    """Take away what runs left that were killed while they wrote the same file."""
    with contextlib.suppress(OSError):
        for entry in os.scandir(folder):
            if entry.name.startswith(prefix) and entry.name.endswith(suffix):
                with contextlib.suppress(OSError):
                    if time.time() - entry.stat(follow_symlinks=False).st_mtime > ABANDONED:
                        os.unlink(entry.path)


def _mode(path: Path) -> int:
    """Permissions of the file replaced, or those a new file would get."""
    try:
        return path.stat().st_mode & 0o777
    except OSError:
        mask = os.umask(0)
        os.umask(mask)
        return 0o666 & ~mask


def place_to_write(path: Path) -> None:
    """Complain now if a file cannot be written there later.

    Raises
    ------
    InputError : with the remedy
    """
    if path.is_dir():
        raise InputError(f"cannot write {path}: that is a folder; name a file")
    folder = path.parent
    if not folder.is_dir():
        fault = errno.ENOTDIR if folder.exists() else errno.ENOENT
        raise _refused(path, OSError(fault, os.strerror(fault)))
    if not path.exists() and not os.access(folder, os.W_OK | os.X_OK):
        raise _refused(path, OSError(errno.EACCES, os.strerror(errno.EACCES)))


def folder_to_make(path: Path) -> None:
    """Complain now if a folder cannot be made, or be written into, later.

    Raises
    ------
    InputError : with the remedy
    """
    there = next((p for p in (path, *path.parents) if os.path.lexists(p)), Path())
    if not there.is_dir():
        if there == path:
            raise _no_folder(path, A_FILE)
        raise _refused(path, OSError(errno.ENOTDIR, os.strerror(errno.ENOTDIR)))
    if not os.access(there, os.W_OK | os.X_OK):
        raise _no_folder(path, REMEDIES[errno.EACCES])


def with_ending(file: Path, ending: str) -> Path:
    """A file to write, with the ending that its kind has where none was given.

    >>> with_ending(Path("page"), ".html").name, with_ending(Path("page.htm"), ".html").name
    ('page.html', 'page.htm')
    """
    return file.with_suffix(ending) if file.name and not file.suffix and not file.is_dir() else file


def free_copy(file: Path) -> Path:
    """A name beside a file for a copy of it, which is not taken."""
    for n in range(1, 1000):
        place = file.with_name(f"{file.name}.bak{n if n > 1 else ''}")
        if not place.exists():
            return place
    raise InputError(f"too many copies {file.name}.bak…: remove some")

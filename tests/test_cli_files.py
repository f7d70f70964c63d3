"""Files are written whole or not at all."""

from __future__ import annotations

import errno
import os
import subprocess
import sys

import pytest

from handlap.cli.files import make_folder, place_to_write, write_set, write_whole
from handlap.sim.common.errors import HandlapError, InputError


def test_text_and_bytes_are_written_and_replaced(tmp_path):
    file = tmp_path / "a.txt"
    write_whole(file, "µm")
    assert file.read_bytes() == "µm".encode()
    write_whole(file, b"\x00\x01")
    assert file.read_bytes() == b"\x00\x01"
    assert list(tmp_path.iterdir()) == [file]


def test_a_file_keeps_its_permissions_and_a_new_one_gets_the_usual(tmp_path):
    old = tmp_path / "old"
    old.write_text("")
    old.chmod(0o640)
    write_whole(old, "x")
    assert old.stat().st_mode & 0o777 == 0o640
    mask = os.umask(0o022)
    try:
        write_whole(tmp_path / "new", "x")
    finally:
        os.umask(mask)
    assert (tmp_path / "new").stat().st_mode & 0o777 == 0o644


@pytest.mark.parametrize(
    ("fault", "kind", "words"),
    [(errno.ENOSPC, HandlapError, "disk is full"), (errno.EACCES, InputError, "no permission")],
)
@pytest.mark.parametrize("step", ["fsync", "replace"])
def test_a_failure_leaves_the_old_file_and_no_scraps(tmp_path, monkeypatch, fault, kind, words, step):
    file = tmp_path / "plan.json"
    file.write_text("old")

    def refuse(*_: object) -> None:
        raise OSError(fault, os.strerror(fault))

    monkeypatch.setattr(os, step, refuse)
    with pytest.raises(kind, match=words) as caught:
        write_whole(file, "new")
    assert caught.value.exit_code == (1 if fault == errno.ENOSPC else 2)
    assert file.read_text() == "old"
    assert list(tmp_path.iterdir()) == [file]


@pytest.mark.parametrize("step", ["fsync", "replace"])
def test_a_set_that_cannot_be_written_leaves_all_of_the_old_one(tmp_path, monkeypatch, step):
    """Here the disk is full at the second file; what is not written is not missed either."""
    old = {tmp_path / name: "old" for name in ("a.html", "a-map.png", "a-turns.png")}
    write_set(old)
    real, calls = getattr(os, step), []

    def refuse(*args: object) -> None:
        calls.append(args)
        if len(calls) == 2 or step == "replace":
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        real(*args)

    monkeypatch.setattr(os, step, refuse)
    with pytest.raises(HandlapError, match="disk is full"):
        write_set({tmp_path / "a-map.png": "new", tmp_path / "a.html": "new"}, [tmp_path / "a-turns.png"])
    assert {p: p.read_text() for p in tmp_path.iterdir()} == old


def test_a_set_takes_away_what_is_stale_and_nothing_else(tmp_path):
    write_set({tmp_path / name: "old" for name in ("a.html", "a-map.png", "a-notes.png", "b-map.png")})
    write_set({tmp_path / "a.html": "new"}, [tmp_path / "a-map.png", tmp_path / "a-turns.png"])
    found = {p.name: p.read_text() for p in tmp_path.iterdir()}
    assert found == {"a.html": "new", "a-notes.png": "old", "b-map.png": "old"}


def test_two_that_write_one_set_at_once_end_as_one_whole_set(tmp_path):
    """Two processes whose files take their places slowly, and from either end, so that they would meet."""
    code = (
        "import os, pathlib, sys, time\nfrom handlap.cli.files import write_set\n"
        "real = os.replace\nos.replace = lambda *a: (time.sleep(0.002), real(*a))\n"
        "who, other = sys.argv[1:]\n"
        "way = 1 if who == 'a' else -1\n"
        "pathlib.Path('ready ' + who).touch()\n"
        "while not pathlib.Path('ready ' + other).exists(): time.sleep(0.001)\n"
        "for turn in range(4):\n"
        "    files = {pathlib.Path(f'{n}.txt'): f'{who} {turn}' for n in range(30)[::way]}\n"
        "    files[pathlib.Path(who + '.more')] = f'{who} {turn}'\n"
        "    write_set(files, [pathlib.Path(other + '.more')])\n"
    )
    started = [subprocess.Popen([sys.executable, "-c", code, *whose], cwd=tmp_path) for whose in ("ab", "ba")]
    assert [p.wait(60) for p in started] == [0, 0]
    found = {p.name: p.read_text() for p in tmp_path.iterdir() if not p.name.startswith("ready")}
    assert len(found) == 31
    assert len(set(found.values())) == 1, "all of one hand"


def test_places_are_judged_before_anything_is_written(tmp_path):
    place_to_write(tmp_path / "fine.json")
    assert list(tmp_path.iterdir()) == []
    with pytest.raises(InputError, match="that is a folder"):
        place_to_write(tmp_path)
    with pytest.raises(InputError, match="does not exist"):
        place_to_write(tmp_path / "none" / "a.json")
    file = tmp_path / "file"
    file.write_text("")
    with pytest.raises(InputError, match="is no folder"):
        place_to_write(file / "a.json")
    with pytest.raises(InputError, match="is a file"):
        make_folder(file)


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may write anywhere")
def test_a_locked_folder_is_refused(tmp_path):
    locked = tmp_path / "locked"
    locked.mkdir(mode=0o500)
    with pytest.raises(InputError, match="no permission"):
        make_folder(locked)
    with pytest.raises(InputError, match="no permission"):
        place_to_write(locked / "a.json")

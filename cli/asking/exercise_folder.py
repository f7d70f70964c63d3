"""The folder of an exercise: its files, what may be read of them, and making it all or not at all."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from handlap.sim.common.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from handlap.sim.teaching.exercise import ExerciseTask

SCENARIO, SHEET, FORM, SEAL = "scenario.toml", "sheet.pdf", "answers.toml", "truth.seal"
DRAFT = "answers-draft.json"
"""Where answers are kept while they are asked for."""
FEEL = "feel.html"
"""The page on which a learner feels the face, in exercises made so."""
CLASS_LIST = "class-list.csv"
STINT = "stint.seal"
"""The orders of a stint at the bench."""


# ---- making


def refuse_to_write_over(folders: Sequence[Path], out: Path) -> None:
    """Refuse to write over an exercise that is there already, or where nothing can be written."""
    from handlap.cli.files import folder_to_make

    there = [
        folder / name
        for folder in folders
        for name in (SCENARIO, SHEET, FEEL, FORM, SEAL, CLASS_LIST)
        if (folder / name).exists()
    ]
    if there:
        shown = ", ".join(str(path) for path in there[:6]) + (" …" if len(there) > 6 else "")
        raise InputError(f"there already, and not written over: {shown}; choose another folder than {out}")
    for folder in folders:
        folder_to_make(folder)


def write_all(files: Sequence[tuple[Path, str | bytes]]) -> None:
    """Write all files or none: on a fault what was written is taken away again."""
    from handlap.cli.files import make_folder, write_whole

    written: list[Path] = []
    folders: list[Path] = []
    try:
        for path, content in files:
            missing = [p for p in (path.parent, *path.parent.parents) if not p.exists()]
            make_folder(path.parent)
            folders += missing
            write_whole(path, content)
            written.append(path)
    except BaseException:
        for path in written:
            path.unlink(missing_ok=True)
        for folder in sorted(set(folders), key=lambda p: -len(p.parts)):
            if folder.is_dir() and not any(folder.iterdir()):
                folder.rmdir()
        raise


# ---- reading


def task_in(folder: Path, *, unread: bool = False) -> ExerciseTask:
    """What is shown of the exercise in a folder; the seal stays shut.

    Parameters
    ----------
    unread : whether a face that the learner is to feel need not have been felt yet

    Raises
    ------
    InputError : if something is missing; of readings, all that is
    """
    from handlap.sim.job.scenario_file import load
    from handlap.sim.teaching.exercise import is_felt, task_of
    from handlap.sim.teaching.exercise_readings import still_to_read
    from handlap.sim.teaching.exercise_seal import sealed_exercise

    name = sealed_exercise(sealed_in(folder), str(folder / SEAL))
    if not (folder / SCENARIO).is_file():
        raise InputError(f"{folder / SCENARIO} is missing: it holds the readings of the exercise")
    task = task_of(name, load(folder / SCENARIO, require_readings=not is_felt(name)))
    left = still_to_read(task) if is_felt(name) and not unread else []
    if left:
        raise InputError(
            f"{folder / SCENARIO}: the face is still to be felt; {'; '.join(left)}. Lay and push on {FEEL}, "
            f"then handlap exercise {folder} --readings FILE"
        )
    return task


def sealed_in(folder: Path) -> bytes:
    """The seal of an exercise as it lies in its folder, unopened; InputError where there is none."""
    within = [] if (folder / SEAL).exists() else exercises_of_class(folder)
    if within:
        raise InputError(
            f"{folder} holds the exercises of a class: name one of its folders, such as {within[0]}"
        )
    return _bytes(
        folder / SEAL,
        f"{folder} holds no exercise (there is no {SEAL}); make one with handlap exercise --out {folder}",
    )


def _bytes(path: Path, missing: str) -> bytes:
    from handlap.sim.teaching.exercise_seal import LARGEST

    try:
        if not path.is_file():
            raise InputError(missing)
        if path.stat().st_size > LARGEST:
            raise InputError(f"{path}: larger than {LARGEST} bytes, so it is not what was made here")
        return path.read_bytes()
    except OSError as fault:
        raise InputError(f"cannot read {path}: {fault.strerror or fault}") from None


def form_in(folder: Path) -> dict[str, Any]:
    """The form of an exercise as it is filled in; InputError where it is missing or cannot be read."""
    from handlap.sim.teaching.exercise_answers import read_form

    path = folder / FORM
    return read_form(
        _bytes(path, f"{path} is missing: enter answers with handlap exercise {folder}"), str(path)
    )


def stint_orders(folder: Path, name: str) -> tuple[list[str], bool]:
    """The orders of a stint so far, and whether it has been ended; none where none was begun.

    Parameters
    ----------
    name : of the exercise, which the stint has to belong to

    Raises
    ------
    InputError : if the file has been changed, or is of another exercise
    """
    from handlap.sim.teaching.exercise_seal import open_seal

    path = folder / STINT
    if not path.exists():
        return [], False
    of, content = open_seal(_bytes(path, f"{path} is missing"), str(path))
    orders, ended = content.get("orders"), content.get("ended")
    if of != name or not isinstance(ended, bool) or not isinstance(orders, list):
        raise InputError(f"{path} is no stint of this exercise ({name}); move it away to begin anew")
    return [str(order) for order in orders], ended


def stint_ended(folder: Path) -> bool:
    """Whether a stint on the face of a folder has been ended, which shows the face."""
    from handlap.sim.teaching.exercise_seal import sealed_exercise

    try:
        return stint_orders(folder, sealed_exercise(sealed_in(folder), str(folder / SEAL)))[1]
    except InputError:
        return False


def exercises_of_class(folder: Path) -> list[Path]:
    """The exercises in the folders of a class."""
    if not folder.is_dir():
        return []
    return sorted(path.parent for path in folder.glob(f"*/{SEAL}"))

"""Every way a scenario file can be wrong: one message for each fault, all faults at once."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import pytest
from bad_scenarios import BAD, FOLLOWED, LINE, SHORT, station

from handlap.sim.common.errors import ScenarioError, spoken_key
from handlap.sim.job import scenario_file
from handlap.sim.job.scenario_keys import KEYS


def faults_of(text: str, folder: Path | None = None) -> tuple[dict[str, str], str]:
    """Allowed words by key of the faults of a text, and the whole message."""
    with pytest.raises(ScenarioError) as error:
        scenario_file.load_text(text, "bad.toml", folder=folder)
    assert error.value.faults
    assert error.value.exit_code == 2
    return {f.key: f.allowed for f in error.value.faults}, str(error.value)


@pytest.mark.parametrize("row", KEYS, ids=lambda row: row.name)
def test_a_neighbour_of_every_key_is_refused_and_the_key_named(row: Any) -> None:
    """What is accepted is documented: a misspelt key is refused and the right one proposed."""
    *outer, last = row.name.split(".")
    wrong = last + "x"
    text = f"{wrong} = 1\n"
    for name in reversed(outer):
        text = f"[[{'.'.join(o.removesuffix('[]') for o in outer)}]]\n{text}" if "[]" in name else text
    if outer and "[]" not in row.name:
        text = f"[{'.'.join(outer)}]\n{text}"
    keys, message = faults_of(text)
    label = ".".join(o.replace("[]", "[1]") for o in [*outer, wrong])
    assert label in keys, message
    assert f'the nearest is "{label[:-1]}"' in keys[label]


@pytest.mark.parametrize("name", BAD)
def test_bad_files(name: str) -> None:
    change, key, says = BAD[name]
    text = SHORT + change[1] if change[0] == LINE else SHORT.replace(*change, 1)
    assert text != SHORT
    keys, message = faults_of(text)
    assert key in keys, message
    assert says in message
    assert all(line.startswith("bad.toml: ") for line in message.splitlines())
    if key:
        assert f"bad.toml: {spoken_key(key)}" in message
    if name not in FOLLOWED:
        assert len(keys) == 1, message


def test_all_faults_of_a_file_at_once() -> None:
    text = SHORT.replace('"A356"', '"unobtainium"').replace(
        "limit = 50", "limit = -1\nopenings = [{circle = [99, 0, 9]}]"
    )
    text = text.replace(*station('[100, 60, 50], [300, "none", 30]'))
    text += '[hands]\npres = 3\nheight = nan\n[paper]\ngrits = ["P7"]\n'
    keys, message = faults_of(text)
    assert set(keys) == {
        "part.metal",
        "part.limit",
        "part.openings[1]",
        "readings.line[1].stations[2]",
        "readings.line[1].stations (at)",
        "hands.pres",
        "hands.height",
        "paper.grits[1]",
    }
    assert len(message.splitlines()) == len(keys)
    assert "part.limit = -1; allowed: 0.1 to 5000 µm" in message


def test_ranges_are_said_in_the_units_of_the_file() -> None:
    _, message = faults_of('units = "inch"\n' + SHORT.replace("limit = 50", "limit = 2000"))
    assert "part.limit = 2000; allowed: 0.003937 to 196.9 thou" in message


# ---- files that cannot be read, and names


def test_unreadable_files(tmp_path: Path) -> None:
    def message(path: Path | str) -> str:
        with pytest.raises(ScenarioError) as error:
            scenario_file.load(path)
        return str(error.value)

    assert "a folder" in message(tmp_path)
    (tmp_path / "latin.toml").write_bytes('title = "Köln"'.encode("latin-1"))
    assert "UTF-8" in message(tmp_path / "latin.toml")
    (tmp_path / "large.toml").write_text("# " + "x" * scenario_file.LARGEST_FILE)
    assert "at most 1000000 bytes" in message(tmp_path / "large.toml")
    (tmp_path / "deep.toml").write_text("a = " + "[" * 20000)
    assert "deep.toml" in message(tmp_path / "deep.toml")
    assert "no such file" in message(tmp_path / "absent.toml")
    assert "no such file" in message("a\0b")
    assert "no such file" in message("")
    if os.name == "posix":
        os.mkfifo(tmp_path / "pipe.toml")
        assert "ordinary file" in message(tmp_path / "pipe.toml")


@pytest.mark.parametrize("name", ["../h.csv", "/etc/hosts", "data/../../h.csv", "link.csv"])
def test_heights_stay_in_the_folder_of_the_scenario(tmp_path: Path, name: str) -> None:
    (tmp_path / "h.csv").write_text("u_mm,v_mm,height_um\n0,0,0\n")
    job = tmp_path / "job"
    (job / "data").mkdir(parents=True)
    (job / "link.csv").symlink_to(tmp_path / "h.csv")
    text = SHORT[: SHORT.index("[[readings")] + f'[readings]\nheights = "{name}"\n'
    keys, message = faults_of(text, folder=job)
    assert keys.keys() == {"readings.heights"}
    assert "in the folder of the scenario" in message


def test_faults_of_a_table_come_with_those_of_the_scenario(tmp_path: Path) -> None:
    (tmp_path / "h.csv").write_text("u_mm,v_mm,height_um\n0,0,0\n1,x,0\n1,1\n")
    text = SHORT[: SHORT.index("[[readings")].replace("limit = 50", "limit = 0")
    keys, message = faults_of(text + '[readings]\nheights = "h.csv"\n', folder=tmp_path)
    assert {"part.limit", "readings.heights", "line 3", "line 4"} == keys.keys()
    assert 'h.csv: line 3: "x"' in message
    # A table in another unit than it says lies far off the face.
    rows = "".join(f"{u},{v},0\n" for u in (-100, 100) for v in (-50, 50))
    (tmp_path / "h.csv").write_text("u_cm,v_cm,height_um\n" + rows)
    _, message = faults_of(
        text.replace("limit = 0", "limit = 50") + '[readings]\nheights = "h.csv"\n', tmp_path
    )
    assert "4 lie outside" in message and "check unit" in message


def test_an_unknown_name_lists_what_there_is() -> None:
    with pytest.raises(ScenarioError) as error:
        scenario_file.load("plane-soul")
    assert 'did you mean "plane-sole"?' in str(error.value)
    for name, _ in scenario_file.builtin_names():
        assert name in str(error.value)

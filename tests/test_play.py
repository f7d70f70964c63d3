"""``handlap play``: frames are those of ``simulate``; the page is whole, harmless and off the network."""

from __future__ import annotations

import base64
import hashlib
import io
import json
import re
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from html_read import Reader
from jobs import UM, hollow, job
from PIL import Image

from handlap.cli.commands.play_command import play_json
from handlap.cli.drawing.play_gif import play_gif
from handlap.cli.drawing.play_views import map_of, views_of
from handlap.cli.main import main
from handlap.cli.reports.as_json import dumps
from handlap.cli.reports.lap_report import lap_json
from handlap.cli.reports.play_page import play_data, render_play
from handlap.cli.reports.wording import paper_words
from handlap.sim.common.errors import InputError, TippingError
from handlap.sim.job.scenario_file import load
from handlap.sim.job.ways import parse_way
from handlap.sim.lapping import dye
from handlap.sim.lapping.simulate import ready_lap, simulate
from handlap.sim.materials import grits
from handlap.sim.teaching.frames import Followed, follow, frame_strokes, pressure_at
from handlap.sim.teaching.strokes_to_follow import strokes_to_limit

HEAD = "two-cylinder-head"
WORK: dict[str, Any] = dict(reach=0.02, wobble=(0.004, 0.004), bias=(0.004, 0.002), weight=40.0, cell=0.012)
HOSTILE = '</script><script>document.title="taken"</script><img src=x onerror=alert(1)>&"\''


def small_job(**changes: Any):
    asked: dict[str, Any] = {**WORK, "ages": True, "turn_every": None, "check_every": 60, **changes}
    return job(face=hollow(80 * UM, 0.12), **asked)


@cache
def small(*ways: str, frames: int = 20) -> Followed:
    return follow(small_job(), [parse_way(way) for way in ways], strokes=290, frames=frames, seed=3)


@pytest.mark.parametrize("frames", [4, 61])
def test_the_lap_followed_is_that_of_simulate_to_the_last_bit(frames):
    """However many frames are kept: figures, maps, dye, account, errors and notes."""
    lap, told = small(frames=frames).ways[0].lap, simulate(small_job(), strokes=290, seed=3)
    assert dumps(lap_json(lap)) == dumps(lap_json(told))
    assert np.array_equal(lap.map_after, told.map_after)
    assert np.array_equal(lap.looks.dye_gone_map, told.looks.dye_gone_map)
    assert np.array_equal(lap.looks.dye_faded_map, told.looks.dye_faded_map)
    for name in told.looks.figures.__dataclass_fields__:
        assert np.array_equal(getattr(lap.looks.figures, name), getattr(told.looks.figures, name)), name


def test_frames_at_the_looks_have_the_figures_of_simulate():
    followed, told = small(), simulate(small_job(), strokes=290, seed=3)
    frames = followed.ways[0].frames
    at = np.isin(frames.strokes, told.looks.strokes)
    assert frames.strokes[at].tolist() == told.looks.strokes.tolist() == [60, 120, 180, 240, 290]
    for name in told.looks.figures.__dataclass_fields__:
        assert np.array_equal(getattr(frames.figures, name)[at], getattr(told.looks.figures, name)), name
    assert np.array_equal(frames.mass[at], told.looks.mass)
    assert np.array_equal(frames.dye_share[at], told.looks.dye_left)
    assert np.array_equal(frames.dye_faded[at], told.looks.dye_faded)
    assert np.array_equal(frames.heights[-1], told.map_after)
    assert frames.figures.flatness[0] == told.before.flatness
    assert frames.figures.straightedge[0] == told.before.straightedge


def test_a_built_in_job_prints_the_same_digits(tmp_path):
    """The command against the command: same strokes, paper and seed."""
    args = [HEAD, "--strokes", "160", "--paper", "P120", "--seed", "5"]
    file = tmp_path / "play.json"
    played = CliRunner().invoke(main, ["play", *args, "--frames", "5", "--json-file", str(file)])
    assert played.exit_code == 0, played.output
    found = json.loads(file.read_text(encoding="utf-8"))
    told = json.loads(CliRunner().invoke(main, ["simulate", *args, "--json"]).stdout)
    assert found["schema"] == "handlap.play/1"
    for check in told["checks"]:
        i = found["strokes"].index(check["strokes"])
        (way,) = found["ways"]
        for name in ("flatness_um", "straightedge_um", "mean_depth_um", "greatest_depth_um", "mass_g"):
            assert way[name][i] == check[name]["p50"], name
        for name in ("dye_left", "dye_faded", "dye_gone"):
            assert way[name][i] == check[name]["p50"]
    assert found["ways"][0]["flatness_um"][0] == told["before"]["flatness_um"]["p50"]
    assert found["ways"][0]["errors"] == told["errors"]


def test_metal_goes_and_never_comes_back_and_the_account_closes():
    frames, lap = small().ways[0].frames, small().ways[0].lap
    removed = frames.heights[0] - frames.heights
    assert np.all(np.diff(removed, axis=0) >= 0.0)
    volume = removed @ lap.grid.area
    assert volume[-1] == pytest.approx(lap.removed.volume, rel=1e-12)
    assert volume[-1] == pytest.approx(lap.deposited, rel=1e-12)
    density = lap.scenario.part.metal.density
    np.testing.assert_allclose(frames.mass, density * volume, rtol=1e-12, atol=1e-15)


def test_a_frame_between_groups_of_rows_is_a_face_of_the_lap():
    """Against the lap of ``simulate`` that ends there: the same within the step error of both."""
    frames, lap = small().ways[0].frames, small().ways[0].lap
    i = int(np.flatnonzero(~np.isin(frames.strokes, lap.looks.strokes))[5])
    told = simulate(small_job(), strokes=int(frames.strokes[i]), seed=3)
    assert np.abs(frames.heights[i] - told.map_after).max() < 0.5 * UM


def test_depth_goes_with_the_strokes():
    """Closed form h = k·W·s/A (Preston 1927) at every frame, at looks and between: 20 nm a stroke."""
    followed = follow(load("formula-check"), frames=40)
    frames, lap = followed.ways[0].frames, followed.ways[0].lap
    assert np.count_nonzero(~np.isin(frames.strokes, lap.looks.strokes)) > 30
    np.testing.assert_allclose(frames.figures.mean_depth, 0.02 * UM * frames.strokes, rtol=1e-9)


def test_dye_goes_until_it_is_put_on_again_at_a_look():
    followed = follow(small_job(rate=0.2e-9), strokes=600, frames=40)
    frames, lap = followed.ways[0].frames, followed.ways[0].lap
    again = np.flatnonzero(frames.dyed_again)
    assert again.size >= 2
    assert set(frames.strokes[again]) <= set(lap.looks.strokes)
    for a, b in zip([0, *(again + 1)], [*again, frames.strokes.size - 1], strict=True):
        assert np.all(np.diff(frames.dye[a : b + 1], axis=0) <= 0)
        assert np.all(np.diff(frames.dye_faded[a : b + 1]) >= 0)
    assert set(np.unique(frames.dye)) == {0.0, 0.5, 1.0}
    assert np.all(frames.dye_share[again] < dye.RENEW_BELOW)


@pytest.mark.parametrize("ages", [True, False])
def test_the_pressure_of_a_moment_carries_the_load(ages):
    """Balance of forces: Σ pressure × area is press and weight, at every frame."""
    followed = follow(small_job(ages=ages), strokes=120, frames=8)
    frames, grid = followed.ways[0].frames, followed.ways[0].lap.grid
    np.testing.assert_allclose(frames.pressure @ grid.area[: grid.n_cells], 140.0, rtol=1e-3)


def test_pressure_on_a_flat_face_is_load_over_area_and_leans_as_a_closed_form_says():
    """A rigid flat pressed off its middle by e, small: p = (W/A)·(1 + 12·e·u/L²), a plane through it."""
    at = 0.24 / 600.0
    flat = job(face=lambda u, v: 0.0 * u, load=100.0, load_at=(at, 0.0), bedding=100e-6, cell=0.008)
    ready = ready_lap(flat, strokes=10)
    pressure, _ = pressure_at(ready, ready.before, 0)
    u = ready.rig.grid.u[: pressure.size]
    want = 100.0 / (0.24 * 0.14) * (1.0 + 12.0 * at * u / 0.24**2)
    np.testing.assert_allclose(pressure, want, rtol=1e-3)


def test_pressure_follows_the_law():
    """Two spots at one pose: ln(p/p') is their difference of height over the bedding length (the law)."""
    held = job(face=hollow(60 * UM, 0.12), load=100.0, load_at=(0.0, 0.0), tilt_held=True, cell=0.008)
    ready = ready_lap(held, strokes=10)
    pressure, _ = pressure_at(ready, ready.before, 0)
    heights = ready.before[: pressure.size]
    np.testing.assert_allclose(np.log(pressure / pressure[0]), (heights - heights[0]) / 24e-6, atol=1e-3)


def test_blunt_paper_presses_the_harder_on_what_stands_proud():
    """As above on half blunt paper that keeps half of its bedding when blunt: λ = 24 µm·(0.5 + 0.5·0.5)."""
    held = job(
        face=hollow(60 * UM, 0.12), load=100.0, load_at=(0.0, 0.0), tilt_held=True, cell=0.008,
        blunt_bedding=0.5,
    )  # fmt: skip
    ready = ready_lap(held, strokes=10)
    pressure, _ = pressure_at(ready, ready.before, 0, sharp=0.5)
    heights = ready.before[: pressure.size]
    np.testing.assert_allclose(np.log(pressure / pressure[0]), (heights - heights[0]) / 18e-6, atol=1e-3)


@pytest.mark.parametrize(("clean", "grown"), [(1.0, 1.0), (0.25, 1.3)])
def test_clogged_paper_moves_the_resultant_further(clean, grown):
    """Pushed one way on a flat face: it lies µ·(height of the hands) off the middle.

    Closed form: µ grown by 0.4·(1 − clean); moment over load is where the resultant lies.
    """
    hands = dict(pattern="one way", reach=0.0004, friction_gain=0.4, bedding=100e-6, cell=0.008)
    flat = job(face=lambda u, v: 0.0 * u, **hands)  # type: ignore[arg-type]
    ready = ready_lap(flat, strokes=10)
    pressure, _ = pressure_at(ready, ready.before, 0, clean=clean)
    grid = ready.rig.grid
    cells = slice(0, grid.n_cells)
    lies = np.sum(pressure * grid.area[cells] * grid.u[cells]) / np.sum(pressure * grid.area[cells])
    assert abs(lies) == pytest.approx(0.0004 * grown, rel=1e-3)


def test_a_way_of_other_papers_is_on_the_first_of_them_and_nothing_is_said_of_it():
    grits_of = small_job(papers=(grits.find("P80"), grits.find("P240")))
    followed = follow(grits_of, [parse_way("papers=P240,P400")], strokes=20, frames=4)
    laps = [way.lap for way in followed.ways]
    assert [lap.paper for lap in laps] == ["P80", "P240"]
    assert laps[0].paper_why.startswith("the first paper listed")
    assert laps[1].paper_why == ""
    (told,) = paper_words(laps)
    assert told in Reader(render_play(followed)).text
    assert told.startswith("On P80, the first paper listed")


def test_the_arrow_turns_with_the_part():
    frames = follow(small_job(states=((0.0, 0.0), (np.pi, 0.0)), turn_every=60), strokes=240, frames=9).ways[
        0
    ]
    away = np.round(np.degrees(frames.frames.away)) % 360
    assert away.tolist() == [0, 0, 0, 180, 180, 0, 0, 180, 180]


def test_two_ways_go_in_step_from_the_same_face():
    followed = small("turning=half every=20", "height=60 name=high hands")
    a, b = followed.ways
    assert [way.name for way in followed.ways] == ["half turn every 20", "high hands"]
    assert a.frames.strokes.tolist() == b.frames.strokes.tolist()
    assert np.array_equal(a.frames.heights[0], b.frames.heights[0])
    assert not np.array_equal(a.frames.heights[-1], b.frames.heights[-1])


def test_one_way_stands_beside_the_job_as_it_stands():
    followed = small("press=150")
    assert [way.name for way in followed.ways] == ["as it stands", "press 150 N"]
    assert dumps(lap_json(followed.ways[0].lap)) == dumps(lap_json(small().ways[0].lap))


def test_a_way_that_cannot_be_worked_is_named():
    with pytest.raises(TippingError, match='the way "very high hands": the part tips over'):
        small("height=200 name=very high hands")


def test_frames_are_spread_between_looks_and_never_leave_out_the_ends():
    stage = ready_lap(small_job(), strokes=290).stage
    for count in (4, 6, 20, 100):
        strokes = frame_strokes(stage, count)
        assert strokes[0] == 0
        assert strokes[-1] == 290
        assert np.all(np.diff(strokes) > 0)
        assert set(stage.snapshots) <= set(strokes) or count < 6
        assert 0.6 * count <= strokes.size <= 1.5 * count


def test_strokes_are_chosen_so_that_the_limit_is_met_and_passed():
    scenario = small_job()
    count, words = strokes_to_limit(scenario)
    found = simulate(scenario, strokes=count)
    met = found.looks.figures.flatness <= scenario.part.limit
    assert met[-1]
    assert not met[0]
    assert re.match(r"some \d+ take the typical face to its limit", words)
    assert follow(scenario, frames=4).chosen == words


def test_a_limit_out_of_reach_is_told():
    scenario = small_job(check_every=None, rate=0.0005e-9)
    count, words = strokes_to_limit(scenario)
    assert 5900 < count <= 6000
    assert "still is not at its limit" in words


# The page.


@cache
def page(*ways: str) -> str:
    return render_play(small(*ways))


def data_of(text: str) -> dict[str, Any]:
    return json.loads(Reader(text).code["script"][0])


@pytest.mark.parametrize("ways", [(), ("turning=half every=20",)])
def test_the_page_is_whole_small_and_off_the_network(ways):
    text = page(*ways)
    reader = Reader(text)
    assert reader.open == []
    assert len(text.encode()) < 5_000_000
    assert "http:" not in text
    assert "https:" not in text
    assert "url(" not in text
    assert "import" not in reader.code["style"][0]
    fetches_nothing(reader)


def test_its_policy_allows_this_style_and_this_script_only():
    allows_its_own_only(Reader(page()))


def fetches_nothing(reader: Reader) -> None:
    """Neither its script nor its tags ask for anything outside the page."""
    for word in ("fetch", "XMLHttpRequest", "WebSocket", "import(", "eval(", "innerHTML"):
        assert word not in reader.code["script"][1]
    for tag, attrs in reader.tags:
        assert tag not in ("link", "iframe", "img", "object", "embed", "base")
        assert not {"src", "href", "style"} & set(attrs)
        assert not [name for name in attrs if name.startswith("on")]


def allows_its_own_only(reader: Reader) -> None:
    """Its policy names the digests of its own script and style, and nothing else may run."""
    (policy,) = [a["content"] for t, a in reader.tags if a.get("http-equiv") == "Content-Security-Policy"]
    rules = dict(rule.strip().split(" ", 1) for rule in (policy or "").split(";"))
    assert rules["default-src"] == "'none'"
    for rule, code in (("script-src", reader.code["script"][1]), ("style-src", reader.code["style"][0])):
        digest = base64.b64encode(hashlib.sha256(code.encode()).digest()).decode()
        assert rules[rule] == f"'sha256-{digest}'"


def test_words_from_a_scenario_cannot_become_tags_or_scripts():
    tame, followed = page("press=150"), small("press=150")
    part = replace(followed.scenario.part, name=HOSTILE)
    scenario = replace(followed.scenario, title=HOSTILE, part=part, warnings=(HOSTILE,))
    ways = (replace(followed.ways[0], name=HOSTILE), followed.ways[1])
    text = render_play(replace(followed, scenario=scenario, ways=ways, chosen=HOSTILE))
    reader = Reader(text)
    assert [tag for tag, _ in reader.tags].count("script") == 2
    assert [tag for tag, _ in reader.tags if tag != "li"] == [
        tag for tag, _ in Reader(tame).tags if tag != "li"
    ]
    assert data_of(text)["ways"][0]["name"] == HOSTILE
    assert HOSTILE in reader.text
    assert reader.open == []


def test_figures_of_the_page_are_those_of_the_frames():
    found = data_of(page())
    told = play_json(small())["ways"][0]
    assert found["strokes"] == play_json(small())["strokes"]
    for i, figures in enumerate(found["ways"][0]["figures"]):
        for text, name in zip(figures, ("flatness_um", "straightedge_um", "mean_depth_um"), strict=False):
            assert float(text) == pytest.approx(told[name][i], abs=0.051)
        for text, name in zip(figures[5:], ("dye_faded", "dye_gone"), strict=True):
            assert float(text) == pytest.approx(100 * told[name][i], abs=0.51)


def test_maps_of_the_page_are_those_of_the_frames():
    """Levels times the scale give back every map within half a step, and dye cell by cell."""
    followed = small()
    views = views_of(followed)
    found, way = play_data(followed, views), followed.ways[0]
    grid, count = way.lap.grid, way.lap.grid.n_cells
    cells = np.frombuffer(base64.b64decode(found["raster"]["cells"]), "<u2")
    order = np.argsort(grid.row * found["raster"]["columns"] + grid.column)
    assert cells.tolist() == (grid.row * found["raster"]["columns"] + grid.column)[order].tolist()
    for view in views:
        data = np.frombuffer(base64.b64decode(found["ways"][0]["maps"][view.key]), np.uint8)
        for i in (0, 7, -1):
            want = map_of(way, view.key, i)[order]
            if view.key == "dye":
                pairs = np.unpackbits(data.reshape(len(found["strokes"]), -1)[i]).reshape(-1, 2)
                got = (pairs @ [2, 1])[:count]
                assert np.array_equal(got, 2.0 * want)
            else:
                got = data.reshape(-1, count)[i] / 255.0
                np.testing.assert_allclose(got, view.scale.share_of(want), atol=0.5 / 255 + 1e-9)


def test_many_frames_of_two_ways_still_make_a_small_page():
    """Cells are put together; what is shown then is their mean."""
    followed = follow(small_job(cell=0.0025), [parse_way("press=150")], strokes=290, frames=200)
    text = render_play(followed)
    assert len(text.encode()) < 5_000_000
    found = data_of(text)
    cells = np.frombuffer(base64.b64decode(found["raster"]["cells"]), "<u2").size
    assert cells < followed.ways[0].lap.grid.n_cells / 3
    data = np.frombuffer(base64.b64decode(found["ways"][0]["maps"]["removed"]), np.uint8)
    scale = views_of(followed)[2].scale
    mean = float(followed.ways[0].frames.figures.mean_depth[-1])
    assert 1e-6 * scale.high * data[-cells:].mean() / 255 == pytest.approx(mean, rel=0.02)


def test_one_scale_holds_all_frames_of_both_ways():
    followed = small("press=150")
    for view in views_of(followed):
        for way in followed.ways:
            for i in range(len(way.frames.strokes)):
                values = map_of(way, view.key, i)
                assert values.min() >= view.scale.low
                assert values.max() <= 1.001 * view.scale.high or view.scale.over


def test_without_scripts_first_and_last_figures_are_there():
    text, told = Reader(page()).text, small().ways[0].lap
    assert "Without scripts" in text
    assert f"{1e6 * told.looks.figures.flatness[-1]:.2f}" in text
    assert f"{1e6 * told.before.flatness:.2f}" in text


def test_same_lap_same_page():
    assert render_play(follow(small_job(), strokes=290, frames=20, seed=3)) == page()


# The moving picture, and the command.


@pytest.mark.parametrize("ways", [(), ("press=150",)])
def test_the_moving_picture_moves_and_is_small(ways):
    followed = small(*ways, frames=8)
    hard = replace(followed, scenario=replace(followed.scenario, title="costs $5, not $6_{x"))
    data = play_gif(hard)
    assert len(data) < 3_000_000
    image = Image.open(io.BytesIO(data))
    assert image.format == "GIF"
    first = np.asarray(image.convert("RGB")).copy()
    last = len(followed.ways[0].frames.strokes) - 1
    image.seek(last)
    with pytest.raises(EOFError):
        image.seek(last + 1)
    assert np.any(first != np.asarray(image.convert("RGB")))


def run(*args: str):
    return CliRunner().invoke(main, ["play", *args])


@pytest.mark.parametrize(
    ("args", "words"),
    [
        ((), "--out PAGE.html"),
        (("--out", "/no/such/folder/p.html"), "does not exist"),
        (("--gif", "/no/such/folder/p.gif"), "does not exist"),
        (("--json", "--way", "turning=sideways"), "turning=sideways"),
        (("--json", "--way", "a=b", "--out", "x"), "is no part of a way"),
        (("--json", "--frames", "3"), "--frames 3"),
        (("--json", "--frames", "1000"), "--frames 1000"),
        (("--json", "--strokes", "0"), "--strokes 0"),
        (("--json", "--paper", "P7", "--strokes", "10"), "P7"),
        (("--json", *3 * ("--way", "press=50")), "once or twice"),
        (("--out", "same", "--json-file", "same.html"), "name the same file"),
    ],
)
def test_wrong_input_is_refused_in_words(args, words):
    result = run(HEAD, *args)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert words in result.stderr


def test_the_command_writes_what_was_asked_for(tmp_path):
    page, gif = tmp_path / "page.html", tmp_path / "page.gif"
    result = run("formula-check", "--frames", "5", "--out", str(page), "--gif", str(gif))
    assert result.exit_code == 0, result.output
    assert sorted(tmp_path.iterdir()) == [gif, page]
    assert gif.read_bytes().startswith(b"GIF89a")
    assert load("formula-check").title in page.read_text(encoding="utf-8")
    # Closed form: 1000 strokes take 20 µm off, everywhere alike (Preston 1927).
    assert "20.00" in result.stdout
    assert "everywhere alike" in page.read_text(encoding="utf-8")


def test_frames_out_of_range_are_refused_before_the_work():
    with pytest.raises(InputError, match="--frames 3"):
        follow(small_job(), frames=3)


def test_dye_that_was_put_on_anew_is_marked_from_then_on():
    from types import SimpleNamespace

    from handlap.cli.drawing.play_views import renewed_words

    frames = SimpleNamespace(
        strokes=np.array([0, 40, 80, 120]), dyed_again=np.array([False, True, False, True])
    )
    told = [renewed_words(frames, i) for i in range(4)]  # type: ignore[arg-type]
    assert told == ["", "", "; put on anew after 40 strokes", "; put on anew after 40 strokes"]

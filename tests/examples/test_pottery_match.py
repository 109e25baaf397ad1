"""Camera B of the demo: its match comes from its own chart, and brings it to camera A."""

import shutil
import sys
from pathlib import Path

import numpy as np
import pytest

pytest.importorskip("colour", reason="the demo needs colour-science")
pytest.importorskip("colour_checker_detection", reason="finding charts needs the extra 'match'")

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
sys.path.insert(0, str(EXAMPLES))

from pottery import frames  # noqa: E402

from lookkit.look import load  # noqa: E402
from lookkit.match.check import check_frames, check_matches  # noqa: E402
from lookkit.match.colour import difference  # noqa: E402
from lookkit.match.run import load_cameras, make_match  # noqa: E402
from lookkit.matchfile.camera_curve import bt709_decode  # noqa: E402
from lookkit.recipe.match_file import read_match  # noqa: E402

RECIPE = EXAMPLES / "pottery" / "pottery.toml"


@pytest.fixture(scope="module")
def charts(tmp_path_factory):
    """The frames of the chart in the kiln room, as large as the demo's."""
    folder = tmp_path_factory.mktemp("charts")
    frames.render(folder, 960, ["kiln_chart_*"], tell=lambda _: None)
    return folder


def test_the_match_that_comes_with_the_demo_is_the_one_its_frames_give(charts, tmp_path):
    shutil.copyfile(RECIPE, tmp_path / RECIPE.name)
    chart = f"{charts}/kiln_chart"
    shots = [f"B:{chart}_B_minus2.png@-2", f"B:{chart}_B_zero.png", f"B:{chart}_B_plus2.png@+2"]
    made = make_match(
        [f"A:{chart}_A_zero.dpx"], shots, tmp_path / "B.match.toml",
        look=load_cameras(tmp_path / RECIPE.name), scene="kiln", stage="never",
    )  # fmt: skip
    kept = load(RECIPE).recipe.match_of("B", "kiln")
    again = made.made.match
    seen = bt709_decode(np.array(kept.one.chart.camera))
    assert difference(kept.scene(seen), again.scene(seen)).max() < 0.2
    assert read_match(tmp_path / "B.match.toml") == made.file


def test_the_match_brings_camera_b_to_camera_a_through_the_look(charts):
    shots = [f"A:{charts}/kiln_chart_A_zero.dpx", f"B:{charts}/kiln_chart_B_zero.png"]
    after = check_frames(shots, load(RECIPE), scene="kiln").consistency.between("A", "B")
    before = check_frames(shots, load_cameras(RECIPE), scene="kiln").consistency.between("A", "B")
    assert before.mean > 4.0
    assert after.mean < 2.0
    assert after.p95 < 4.0


def test_each_scene_of_the_demo_has_its_match_and_the_three_agree_with_their_charts():
    look = load(RECIPE)
    assert look.recipe.all_match_warnings(look.scenes) == []
    checked = check_matches(look)
    assert [(one.light, one.scene) for one in checked] == [
        ("3000", "kiln"), ("daylight", "flats"), ("D65", "blue-hour")
    ]  # fmt: skip
    for one in checked:
        assert one.left_out == ("C",)
        assert one.consistency.between("A", "B").mean < 2.0

"""A look comes out of frames before and after."""

import numpy as np
import pytest

from lookkit.accuracy.difference import delta_e_2000
from lookkit.accuracy.samples import image_like
from lookkit.adopt import from_pairs
from lookkit.adopt.checks import grey_warnings
from lookkit.adopt.from_pairs import adopt_pairs
from lookkit.adopt.pairs_page import write_pairs_page
from lookkit.spaces.encodings import encoding
from tests.adopt.frames import painted, write_pair
from tests.adopt.sources import known_look
from tests.cli.test_cli import run

cv2 = pytest.importorskip("cv2")
SHOWN = "Rec.709 BT.1886"


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    """Three pairs with a window each, and a fourth whose frame after has another look."""
    folder = tmp_path_factory.mktemp("pairs")
    before, after = folder / "before", folder / "after"
    before.mkdir()
    after.mkdir()
    touched = [
        write_pair(known_look(), painted(seed), f"f{seed}", before, after, seed=seed)
        for seed in range(3)
    ]
    other = painted(9)
    write_pair(known_look(), other, "other", before, after, window=False)
    frame = cv2.imread(str(after / "other.jpg"))
    cv2.imwrite(str(after / "other.jpg"), frame[..., ::-1])
    return before, after, touched


@pytest.fixture(scope="module")
def adopted(written, tmp_path_factory):
    before, after, _ = written
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(from_pairs, "MOST", 1200)
        target = tmp_path_factory.mktemp("made") / "mine.toml"
        return adopt_pairs(before, after, target, camera="LogC4", shown=SHOWN)


def test_the_look_comes_back_near_the_colours_that_the_frames_show(adopted):
    scene = image_like(np.random.default_rng(31), 4000)
    code = np.clip(encoding("LogC4").encode(scene), 0.0, 1.0)
    made = adopted.look.evaluate(code, camera="source", output="main")
    true = known_look().evaluate(code, camera="A", output="main")
    off = delta_e_2000(adopted.light.lab(made), adopted.light.lab(true))
    blocks = np.concatenate([one.before[one.fair] for one in adopted.pairs])
    near = np.array([np.linalg.norm(blocks - one, axis=1).min() < 0.02 for one in code])
    assert near.mean() > 0.3
    assert off[near].mean() < 0.6
    assert np.quantile(off[near], 0.95) < 1.6


def test_areas_that_were_graded_apart_are_found(adopted, written):
    for pair, apart, touched in zip(adopted.pairs, adopted.apart, written[2], strict=True):
        rows, columns = pair.shape
        share = touched.reshape(rows, 12, columns, 12).mean(axis=(1, 3)).ravel()
        window = share > 0.5
        assert (apart & window).sum() > 0.7 * window.sum()
        assert (apart & window).sum() > 0.8 * apart.sum()


def test_a_frame_that_follows_another_look_is_left_out_and_told(adopted):
    assert [one.name for one in adopted.pairs] == ["f0.png", "f1.png", "f2.png"]
    assert any(line.startswith("other.png is left out") for line in adopted.told)


def test_frames_read_as_another_encodings_are_told_by_their_greys(adopted):
    def told(name):
        look = from_pairs._Look(adopted.look, encoding(name), None, adopted.display, adopted.light)
        return grey_warnings(look)

    assert told("LogC4") == []
    (wrong,) = told("S-Log3/S-Gamut3.Cine")
    assert "the encoding or a range is likely another" in wrong
    assert "LogC4" in wrong


def test_the_page_shows_each_frame_three_times(adopted, tmp_path):
    write_pairs_page(adopted, tmp_path / "page.html")
    text = (tmp_path / "page.html").read_text()
    assert text.count("<img") == 9
    assert "the right to use the look" in text


def test_frames_that_do_not_belong_together_are_refused(written, tmp_path, capsys):
    before, after = tmp_path / "before", tmp_path / "after"
    before.mkdir()
    after.mkdir()
    (before / "one.png").write_bytes((written[0] / "f0.png").read_bytes())
    how = "--from", "LogC4", "--to", SHOWN, "-o", tmp_path / "mine.toml"

    def told(*words):
        status, _, err = run(capsys, "adopt", *words, *how)
        assert status == 2
        assert not (tmp_path / "mine.toml").exists()
        return err

    folders = "--before", before, "--after", after
    assert "holds no stills" in told(*folders)
    (after / "one.jpg").write_bytes((written[1] / "f1.jpg").read_bytes())
    assert "one.png and one.jpg are left out" in told(*folders)
    (after / "two.jpg").write_bytes((written[1] / "f2.jpg").read_bytes())
    assert "without a partner: two.jpg" in told(*folders)
    assert "expected either a LUT, or --before and --after" in told("--before", before)

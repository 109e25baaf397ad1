"""Texture in files: `apply` draws it, the same in every run and on every machine."""

import shutil
from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest

from lookkit.look import loads
from lookkit.media.cluster import segments
from lookkit.media.jobs import Options, plan
from lookkit.media.run import run
from lookkit.media.stills import read_still, write_still
from lookkit.media.work import perform
from tests.media.movies import RECIPE, decoded, write_movie

oiio = pytest.importorskip("OpenImageIO")

TEXTURE = '[texture]\nlike = "strong"\ngate = 2.0\n'


@pytest.fixture(scope="module")
def look():
    return loads(RECIPE + TEXTURE)


def graded(look, source, into, **options):
    """The one result of a source."""
    (done,) = run(look, plan(look, [str(source)], Options(camera="A", into=into, **options)))
    assert not done.problem
    return done


def sequence(folder, frames=6):
    rng = np.random.default_rng(3)
    still = 0.3 + 0.1 * rng.random((36, 64, 3), dtype=np.float32)
    for number in range(frames):
        write_still(folder / f"a.{1001 + number}.tif", still, None, bits=16)
    return folder / "a.####.tif"


def pixels(done):
    """The pictures beside a result, in the order of their names."""
    return [read_still(done.target.parent / path.name).pixels for path in
            sorted(done.target.parent.glob("*.tif"))]  # fmt: skip


def test_each_frame_of_a_sequence_has_its_grain_and_each_run_the_same(look, tmp_path):
    source = sequence(tmp_path)
    one = pixels(graded(look, source, tmp_path / "one"))
    other = pixels(graded(look, source, tmp_path / "other"))
    assert len(one) == 6
    assert all((a == b).all() for a, b in zip(one, other, strict=True))
    assert all((a != b).mean() > 0.5 for a, b in pairwise(one))


def test_segments_and_a_resumed_run_are_the_whole_run(look, tmp_path, monkeypatch):
    source = sequence(tmp_path)
    whole = pixels(graded(look, source, tmp_path / "whole"))
    monkeypatch.setattr("lookkit.media.cluster.SEGMENT", 2)
    made = plan(look, [str(source)], Options(camera="A", into=tmp_path / "parts"))
    parts = segments(made.jobs[0])
    assert len(parts) == 3
    for part in reversed(parts):
        done = perform(look, part)
        assert not done.problem
    assert all((a == b).all() for a, b in zip(whole, pixels(done), strict=True))
    sorted((tmp_path / "parts").rglob("*.tif"))[3].unlink()
    again = graded(look, source, tmp_path / "parts")
    assert again.frames == 1
    assert all((a == b).all() for a, b in zip(whole, pixels(again), strict=True))


def test_a_clips_frames_have_the_grain_of_the_same_clip_as_pictures(look, tmp_path):
    grey = [np.full((36, 64), 400), np.full((36, 32), 512), np.full((36, 32), 512)]
    write_movie(tmp_path / "c.mkv", [grey] * 3)
    movie = graded(look, tmp_path / "c.mkv", tmp_path / "m", codec="prores-4444", extension="mov")
    pictures = pixels(graded(look, tmp_path / "c.mkv", tmp_path / "p", extension="tif", bits=16))
    frames = [one.to_ndarray(format="rgb48le")[..., 1] for one in decoded(movie.target)]

    def alike(a, b):
        return np.corrcoef(a.ravel(), b.ravel())[0, 1]

    # ProRes is lossy: not equal, but of no other grain.
    assert all(alike(a, b[..., 1]) > 0.9 for a, b in zip(frames, pictures, strict=True))
    assert all(abs(alike(a, b)) < 0.2 for a, b in pairwise(frames))


def test_no_texture_is_the_plain_look(look, tmp_path):
    source = sequence(tmp_path, 2)
    bare = pixels(graded(look, source, tmp_path / "bare", texture=False))
    plain = pixels(graded(loads(RECIPE), source, tmp_path / "plain"))
    assert all((a == b).all() for a, b in zip(bare, plain, strict=True))
    planned = [
        plan(look, [str(source)], Options(camera="A", texture=one)).jobs[0].id
        for one in (True, False)
    ]
    assert planned[0] != planned[1]


def test_alpha_passes_through(look, tmp_path):
    rng = np.random.default_rng(5)
    still = read_still(_with_alpha(tmp_path / "key.png", rng))
    done = graded(look, tmp_path / "key.png", tmp_path / "out")
    assert (read_still(done.target).alpha == still.alpha).all()


def test_a_stills_pixel_aspect_shapes_its_texture(look, tmp_path):
    spec = oiio.ImageSpec(64, 36, 3, "float")
    spec.attribute("PixelAspectRatio", 2.0)
    codes = np.full((36, 64, 3), 0.3, np.float32)
    writer = oiio.ImageOutput.create(str(tmp_path / "wide.exr"))
    assert writer.open(str(tmp_path / "wide.exr"), spec)
    assert writer.write_image(codes)
    writer.close()
    done = graded(look, tmp_path / "wide.exr", tmp_path / "out", extension="tif", bits=16)
    place = {"camera": "A", "output": "monitor", "shot": "wide.exr"}
    made = read_still(done.target).pixels
    assert made == pytest.approx(look.picture(codes, **place, aspect=2.0), abs=1e-4)
    assert np.abs(made - look.picture(codes, **place)).max() > 0.01


def test_a_clips_pixel_aspect_shapes_its_texture(tmp_path):
    look = loads(RECIPE + TEXTURE + "grain = 20.0\n")
    grey = [np.full((36, 64), 400), np.full((36, 32), 512), np.full((36, 32), 512)]

    def shape(stream, aspect):
        stream.codec_context.sample_aspect_ratio = Fraction(aspect)

    def made(name, aspect):
        write_movie(
            tmp_path / name, [grey], codec="prores_ks", prepare=lambda one: shape(one, aspect)
        )
        done = graded(look, tmp_path / name, tmp_path / f"of {name}", extension="tif", bits=16)
        return pixels(done)[0]

    def across_over_down(picture):
        green = picture[..., 1] - picture[..., 1].mean()
        across, down = (green[:, 1:] * green[:, :-1]).mean(), (green[1:] * green[:-1]).mean()
        return (across - down) / (green**2).mean()

    # Neighbours are more alike along the side on which pixels are shorter.
    assert across_over_down(made("narrow.mov", 0.5)) > 0.15
    assert abs(across_over_down(made("square.mov", 1))) < 0.1


def _with_alpha(path, rng):
    from PIL import Image

    Image.fromarray(rng.integers(0, 255, (20, 30, 4), dtype=np.uint8), "RGBA").save(path)
    return path


def test_pixels_that_are_not_finite_are_counted_and_harm_no_others(look, tmp_path):
    codes = np.full((20, 30, 3), 0.3, np.float32)
    codes[5, 5] = np.nan
    write_still(tmp_path / "hole.exr", codes, None)
    done = graded(look, tmp_path / "hole.exr", tmp_path / "out")
    assert done.not_finite == 1
    assert np.isfinite(read_still(done.target).pixels).all()


def test_where_the_file_lies_does_not_matter(look, tmp_path):
    source = sequence(tmp_path, 1)
    (tmp_path / "elsewhere").mkdir()
    shutil.copy(tmp_path / "a.1001.tif", tmp_path / "elsewhere")
    one = graded(look, source, tmp_path / "one")
    other = graded(look, tmp_path / "elsewhere" / "a.####.tif", tmp_path / "two")
    assert (pixels(one)[0] == pixels(other)[0]).all()


def test_a_rendering_without_a_negative_is_told_of(tmp_path):
    aces = RECIPE.replace('kind = "film-print"', 'kind = "aces-2"') + TEXTURE
    source = sequence(tmp_path, 1)
    (job,) = plan(loads(aces), [str(source)], Options(camera="A", into=tmp_path)).jobs
    assert any("aces-2 has no negative" in one for one in job.warnings)
    (job,) = plan(
        loads(aces), [str(source)], Options(camera="A", into=tmp_path, texture=False)
    ).jobs
    assert not any("negative" in one for one in job.warnings)

"""What goes along with pictures: alpha told, formats and titles kept, places left out."""

import numpy as np
import OpenImageIO as oiio
import pytest

from lookkit.media.jobs import Options, plan
from lookkit.media.stills import read_still, write_still
from tests.media.grading import grade
from tests.media.movies import av, made_look, noise, write_movie


@pytest.fixture(scope="module")
def look():
    return made_look()


def named(path, suffix, **metadata):
    """A movie whose picture track has a title."""
    codec = {"mov": "prores_ks", "mp4": "libx264"}.get(suffix, "ffv1")
    target = path / f"A.{suffix}"
    write_movie(
        target, noise(3), codec=codec, sound="aac", metadata=metadata,
        prepare=lambda stream: stream.metadata.update({"title": "Main view"}),
    )  # fmt: skip
    return target


@pytest.mark.parametrize("suffix", ["mkv", "mov", "mp4"])
def test_formats_and_track_titles_are_the_sources(look, tmp_path, suffix):
    path = named(tmp_path, suffix, title="Kiln")
    for wanted in (None, "mov", "mp4", "mkv"):
        (done,) = grade(look, [path], camera="A", into=tmp_path / str(wanted), extension=wanted)
        assert not done.problem
        assert done.target.suffix == f".{wanted or suffix}"
        with av.open(str(done.target)) as made:
            said = {key.casefold(): v for key, v in made.streams.video[0].metadata.items()}
            assert "Main view" in (said.get("title"), said.get("name"))
            assert made.metadata["title"] == "Kiln"


def test_a_format_that_cannot_be_written_is_told(look, tmp_path):
    path = tmp_path / "A.avi"
    write_movie(path, noise(2))
    (job,) = plan(look, [path], Options(camera="A")).jobs
    assert job.result.suffix == ".mp4"
    assert f"{path}: is written as .mp4 (--format chooses)" in job.warnings


@pytest.mark.parametrize("suffix", ["mkv", "mov", "mp4"])
def test_where_a_movie_was_taken_is_left_out_unless_asked_for(look, tmp_path, suffix):
    path = named(tmp_path, suffix, location="+48.1000+011.5000/")
    (bare,) = grade(look, [path], camera="A", into=tmp_path / "bare")
    assert any("--keep-location" in line for line in bare.warnings)
    assert b"+48.1" not in bare.target.read_bytes()
    (kept,) = grade(look, [path], camera="A", into=tmp_path / "kept", location=True)
    assert b"+48.1" in kept.target.read_bytes()
    assert not any("--keep-location" in line for line in kept.warnings)


def test_where_a_still_was_taken_is_left_out_unless_asked_for(look, tmp_path):
    path = tmp_path / "a.jpg"
    spec = oiio.ImageSpec(8, 8, 3, "uint8")
    spec.attribute("GPS:LatitudeRef", "N")
    spec.attribute("GPS:Latitude", "float[3]", (48.0, 6.0, 0.0))
    spec.attribute("Artist", "Nobody")
    writer = oiio.ImageOutput.create(str(path))
    writer.open(str(path), spec)
    writer.write_image(np.full((8, 8, 3), 90, np.uint8))
    writer.close()
    (bare,) = grade(look, [path], camera="C", into=tmp_path / "bare")
    assert any("--keep-location" in line for line in bare.warnings)
    held = read_still(bare.target).spec
    assert held.getattribute("GPS:Latitude") is None
    assert held.get_string_attribute("Artist") == "Nobody"
    (kept,) = grade(look, [path], camera="C", into=tmp_path / "kept", location=True)
    assert read_still(kept.target).spec.getattribute("GPS:Latitude") is not None


def test_alpha_that_is_left_out_is_told(look, tmp_path):
    path = tmp_path / "A.mov"
    codes = [np.full((32, 64), code, np.uint16) for code in (500, 512, 512, 700)]
    write_movie(path, [codes] * 2, codec="prores_ks", form="yuva444p10le",
                options={"profile": "4"})  # fmt: skip
    (job,) = plan(look, [path], Options(camera="A")).jobs
    assert f"{path}: holds alpha: left out" in job.warnings
    picture = np.full((8, 8, 4), 0.5, np.float32)
    spec = oiio.ImageSpec(8, 8, 4, "half")
    for frame in range(2):
        writer = oiio.ImageOutput.create(str(tmp_path / f"s.{frame:04d}.exr"))
        writer.open(str(tmp_path / f"s.{frame:04d}.exr"), spec)
        writer.write_image(picture)
        writer.close()
    pattern = str(tmp_path / "s.####.exr")
    for suffix, told in (("mov", True), ("jpg", True), ("tif", False), ("exr", False)):
        options = Options(camera="A", extension=suffix, rate=24)
        (job,) = plan(look, [pattern], options).jobs
        assert any("holds alpha" in line for line in job.warnings) == told
    write_still(tmp_path / "plain.tif", picture[..., :3])
    (job,) = plan(look, [tmp_path / "plain.tif"], Options(camera="A")).jobs
    assert not job.warnings

"""What goes along with pictures: alpha told, formats and titles kept, places left out."""

import io
import re
from fractions import Fraction

import numpy as np
import OpenImageIO as oiio
import pytest

from lookkit.media import work
from lookkit.media.clip import frames_of, probe
from lookkit.media.codecs import CODECS
from lookkit.media.jobs import Options, plan
from lookkit.media.stills import read_still, write_still
from tests.media.grading import grade
from tests.media.movies import av, made_look, noise, planes, planes_of, write_movie


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


def out_of_step(path, late):
    """A clip whose picture begins after its sound, which says where it was taken."""
    whole = path.with_name("whole.mkv")
    write_movie(whole, noise(6, 256, 128), codec="prores_ks", rate=25, sound="pcm_s16le")
    with av.open(str(whole)) as source, av.open(str(path), "w") as out:
        streams = {one.index: out.add_stream_from_template(one) for one in source.streams}
        out.streams.audio[0].metadata.update({"language": "deu", "location": "+48.1+011.5/"})
        for packet in source.demux():
            if packet.dts is None:
                continue
            if packet.stream.type == "video":
                moved = round(late / packet.time_base)
                packet.pts, packet.dts = packet.pts + moved, packet.dts + moved
            packet.stream = streams[packet.stream_index]
            out.mux(packet)
    return path


@pytest.mark.parametrize(("suffix", "late"), [("mov", Fraction(1, 2)), ("mkv", Fraction(-1, 5))])
def test_sound_stays_in_step_with_a_picture_that_begins_at_another_time(
    look, tmp_path, suffix, late
):
    path = out_of_step(tmp_path / f"A.{suffix}", late)
    before = probe(path)
    assert abs(before.lag + late) < 0.001
    (done,) = grade(look, [path], camera="A", into=tmp_path / "o")
    assert not done.problem
    assert abs(probe(done.target).lag - before.lag) < 0.001
    (refused,) = grade(look, [path], camera="A", into=tmp_path / "o", extension="mxf")
    assert re.search(r"its sound begins 0\.\d+ s (before|after) its picture", refused.problem)


def test_sound_out_of_step_fails_the_file(look, tmp_path, monkeypatch):
    path = out_of_step(tmp_path / "A.mov", Fraction(1, 2))
    wrote = work.MovieWriter.write
    monkeypatch.setattr(
        work.MovieWriter, "write", lambda writer, picture, time: wrote(writer, picture, time + 200)
    )
    (done,) = grade(look, [path], camera="A", into=tmp_path / "o")
    assert "sound begins -0.580 s after the picture, in the source -0.500 s" in done.problem


def test_where_sound_was_taken_is_left_out_unless_asked_for(look, tmp_path):
    path = out_of_step(tmp_path / "A.mkv", Fraction(0))
    for kept in (False, True):
        (done,) = grade(
            look,
            [path],
            camera="A",
            into=tmp_path / str(kept),
            location=kept,
            codec="prores-422-hq",
        )
        with av.open(str(done.target)) as made:
            words = {key.casefold(): one for key, one in made.streams.audio[0].metadata.items()}
        assert words["language"] == "deu"
        assert ("location" in words) == kept
        assert any("where it was taken" in line for line in done.warnings) != kept


@pytest.mark.parametrize("suffix", ["mov", "mkv", "mxf"])
def test_the_reels_name_is_carried_over(look, tmp_path, suffix):
    path = tmp_path / "A.mov"
    write_movie(
        path, noise(2, 256, 128), codec="prores_ks", prepare=lambda stream: stream.metadata.update(
            {"reel_name": "A003R1", "timecode": "01:02:03:04"}
        ),
    )  # fmt: skip
    (done,) = grade(look, [path], camera="A", into=tmp_path / "o", extension=suffix)
    assert not done.problem
    made = probe(done.target)
    assert dict(made.video_metadata)["reel_name"] == "A003R1"
    assert made.timecode == "01:02:03:04"


@pytest.mark.parametrize("matrix", [
    (1, 0, 0, 1), (-1, 0, 0, 1), (-1, 0, 0, -1), (1, 0, 0, -1),
    (0, 1, 1, 0), (0, 1, -1, 0), (0, -1, -1, 0), (0, -1, 1, 0),
])  # fmt: skip
def test_a_movie_in_any_of_eight_poses_comes_out_upright(tmp_path, matrix):
    """ISO/IEC 14496-12, 6.2.2: a pixel at (p, q) is shown at (ap + cq, bp + dq)."""
    a, b, c, d = matrix
    held = [
        number << (16 if at < 8 else 30) for at, number in enumerate([a, b, 0, c, d, 0, 0, 0, 1])
    ]
    path = tmp_path / "A.mov"
    write_movie(
        path, noise(1, 64, 32), codec="v210", prepare=lambda stream: stream.set_display_matrix(held)
    )
    clip = probe(path)
    with av.open(str(path)) as container:
        stored = np.zeros((32, 64), int) + planes(next(container.decode(video=0)))[0]
    shown = planes_of(next(frames_of(clip)).picture)[0][:, : clip.width] >> 6
    q, p = np.mgrid[:32, :64]
    x, y = a * p + c * q, b * p + d * q
    expected = np.zeros((y.max() - y.min() + 1, x.max() - x.min() + 1), int)
    expected[y - y.min(), x - x.min()] = stored
    assert np.array_equal(shown, expected)
    assert any("written upright" in note for note in clip.notes) == (matrix != (1, 0, 0, 1))


def test_each_codec_goes_into_each_format_that_it_names():
    formats = {".mov": "mov", ".mp4": "mp4", ".mkv": "matroska", ".mxf": "mxf"}
    for codec in CODECS.values():
        for suffix in codec.suffixes:
            trial = av.open(io.BytesIO(), "w", format=formats[suffix])
            assert trial.add_stream(codec.encoder, rate=24)

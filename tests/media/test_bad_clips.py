"""What is wrong with a file is told plainly, and the rest of the job goes on."""

import shutil
import subprocess
import sys
from fractions import Fraction
from types import SimpleNamespace

import numpy as np
import pytest

from lookkit.errors import InputError, UnknownNameError
from lookkit.media import codecs, stills
from lookkit.media.clip import frames_of, probe
from lookkit.media.jobs import Options, plan
from lookkit.media.run import run
from lookkit.media.stills import write_still
from lookkit.media.times import rate_of
from tests.media.movies import RECIPE, av, made_look, noise, write_movie


@pytest.fixture(scope="module")
def look():
    return made_look()


@pytest.fixture
def good(tmp_path):
    path = tmp_path / "good.mkv"
    write_movie(path, noise(3))
    return path


def told(look, path, into, **options):
    """Apply to a good clip and a bad one; return what was told of the bad one."""
    good = path.parent / "good.mkv"
    options = {"camera": "A", "extension": "mov", **options}
    planned = plan(look, [path, good], Options(into=into, **options))
    done = run(look, planned)
    assert any(one.source == good and not one.problem for one in done)
    assert (into / "good_Plain_monitor.mov").exists()
    assert not list(into.glob(".*"))
    problems = [one.problem for one in (*planned.refused, *done) if one.problem]
    (problem,) = problems or [""]
    assert problem
    assert str(path) in problem
    return problem


def test_an_empty_file(look, good, tmp_path):
    (tmp_path / "bad.mov").touch()
    assert "0 bytes" in told(look, tmp_path / "bad.mov", tmp_path / "out")


def test_a_file_that_is_no_movie(look, good, tmp_path):
    (tmp_path / "bad.mov").write_text("no movie at all")
    assert "cannot be read as a movie" in told(look, tmp_path / "bad.mov", tmp_path / "out")


def test_a_missing_file_and_an_unknown_kind(look, good, tmp_path):
    assert "does not exist" in told(look, tmp_path / "bad.mov", tmp_path / "out")
    (tmp_path / "bad.movv").write_text("x")
    assert "did you mean 'mov'" in told(look, tmp_path / "bad.movv", tmp_path / "out")


def test_a_movie_cut_short(look, good, tmp_path):
    whole = tmp_path / "whole.mkv"
    write_movie(whole, noise(30), rate=24)
    faststart = tmp_path / "bad.mov"
    with (
        av.open(str(whole)) as source,
        av.open(str(faststart), "w", options={"movflags": "faststart"}) as target,
    ):
        stream = target.add_stream("libx264", rate=24, options={"crf": "5", "g": "1"})
        stream.width, stream.height, stream.pix_fmt = 64, 32, "yuv420p"
        for frame in source.decode(video=0):
            target.mux(stream.encode(frame.reformat(format="yuv420p")))
        target.mux(stream.encode(None))
    data = faststart.read_bytes()
    faststart.write_bytes(data[: len(data) * 6 // 10])
    assert any(word in told(look, faststart, tmp_path / "out") for word in ("cut short", "damaged"))


def test_a_picture_in_a_codec_that_nobody_knows(tmp_path):
    """The four letters of a stream's codec, as AVI has them (found by fuzzing)."""
    path = tmp_path / "bad.avi"
    write_movie(path, noise(1))
    path.write_bytes(path.read_bytes().replace(b"FFV1", b"XQZ9"))
    with pytest.raises(InputError, match=r"bad\.avi: its picture is in a codec that is not known"):
        probe(path)


def test_frames_ages_apart_have_a_rate():
    """Times whose mean rate rounds to nothing (found by fuzzing)."""
    video = SimpleNamespace(
        guessed_rate=None, average_rate=None, base_rate=None, time_base=Fraction(1)
    )
    assert rate_of([0, 10**6, 10**7], video) == (True, 24)


def test_what_a_library_says_in_no_text_is_told_as_far_as_it_goes():
    """OpenImageIO quotes the bytes of a file (found by fuzzing)."""

    class Reader:
        def geterror(self):
            return b"magic \xff".decode()

    assert stills._said(Reader()) == "magic \N{REPLACEMENT CHARACTER}"


def test_ffv1_is_decoded_without_threads_for_frames(good):
    """At a damaged frame FFmpeg's end the process, seldom (found by fuzzing)."""
    with av.open(str(good)) as container:
        frames = frames_of(probe(good), container=container)
        next(frames)
        assert container.streams.video[0].codec_context.thread_type.name == "SLICE"
        frames.close()


def test_sound_alone(look, good, tmp_path):
    path = tmp_path / "bad.mov"
    with av.open(str(path), "w") as out:
        stream = out.add_stream("pcm_s16le", rate=48000)
        frame = av.AudioFrame.from_ndarray(np.zeros((1, 9600), np.int16), layout="stereo")
        frame.sample_rate = 48000
        out.mux(stream.encode(frame))
        out.mux(stream.encode(None))
    assert "audio but no picture" in told(look, path, tmp_path / "out")


def test_an_odd_size(look, good, tmp_path):
    path = tmp_path / "bad.mkv"
    frames = [[p[:31, : 63 if n == 0 else 32] for n, p in enumerate(f)] for f in noise(2)]
    write_movie(path, frames)
    problem = told(look, path, tmp_path / "out", codec="h264")
    assert "63x31 is odd" in problem
    planned = plan(look, [path], Options(into=tmp_path / "o", camera="A", extension="mov"))
    assert not run(look, planned)[0].problem


def test_interlaced_fields(look, good, tmp_path):
    path = tmp_path / "bad.mov"
    write_movie(path, noise(4, 64, 64), codec="prores_ks",
                options={"profile": "3", "flags": "+ildct"})  # fmt: skip
    assert "--deinterlace" in told(look, path, tmp_path / "out")
    options = Options(into=tmp_path / "o", camera="A", deinterlace=True)
    (done,) = run(look, plan(look, [path], options))
    assert not done.problem
    assert done.frames == 4
    with av.open(str(done.target)) as container:
        assert not any(frame.interlaced_frame for frame in container.decode(video=0))


def test_a_size_that_changes_on_the_way(look, good, tmp_path):
    path = tmp_path / "bad.ts"
    parts = []
    for number, width in enumerate((64, 96)):
        part = tmp_path / f"part{number}.ts"
        with av.open(str(part), "w") as out:
            stream = out.add_stream("libx264", rate=24)
            stream.width, stream.height, stream.pix_fmt = width, 64, "yuv420p"
            for count in range(6):
                frame = av.VideoFrame(width, 64, "yuv420p")
                for plane in frame.planes:
                    np.frombuffer(plane, np.uint8)[:] = 90 + count
                frame.pts = count
                out.mux(stream.encode(frame))
            out.mux(stream.encode(None))
        parts.append(part.read_bytes())
    path.write_bytes(b"".join(parts))
    problem = told(look, path, tmp_path / "out")
    assert "96x64" in problem
    assert "64x64" in problem


def test_missing_frames_of_a_sequence(look, good, tmp_path):
    for frame in (1, 2, 4):
        write_still(tmp_path / f"A.{frame:04d}.exr", np.full((8, 8, 3), 0.3, np.float32))
    planned = plan(look, [str(tmp_path / "A.####.exr"), "1-5"],
                   Options(into=tmp_path / "out", camera="A"))  # fmt: skip
    (done,) = run(look, planned)
    assert "frames 3, 5 are missing" in done.problem
    assert done.frames == 3
    assert len(list(done.target.parent.glob("*.exr"))) == 3
    movie = Options(into=tmp_path / "out", camera="A", extension="mov")
    assert "missing" in plan(look, [str(tmp_path / "A.####.exr")], movie).refused[0].problem


def test_a_full_disk_leaves_nothing(look, good, tmp_path):
    source = tmp_path / "big.mkv"
    write_movie(source, noise(40, 320, 180))
    recipe = tmp_path / "recipe.toml"
    recipe.write_text(RECIPE)
    script = (
        "import resource, signal, sys\n"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (200_000, 200_000))\n"
        "from lookkit.cli import main\n"
        "main(sys.argv[1:])\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, "apply", str(recipe), str(source), str(good), "--camera",
         "A", "--format", "mov", "--into", str(tmp_path / "out")],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 1
    assert "cannot be written (file too large)" in done.stderr
    assert "Traceback" not in done.stderr
    assert [p.name for p in (tmp_path / "out").iterdir()] == ["good_Plain_monitor.mov"]


def test_a_codec_that_the_build_lacks(look, good, monkeypatch):
    lacking = codecs.Codec("prores-4444", "no_such_encoder", (".mov",), {10: "yuv444p10le"})
    monkeypatch.setitem(codecs.CODECS, "prores-4444", lacking)
    with pytest.raises(InputError, match=r"no encoder no_such_encoder; it has: .*hevc"):
        plan(look, [good], Options(camera="A", codec="prores-4444"))
    with pytest.raises(UnknownNameError, match="did you mean 'hevc'"):
        plan(look, [good], Options(camera="A", codec="hevv"))


def test_a_folder_without_pictures_and_one_that_cannot_be_read(look, tmp_path, monkeypatch):
    (tmp_path / "empty").mkdir()
    planned = plan(look, [tmp_path / "empty"], Options(camera="A"))
    assert "holds no movie" in planned.refused[0].problem
    import os

    (tmp_path / "shut" / "inner").mkdir(parents=True)
    scandir = os.scandir

    def refuse(path):
        if str(path).endswith("inner"):
            raise PermissionError(13, "Permission denied", str(path))
        return scandir(path)

    monkeypatch.setattr(os, "scandir", refuse)
    problems = [one.problem for one in plan(look, [tmp_path / "shut"], Options()).refused]
    assert any("Permission denied" in one for one in problems)


def test_nothing_says_which_camera(look, good):
    problem = plan(look, [good], Options()).refused
    # BT.709 tags name camera C, the only one of that encoding.
    assert not problem
    bare = good.with_name("bare.mkv")
    write_movie(bare, noise(2), tags=(2, 2, 1))
    (refused,) = plan(look, [bare], Options()).refused
    assert "--camera" in refused.problem
    assert "A (LogC4), B (HLG camera), C (BT.709 camera)" in refused.problem


def test_tags_choose_and_contradictions_warn(look, good, tmp_path):
    hlg = tmp_path / "x.mkv"
    write_movie(hlg, noise(2), tags=(9, 18, 9))
    assert plan(look, [hlg], Options()).jobs[0].camera == "B"
    (job,) = plan(look, [hlg], Options(camera="A")).jobs
    assert any("tagged BT.2020 primaries, HLG transfer" in line for line in job.warnings)


def test_two_results_of_one_name(look, good, tmp_path):
    shutil.copy(good, tmp_path / "good.mp4.mkv")
    shutil.copy(good, tmp_path / "sub.mkv")
    (tmp_path / "b").mkdir()
    shutil.copy(good, tmp_path / "b" / "good.mkv")
    planned = plan(look, [good, tmp_path / "b" / "good.mkv"],
                   Options(camera="A", into=tmp_path / "out"))  # fmt: skip
    assert len(planned.jobs) == 1
    assert "would have the name" in planned.refused[0].problem

"""Nothing of a clip is lost: packets and frames are counted, in against out."""

from fractions import Fraction

import numpy as np
import pytest

from lookkit.errors import LookkitError
from lookkit.media import tally, work
from lookkit.media.clip import Frame, frames_of, probe
from lookkit.media.tally import SoundIn, Tally, check_movie
from tests.media.grading import grade
from tests.media.movies import av, decoded, made_look, noise, write_movie


@pytest.fixture(scope="module")
def look():
    return made_look()


def packets(path, kind="audio"):
    with av.open(str(path), options={"ignore_editlist": "1"}) as container:
        return [bytes(packet) for packet in container.demux(**{kind: 0}) if packet.size]


def with_sound(path, codec, frames=25, tail=0, **more):
    """A clip of frames at 25 a second with noise as sound, and `tail` samples after its end."""
    pictures = noise(frames, 256, 128)
    silent = path.with_suffix(".nut")
    write_movie(silent, pictures, codec="ffv1", rate=25)
    random = np.random.default_rng(1)
    samples = random.integers(-9000, 9000, (1, 2 * (1920 * frames + tail))).astype(np.int16)
    with av.open(str(silent)) as source, av.open(str(path), "w") as out:
        picture = out.add_stream(more.get("picture", "prores_ks"), rate=25)
        picture.width, picture.height, picture.pix_fmt = 256, 128, "yuv422p10le"
        tone = out.add_stream(codec, rate=48000)
        for frame in source.decode(video=0):
            out.mux(picture.encode(frame))
        out.mux(picture.encode(None))
        convert = av.AudioResampler(tone.codec_context.format.name, "stereo", 48000)
        frame = av.AudioFrame.from_ndarray(samples, format="s16", layout="stereo")
        frame.sample_rate = 48000
        for part in convert.resample(frame):
            out.mux(tone.encode(part))
        out.mux(tone.encode(None))
    return path


@pytest.mark.parametrize("codec", ["aac", "pcm_s16le", "pcm_s24le", "libmp3lame"])
@pytest.mark.parametrize("suffix", ["mov", "mkv", "mp4"])
def test_every_packet_of_sound_arrives(look, tmp_path, codec, suffix):
    path = with_sound(tmp_path / "A.mkv", codec, frames=12, tail=960)
    before = packets(path)
    for turn in range(3):
        (done,) = grade(
            look, [path], camera="A", into=tmp_path / f"{turn}", extension=suffix, bits=10
        )
        assert not done.problem
        if any("does not go into" in line for line in done.warnings):
            return
        assert b"".join(packets(done.target)) == b"".join(before)


def test_sound_behind_the_last_frame_is_told_where_mxf_drops_it(look, tmp_path):
    path = with_sound(tmp_path / "A.mov", "pcm_s16le", frames=10, tail=4000)
    (done,) = grade(look, [path], camera="A", into=tmp_path / "o", extension="mxf")
    assert not done.problem
    lost = sum(map(len, packets(path))) - sum(map(len, packets(done.target)))
    assert lost > 0
    assert any(f"goes on for {lost / 192000:.3f} s" in line for line in done.warnings)
    even = with_sound(tmp_path / "B.mov", "pcm_s16le", frames=10)
    (done,) = grade(look, [even], camera="A", into=tmp_path / "o", extension="mxf")
    assert b"".join(packets(done.target)) == b"".join(packets(even))


def test_a_lost_packet_or_frame_fails_the_file(look, tmp_path, monkeypatch):
    path = with_sound(tmp_path / "A.mkv", "aac")
    kept = work.MovieWriter.sound_packet
    calls = []

    def lose(writer, packet):
        calls.append(packet)
        if len(calls) != 9:
            kept(writer, packet)

    with monkeypatch.context() as patch:
        patch.setattr(work.MovieWriter, "sound_packet", lose)
        (done,) = grade(look, [path], camera="A", into=tmp_path / "o", extension="mov")
        assert "aac sound is not whole: " in done.problem
        assert not list((tmp_path / "o").iterdir())
    wrote = work.MovieWriter.write

    def skip(writer, picture, time):
        if time != 3:
            wrote(writer, picture, time)

    monkeypatch.setattr(work.MovieWriter, "write", skip)
    (done,) = grade(look, [path], camera="A", into=tmp_path / "o", extension="mov")
    assert "holds 24 frames, 25 were read" in done.problem
    assert not list((tmp_path / "o").iterdir())


def test_a_stream_that_is_missing_fails_the_file(tmp_path):
    path = tmp_path / "A.mkv"
    write_movie(path, noise(3))
    missing = SoundIn("aac", 0, Tally(3, 30))
    with pytest.raises(LookkitError, match="holds 0 streams of sound, expected 1"):
        check_movie(path, path, 3, Fraction(24), [missing])
    assert tally.tallies(path)[0].packets == 3


def moving(count, width=192, height=96):
    """A pattern that moves, in 8 bits 4:2:0, so that encoders use B-frames; the first row's
    luma counts the frames."""
    x = np.arange(width)[None] + 3 * np.arange(height)[:, None]
    frames = []
    for number in range(count):
        luma = 120 + 60 * np.sin((x + 5 * number) / 9)
        luma[:16] = 20 + 6 * number
        half = np.full((height // 2, width // 2), 128)
        frames.append([plane.astype(np.uint8) for plane in (luma, half, half)])
    return frames


def number_of(picture):
    """Which of the `moving` frames a 16-bit picture is."""
    from lookkit.media.clip import planes_of

    return round((float(np.median(planes_of(picture)[0][2:10, :192])) / 256 - 20) / 6)


FORMS = [
    ("libx264", "mkv"), ("libx265", "mkv"), ("libx264", "avi"), ("mpeg4", "avi"), ("mpeg4", "mkv"),
    ("libx264", "mov"), ("libx265", "mp4"), ("libx264", "ts"), ("mpeg2video", "mpg"),
    ("mpeg2video", "ts"), ("mpeg2video", "mxf"), ("mpeg2video", "mkv"), ("libvpx-vp9", "webm"),
    ("libvpx", "webm"), ("libx265", "ts"), ("libx264", "m2ts"), ("mpeg2video", "avi"),
]  # fmt: skip


@pytest.mark.parametrize(("codec", "suffix"), FORMS)
def test_frames_shown_out_of_their_order_in_the_file_all_arrive_in_time(
    look, tmp_path, codec, suffix
):
    path = tmp_path / f"A.{suffix}"
    options = {
        "libx265": {"x265-params": "log-level=none:bframes=4:b-adapt=0"},
        "libx264": {"bf": "4", "b_strategy": "0", "crf": "12"},
        "libvpx": {"auto-alt-ref": "1"},
        "libvpx-vp9": {"auto-alt-ref": "1"},
    }.get(codec, {"bf": "2", "b": "9000000", "qmin": "1", "qmax": "2"})
    write_movie(path, moving(30), codec=codec, form="yuv420p", rate=25, options=options)
    clip = probe(path)
    assert (clip.frames, clip.rate, clip.variable) == (30, 25, False)
    frames = [one for one in frames_of(clip) if isinstance(one, Frame)]
    assert [number_of(one.picture) for one in frames] == list(range(30))
    start = frames[0].time * clip.time_base
    at = [float(one.time * clip.time_base - start) for one in frames]
    assert np.allclose(at, np.arange(30) / 25, atol=0.002)
    (pictures,) = grade(look, [path], camera="A", into=tmp_path / "o", extension="jpg")
    assert not pictures.problem
    assert len(list(pictures.target.parent.glob("*.jpg"))) == 30
    (movie,) = grade(look, [path], camera="A", into=tmp_path / "o", extension="mov")
    assert not movie.problem
    made = [float(frame.pts * frame.time_base) for frame in decoded(movie.target)]
    assert np.allclose(np.array(made) - made[0], np.arange(30) / 25, atol=0.001)


def test_the_last_frames_arrive_where_the_picture_is_not_the_first_stream(shared_data):
    clip = probe(shared_data / "video" / "nasa_13013.mp4")
    assert clip.stream > 0
    assert sum(isinstance(one, Frame) for one in frames_of(clip)) == clip.frames == 390

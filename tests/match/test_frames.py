"""Reading frames: the means, the ranges, and refusals in words."""

from itertools import islice

import numpy as np
import pytest

from lookkit.errors import InputError
from lookkit.match.frames import Exposure, Footage, parse_frames, read_exposure
from lookkit.spaces.encodings import encoding
from tests.match.filming import write_clip, write_codes
from tests.match.simulation import through_video


def test_stills_are_averaged_over_time(tmp_path):
    first, second = np.full((8, 10, 3), 0.25), np.full((8, 10, 3), 0.75)
    for name, picture in (("a.png", first), ("b.png", second)):
        write_codes(tmp_path / name, picture)
    one = read_exposure([tmp_path / "a.png", tmp_path / "b.png"], stops=-2.0)
    assert one.picture == pytest.approx(0.5, abs=1e-5)
    assert (one.stops, one.bits, one.range, one.files) == (-2.0, 16, None, ("a.png", "b.png"))


def test_a_clip_keeps_super_white_and_its_integers(tmp_path):
    pytest.importorskip("av", reason="clips need the optional extra 'clips'")
    # Flat fields of known signal, through 8-bit Y'CbCr 4:2:0 by the formulas of BT.709.
    signal = np.zeros((64, 64, 3))
    signal[:32, :32] = 1.07
    signal[:32, 32:] = [0.8, 0.3, 0.2]
    signal[32:, :32] = [0.1, 0.5, 0.9]
    write_clip(tmp_path / "clip.mkv", [signal, signal])
    one = read_exposure([tmp_path / "clip.mkv"])
    assert (one.bits, one.range) == (8, "legal")
    exact = through_video(signal)
    for y, x in ((16, 16), (16, 48), (48, 16), (48, 48)):
        assert one.picture[y, x] == pytest.approx(exact[y, x], abs=1e-9)
    assert one.picture[16, 16] == pytest.approx((16 + 219 * 1.07) / 255, abs=0.5 / 255)
    assert one.picture[48, 48] == pytest.approx(16 / 255, abs=1e-9)


@pytest.mark.parametrize(("name", "bits"), [("carrots_log_10bit.mov", 10), ("nasa_13013.mp4", 8)])
def test_real_clips_read_as_the_library_converts_them(name, bits, shared_data):
    av = pytest.importorskip("av", reason="clips need the optional extra 'clips'")
    path = shared_data / "video" / name
    one = read_exposure([path])
    assert (one.bits, one.range) == (bits, "legal")
    with av.open(str(path)) as container:
        decoded = islice(container.decode(container.streams.best("video")), 48)
        frames = [frame.to_ndarray(format="rgb24") for frame in decoded]
    library = np.mean(frames, axis=0) / 255.0
    low, high = (16 / 255, 235 / 255) if bits == 8 else (64 / 1023, 940 / 1023)
    ours = np.clip((one.picture - low) / (high - low), 0.0, 1.0)
    # The library's own conversion rounds down to 8 bits and clips each frame: two codes.
    assert np.abs(ours - library).mean() < 2.0 / 255.0


def test_unknown_encodings_take_the_range_of_the_file():
    picture = np.full((2, 2, 3), 16 / 255)
    clip = Footage("B", (Exposure(picture, bits=8, range="legal"),))
    still = Footage("B", (Exposure(picture, bits=8),))
    assert clip.decode(picture) == pytest.approx(0.0, abs=1e-12)
    assert (clip.signal_range, still.signal_range) == ("legal", "full")
    assert (still.decode(picture) > 0.01).all()
    told = Footage("B", (Exposure(picture, bits=8),), range="legal")
    assert told.decode(picture) == pytest.approx(0.0, abs=1e-12)


def test_known_encodings_decode_to_the_scene():
    log = encoding("LogC4")
    footage = Footage("A", (Exposure(np.zeros((2, 2, 3))),), log)
    codes = np.array([[0.3, 0.4, 0.5]])
    assert np.array_equal(footage.decode(codes), log.decode(codes))


@pytest.mark.parametrize(
    ("text", "camera", "name", "stops"),
    [
        ("A:chart.png", "A", "chart.png", 0.0),
        ("B:chart.png@-2", "B", "chart.png", -2.0),
        ("B:odd@name.png", "B", "odd@name.png", 0.0),
        ("B:odd@name.png@+1.5", "B", "odd@name.png", 1.5),
    ],
)
def test_frames_are_named_with_camera_and_stops(text, camera, name, stops):
    found = parse_frames(text)
    assert (found[0], found[1][0].name, found[2]) == (camera, name, stops)


def test_folders_and_patterns_name_their_pictures_in_order(tmp_path):
    for name in ("b.png", "a.png", "notes.txt"):
        (tmp_path / name).touch()
    for text in (f"B:{tmp_path}", f"B:{tmp_path}/*@-1", f"B:{tmp_path}/*.png"):
        assert [path.name for path in parse_frames(text)[1]] == ["a.png", "b.png"]
    with pytest.raises(InputError, match="no still or clip matches"):
        parse_frames(f"B:{tmp_path}/*.exr")


@pytest.mark.parametrize("text", ["chart.png", ":chart.png", "B:"])
def test_frames_without_a_camera_are_refused(text):
    with pytest.raises(InputError, match="expected CAMERA:FRAMES"):
        parse_frames(text)


def test_absurd_stops_are_refused():
    with pytest.raises(InputError, match="between -16 and"):
        parse_frames("B:chart.png@200")


def test_missing_damaged_and_grey_files_are_refused(tmp_path):
    with pytest.raises(InputError, match="does not exist"):
        read_exposure([tmp_path / "none.png"])
    (tmp_path / "bad.png").write_bytes(b"not a picture")
    with pytest.raises(InputError, match="cannot be read as a picture"):
        read_exposure([tmp_path / "bad.png"])
    (tmp_path / "bad.mov").write_bytes(b"not a clip")
    pytest.importorskip("av", reason="clips need the optional extra 'clips'")
    with pytest.raises(InputError, match="cannot be read as a movie"):
        read_exposure([tmp_path / "bad.mov"])


def test_frames_of_different_size_are_refused(tmp_path):
    write_codes(tmp_path / "a.png", np.zeros((8, 10, 3)))
    write_codes(tmp_path / "b.png", np.zeros((8, 12, 3)))
    with pytest.raises(InputError, match="frames of different size"):
        read_exposure([tmp_path / "a.png", tmp_path / "b.png"])
    one, other = (read_exposure([tmp_path / name]) for name in ("a.png", "b.png"))
    with pytest.raises(InputError, match=r"12 x 8 pixels|different size"):
        Footage("B", (one, Exposure(other.picture, 2.0)))


def test_two_exposures_at_the_same_stops_are_refused():
    picture = np.zeros((2, 2, 3))
    with pytest.raises(InputError, match="two exposures at the same stops"):
        Footage("B", (Exposure(picture), Exposure(picture)))


def test_stills_of_different_size_are_refused_before_any_is_read(tmp_path, monkeypatch):
    for name, height in (("a.png", 40), ("b.png", 30)):
        write_codes(tmp_path / name, np.full((height, 50, 3), 0.5))
    monkeypatch.setattr("lookkit.match.frames.read_still", None)
    with pytest.raises(InputError, match=r"b\.png: frames of different size \(50 x 30 pixels"):
        read_exposure([tmp_path / "a.png", tmp_path / "b.png"])


def test_a_pixel_that_is_no_number_in_one_frame_counts_by_the_others(tmp_path):
    from lookkit.media.stills import write_still

    first = np.full((40, 50, 3), 0.25, dtype=np.float32)
    second = np.full((40, 50, 3), 0.75, dtype=np.float32)
    first[3, 4, 1], first[5, 6], second[5, 6] = np.nan, np.inf, np.nan
    write_still(tmp_path / "a.exr", first)
    write_still(tmp_path / "b.exr", second)
    one = read_exposure([tmp_path / "a.exr", tmp_path / "b.exr"])
    assert one.lost == 1
    assert np.isnan(one.picture[5, 6]).all()
    assert one.picture[3, 4] == pytest.approx(0.75)
    assert one.picture[0, 0] == pytest.approx(0.5)

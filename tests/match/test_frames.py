"""Reading frames: the means, the ranges, and refusals in words."""

import math
from itertools import islice

import numpy as np
import pytest
from click.testing import CliRunner

import lookkit
from lookkit.cli.match import command
from lookkit.errors import InputError
from lookkit.match.frames import Exposure, Footage, parse_frames, read_exposure
from lookkit.match.run import Settings, footage_of
from lookkit.media.frame import pixel_of
from lookkit.media.stills import read_small, write_still
from lookkit.progress import silent
from lookkit.spaces.encodings import encoding
from lookkit.spaces.ranges import convert
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


LEGAL = """schema = 1
name = "Plain"
show = "Pottery"
[cameras.B]
encoding = "BT.709 camera"
range = "legal"
[outputs.wire]
output = "Rec.709 BT.1886"
"""


@pytest.mark.parametrize(("name", "bits"), [("a.tif", 16), ("a.png", 8), ("a.dpx", 10)])
def test_white_of_a_legal_still_is_white_for_match_and_trace(tmp_path, name, bits):
    # 235 x 2^(bits-8), 60160 in 16 bits (ITU-R BT.709-6, 4.6); apply and measure: test_measure.py.
    look = lookkit.loads(LEGAL)
    path = tmp_path / name
    white = 235 * 2 ** (bits - 8) / (2**bits - 1)
    write_still(path, np.full((96, 96, 3), white, np.float32), bits=bits)
    code = pixel_of(look, "B", path, "3,4")
    chain = look.graph.input_transform("B").encoding.bits
    assert convert(np.array(code), "legal", "full", chain) == pytest.approx(1.0, abs=2e-5)
    for settings, recipe in ((Settings(ranges={"B": "legal"}), None), (Settings(), look)):
        footage = footage_of([f"B:{path}"], recipe, settings, silent, [])
        # Rec. ITU-R BT.709-6: signal 1 is light 1.
        assert footage.decode(footage.main.picture[:1, :1]) == pytest.approx(1.0, abs=1e-4)


def test_a_picture_of_one_pixel_and_a_crop_without_numbers_are_refused(tmp_path):
    write_still(tmp_path / "a.png", np.zeros((1, 1, 3), np.float32), bits=8)
    with pytest.raises(InputError, match=r"a\.png has 1 x 1 pixels"):
        footage_of([f"B:{tmp_path / 'a.png'}"], None, Settings(), silent, [])
    files = ["--reference", f"A:{tmp_path / 'b.png'}", "--camera", f"B:{tmp_path / 'a.png'}"]
    done = CliRunner().invoke(command, [*files, "--crop", "B=nan"])
    assert done.exit_code == 2
    assert "'B=nan', expected numbers" in done.output
    for numbers in ((float("nan"),) * 4, (0.0, 0.0, float("inf"), 3.0)):
        with pytest.raises(InputError, match="crop of camera B"):
            footage_of(
                [f"B:{tmp_path / 'a.png'}"], None, Settings(crops={"B": numbers}), silent, []
            )
    with pytest.raises(InputError, match="crop of camera B: 1 numbers, expected 4"):
        footage_of(
            [f"B:{tmp_path / 'a.png'}"], None, Settings(crops={"B": (math.nan,)}), silent, []
        )


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


def test_a_big_still_is_read_small_and_its_lost_pixels_are_counted(tmp_path):
    # Means of 2 x 2 pixels by numpy; 16 bits of TIFF, and floats with a pixel that is no number.
    rng = np.random.default_rng(0)
    picture = rng.uniform(0.0, 1.0, size=(30, 4600, 3)).astype(np.float32)
    means = picture.reshape(15, 2, 2300, 2, 3).mean(axis=(1, 3))
    write_still(tmp_path / "a.tif", picture)
    one = read_exposure([tmp_path / "a.tif"])
    assert (one.reduced, one.lost) == (2, 0)
    assert one.picture == pytest.approx(means, abs=1.0 / 65535.0)
    picture[5, 7, 1] = np.nan
    picture[10:12, 20:22] = np.inf
    write_still(tmp_path / "a.exr", picture)
    one = read_exposure([tmp_path / "a.exr"])
    assert one.lost == 5
    assert np.isnan(one.picture[5, 10]).all()
    fair = np.delete(picture[4:6, 6:8].reshape(4, 3), 3, axis=0)
    assert one.picture[2, 3] == pytest.approx(fair.mean(axis=0), rel=2e-3)


def test_corners_and_crops_are_in_pixels_of_the_file(tmp_path):
    write_still(tmp_path / "a.tif", np.full((200, 9000, 3), 0.5, dtype=np.float32), bits=8)
    corners = [30.0, 30.0, 300.0, 30.0, 300.0, 180.0, 30.0, 180.0]
    settings = Settings({"B": "unknown"}, {}, {"B": corners}, {"B": [30, 60, 900, 90]})
    notes: list[str] = []
    footage = footage_of([f"B:{tmp_path}/a.tif"], None, settings, silent, notes)
    assert footage.main.picture.shape == (66, 3000, 3)
    assert footage.corners.ravel().tolist() == [one / 3 for one in corners]
    assert footage.crop == (10, 20, 300, 30)
    assert any("read small, 3 x 3" in note for note in notes)


def test_a_tiled_file_is_read_as_one_in_rows(tmp_path):
    oiio = pytest.importorskip("OpenImageIO")
    rng = np.random.default_rng(1)
    picture = rng.uniform(0.0, 1.0, size=(70, 100, 3)).astype(np.float32)
    spec = oiio.ImageSpec(100, 70, 3, "float")
    spec.tile_width = spec.tile_height = 32
    writer = oiio.ImageOutput.create(str(tmp_path / "a.exr"))
    assert writer.open(str(tmp_path / "a.exr"), spec)
    assert writer.write_image(picture)
    writer.close()
    small, lost = read_small(tmp_path / "a.exr", 3)
    means = picture[:69, :99].reshape(23, 3, 33, 3, 3).mean(axis=(1, 3))
    assert lost == 0
    assert small.pixels == pytest.approx(means, abs=1e-6)

"""Stills in and out: every format, alpha and metadata kept, bad files told and skipped."""

import numpy as np
import pytest

from lookkit.errors import InputError
from lookkit.look import Look
from lookkit.media.stills import read_still, write_still
from lookkit.recipe.load import parse_recipe
from tests.media.grading import grade

RECIPE = """
schema = 1
name = "Plain"
[cameras.A]
encoding = "LogC4"
[cameras.C]
encoding = "sRGB"
[outputs.monitor]
output = "Rec.709 BT.1886"
[outputs.web]
output = "sRGB"
"""
oiio = pytest.importorskip("OpenImageIO")


@pytest.fixture(scope="module")
def look():
    return Look(parse_recipe(RECIPE), RECIPE)


@pytest.fixture
def picture():
    return np.random.default_rng(1).random((24, 32, 3), dtype=np.float32)


@pytest.mark.parametrize(
    ("name", "bits", "step"),
    [
        ("a.png", 8, 255), ("a.png", 16, 65535), ("a.tif", 8, 255), ("a.tiff", 16, 65535),
        ("a.dpx", 8, 255), ("a.dpx", 10, 1023), ("a.dpx", 12, 4095), ("a.dpx", 16, 65535),
        ("a.exr", 16, 2048), ("a.exr", 32, 1 << 23),
    ],
)  # fmt: skip
def test_codes_survive_a_file_within_half_a_step(tmp_path, picture, name, bits, step):
    write_still(tmp_path / name, picture, bits=bits)
    back = read_still(tmp_path / name)
    assert np.abs(back.pixels - picture).max() <= 0.5001 / step
    assert back.bits == bits


def test_a_jpeg_is_close(tmp_path):
    ramp = np.linspace(0.1, 0.9, 64, dtype=np.float32)[None, :, None].repeat(32, 0).repeat(3, 2)
    write_still(tmp_path / "a.jpg", ramp)
    assert np.abs(read_still(tmp_path / "a.jpg").pixels - ramp).max() <= 4 / 255


def source(path, picture, channels=3, **attributes):
    spec = oiio.ImageSpec(picture.shape[1], picture.shape[0], channels, "float")
    spec.set_format("half" if path.suffix == ".exr" else "uint8")
    for name, value in attributes.items():
        spec.attribute(name.replace("__", ":"), value)
    writer = oiio.ImageOutput.create(str(path))
    writer.open(str(path), spec)
    writer.write_image(np.ascontiguousarray(picture))
    writer.close()


@pytest.mark.parametrize("suffix", [".png", ".tif", ".exr"])
def test_alpha_is_kept_and_colour_is_graded_as_if_it_were_not_there(
    look, tmp_path, picture, suffix
):
    alpha = np.linspace(0.25, 1, 24 * 32, dtype=np.float32).reshape(24, 32, 1)
    path = tmp_path / f"a{suffix}"
    stored = picture * alpha
    source(path, np.concatenate([stored, alpha], axis=-1), 4)
    (done,) = grade(look, [path], camera="C", output="web", into=tmp_path / "o")
    assert done.problem == ""
    before, after = read_still(path), read_still(done.target)
    assert np.abs(after.alpha - before.alpha).max() <= 1e-3
    plain = look.evaluate(before.pixels, camera="C", output="web")
    assert np.abs(after.pixels - plain).max() <= 4 / 255


def with_alpha(path, picture, alpha):
    spec = oiio.ImageSpec(*picture.shape[1::-1], 4, "float")
    spec.channelnames, spec.alpha_channel = ("R", "G", "B", "A"), 3
    writer = oiio.ImageOutput.create(str(path))
    assert writer.open(str(path), spec)
    whole = np.concatenate([picture, np.full((*picture.shape[:2], 1), alpha)], axis=-1)
    assert writer.write_image(whole.astype(np.float32))
    writer.close()
    return path


def test_a_picture_that_alpha_hides_is_graded_and_told_once(look, tmp_path, picture):
    hidden = with_alpha(tmp_path / "hidden.exr", picture, 0.0)
    shown = with_alpha(tmp_path / "shown.exr", picture, 1e-3)
    place = {"camera": "A", "output": "monitor", "into": tmp_path / "out"}
    one, other = grade(look, [hidden, shown], **place)
    (told,) = one.warnings
    assert told.startswith(f"{hidden}: its alpha is 0 everywhere")
    assert not other.warnings
    made = read_still(one.target)
    assert not made.alpha.any()
    wanted = look.apply(picture, camera="A", output="monitor")
    assert made.pixels == pytest.approx(wanted, abs=1e-3)
    # What holds no alpha hides nothing.
    (seen,) = grade(look, [hidden], **place, extension="jpg")
    assert not any("0 everywhere" in one for one in seen.warnings)


def test_a_sequence_that_alpha_hides_is_told_once(look, tmp_path, picture):
    for number in range(4):
        with_alpha(tmp_path / f"a.{number:04}.exr", picture, number // 2)
    place = {"camera": "A", "output": "monitor", "into": tmp_path / "out"}
    (done,) = grade(look, [tmp_path / "a.####.exr"], **place)
    (told,) = [one for one in done.warnings if "alpha" in one]
    assert "2 of 4 pictures" in told


def test_metadata_is_kept_and_what_would_be_untrue_is_not(look, tmp_path, picture):
    path = tmp_path / "a.tif"
    source(path, picture, Artist="Nobody", ImageDescription="take 3", oiio__ColorSpace="odd")
    (done,) = grade(look, [path], camera="C", output="web", into=tmp_path / "o")
    spec = read_still(done.target).spec
    assert spec.get_string_attribute("Artist") == "Nobody"
    assert spec.get_string_attribute("ImageDescription") == "take 3"
    assert spec.get_string_attribute("oiio:ColorSpace") != "odd"


def test_pixels_that_are_not_finite_are_counted_and_come_out_finite(look, tmp_path, picture):
    picture[3, 4, 1] = np.nan
    picture[5, 6, 0] = np.inf
    path = tmp_path / "a.exr"
    source(path, picture)
    (done,) = grade(look, [path], camera="A", output="web", into=tmp_path / "o")
    assert done.not_finite == 2
    assert np.isfinite(read_still(done.target).pixels).all()


def bad_files(folder, picture):
    source(folder / "grey.png", picture[..., :1], 1)
    write_still(folder / "whole.tif", picture)
    whole = (folder / "whole.tif").read_bytes()
    (folder / "short.tif").write_bytes(whole[: len(whole) // 2])
    write_still(folder / "whole.png", picture)
    whole = (folder / "whole.png").read_bytes()
    (folder / "short.png").write_bytes(whole[: len(whole) // 2])
    (folder / "empty.dpx").write_bytes(b"")
    (folder / "text.exr").write_text("no picture")
    (folder / "folder.png").mkdir()
    return ["grey.png", "short.tif", "short.png", "empty.dpx", "text.exr", "folder.png", "none.png"]


def test_a_bad_file_is_told_and_the_others_go_on(look, tmp_path, picture, capfd):
    names = bad_files(tmp_path, picture)
    files = [tmp_path / name for name in (*names, "whole.tif")]
    done = grade(look, files, camera="C", output="web", into=tmp_path / "o")
    *bad, good = done
    assert len(bad) == len(names)
    for one in bad:
        assert one.problem.startswith(str(one.source)), one.problem
    assert good.problem == ""
    assert [path.name for path in (tmp_path / "o").iterdir()] == [good.target.name]


def test_nothing_is_overwritten_unless_it_is_asked_for(look, tmp_path, picture):
    path = tmp_path / "a.tif"
    write_still(path, picture)
    before = path.read_bytes()
    args = {"camera": "C", "output": "web"}
    (first,) = grade(look, [path], **args)
    assert first.target != path
    first.target.write_bytes(b"of somebody else")
    (again,) = grade(look, [path], **args)
    assert "exists already" in again.problem
    assert first.target.read_bytes() == b"of somebody else"
    (once_more,) = grade(look, [path], overwrite=True, **args)
    assert once_more.problem == ""
    assert path.read_bytes() == before


def test_a_source_is_never_the_target_even_if_overwriting(look, tmp_path, picture):
    path = tmp_path / "shot_Plain_web.tif"
    link = tmp_path / "shot.tif"
    write_still(path, picture)
    link.symlink_to(path)
    before = path.read_bytes()
    (done,) = grade(look, [link], camera="C", output="web", overwrite=True)
    assert done.problem
    assert path.read_bytes() == before


def test_wrong_requests_are_refused_before_any_work(look, tmp_path, picture):
    with pytest.raises(InputError, match="unknown format 'gif'"):
        grade(look, [], camera="C", output="web", extension="gif")
    with pytest.raises(InputError, match="unknown camera"):
        grade(look, [], camera="Z", output="web")
    with pytest.raises(InputError, match="9 bits do not fit"):
        write_still(tmp_path / "a.png", picture, bits=9)
    with pytest.raises(InputError, match="cannot be written"):
        write_still(tmp_path / "no" / "a.png", picture)
    assert not list(tmp_path.iterdir())

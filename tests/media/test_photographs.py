"""Photographs: upright, with their colour profile, and camera raw as the light that it is."""

import io

import numpy as np
import pytest

from lookkit.errors import RecipeError
from lookkit.look import Look
from lookkit.media.stills import read_still, write_still
from lookkit.recipe.load import parse_recipe
from lookkit.spaces.icc import profile_of
from lookkit.spaces.outputs import output, outputs
from tests.media.grading import grade

Image = pytest.importorskip("PIL.Image", reason="profiles are read by Pillow")
from PIL import ImageCms, ImageOps  # noqa: E402

RECIPE = """
schema = 1
name = "Plain"
[cameras.C]
encoding = "sRGB"
[outputs.web]
output = "sRGB"
[outputs.phone]
output = "Display P3"
[outputs.monitor]
output = "Rec.709 BT.1886"
"""


@pytest.fixture(scope="module")
def look():
    return Look(parse_recipe(RECIPE), RECIPE)


# The turn is Pillow's own, by the same tag (Exif 2.32, 4.6.4 A).
@pytest.mark.parametrize("how", range(1, 9))
@pytest.mark.parametrize("suffix", ["jpg", "png", "tif"])
def test_a_photograph_comes_out_upright(look, tmp_path, how, suffix):
    random = np.random.default_rng(how)
    blocks = random.integers(40, 220, (4, 6, 3), np.uint8).repeat(16, 0).repeat(16, 1)
    exif = Image.Exif()
    exif[0x0112] = how
    path = tmp_path / f"a.{suffix}"
    Image.fromarray(blocks).save(path, exif=exif, **({"quality": 100} if suffix == "jpg" else {}))
    upright = np.asarray(ImageOps.exif_transpose(Image.open(path)), np.float32) / 255
    assert np.abs(read_still(path).pixels - upright).max() <= 1e-6
    (done,) = grade(look, [path], camera="C", output="web", extension="png", into=tmp_path / "o")
    assert not done.problem
    with Image.open(done.target) as made:
        assert made.getexif().get(0x0112, 1) == 1
        assert made.size == upright.shape[1::-1]
    wanted = look.apply(upright, camera="C", output="web")
    assert np.abs(read_still(done.target).pixels - wanted).max() <= 2 / 255


def test_pixels_that_are_not_square_turn_too(tmp_path):
    oiio = pytest.importorskip("OpenImageIO")
    spec = oiio.ImageSpec(8, 4, 3, "uint8")
    spec.attribute("Orientation", 6)
    spec.attribute("PixelAspectRatio", 2.0)
    path = tmp_path / "a.tif"
    writer = oiio.ImageOutput.create(str(path))
    writer.open(str(path), spec)
    writer.write_image(np.zeros((4, 8, 3), np.uint8))
    writer.close()
    still = read_still(path)
    assert still.pixels.shape == (8, 4, 3)
    assert still.spec.get_float_attribute("PixelAspectRatio") == pytest.approx(0.5)


def seen(profile, codes):
    """The XYZ, relative to D50, that Little CMS reads codes as."""
    source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
    lab = ImageCms.createProfile("LAB", 5000)
    convert = ImageCms.buildTransform(source, lab, "RGB", "LAB", renderingIntent=1)
    picture = ImageCms.applyTransform(Image.fromarray(codes[None]), convert)
    # Pillow's Lab of 8 bits: a and b are two's complement.
    found = np.asarray(picture)[0].astype(np.int64)
    return np.stack([found[:, 0] / 2.55, *((found[:, k] + 128) % 256 - 128 for k in (1, 2))], -1)


@pytest.mark.parametrize("name", ["sRGB", "Display P3"])
def test_a_profile_means_what_the_output_means(name):
    colour = pytest.importorskip("colour", reason="compared with colour-science")
    profile = profile_of(output(name))
    assert len(profile) < 700
    cms = ImageCms.ImageCmsProfile(io.BytesIO(profile))
    assert ImageCms.getProfileDescription(cms).strip() == name
    assert cms.profile.version == pytest.approx(4.4)
    random = np.random.default_rng(3)
    codes = random.integers(0, 256, (400, 3), np.uint8)
    codes[:3] = [[0, 0, 0], [255, 255, 255], [128, 128, 128]]
    space = colour.RGB_COLOURSPACES[name]
    d50 = np.array([0.3457, 0.3585])
    xyz = colour.RGB_to_XYZ(codes / 255, space, d50, "Bradford", apply_cctf_decoding=True)
    lab = colour.XYZ_to_Lab(xyz, d50)
    assert np.abs(seen(profile, codes) - lab).max() <= 1.0  # Lab of 8 bits
    if name == "sRGB":
        builtin = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
        assert np.abs(seen(profile, codes) - seen(builtin, codes)).max() <= 1.0


def test_video_and_cinema_have_no_profile():
    found = {name for name in outputs() if profile_of(output(name)) is not None}
    assert found == {"sRGB", "Display P3"}


@pytest.mark.parametrize("suffix", ["png", "tif", "jpg"])
def test_stills_carry_their_profile(look, tmp_path, suffix):
    path = tmp_path / "a.tif"
    write_still(path, np.full((8, 8, 3), 0.5, np.float32))
    for name, target in (("web", "sRGB"), ("phone", "Display P3"), ("monitor", None)):
        (done,) = grade(look, [path], camera="C", output=name, extension=suffix, into=tmp_path)
        with Image.open(done.target) as made:
            held = made.info.get("icc_profile")
        assert held == (None if target is None else profile_of(output(target)))


def test_a_recipe_that_reads_raw_as_codes_is_refused():
    line = '[[shots]]\nmatch = "*.DNG"\ncamera = "C"\n'
    with pytest.raises(RecipeError, match=r"shots\[1\]\.camera: camera raw.*as sRGB.*ACEScg"):
        parse_recipe(RECIPE + line)
    raw = '[cameras.R]\nencoding = "ACEScg"\n'
    assert parse_recipe(RECIPE + raw + line.replace('"C"', '"R"')).shots[0].raw
    assert not parse_recipe(RECIPE + line.replace(".DNG", "DNG*")).shots[0].raw

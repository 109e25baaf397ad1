"""Photographs: upright, with their colour profile, and camera raw as the light that it is."""

import io
import struct

import numpy as np
import OpenImageIO as oiio
import pytest

from lookkit.errors import InputError, RecipeError
from lookkit.look import Look
from lookkit.media.jobs import Options, assign
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


def made_profile(columns, curve):
    """A matrix profile of version 2, with one curve for all three, by ICC.1:2001-04, 6.1 to 6.5."""

    def xyz(values):
        return b"XYZ " + bytes(4) + struct.pack(">3i", *(round(v * 65536) for v in values))

    tags = dict(zip((b"rXYZ", b"gXYZ", b"bXYZ"), map(xyz, columns), strict=True))
    tags |= dict.fromkeys((b"rTRC", b"gTRC", b"bTRC"), b"curv" + bytes(4) + curve)
    tags[b"desc"] = b"desc" + bytes(4) + struct.pack(">I", 5) + b"Kiln\0" + bytes(78)
    table, data = struct.pack(">I", len(tags)), b""
    for name, content in tags.items():
        table += struct.pack(">4sII", name, 132 + 12 * len(tags) + len(data), len(content))
        data += content + bytes(-len(content) % 4)
    head = struct.pack(">I4s4s12s", 132 + 12 * len(tags) + len(data), b"", b"\2\x20\0\0",
                       b"mntrRGB XYZ ").ljust(36, b"\0") + b"acsp"  # fmt: skip
    return head.ljust(68, b"\0") + xyz((0.9642, 1.0, 0.8249))[8:] + bytes(48) + table + data


WIDE = ((0.60974, 0.31111, 0.01947), (0.20528, 0.62567, 0.06087), (0.14919, 0.06322, 0.74457))
P3 = ((0.51512, 0.24120, -0.00105), (0.29198, 0.69225, 0.04189), (0.15710, 0.06657, 0.78407))
BYTES = np.arange(1024) / 1023
TABLE = np.where(BYTES > 0.04045, ((BYTES + 0.055) / 1.055) ** 2.4, BYTES / 12.92)  # IEC 61966-2-1
SRGB_CURVE = struct.pack(">I", 1024) + np.rint(TABLE * 65535).astype(">u2").tobytes()


@pytest.mark.parametrize(
    ("profile", "means"),
    [
        # Columns as the profiles of these names have them: values from memory.
        (made_profile(WIDE, struct.pack(">IH", 1, 563)), "Adobe RGB"),
        (made_profile(P3, SRGB_CURVE), "Display P3"),
        (ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes(), "sRGB"),
        (profile_of(output("Display P3")), "Display P3"),
        (made_profile(P3, struct.pack(">IH", 1, 461)), None),
    ],
)
@pytest.mark.parametrize("suffix", ["jpg", "png", "tif"])
def test_the_profile_of_a_photograph_says_what_it_is(look, tmp_path, profile, means, suffix):
    path = tmp_path / f"a.{suffix}"
    Image.fromarray(np.full((8, 8, 3), 90, np.uint8)).save(path, icc_profile=profile)
    (taken,), _ = assign(look, [path], Options(camera="C", output="web"))
    told = means or "with the ICC profile 'Kiln'"
    wanted = f"{path}: tagged {told}, but the recipe reads camera C as sRGB; the recipe is followed"
    assert taken.warnings == (() if means == "sRGB" else (wanted,))
    # A camera of that encoding takes it by itself.
    text = f'{RECIPE}[cameras.W]\nencoding = "{means or "ProPhoto RGB"}"\n'
    wide = Look(parse_recipe(text), text)
    found, refused = assign(wide, [path], Options(output="web"))
    if means is None:
        assert "nothing says which camera took it" in refused[0].problem
    elif means != "sRGB":
        assert found[0].camera == "W"


def written(path, names, shape=(6, 8), *, window=None, frame=None, kind="half", **words):
    """A picture of given channels, and the pixels in it."""
    spec = oiio.ImageSpec(shape[1], shape[0], len(names), kind)
    spec.channelnames = names
    if window is not None:
        spec.x, spec.y = window
        spec.full_x, spec.full_y, spec.full_width, spec.full_height = frame
    for name, value in words.items():
        spec.attribute(name, value)
    pixels = np.random.default_rng(4).random((*shape, len(names)), np.float32)
    pixels = pixels.astype(np.float16).astype(np.float32)
    out = oiio.ImageOutput.create(str(path))
    assert out.open(str(path), spec)
    assert out.write_image(pixels)
    out.close()
    return pixels


@pytest.mark.parametrize(
    ("window", "beyond"), [((3, 2), False), ((0, 0), False), ((-2, 1), True), ((30, 1), True)]
)
def test_a_picture_that_fills_a_part_of_its_frame_stays_in_its_place(
    look, tmp_path, window, beyond
):
    path = tmp_path / "a.exr"
    pixels = written(path, ["R", "G", "B"], window=window, frame=(0, 0, 20, 10))
    whole = np.zeros((10, 20, 3), np.float32)
    for y, x in np.ndindex(6, 8):
        if 0 <= x + window[0] < 20 and 0 <= y + window[1] < 10:
            whole[y + window[1], x + window[0]] = pixels[y, x]
    assert np.array_equal(read_still(path).pixels, whole)
    (taken,), _ = assign(look, [path], Options(camera="C", output="web"))
    told = f"{path}: holds pixels outside its frame: left out"
    assert (told in taken.warnings) == beyond


def test_a_frame_far_larger_than_its_picture_is_refused(tmp_path):
    written(tmp_path / "a.exr", ["R", "G", "B"], window=(0, 0), frame=(0, 0, 60000, 60000))
    with pytest.raises(InputError, match="claims a frame of 60000x60000"):
        read_still(tmp_path / "a.exr")


def test_layers_and_pages_beside_the_picture_are_told(look, tmp_path):
    layers, pages = tmp_path / "a.exr", tmp_path / "b.tif"
    names = ["R", "G", "B", "A", "Z", "gloss.R", "gloss.G", "gloss.B"]
    written(layers, names)
    picture = Image.fromarray(np.full((8, 8, 3), 90, np.uint8))
    picture.save(pages, save_all=True, append_images=[picture])
    taken, _ = assign(look, [layers, pages], Options(camera="C", output="web"))
    others = "holds channels Z, gloss.R, gloss.G, gloss.B too: left out"
    assert taken[0].warnings == (f"{layers}: {others}",)
    assert taken[1].warnings == (f"{pages}: holds more than one picture: the first is taken",)


def test_what_is_no_red_green_and_blue_is_refused(tmp_path):
    written(tmp_path / "a.exr", ["Y", "RY", "BY"])
    grey = Image.fromarray(np.full((8, 8, 3), 90, np.uint8))
    for name, form in (("b.jpg", "CMYK"), ("c.tif", "CMYK"), ("d.tif", "LAB"), ("e.png", "LA")):
        grey.convert(form).save(tmp_path / name)
    for name in ("a.exr", "b.jpg", "c.tif", "d.tif", "e.png"):
        with pytest.raises(InputError, match=rf"{name}: .*, expected red, green and blue"):
            read_still(tmp_path / name)


def test_a_dpx_is_turned_as_its_header_says_or_refused(tmp_path):
    """SMPTE ST 268-1, image orientation: two bytes at 768; the columns run first from 4 on."""
    path = tmp_path / "a.dpx"
    write_still(path, np.random.default_rng(5).random((6, 8, 3), np.float32))
    data, plain = path.read_bytes(), read_still(path).pixels
    order = ">" if data[:4] == b"SDPX" else "<"
    turned = [plain, plain[:, ::-1], plain[::-1], plain[::-1, ::-1]]
    for how in range(8):
        path.write_bytes(data[:768] + struct.pack(f"{order}H", how) + data[770:])
        if how < 4:
            assert np.array_equal(read_still(path).pixels, turned[how])
        else:
            with pytest.raises(InputError, match="lines run from top to bottom"):
                read_still(path)

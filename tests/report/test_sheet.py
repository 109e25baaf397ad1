"""A sheet shows every picture, in its place, as sRGB."""

import base64
import io
import re

import numpy as np
import pytest
from click.testing import CliRunner

from lookkit.cli.sheet import command
from lookkit.errors import InputError
from lookkit.look import Look
from lookkit.media.jobs import Options
from lookkit.recipe.load import parse_recipe
from lookkit.recipe.shots import Shot
from lookkit.report.frames import graded_frames
from lookkit.report.sheet import Cell, Row, draw_sheet
from lookkit.report.shown import recorded, seen, small
from tests.report.film import RECIPE, gradient, write_film

Image = pytest.importorskip("PIL.Image")

COLOURS = [(200, 30, 30), (30, 200, 30), (30, 30, 200), (200, 200, 30)]


@pytest.fixture(scope="module")
def film(tmp_path_factory):
    return write_film(tmp_path_factory.mktemp("film"))


@pytest.fixture
def four():
    cells = [Cell(np.full((90, 160, 3), c, dtype=np.uint8), f"cell {c}") for c in COLOURS]
    return [Row("one", cells[:2]), Row("two", cells[2:])]


def is_srgb(profile):
    """Whether an ICC profile turns the corners of sRGB into themselves (LittleCMS)."""
    from PIL import ImageCms

    made = ImageCms.ImageCmsProfile(io.BytesIO(profile))
    picture = Image.new("RGB", (3, 1))
    picture.putdata([(255, 128, 0), (12, 200, 90), (128, 128, 128)])
    there = ImageCms.profileToProfile(picture, made, ImageCms.createProfile("sRGB"))
    return np.abs(np.asarray(there).astype(int) - np.asarray(picture).astype(int)).max() <= 1


def test_every_picture_stands_in_its_row_and_column(tmp_path, four):
    path = tmp_path / "sheet.png"
    draw_sheet(four, path, "A title", cell_width=160)
    with Image.open(path) as page:
        assert is_srgb(page.info["icc_profile"])
        pixels = np.asarray(page.convert("RGB")).astype(int)
    middles = []
    for colour in COLOURS:
        where = np.argwhere((np.abs(pixels - colour) <= 1).all(axis=-1))
        assert len(where) >= 90 * 160
        middles.append(where.mean(axis=0))
    (y0, x0), (y1, x1), (y2, x2), (y3, x3) = middles
    assert x0 < x1
    assert x2 < x3
    assert max(y0, y1) < min(y2, y3)


def test_an_html_sheet_holds_its_pictures_tagged_and_described(tmp_path, four):
    path = tmp_path / "sheet.html"
    draw_sheet(four, path, "Pots & <pans>", cell_width=160)
    text = path.read_text()
    assert "Pots &amp; &lt;pans&gt;" in text
    assert "<pans>" not in text
    found = re.findall(r'<img src="data:image/jpeg;base64,([^"]+)" alt="([^"]+)"', text)
    assert [told for _, told in found] == [
        f"{row.label}: {cell.caption}" for row in four for cell in row.cells
    ]
    for (data, _), colour in zip(found, COLOURS, strict=True):
        with Image.open(io.BytesIO(base64.b64decode(data))) as picture:
            assert is_srgb(picture.info["icc_profile"])
            assert np.abs(np.asarray(picture).astype(int) - colour).max() <= 3
    assert not re.findall(r'(?:src|href)="(?!data:)[^"#]', text)


def test_a_pdf_sheet_has_text_and_pictures_with_their_profile(tmp_path, four):
    path = tmp_path / "sheet.pdf"
    draw_sheet(four, path, "A title", cell_width=160)
    data = path.read_bytes()
    assert data.startswith(b"%PDF-")
    assert data.count(b"/Subtype /Image") == 4
    assert data.count(b"/ICCBased") >= 4
    assert b"/Title (A title)" in data


@pytest.mark.parametrize("suffix", ["png", "jpg", "pdf", "html"])
def test_the_same_rows_give_the_same_bytes(tmp_path, four, suffix):
    for name in ("first", "second"):
        draw_sheet(four, tmp_path / f"{name}.{suffix}", "A title", cell_width=160)
    assert (tmp_path / f"first.{suffix}").read_bytes() == (
        tmp_path / f"second.{suffix}"
    ).read_bytes()


def test_an_unknown_kind_of_sheet_is_refused(tmp_path, four):
    with pytest.raises(InputError, match=r"expected \.png"):
        draw_sheet(four, tmp_path / "sheet.gif")


def test_pictures_are_made_small_in_light():
    # Half black, half white reflects half the light: sRGB code 188 (IEC 61966-2-1).
    checker = (np.indices((64, 64)).sum(axis=0) % 2 * 255).astype(np.uint8)
    made = small(np.repeat(checker[..., None], 3, axis=-1), 16)
    assert (made == 188).all()
    same = np.arange(256, dtype=np.uint8).repeat(2).reshape(1, -1, 1).repeat(3, axis=2)
    assert (small(same.repeat(2, axis=0), 256)[0, :, 0] == np.arange(256)).all()


def test_signals_are_shown_as_the_same_light_in_srgb():
    colour = pytest.importorskip("colour")
    look = Look(parse_recipe(RECIPE), RECIPE)
    signal = np.array([[0.2, 0.5, 0.8], [1.0, 1.0, 1.0], [0.0, 0.0, 0.0], [0.9, 0.4, 0.3]])
    # BT.1886 with a black of 0 is a power of 2.4; sRGB by colour-science.
    wanted = colour.models.eotf_inverse_sRGB(signal**2.4) * 255
    found = seen(look.graph.output("monitor"), signal)
    assert np.abs(found - wanted).max() <= 0.51
    assert (seen(look.graph.output("web"), np.array([[0.1, 0.5, 1.0]])) == [[26, 128, 255]]).all()
    # PQ: paper white is 203 cd/m2 (ITU-R BT.2408), and what is brighter is held.
    white = colour.models.eotf_inverse_ST2084(np.array([203.0, 1000.0, 50.0]))[:, None].repeat(3, 1)
    shown = seen(look.graph.output("hdr"), white)
    assert np.abs(shown[:2].astype(int) - 255).max() <= 1
    assert shown[2, 0] == pytest.approx(colour.models.eotf_inverse_sRGB(50 / 203) * 255, abs=1)


def test_recorded_codes_are_shown_from_black_to_white_of_their_range():
    look = Look(parse_recipe(RECIPE), RECIPE)
    legal = np.array([[16, 16, 16], [235, 235, 235]], dtype=np.float32) / 255
    assert recorded(look, "B", legal).tolist() == [[0, 0, 0], [255, 255, 255]]
    assert recorded(look, "A", np.full((1, 3), 0.4, np.float32)).tolist() == [[102, 102, 102]]
    # Scene-linear 0.18 is sRGB code 118 (IEC 61966-2-1).
    assert recorded(look, "L", np.full((1, 3), 0.18, np.float32)).tolist() == [[118, 118, 118]]


def test_rows_are_scenes_and_columns_cameras(film):
    look, frames = film
    made = graded_frames(look, frames, width=48)
    assert made.output == "monitor"
    assert [row.label for row in made.rows] == ["day", "day", "night"]
    captions = [[cell.caption for cell in row.cells] for row in made.rows]
    # Two files of one scene and camera are named.
    assert captions[0][0].startswith("camera A, as recorded: day_A")
    captions[0][0] = captions[0][0].partition(":")[0]
    assert captions[0] == [
        f"camera {name}, {what}" for name in "ABL" for what in ("as recorded", "through the look")
    ]
    filled = [[cell.picture is not None for cell in row.cells] for row in made.rows]
    assert filled[0] == [True] * 6
    assert filled[1] == [True, True, False, False, False, False]
    assert filled[2] == [True, True, False, False, False, False]
    assert captions[2][2] == "camera B: no frame"


def test_pictures_are_those_that_apply_makes(film):
    look, frames = film
    made = graded_frames(look, [frames[1]], width=96)
    code = np.rint(gradient(0.1, 0.5) * 65535) / 65535
    signal = look.apply(code, camera="A", output="monitor", scene="night")
    wanted = seen(look.graph.output("monitor"), signal).astype(int)
    assert np.abs(made.frames[0].cells[1].picture.astype(int) - wanted).max() <= 1


def test_of_a_clip_the_middle_frame_is_shown(film):
    from lookkit.media.clip import frame_at, frames_of, planes_of, probe

    look, frames = film
    made = graded_frames(look, [frames[4]], width=96, before=False)
    assert made.frames[0].place.endswith("frame 3 of 5")
    clip = probe(frames[4])
    for share, number in ((0.0, 0), (0.5, 2), (1.0, 4)):
        alone = planes_of(frame_at(clip, share).picture)
        for one in frames_of(clip):
            both = zip(alone, planes_of(one.picture), strict=True)
            same = all((a[:, :96] == b[:, :96]).all() for a, b in both)
            assert same == (one.number == number)
    # The codes of that frame as FFmpeg widens them, full range in the recipe and legal here.
    matrix, offset = clip.coding.to_rgb()
    planes = np.stack([p[:, :96] / 65535 for p in planes_of(frame_at(clip).picture)], -1)
    code = (np.clip(planes @ matrix.T + offset, 0, 1) * 1023 - 64) / 876
    signal = look.apply(code.astype(np.float32), camera="A", output="monitor", scene="day")
    wanted = seen(look.graph.output("monitor"), signal).astype(int)
    assert np.abs(made.frames[0].cells[0].picture - wanted).max() <= 1


def test_looks_stand_side_by_side(film, tmp_path):
    look, frames = film
    other = tmp_path / "cold.toml"
    other.write_text(RECIPE.replace("contrast = 1.1", "contrast = 1.6"))
    variant = Look(parse_recipe(other.read_text()), other.read_text(), str(other))
    made = graded_frames(look, frames[:1], variants=[variant], before=False, width=48)
    assert [cell.caption for cell in made.rows[0].cells] == [
        "camera A, Clay and slip (film)",
        "camera A, Clay and slip (cold)",
    ]
    first, second = (cell.picture.astype(int) for cell in made.rows[0].cells)
    assert np.abs(first - second).max() > 10


def test_a_variant_without_the_camera_or_scene_is_refused(film):
    look, frames = film
    text = 'schema = 1\nname = "Bare"\n[cameras.B]\nencoding = "sRGB"\n[outputs.web]\noutput="sRGB"'
    bare = Look(parse_recipe(text), text, "bare.toml")
    with pytest.raises(InputError) as caught:
        graded_frames(look, frames[:1], variants=[bare])
    told = str(caught.value)
    assert "unknown output 'monitor'" in told
    assert "unknown camera 'A'" in told
    assert "unknown scene 'day'" in told


def test_files_of_nobody_are_refused_all_at_once_with_the_choices(film, tmp_path):
    from lookkit.media.stills import write_still

    look, frames = film
    for name in ("x.tif", "y.tif"):
        write_still(tmp_path / name, gradient(0, 1))
    with pytest.raises(InputError) as caught:
        graded_frames(look, [tmp_path / "x.tif", tmp_path / "y.tif", frames[0]])
    lines = str(caught.value).splitlines()
    assert len(lines) == 2
    assert all("the cameras: A (LogC4), B (BT.709 camera)" in line for line in lines)


def test_shots_of_the_command_come_before_the_recipes(film):
    look, frames = film
    shots = (Shot(match="day_A.*", camera="B", scene="night"),)
    made = graded_frames(look, frames[:1], Options(shots=shots), width=48)
    assert (made.frames[0].camera, made.frames[0].scene) == ("B", "night")


def test_a_frame_that_alpha_hides_is_shown_and_told(film, tmp_path):
    import OpenImageIO as oiio

    look, _ = film
    hidden = tmp_path / "hidden.exr"
    spec = oiio.ImageSpec(32, 18, 4, "float")
    spec.channelnames, spec.alpha_channel = ("R", "G", "B", "A"), 3
    writer = oiio.ImageOutput.create(str(hidden))
    assert writer.open(str(hidden), spec)
    assert writer.write_image(np.full((18, 32, 4), [0.3, 0.3, 0.3, 0.0], np.float32))
    writer.close()
    made = graded_frames(look, [hidden], Options(camera="A"), width=64)
    (told,) = made.warnings
    assert told.startswith(f"{hidden}: its alpha is 0 everywhere")
    assert made.frames[0].cells[-1].picture.max() > 50


def test_the_command_makes_the_sheet(film, tmp_path):
    look, frames = film
    target = tmp_path / "sheet.png"
    words = [look.source, *frames[:3], "-o", target, "--width", "64"]
    done = CliRunner().invoke(command, [str(word) for word in words])
    assert done.exit_code == 0, done.output
    with Image.open(target) as page:
        assert page.width > 4 * 64
    loose = CliRunner().invoke(
        command, [str(w) for w in (*words, "--shot", "day_A.*=A", "--shot", "night/*=L/day")]
    )
    assert loose.exit_code == 0, loose.output
    wrong = CliRunner().invoke(command, [str(word) for word in (*words, "--shot", "day=")])
    assert wrong.exit_code == 2
    assert "expected PATTERN=CAMERA" in wrong.output

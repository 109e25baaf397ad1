"""Which camera a file belongs to, shot lists, stills' tags and raw stills."""

from pathlib import Path

import numpy as np
import OpenImageIO as oiio
import pytest

from lookkit.errors import InputError
from lookkit.media.jobs import Options, Plan, plan
from lookkit.media.raw import read_raw
from lookkit.media.run import run
from lookkit.media.stills import read_still, write_still
from lookkit.media.tags import Tags, output_tags, still_tags
from lookkit.recipe.shots import Shot, shot_for
from lookkit.spaces.outputs import output, outputs
from tests.media.movies import RECIPE, made_look


@pytest.mark.parametrize(
    ("pattern", "path", "fits"),
    [
        ("A*", "card/A001.mov", True), ("a*", "A001.MOV", True), ("A*", "A/B001.mov", False),
        ("night/*", "x/night/B1.mov", True), ("night/*", "x/day/B1.mov", False),
        ("B00[12].*", "B002.mov", True), ("B00[12].*", "B003.mov", False),
        ("?001.mov", "C001.mov", True),
    ],
)  # fmt: skip
def test_a_shot_is_found_by_its_name(pattern, path, fits):
    assert Shot(match=pattern, camera="A").fits(Path(path)) is fits


def test_a_pattern_without_a_file_name_is_refused():
    with pytest.raises(ValueError, match="'\\.' names no file"):
        Shot(match=".", camera="A")


def test_the_first_line_that_fits_is_taken():
    shots = [Shot(match="A00*", camera="A", scene="kiln"), Shot(match="*", camera="B")]
    assert shot_for(shots, Path("A001.mov")).scene == "kiln"
    assert shot_for(shots, Path("X.mov")).camera == "B"
    assert shot_for(shots[:1], Path("X.mov")) is None


# ITU-T H.273, tables 2 to 4.
@pytest.mark.parametrize(
    ("name", "codes"),
    [
        ("Rec.709 BT.1886", (1, 1, 1)), ("sRGB", (1, 13, 1)), ("Display P3", (12, 13, 1)),
        ("P3-D65 2.6", (12, 2, 1)), ("Rec.2100 PQ 1000", (9, 16, 9)),
        ("Rec.2100 HLG 1000", (9, 18, 9)),
    ],
)  # fmt: skip
def test_outputs_have_their_code_points(name, codes):
    tags = output_tags(output(name))
    assert (tags.primaries, tags.transfer, tags.matrix) == codes


def test_every_output_is_tagged_or_refused():
    for one in outputs().values():
        if one.display.name == "CIE XYZ":
            with pytest.raises(InputError, match="X'Y'Z'"):
                output_tags(one)
        else:
            assert output_tags(one).matrix in (1, 9)


def test_tags_amount_to_an_encoding_only_where_they_say_enough():
    assert Tags(9, 18, 9).encoding == "HLG camera"
    assert Tags(1, 1, 1).encoding == "BT.709 camera"
    assert Tags(9, 2, 9).encoding is None
    assert Tags(9, 16, 9).encoding == "PQ camera"
    assert Tags(2, 16, 9).encoding is None


def test_real_pictures_say_what_their_headers_say(shared_data):
    exr = shared_data / "exr"
    told = {"Carrots.exr": "ACES2065-1", "XYZ.exr": None, "Desk.exr": None}
    for name, encoding in told.items():
        reader = oiio.ImageInput.open(str(exr / name))
        assert still_tags(reader.spec()).encoding == encoding
        reader.close()


def test_a_tagged_picture_finds_its_camera(tmp_path):
    look = made_look(RECIPE.replace("[rendering]", '[cameras.L]\nencoding = "ACEScg"\n[rendering]'))
    path = tmp_path / "x.exr"
    write_still(path, np.full((4, 4, 3), 0.18, np.float32), interop_id="lin_ap1_scene")
    (job,) = plan(look, [path], Options()).jobs
    assert job.camera == "L"


def test_a_raw_still_is_scene_linear_and_graded(shared_data, tmp_path):
    pytest.importorskip("rawpy", reason="raw stills need rawpy")
    path = shared_data / "raw" / "openisp_chart_crop.dng"
    scene = read_raw(path)
    assert scene.shape == (720, 1280, 3)
    # Where all three channels clip, the camera's white is neutral.
    white = scene.reshape(-1, 3)[scene.reshape(-1, 3).min(axis=1) > 0.97]
    assert len(white)
    assert np.ptp(np.median(white, axis=0)) < 0.01
    look = made_look(f'{RECIPE}[cameras.R]\nencoding = "ACEScg"\n')
    (job,) = plan(look, [path], Options(into=tmp_path)).jobs
    assert job.camera == "R"
    (done,) = run(look, Plan([job]))
    assert not done.problem
    graded = read_still(done.target).pixels
    wanted = look.apply(scene.astype(np.float32), camera="R", output="monitor")
    assert np.abs(graded - wanted).max() <= 1 / 65535
    (refused,) = plan(look, [path], Options(camera="A")).refused
    assert "developed to scene-linear light, but the recipe reads camera A as LogC4" in (
        refused.problem
    )
    (tmp_path / "x.dng").write_text("nothing")
    with pytest.raises(InputError, match="cannot be read as a raw still"):
        read_raw(tmp_path / "x.dng")

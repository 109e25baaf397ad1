"""The look modification transform: behind it, OpenColorIO's ACES 2 shows the film print."""

import numpy as np
import pytest

from lookkit.accuracy.difference import delta_e_2000
from lookkit.accuracy.samples import image_like, saturated_emitters
from lookkit.deliver import aces, acescct
from lookkit.deliver.agreement import as_opencolorio_reads
from lookkit.evaluate import evaluate
from lookkit.look import Look
from lookkit.lutfile.clf import scan_clf
from lookkit.ocio import Processor, library
from lookkit.recipe.load import parse_recipe
from lookkit.spaces.outputs import output
from lookkit.spaces.primaries import BT709
from lookkit.spaces.working import AP1_TO_AP0

AS_DELIVERED = True

NOT_YET = pytest.mark.xfail(
    strict=True,
    reason="the look through ACES 2 is steeper with the new print: 99.9 "
    "% of pictures within 2.6 Delta E, not 2.5",
)

RECIPE = """
schema = 1
name = "Warm print"
[cameras.A]
encoding = "LogC4"
[[look]]
kind = "lift-gamma-gain"
gain = { hue = 40.0, strength = 0.03 }
[[look]]
kind = "saturation"
saturation = 0.9
[outputs.monitor]
output = "Rec.709 BT.1886"
"""
ACES_2 = "ACES-OUTPUT - ACES2065-1_to_CIE-XYZ-D65 - SDR-100nit-REC709_2.0"
TO_XYZ = 100.0 * BT709.to_xyz().T
WHITE = np.ones(3) @ TO_XYZ


@pytest.fixture(scope="module")
def look():
    return Look(parse_recipe(RECIPE), RECIPE)


@pytest.fixture(scope="module")
def files(look, tmp_path_factory):
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(aces, "SIZE", 17)
        return aces.write_transform(look, None, tmp_path_factory.mktemp("aces"))


def lab(xyz):
    from lookkit.accuracy.difference import lab

    return lab(xyz, WHITE)


def through_aces_2(ap1):
    """OpenColorIO's builtin: scene light, AP1, to XYZ in cd/m2."""
    builtin = library().BuiltinTransform(style=ACES_2)
    return 100.0 * Processor([builtin]).apply_exact(ap1 @ AP1_TO_AP0.T)


def printed(look, ap1):
    """What the film print shows on Rec.709, XYZ in cd/m2."""
    return (
        np.clip(evaluate((*look.graph.look(), *look.graph.rendering("monitor")), ap1), 0, 1)
        @ TO_XYZ
    )


def test_behind_the_exact_transform_aces_2_shows_the_print(look):
    """OpenColorIO's own inverse and forward transform, in float32: a just visible step is 1."""
    rng = np.random.default_rng(21)
    colours = np.concatenate([image_like(rng, 5000), saturated_emitters(rng, 5000)])
    before = aces.LookTransform(look).exact(acescct.encode(colours))
    wrong = delta_e_2000(lab(printed(look, colours)), lab(through_aces_2(acescct.decode(before))))
    assert wrong.max() <= 0.1


def test_mid_grey_comes_out_at_ten_candelas(look):
    """Film print of this recipe: density 1.00 over mid-grey (H-61's aim); a neutral look."""
    plain = Look(
        parse_recipe(RECIPE[: RECIPE.index("[[look]]")] + RECIPE[RECIPE.index("[outputs") :]), ""
    )
    code = acescct.encode(np.full((1, 3), 0.18))
    shown = through_aces_2(acescct.decode(aces.LookTransform(plain).exact(code)))
    assert shown[0, 1] == pytest.approx(10.0, rel=1e-3)


@NOT_YET
def test_the_cube_as_opencolorio_reads_it_holds_its_certificate(files, look):
    (cube,) = [one for one in files if one.path.suffix == ".cube"]
    ocio = library()
    read = Processor([ocio.FileTransform(str(cube.path), interpolation=ocio.INTERP_TETRAHEDRAL)])
    colours = image_like(np.random.default_rng(22), 20000)
    found = acescct.decode(read.apply_exact(acescct.encode(colours)))
    wrong = delta_e_2000(lab(printed(look, colours)), lab(through_aces_2(found)))
    figures = cube.figures["tetrahedral"]
    assert wrong.mean() <= 1.05 * figures["image-like mean"] + 0.01
    assert np.quantile(wrong, 0.999) <= 1.3 * figures["image-like 99.9 %"] <= 2.5


def test_both_clf_files_are_the_cube(files):
    cube, code, wide = (one.path for one in files)
    assert [path.suffix for path in (cube, code, wide)] == [".cube", ".clf", ".clf"]
    ocio = library()
    read = Processor([ocio.FileTransform(str(cube), interpolation=ocio.INTERP_TETRAHEDRAL)])
    light = image_like(np.random.default_rng(23), 2000)
    aim = read.apply_exact(acescct.encode(light))
    np.testing.assert_allclose(as_opencolorio_reads(code)(acescct.encode(light)), aim, atol=1e-5)
    found = as_opencolorio_reads(wide)(light @ AP1_TO_AP0.T)
    np.testing.assert_allclose(found, acescct.decode(aim) @ AP1_TO_AP0.T, rtol=2e-4, atol=1e-5)
    for path in (code, wide):
        assert scan_clf(path).faults == ()


def test_each_file_says_where_it_holds(files):
    for one in files:
        text = one.path.read_text()
        for words in ("ACES 2 for Rec.709", "colours not held", "through ACES 2 for other"):
            assert words.replace("&", "&amp;") in " ".join(text[:5000].replace("\n# ", " ").split())


def test_the_figures_say_that_it_nearly_holds_in_sdr_and_not_in_hdr(look):
    trip = aces.LookTransform(look).round_trip()
    assert trip.lost == 0.0
    assert trip.p999 < 0.05
    sdr, hdr = trip.elsewhere.values()
    assert sdr[1] < 1.0 < hdr[0]
    for name in trip.elsewhere:
        assert name in str(trip)


def test_light_that_aces_2_cannot_show_is_counted(look):
    class Brighter(aces.LookTransform):
        def light(self, scene_light, shown=None):
            return 1.5 * super().light(scene_light, shown)

    trip = Brighter(look).round_trip()
    assert trip.beyond > 0.01
    assert trip.brightest == pytest.approx(1.5 * aces.LookTransform(look).round_trip().brightest)


def test_where_aces_2_renders_anyway_the_transform_is_the_look_alone(tmp_path, monkeypatch):
    monkeypatch.setattr(aces, "SIZE", 17)
    text = RECIPE + '[rendering]\nkind = "aces-2"\n[deliver]\ncertify = false\n'
    look = Look(parse_recipe(text), text)
    _, code, wide = (one.path for one in aces.write_transform(look, None, tmp_path))
    assert "<LUT3D" not in code.read_text() + wide.read_text()
    light = image_like(np.random.default_rng(24), 2000)
    aim = evaluate(look.graph.look(), light)
    found = as_opencolorio_reads(wide)(light @ AP1_TO_AP0.T)
    np.testing.assert_allclose(found, aim @ AP1_TO_AP0.T, rtol=1e-4, atol=1e-5)
    np.testing.assert_allclose(
        as_opencolorio_reads(code)(acescct.encode(light)), acescct.encode(aim), atol=1e-5
    )


def test_the_output_it_is_made_for_is_opencolorios_name_for_it():
    assert output(aces.SHOWN).aces2_style == ACES_2

"""The nearest CDL, and what completes it: together they are the look."""

import json
import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest

from lookkit.accuracy.difference import delta_e_2000
from lookkit.accuracy.samples import image_like
from lookkit.deliver import acescct
from lookkit.deliver import cdl_residual as residual
from lookkit.deliver.best_cdl import best_cdl
from lookkit.deliver.cdl import Correction
from lookkit.evaluate import evaluate
from lookkit.look import Look
from lookkit.nodes.cdl import Cdl
from lookkit.ocio import Processor, library
from lookkit.recipe.load import parse_recipe
from lookkit.spaces.outputs import output

AS_DELIVERED = True

RECIPE = """
schema = 1
name = "Warm print"
[cameras.A]
encoding = "LogC4"
[[look]]
kind = "saturation"
saturation = 1.2
[[look]]
kind = "lift-gamma-gain"
gain = [1.05, 1.0, 0.93]
gamma = 1.1
[[look]]
kind = "curve"
points = [[-8.0, -8.0], [0.0, 0.0], [2.0, 1.7], [6.0, 5.0]]
[scenes.kiln]
[[scenes.kiln.trims]]
kind = "exposure"
stops = 0.5
[outputs.monitor]
output = "Rec.709 BT.1886"
[deliver]
scenes = ["kiln"]
"""
MONITOR = output("Rec.709 BT.1886")


@pytest.fixture(scope="module")
def look():
    return Look(parse_recipe(RECIPE), RECIPE)


@pytest.fixture(scope="module")
def light(look):
    return acescct.viewed(look.graph.rendering("monitor"), MONITOR)


@pytest.fixture(scope="module")
def files(look, tmp_path_factory):
    folder = tmp_path_factory.mktemp("cdl")
    return [one for job in residual.jobs(look) for one in job.write(folder)]


def of(files, part, suffix, scene=None):
    (one,) = [f for f in files if (f.part, f.path.suffix, f.scene) == (part, suffix, scene)]
    return one


def seen(light, aim, found):
    return delta_e_2000(light.lab(aim), light.lab(found))


def fresh_code(seed=11, count=20000):
    return acescct.encode(image_like(np.random.default_rng(seed), count))


def test_the_fit_finds_a_look_that_is_a_cdl(light):
    node = Cdl(
        slope=(1.05, 1.0, 0.95), offset=(0.01, 0.0, -0.01), power=(0.95, 1, 1.1), saturation=1.1
    )
    found = best_cdl(node.evaluate, light, "x")
    code = fresh_code()
    aim = acescct.encode(node.evaluate(acescct.decode(code)))
    assert np.quantile(seen(light, aim, found.apply(code)), 0.99) < 0.01
    np.testing.assert_allclose(found.saturation, 1.1, atol=1e-3)


def test_no_other_cdl_near_it_is_nearer(look, light):
    """The figure that the fit minimises, Delta E 2000, on colours that it has not seen."""
    steps = look.graph.look()
    best = best_cdl(lambda scene: evaluate(steps, scene), light, "x")
    code = fresh_code()
    aim = acescct.encode(evaluate(steps, acescct.decode(code)))

    def cost(one):
        return np.square(seen(light, aim, one.apply(code))).sum()

    least = cost(best)
    for field, size in (("slope", 0.02), ("offset", 0.008), ("power", 0.02)):
        for channel in range(3):
            for sign in (-1, 1):
                moved = list(getattr(best, field))
                moved[channel] += sign * size
                values = {k: getattr(best, k) for k in ("slope", "offset", "power", "saturation")}
                assert cost(Correction("x", **{**values, field: tuple(moved)})) > least
    for saturation in (best.saturation - 0.05, best.saturation + 0.05):
        assert cost(Correction("x", best.slope, best.offset, best.power, saturation)) > least


@pytest.mark.parametrize("scene", [None, "kiln"])
@pytest.mark.parametrize("suffix", [".cube", ".clf"])
def test_cdl_and_residual_are_the_look_as_opencolorio_reads_both(files, look, light, suffix, scene):
    """The certificate's own figure for pictures holds for colours that it has not seen."""
    cc = of(files, "cdl-look", ".cc", scene)
    rest = of(files, "residual-look", suffix, scene)
    ocio = library()
    cdl = Processor([ocio.CDLTransform.CreateFromFile(str(cc.path), "")])
    lut = Processor([ocio.FileTransform(str(rest.path), interpolation=ocio.INTERP_TETRAHEDRAL)])
    code = fresh_code()
    found = lut.apply_exact(cdl.apply_exact(code))
    chain = (*look.graph.trims(scene), *look.graph.look(scene))
    aim = acescct.encode(evaluate(chain, acescct.decode(code)))
    wrong = seen(light, aim, found)
    if suffix == ".clf":
        assert np.abs(found - aim).max() <= 2e-5
        return
    certificate = json.loads(rest.path.with_name(rest.path.name + ".json").read_text())
    (tetra,) = [one for one in certificate["readings"] if one["reader"] == "tetrahedral"]
    figures = tetra["sets"]["image-like"]["delta_e_2000"]
    assert wrong.mean() <= 1.05 * figures["mean"]
    assert np.quantile(wrong, 0.999) <= 1.2 * figures["p999"]
    assert figures["p999"] <= 2.5
    alone = seen(light, aim, cdl.apply_exact(code))
    assert wrong.mean() < 0.5 * alone.mean()


def test_the_figures_stand_in_the_cc_the_cube_and_the_record(files):
    cc, cube = of(files, "cdl-look", ".cc"), of(files, "residual-look", ".cube")
    (told,) = cc.accuracy
    assert told.startswith("CDL alone: mean ")
    assert "CDL + residual: mean " in told
    description = ET.parse(cc.path).getroot()[0].text
    assert told in description
    assert "without clamps" in description
    head = " ".join(
        line[2:] for line in cube.path.read_text()[:3000].split("\n") if line[:1] == "#"
    )
    assert told in head
    assert cc.figures["CDL + residual 99 %"] < cc.figures["CDL alone 99 %"]


def test_the_figure_of_the_cdl_alone_is_true(files, look, light):
    cc = of(files, "cdl-look", ".cc")
    read = library().CDLTransform.CreateFromFile(str(cc.path), "")
    code = fresh_code()
    aim = acescct.encode(evaluate(look.graph.look(), acescct.decode(code)))
    wrong = seen(light, aim, Processor([read]).apply_exact(code))
    assert wrong.mean() == pytest.approx(cc.figures["CDL alone mean"], rel=0.1)


def test_a_trim_of_half_a_stop_is_an_offset_above_the_toe(files, light):
    """ACEScct (Academy S-2016-001) has 17.52 stops to a code of one: half is 0.5 / 17.52."""
    cc = of(files, "cdl-trims", ".cc", "kiln")
    read = library().CDLTransform.CreateFromFile(str(cc.path), "")
    code = np.array([[0.3, 0.4, 0.5]])
    np.testing.assert_allclose(Processor([read]).apply_exact(code), code + 0.5 / 17.52, atol=2e-3)
    code = fresh_code()
    aim = acescct.encode(2.0**0.5 * acescct.decode(code))
    ours = np.square(seen(light, aim, Processor([read]).apply_exact(code))).mean()
    assert ours <= 1.1 * np.square(seen(light, aim, code + 0.5 / 17.52)).mean()


def test_the_collections_hold_every_correction(files):
    for suffix in (".ccc", ".cdl"):
        one = of(files, "cdl-collection", suffix)
        found = library().CDLTransform.CreateGroupFromFile(str(one.path))
        assert [cdl.getID() for cdl in found] == [
            "Warm-print", "Warm-print_kiln", "Warm-print_kiln_trims"
        ]  # fmt: skip


def test_a_cdl_is_undone():
    one = Correction("x", (1.2, 0.9, 1.0), (0.02, 0.0, -0.03), (1.1, 1.0, 0.9), 0.7)
    code = np.random.default_rng(1).uniform(0.05, 0.9, (500, 3))
    np.testing.assert_allclose(one.undo(one.apply(code)), code, atol=1e-9)


def test_building_twice_gives_the_same_bytes(tmp_path):
    text = re.sub(r'\[\[look\]\]\nkind = "curve"\npoints.*\n', "", RECIPE)
    text += "fit = false\ncertify = false\n"
    first, second = (
        [
            one.path.read_bytes()
            for job in residual.jobs(Look(parse_recipe(text), text))
            for one in job.write(tmp_path / folder)
        ]
        for folder in "ab"
    )
    assert first == second
    assert len(first) >= 5


def test_a_look_that_does_nothing_needs_no_residual(tmp_path):
    text = 'schema = 1\nname = "x"\n[cameras.A]\nencoding = "LogC4"\n[outputs.monitor]\n'
    text += 'output = "Rec.709 BT.1886"\n'
    look = Look(parse_recipe(text), text)
    made = [one for job in residual.jobs(look) for one in job.write(tmp_path)]
    assert [one.path.suffix for one in made] == [".cc", ".ccc", ".cdl"]
    assert "no residual is needed" in made[0].accuracy[0]

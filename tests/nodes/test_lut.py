"""An imported LUT does what other readers make of it, and says what it cannot use."""

import colour
import numpy as np
import PyOpenColorIO as ocio
import pytest
from hypothesis import given
from hypothesis.extra import numpy as hnp

from lookkit.errors import RecipeError
from lookkit.lutfile.cube import write_cube
from lookkit.nodes.lut import Lut
from lookkit.ocio import Processor
from lookkit.recipe.load import parse_recipe
from lookkit.spaces.encodings import encoding
from tests.nodes.strategies import lut_folder, number

codes = hnp.arrays(np.float64, (24, 3), elements=number(-0.3, 1.3))


def node(name, **more):
    fields = {"expects": "ACEScct", "returns": "ACEScct", **more}
    return Lut(file=str(lut_folder() / name), **fields)


def through(lut, code):
    """From code values of `expects` to code values of `returns`."""
    return encoding(lut.returns).encode(lut.evaluate(encoding(lut.expects).decode(code)))


@pytest.mark.parametrize("name", ["lattice.cube", "curve.cube", "grade.clf"])
@given(code=codes)
def test_a_lut_is_read_as_opencolorio_reads_it(name, code):
    """Source: OpenColorIO's own readers, tetrahedral where the file leaves the choice."""
    transform = ocio.FileTransform(str(lut_folder() / name), interpolation=ocio.INTERP_TETRAHEDRAL)
    reference = Processor([transform]).apply(code)
    np.testing.assert_allclose(through(node(name), code), reference, atol=2e-6)


@given(code=hnp.arrays(np.float64, (24, 3), elements=number(0, 1)))
def test_a_lattice_is_interpolated_as_colour_science_does(code):
    """Source: colour-science's tetrahedral interpolation and .cube reader."""
    table = colour.read_LUT(str(lut_folder() / "lattice.cube"))
    reference = table.apply(code, interpolator=colour.algebra.table_interpolation_tetrahedral)
    np.testing.assert_allclose(through(node("lattice.cube"), code), reference, atol=1e-6)


def test_the_encodings_stand_between_the_light_and_the_lut():
    """In by LogC4, out by ACEScct: the LUT's numbers are kept, their meaning changes."""
    code = np.array([0.3, 0.5, 0.7])
    lut = node("lattice.cube", expects="LogC4")
    same = through(node("lattice.cube"), code)
    np.testing.assert_allclose(through(lut, code), same, atol=1e-9)


def test_what_lies_outside_is_held_at_the_edge_and_counted():
    code = np.array([[0.5, 0.5, 0.5], [1.2, 0.5, 0.5], [0.5, -0.05, 0.5], [1.0, 0.0, 1.0]])
    lut = node("lattice.cube")
    light = encoding("ACEScct").decode(code)
    assert lut.count_outside(light) == 2
    np.testing.assert_array_equal(lut.evaluate(light)[1], lut.evaluate(encoding("ACEScct").decode(
        np.array([1.0, 0.5, 0.5]))))  # fmt: skip
    assert node("wide.cube").count_outside(light) == 0


def test_a_clf_that_clamps_nothing_counts_nothing():
    light = encoding("ACEScct").decode(np.array([[1.2, 0.5, 0.5], [0.5, -0.05, 0.5]]))
    assert node("grade.clf").count_outside(light) == 0


def test_a_clf_with_a_lattice_counts_what_it_clamps(tmp_path):
    table = ocio.Lut3DTransform(3)
    path = tmp_path / "table.clf"
    group = ocio.GroupTransform([table])
    group.write("Academy/ASC Common LUT Format", str(path), ocio.Config.CreateRaw())
    lut = Lut(file=str(path), expects="ACEScct", returns="ACEScct")
    light = encoding("ACEScct").decode(np.array([[1.2, 0.5, 0.5], [0.5, 0.4, 0.5]]))
    assert lut.count_outside(light) == 1


def test_a_file_that_changed_is_read_again(tmp_path):
    path = tmp_path / "x.cube"
    lattice = np.zeros((2, 2, 2, 3))
    write_cube(path, lattice, title="black", comments=[])
    lut = Lut(file=str(path), expects="ACEScg", returns="ACEScg")
    assert (lut.evaluate(np.full(3, 0.5)) == 0.0).all()
    write_cube(path, lattice + 0.25, title="a grey of another length", comments=["longer"])
    np.testing.assert_allclose(lut.evaluate(np.full(3, 0.5)), 0.25)


RECIPE = """schema = 1
name = "x"
[[look]]
kind = "lut"
file = "{file}"
expects = "{expects}"
returns = "ACEScct"
"""


def problem(folder, file, expects="ACEScct"):
    with pytest.raises(RecipeError) as caught:
        parse_recipe(RECIPE.format(file=file, expects=expects), str(folder / "recipe.toml"))
    (found,) = caught.value.problems
    return found


def test_the_file_is_looked_for_in_the_folder_of_the_recipe(tmp_path):
    (tmp_path / "luts").mkdir()
    write_cube(tmp_path / "luts" / "a.cube", np.zeros((2, 2, 2, 3)), title="a", comments=[])
    text = RECIPE.format(file="luts/a.cube", expects="ACEScct")
    (lut,) = parse_recipe(text, str(tmp_path / "recipe.toml")).look
    assert lut.path == tmp_path / "luts" / "a.cube"


def test_a_missing_file_is_a_problem_at_its_line(tmp_path):
    found = problem(tmp_path, "nowhere.cube")
    assert found.line == 5
    assert found.key == "look[1].file"
    assert "no such file" in found.found


def test_a_malformed_file_is_a_problem_with_the_line_in_the_file(tmp_path):
    (tmp_path / "bad.cube").write_text("LUT_3D_SIZE 2\n" + "0 0 0\n" * 4 + "0 zero 0\n" * 4)
    found = problem(tmp_path, "bad.cube")
    assert found.line == 5
    assert "bad.cube:6" in found.found


def test_a_malformed_clf_is_a_problem_with_the_line_in_the_file(shared_data, tmp_path):
    """Source: OpenColorIO's own test file of an array with a bad value."""
    found = problem(tmp_path, shared_data / "lut" / "illegal_array_bad_value.clf")
    assert found.line == 5
    assert "illegal_array_bad_value.clf:" in found.found


@pytest.mark.parametrize("name", ["lut.txt", "lut", "folder.cube"])
def test_what_is_no_lut_file_is_refused(tmp_path, name):
    (tmp_path / "folder.cube").mkdir()
    assert problem(tmp_path, name).line == 5


def test_an_unknown_encoding_is_a_problem_with_the_nearest_name(tmp_path):
    found = problem(lut_folder(), "lattice.cube", expects="LogC5")
    assert found.line == 6
    assert "LogC4" in found.expected

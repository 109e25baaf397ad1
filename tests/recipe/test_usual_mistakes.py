"""What people write by mistake is told with what to write instead, and never as a traceback."""

import pytest

from lookkit.deliver.config_ground import RESERVED
from lookkit.errors import RecipeError
from lookkit.look import load, loads
from lookkit.report.describe import warnings
from lookkit.trace import check_code
from tests.cli.test_cli import run

BASE = """schema = 1
name = "Plain"
[cameras.A]
encoding = "LogC4"
[outputs.monitor]
output = "Rec.709 BT.1886"
"""
NODE = '[[look]]\nkind = "exposure"\n'

MISTAKES = {
    "one bracket for two": (BASE + '[look]\nkind = "exposure"\n', 7, "[[look]]"),
    "a key of the recipe after a table": (BASE + "version = 2\n", 7, "above the first [table]"),
    "typographic quotes": (
        BASE.replace('"Plain"', "\u201cPlain\u201d"), 2, 'straight ones: name = "Plain"'
    ),
    "a format of an earlier version": (
        BASE + '[deliver]\nformats = ["clf-lattice"]\n', 8, "'clf-chain', each whole way"
    ),
    "JSON": ('{"schema": 1, "name": "x"}', 1, "this is JSON"),
    "a key twice": (BASE.replace("[cam", 'name = "y"\n[cam'), 3, "given again, first in line 2"),
    "a table twice": (BASE + '[cameras.A]\nencoding = "sRGB"\n', 7, "first in line 3"),
    "a unit in quotes": (
        BASE + '[[look]]\nkind = "white-balance"\nkelvin = "3000K"\n', 9, "unit: 3000"
    ),
    "a light's unit in quotes": (BASE + '[scenes.a]\nlight = "3000 K"\n', 8, "unit: 3000"),
    "log": (BASE.replace("LogC4", "log"), 4, "LogC4"),
    "an id twice": (BASE + NODE + (NODE + 'id = "a"\n') * 2, 14, "number 2 already"),
    "an umlaut in a header": (BASE.replace("cameras.A", "cameras.Ö"), 3, "[cameras.Oe]"),
    "an umlaut in a name": (BASE.replace("Plain", "Töpferei"), 2, "Toepferei"),
    "1,200 keys in each other": (BASE + ".".join("a" * 1200) + " = 1\n", 7, "nested too deeply"),
    "5,000 digits": (BASE.replace("schema = 1", "schema = " + "9" * 5000), 1, "5000 digits"),
    "5,000 digits in sixteens": (
        BASE + NODE + "stops = 0x" + "f" * 5000 + "\n", 9, "a number of 5002 digits"
    ),
    "5,000 digits, each apart": (BASE + NODE + "stops = 9" + "_9" * 5000, 9, "a number of"),
    "a set white's unit": (
        BASE + '[[look]]\nkind = "white-balance"\nkelvin = 2800\ncamera = "3200 K"\n', 10,
        "expected a number without quotes and unit: 3200",
    ),
    "a colon": (BASE.replace('name =', 'name:'), 2, 'a colon, expected name = "Plain"'),
    "a decimal comma": (BASE + NODE + "stops = 0,5\n", 9, "expected stops = 0.5"),
    "a unit": (BASE + NODE + "stops = 50%\n", 9, "a unit, expected stops = 50"),
    "a semicolon": (BASE + NODE.replace("re\"", "re\";"), 8, 'a semicolon, expected kind = "exp'),
    "text as it is": (BASE + NODE.replace('"', ""), 8, 'expected kind = "exposure"'),
    "another language's yes": (BASE + "[deliver]\nfit = True\n", 8, "expected fit = true"),
    "a dot in front": (BASE + NODE + "stops = .5\n", 9, "expected stops = 0.5"),
    "a dot at the end": (BASE + NODE + "stops = -1.\n", 9, "expected stops = -1.0"),
    "round brackets": (
        BASE + '[[look]]\nkind = "cdl"\nslope = (1, 1, 0.9)\n', 9, "expected slope = [1, 1, "
    ),
    "a list that does not close": (
        BASE + '[[look]]\nkind = "cdl"\nslope = [1.1,\n1\n', 11, "begun in line 9"
    ),
    "a header that does not close": (BASE + "[deliver\nfit = true\n", 7, "expected [deliver]"),
    "text that does not close": (BASE.replace('Plain"', "Plain"), 2, 'expected name = "Plain"'),
    "a name with a blank": (BASE + '[cameras.my cam]\n', 7, '[cameras."my cam"]'),
    "a dash and a colon": (BASE.replace("encoding =", "- encoding:"), 4, 'encoding = "LogC4"'),
    "another comment": (BASE + "// warm\n", 7, "expected # warm"),
    "a sum": (BASE + NODE + "stops = 1/3\n", 9, "its result as one number"),
    "a mark of a merge": (BASE + "<<<<<<< HEAD\n", 7, "one of the two"),
    "all in one line": (BASE.replace("\n", " "), 1, "a line of its own"),
    "two brackets for one": (
        BASE + '[[cameras.B]]\nencoding = "sRGB"\n', 7, "single brackets: [cameras.B]"
    ),
    "two brackets around all": (BASE + '[[outputs]]\noutput = "sRGB"\n', 7, "[outputs.NAME]"),
    "a day in words": (BASE + '[deliver]\ndate = "today"\n', 8, "such as 2026-05-01"),
    "a key left out": (BASE + "[cameras.B]\n", 7, 'missing, expected encoding = "..."'),
    "a choice left out": (
        BASE + '[[look]]\nkind = "lut"\nfile = "a.cube"\n', 7, 'expects = "'
    ),
    "a number of a list left out": (
        BASE + '[[look]]\nkind = "cdl"\nslope = [1, 1]\n', 9, "3 values in the list"
    ),
    "a number left out": (
        BASE + '[[look]]\nkind = "hue-bands"\nbands = [{ turn = 3 }]\n', 9, "centre = NUMBER"
    ),
    "a name without its signs": (BASE.replace("LogC4", "slog3"), 4, "S-Log3/S-Gamut3.Cine"),
    "a name by its number": (BASE.replace("LogC4", "Rec709"), 4, "BT.709 camera, "),
    "the old name of a key": (
        BASE + '[[look]]\nkind = "white-balance"\nkelvin = 3000\ntarget = "D65"\n', 10, "`camera`"
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", MISTAKES)
def test_a_usual_mistake_is_told_with_what_to_write(name):
    text, line, told = MISTAKES[name]
    with pytest.raises(RecipeError) as found:
        loads(text)
    first = next(one for one in found.value.problems if told in str(one))
    assert first.line == line


def test_a_missing_schema_hides_no_other_problem():
    with pytest.raises(RecipeError) as found:
        loads(BASE.replace("schema = 1\n", "") + NODE + "stop = 1\n")
    told = str(found.value)
    assert "schema: missing, expected schema = 1" in told
    assert "did you mean 'stops'" in told


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (BASE.partition("[cameras")[0] + '[outputs.m]\noutput = "sRGB"\n', "no cameras"),
        (BASE.partition("[outputs")[0], "no outputs"),
        (BASE + '[[look]]\nkind = "white-balance"\n', "says no light"),
        (BASE + '[[look]]\nkind = "white-balance"\nkelvin = 2800\n', "balanced twice"),
    ],
)
def test_check_tells_what_is_no_mistake_but_does_nothing_or_too_much(text, told):
    assert any(told in one for one in warnings(loads(text)))


def test_what_the_camera_was_set_to_is_said_in_kelvin_or_by_name():
    for camera in ("3200", '"tungsten"'):
        text = BASE + f'[[look]]\nkind = "white-balance"\nkelvin = 2800\ncamera = {camera}\n'
        assert warnings(loads(text)) == []


def test_codes_of_integers_are_refused_with_their_shares(tmp_path, capsys):
    path = tmp_path / "film.toml"
    path.write_text(BASE)
    status, _, err = run(capsys, "trace", path, "--camera", "A", "--colour", "255,128,0")
    assert status == 2
    assert "if these are 8 bits, write 1,0.502,0" in err
    for wrong in ("nan,0,0", "1e999,0,0", "0,5 0,2 0,1", "0.5"):
        status, _, err = run(capsys, "trace", path, "--camera", "A", "--colour", wrong)
        assert status == 2
        assert "expected three numbers, as 0.4,0.4,0.4" in err
    linear = loads(BASE.replace("LogC4", "ACEScg"))
    check_code(linear, "A", (255.0, 128.0, 0.0))


@pytest.mark.parametrize("name", [*RESERVED, "RAW", "acescg"])
def test_a_camera_may_have_a_name_that_configs_reserve(name, tmp_path):
    look = loads(BASE.replace("cameras.A", f'cameras."{name}"'))
    path = look.ocio_config(tmp_path)
    import PyOpenColorIO as ocio

    config = ocio.Config.CreateFromFile(str(path))
    config.validate()
    assert f"Camera {name}" in list(config.getColorSpaceNames())


def test_the_example_of_a_whole_recipe_is_warned_of_nothing(tmp_path):
    from lookkit.explain import RECIPE

    path = tmp_path / "film.toml"
    path.write_text(RECIPE)
    assert not [one for one in warnings(load(path)) if "balanced" in one]

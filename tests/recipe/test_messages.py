"""What is told of a wrong recipe says what to write instead, and where."""

import pytest
from click.testing import CliRunner

from lookkit.cli.trace import command as trace_command
from lookkit.errors import InputError, RecipeError
from lookkit.look import Look
from lookkit.recipe.load import parse_recipe
from lookkit.report.describe import warnings

HEAD = 'schema = 1\nname = "x"\n'
GOOD = f'{HEAD}[cameras.A]\nencoding = "LogC4"\n[outputs.monitor]\noutput = "Rec.709 BT.1886"\n'


def told(text):
    with pytest.raises(RecipeError) as caught:
        parse_recipe(text, "r.toml")
    return str(caught.value).splitlines()


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        (f'{HEAD}[look]\nkind = "exposure"\n', 3, ["[[look]]"]),
        (f'{HEAD}[scenes.kiln.trims]\nkind = "exposure"\n', 3, ["[[scenes.kiln.trims]]"]),
        (f'{HEAD}[[cameras]]\nencoding = "LogC4"\n', 3, ["[cameras.NAME]"]),
        (f'{HEAD}[[rendering]]\nkind = "film-print"\n', 3, ["[rendering]"]),
        ('schema = 1\n[cameras.A]\nencoding = "LogC4"\nname = "x"\n', 4, ["top of the file"]),
        ("schema = 1\nname = \u201cx\u201d\n", 2, ["typographic", 'name = "x"']),
        ("schema = 1\nname = \u201ex\u201c\n", 2, ["typographic", 'name = "x"']),
        ('{\n  "schema": 1,\n  "name": "x"\n}\n', 1, ["JSON", "TOML"]),
        (f'{HEAD}show = "a"\nname = "y"\n', 4, ["name is there twice", "line 2"]),
        (f'{GOOD}[cameras.A]\nencoding = "sRGB"\n', 7, ["[cameras.A] is there twice", "line 3"]),
        (f'{GOOD}[[look]]\nkind = "cdl"\n[[look]]\nkind = "cdl"\nkind = "x"\n', 11,
         ["kind is there twice", "line 10"]),
        (f'{HEAD}[[look]]\nkind = "white-balance"\nkelvin = "3000K"\n', 5, ["unit: 3000"]),
        (f'{HEAD}[[look]]\nkind = "exposure"\nstops = "0,5 stops"\n', 5, ["unit: 0.5"]),
        (f'{HEAD}[cameras.A]\nencoding = "log"\n', 4, ["LogC4", "V-Log", "S-Log3"]),
        (f'{GOOD}[[look]]\nid = "a"\nkind = "cdl"\n[[look]]\nid = "a"\nkind = "cdl"\n', 11,
         ["of r.toml:7"]),
        ('schema = 1\nname = "T\u00f6pferei gr\u00fcn"\n', 2, ["write Toepferei gruen"]),
        (f'{HEAD}[cameras."K\u00fcche"]\nencoding = "LogC4"\n', 3, ["write Kueche"]),
    ],
)  # fmt: skip
def test_what_is_wrong_is_told_with_what_to_write(text, line, words):
    lines = [one for one in told(text) if one.startswith(f"r.toml:{line}: ")]
    assert any(all(word in one for word in words) for one in lines), told(text)


def test_a_suggested_name_is_one_that_is_accepted():
    (line,) = [
        one for one in told('schema = 1\nname = "\u00c9t\u00e9 \u2013 \u00df"\n') if "write" in one
    ]
    name = line.rpartition("; write ")[2]
    assert parse_recipe(f'schema = 1\nname = "{name}"\n').name == name


def test_a_missing_schema_hides_nothing_else():
    found = told('name = "x"\nsho = "y"\n[cameras.A]\nencoding = "LogC5"\n')
    assert found[0] == "r.toml:1: schema: missing, expected schema = 1"
    assert any("sho: unknown key" in one for one in found)
    assert any("LogC5" in one for one in found)


@pytest.mark.parametrize("parts", [100, 1200, 20000])
def test_a_key_of_too_many_parts_is_refused_with_its_line(parts):
    (line,) = told(f"{HEAD}{'.'.join('a' * parts)} = 1\n")
    assert line.startswith("r.toml:3: a: ")
    assert "at most" in line


@pytest.mark.parametrize("where", ["version = {}", "[cameras.A]\nbits = [{}]", "x = [[{}]]"])
@pytest.mark.parametrize("digits", [20, 4000, 5000])
def test_an_integer_beyond_64_bits_is_refused_with_its_line(where, digits):
    """TOML 1.0: integers are of 64 bits."""
    (line,) = told(HEAD + where.format("1" * digits) + "\n")
    assert f"an integer of {digits} digits" in line
    assert line.startswith(f"r.toml:{3 + where.count(chr(10))}: ")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (f'{HEAD}[outputs.monitor]\noutput = "sRGB"\n', "no cameras"),
        (f'{HEAD}[cameras.A]\nencoding = "LogC4"\n', "no outputs"),
        (f'{GOOD}[[look]]\nkind = "white-balance"\n', "changes nothing"),
        (f'{GOOD}[[look]]\nkind = "white-balance"\nkelvin = 2800\n', "done twice"),
    ],
)
def test_check_warns_of_what_cannot_be_meant(text, words):
    assert any(words in one for one in warnings(Look(parse_recipe(text), text)))


def test_codes_as_whole_numbers_are_told_as_0_to_1(tmp_path):
    path = tmp_path / "r.toml"
    path.write_text(GOOD)
    arguments = [str(path), "--camera", "A", "--colour"]
    result = CliRunner().invoke(trace_command, [*arguments, "255,128,0"])
    assert isinstance(result.exception, InputError)
    assert "--colour 1,0.502,0" in str(result.exception)
    result = CliRunner().invoke(trace_command, [*arguments, "1023,512,0"])
    assert "of 10 bits (divided by 1023)" in str(result.exception)
    assert CliRunner().invoke(trace_command, [*arguments, "1.2,1,0"]).exception is None

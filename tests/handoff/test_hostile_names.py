"""No name leads out of the folder, breaks a file's syntax, or overwrites another's files."""

import json
import xml.etree.ElementTree as ET

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from lookkit.errors import InputError, LookkitError
from lookkit.files import safe_name
from lookkit.handoff.build import build
from lookkit.handoff.verify import verify
from lookkit.look import Look
from lookkit.ocio import library
from lookkit.recipe.load import parse_recipe
from lookkit.recipe.write import toml_text
from tests.handoff.verifying import bad

AS_DELIVERED = "lattices"

RESERVED = ["CON", "nul", "com1", "LPT9.txt", "aux.tar.gz"]
NASTY = "../../<&\"'>]]>\x01\n${x}: *a %d ’ü\u202e \\..\\"


def tables(
    name="Plain",
    show="Show",
    camera="A",
    output="monitor",
    encoding="Own",
    note="",
    formats=("cube",),
):
    return {
        "schema": 1,
        "name": name,
        "show": show,
        "note": note,
        "cameras": {camera: {"encoding": encoding, "note": note}},
        "outputs": {output: {"output": "Rec.709 BT.1886", "note": note}},
        "encodings": {
            encoding: {
                "curve": "sRGB",
                "primaries": "BT.709",
            }
        },
        "deliver": {
            "formats": list(formats), "sizes": [17], "fit": False, "certify": False
        },
    }  # fmt: skip


def look_of(**names):
    text = toml_text(tables(**names))
    return Look(parse_recipe(text), text)


@given(st.text(max_size=80))
@example("..")
@example("../x")
@example("a/../../b")
@example("C:\\x")
@example("\x00")
def test_a_safe_name_is_one_plain_component(name):
    safe = safe_name(name)
    assert safe
    assert safe not in (".", "..")
    assert set(safe) <= set("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789._-")
    assert not safe.startswith((".", "-"))
    assert not safe.endswith(".")


@pytest.mark.parametrize("name", RESERVED)
def test_a_name_that_some_system_keeps_for_a_device_is_changed(name):
    """Windows: CON, PRN, AUX, NUL, COM1-9, LPT1-9, with any ending (its naming rules)."""
    assert safe_name(name) != name
    assert safe_name(name).partition(".")[0].upper() not in ("CON", "NUL", "COM1", "LPT9", "AUX")


names = st.from_regex(r"\A[A-Za-z0-9][A-Za-z0-9 ._-]{0,20}\Z")


@settings(
    max_examples=8,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(names, names, names, names, st.text(min_size=1, max_size=30))
@example("a..", "x", "A", "o", "../../../etc/passwd")
@example("0", "0", "0", "0", "0\x1e\r\n\u2028\x850")
def test_whatever_things_are_called_a_build_stays_in_its_folder(
    tmp_path_factory, name, show, camera, output, encoding
):
    into = tmp_path_factory.mktemp("into") / "below"
    try:
        look = look_of(
            name=name, show=show, camera=camera, output=output, encoding=encoding, note=encoding
        )
    except InputError:
        return
    folder = build(look, into).folder
    assert list(into.parent.iterdir()) == [into]
    assert list(into.iterdir()) == [folder]
    files = {path for path in folder.rglob("*") if path.is_file()}
    listed = json.loads((folder / "manifest.json").read_text())["files"]
    assert {folder / name for name in listed} == files - {folder / "manifest.json"}
    assert bad(verify(folder, readers=())) == []


def test_names_and_notes_break_no_syntax(tmp_path):
    look = look_of(encoding=NASTY, note=NASTY, formats=("cube", "config", "clf", "cdl", "amf"))
    folder = build(look, tmp_path / "into").folder
    documents = [path for path in folder.rglob("*")
                 if path.suffix in (".clf", ".cc", ".ccc", ".cdl", ".amf")]  # fmt: skip
    assert len(documents) >= 6
    for path in documents:
        ET.parse(path)
    config = library().Config.CreateFromFile(str(folder / "ocio" / "config.ocio"))
    config.validate()
    assert bad(verify(folder, readers=())) == []
    assert list((tmp_path / "into").iterdir()) == [folder]


@pytest.mark.parametrize(("one", "other"), [("A b", "A-b"), ("a", "A"), ("x.", "x")])
def test_two_names_for_one_file_are_refused(tmp_path, one, other):
    given_tables = tables()
    camera = given_tables["cameras"].pop("A")
    given_tables["cameras"] |= {one: camera, other: camera}
    text = toml_text(given_tables)
    with pytest.raises(InputError) as caught:
        build(Look(parse_recipe(text), text), tmp_path)
    assert repr(one) in str(caught.value)
    assert repr(other) in str(caught.value)
    assert list(tmp_path.iterdir()) == []


def test_names_that_are_too_long_for_the_disk_leave_nothing(tmp_path):
    with pytest.raises(LookkitError):
        build(look_of(encoding="x" * 300), tmp_path)
    assert list(tmp_path.iterdir()) == []

"""The tables are found in a checkout and in an installation, and read once."""

import pytest

import lookkit
from lookkit.errors import LookkitError
from lookkit.spaces.data import Catalogue, configs_folder, shipped_table
from lookkit.spaces.encodings import encodings


@pytest.fixture
def elsewhere(tmp_path, monkeypatch):
    """A package folder somewhere else, with nothing in it."""
    package = tmp_path / "site" / "lookkit"
    package.mkdir(parents=True)
    monkeypatch.setattr(lookkit, "__file__", str(package / "__init__.py"))
    configs_folder.cache_clear()
    yield package
    configs_folder.cache_clear()


def test_a_checkout_has_its_tables_beside_the_package():
    assert (configs_folder() / "outputs.toml").is_file()


@pytest.mark.parametrize("place", ["configs", "../configs"])
def test_tables_are_found_inside_and_beside_the_package(elsewhere, place):
    folder = elsewhere / place
    folder.mkdir()
    (folder / "encodings.toml").touch()
    assert configs_folder().resolve() == folder.resolve()


def test_an_incomplete_installation_is_told(elsewhere):
    with pytest.raises(LookkitError, match="install lookkit again"):
        configs_folder()


def test_a_table_is_read_once():
    assert shipped_table("encodings") is shipped_table("encodings")


def test_entries_are_built_only_when_asked_for():
    built = []

    def build(name, entry):
        built.append(name)
        return encodings()["sRGB"]

    catalogue = Catalogue({"A": {"aliases": ["first"]}, "B": {"interop_id": "b_id"}}, build)
    assert list(catalogue) == ["A", "B"]
    assert "B" in catalogue
    assert catalogue.names == {"first": "A", "a": "A", "b_id": "B", "b": "B"}
    assert built == []
    assert catalogue["B"] is catalogue["B"]
    assert built == ["B"]

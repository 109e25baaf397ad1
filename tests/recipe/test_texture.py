"""The table [texture]: what it may say, and what is told where it is wrong."""

import pytest

from lookkit.errors import RecipeError
from lookkit.look import loads
from lookkit.recipe.texture import GATES, SETS
from lookkit.report.describe import describe

HEAD = """schema = 1
name = "Plain"
[cameras.A]
encoding = "LogC4"
[outputs.monitor]
output = "Rec.709 BT.1886"
"""


def numbers(text):
    return loads(f"{HEAD}[texture]\n{text}").recipe.texture.numbers


def test_an_empty_table_is_the_gentle_one():
    assert numbers("") == SETS["gentle"]
    assert loads(HEAD).recipe.texture is None


def test_keys_change_the_ready_one():
    found = numbers('like = "strong"\ngate = "35 mm"\ngranularity = 3.5\nhalation = [0.01, 0, 0]')
    assert found.gate == GATES["35 mm"]
    assert found.granularity == (3.5, 3.5, 3.5)
    assert found.halation == (0.01, 0.0, 0.0)
    assert found.grain == SETS["strong"].grain


def test_half_the_amount_is_half_of_grain_and_halo_and_twice_as_sharp():
    found, whole = numbers("amount = 0.5"), SETS["gentle"]
    assert found.granularity == pytest.approx([one / 2 for one in whole.granularity])
    assert found.halation == pytest.approx([one / 2 for one in whole.halation])
    assert found.softness == pytest.approx([one * 2 for one in whole.softness])
    assert found.edge == pytest.approx(whole.edge / 2)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('gate = "35mm"', "texture.gate: unknown gate '35mm', did you mean '35 mm'?"),
        ("gate = 0.5", "texture.gate: 0.5, expected at least 2"),
        ("halation = 0.9", "texture.halation: out of range, expected 0 to 0.5"),
        ("grain = [2, 2]", "texture.grain"),
        ("grains = 2", "texture.grains: unknown key, did you mean 'grain'?"),
        ('like = "wild"', "texture.like: \"wild\", expected 'gentle' or 'strong'"),
        ("by_density = [[1, 1], [0, 1]]", "texture.by_density: densities out of order"),
        ("amount = -1", "texture.amount: -1, expected at least 0"),
    ],
)
def test_what_is_wrong_is_told_at_its_line(text, told):
    with pytest.raises(RecipeError) as problem:
        numbers(text)
    assert told in str(problem.value)
    assert "<recipe>:8:" in str(problem.value)


def test_a_recipe_changes_single_keys_of_the_texture_below(tmp_path):
    (tmp_path / "low.toml").write_text(f'{HEAD}[texture]\nlike = "strong"\nedge = 0.1\n')
    text = 'schema = 1\nname = "Upper"\nextends = "low.toml"\n[texture]\namount = 0.5\n'
    texture = loads(text, folder=tmp_path).recipe.texture
    assert (texture.like, texture.edge, texture.amount) == ("strong", 0.1, 0.5)


def test_a_rendering_without_a_negative_is_told_of():
    text = describe(loads(f'{HEAD}[texture]\n[rendering]\nkind = "aces-2"\n'))
    assert "output monitor has no texture: aces-2 has no negative" in text
    assert "has no texture" not in describe(loads(f"{HEAD}[texture]\n"))

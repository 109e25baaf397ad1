"""A change that meets a text which has moved on: it lands on its own step, or is asked about."""

import pytest

from lookkit.page.changes import change_of
from lookkit.page.meeting import Gone, Unclear, landing
from lookkit.page.session import Session
from tests.page.film import RECIPE

FIRST = '[[look]]\nkind = "hue-bands"'
CONTRAST = '[[look]]\nkind = "contrast"\ncontrast = 1.1\n\n'
BARE = RECIPE.replace('id = "colour"\n', "")
"""The same without the name of the second step."""


@pytest.fixture
def recipe(tmp_path):
    path = tmp_path / "film.toml"
    path.write_text(RECIPE)
    return path


def place(base: str, now: str, path=("look", 1), key=("saturation",)):
    return landing(base, now, "film.toml", path, key)


@pytest.mark.parametrize("base", [RECIPE, BARE], ids=["named", "unnamed"])
def test_a_step_is_found_where_it_was_moved_to(base):
    assert place(base, base) == ("look", 1, "saturation")
    assert place(base, base.replace(FIRST, CONTRAST + FIRST)) == ("look", 2, "saturation")
    parts = base.split("# The last word on colour.")
    before, own = parts[0].split("# Leaves lean to olive.")
    step, rest = parts[1].split("[outputs.monitor]")
    swapped = f"{before}{step}\n{own}[outputs.monitor]{rest}"
    assert place(base, swapped) == ("look", 0, "saturation")


def test_a_step_without_a_name_that_was_changed_is_found_by_its_kind():
    now = BARE.replace(FIRST, CONTRAST + FIRST).replace("saturation = 1.2", "saturation = 0.7")
    assert place(BARE, now) == ("look", 2, "saturation")


def test_twins_of_which_one_went_are_not_told_apart():
    twin = '[[look]]\nkind = "saturation"\nsaturation = 1.2\n\n'
    with pytest.raises(Gone):
        place(BARE.replace(FIRST, twin + FIRST), BARE, path=("look", 2))


def test_a_step_that_is_gone_or_became_another_kind_is_not_found():
    own = RECIPE.index("# The last word on colour.")
    with pytest.raises(Gone):
        place(RECIPE, RECIPE[:own] + RECIPE[RECIPE.index("[outputs.monitor]") :])
    with pytest.raises(Gone):
        place(
            RECIPE + '\n[rendering]\nkind = "film-print"\n',
            RECIPE + '\n[rendering]\nkind = "aces-2"\n',
            ("rendering",),
            ("contrast",),
        )


def test_a_row_of_a_step_is_found_behind_a_new_one():
    now = RECIPE.replace("bands = [\n", "bands = [\n  { centre = 20, width = 50, soft = 30 },\n")
    assert place(RECIPE, now, ("look", 0), ("bands", 0, "turn")) == ("look", 0, "bands", 1, "turn")
    with pytest.raises(Gone):
        place(
            RECIPE,
            now.replace("turn = -12", "turn = -20"),
            ("look", 0),
            ("bands", 0, "turn"),
        )


def changed(session: Session, base: str, **message):
    given = {"do": "set", "base": base, "step": ["look", 1], "key": ["saturation"]}
    change_of(session, {**given, "value": 1.4, "was": 1.2, "label": "Colour", **message})


def test_a_value_goes_to_its_step_though_the_file_has_a_new_one_before_it(recipe):
    session = Session(recipe)
    base = session.digest
    recipe.write_text(RECIPE.replace(FIRST, CONTRAST + FIRST))
    changed(session, base)
    assert [step.kind for step in session.look.recipe.look] == [
        "contrast",
        "hue-bands",
        "saturation",
    ]
    assert session.look.recipe.look[2].saturation == 1.4
    assert session.look.recipe.look[0].contrast == 1.1


def test_a_value_that_both_have_set_is_asked_about_and_either_can_stay(recipe):
    session = Session(recipe)
    base = session.digest
    edited = RECIPE.replace("saturation = 1.2", "saturation = 0.9")
    recipe.write_text(edited)
    with pytest.raises(Unclear, match=r"it says 0.9 now.*You set 1.4. Nothing was written") as told:
        changed(session, base)
    assert recipe.read_text() == edited
    (words, again), (_, nothing) = told.value.choices
    assert words == "write 1.4 all the same"
    assert nothing is None
    change_of(session, again)
    assert recipe.read_text() == RECIPE.replace("saturation = 1.2", "saturation = 1.4")


def test_a_page_ahead_of_its_own_state_is_not_asked(recipe):
    session = Session(recipe)
    base = session.digest
    changed(session, base, value=1.3)
    changed(session, base, value=1.35, was=1.3)
    assert "saturation = 1.35" in recipe.read_text()


def test_a_step_that_went_leaves_a_choice_of_its_kind(recipe):
    base = BARE.replace(FIRST, '[[look]]\nkind = "saturation"\nsaturation = 0.8\n\n' + FIRST)
    recipe.write_text(base)
    session = Session(recipe)
    digest = session.digest
    edited = base.replace("saturation = 1.2", "saturation = 1.1").replace("= 0.8", "= 0.7")
    recipe.write_text(edited)
    with pytest.raises(Unclear, match="not certain any more") as told:
        changed(session, digest, step=["look", 2])
    assert [words for words, _ in told.value.choices] == [
        "let it act on “Colour”, step 1 now",
        "let it act on “Colour”, step 3 now",
        "leave the file as it is",
    ]
    assert recipe.read_text() == edited
    change_of(session, told.value.choices[1][1])
    assert "saturation = 1.4" in recipe.read_text()
    assert "saturation = 0.7" in recipe.read_text()


def test_a_change_on_a_text_that_nobody_knows_is_asked_about(recipe):
    session = Session(recipe)
    with pytest.raises(Unclear):
        changed(session, "0" * 16)
    assert recipe.read_text() == RECIPE


def test_removing_and_moving_find_their_step(recipe):
    session = Session(recipe)
    base = session.digest
    recipe.write_text(RECIPE.replace(FIRST, CONTRAST + FIRST))
    change_of(session, {"do": "shift", "base": base, "step": ["look", 1], "to": 0})
    assert [step.kind for step in session.look.recipe.look] == [
        "contrast",
        "saturation",
        "hue-bands",
    ]
    change_of(session, {"do": "remove", "base": base, "step": ["look", 1]})
    assert [step.kind for step in session.look.recipe.look] == ["contrast", "hue-bands"]
    change_of(session, {"do": "add", "base": base, "step": ["look", 1], "kind": "exposure"})
    assert [step.kind for step in session.look.recipe.look] == ["contrast", "hue-bands", "exposure"]

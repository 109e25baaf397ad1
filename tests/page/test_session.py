"""What is kept of a session when it ends in the middle."""

import pytest

from lookkit.errors import InputError, RecipeError
from lookkit.page import rewrite
from lookkit.page.session import Session, moved
from tests.page.film import RECIPE


@pytest.fixture
def recipe(tmp_path):
    path = tmp_path / "film.toml"
    path.write_text(RECIPE)
    return path


def louder(session: Session, value: float) -> None:
    file = str(session.file)
    session.change(
        "colour",
        lambda text: rewrite.set_value(text, file, ("look", 1, "saturation"), value),
    )


def test_undo_without_end_outlives_the_session(recipe):
    session = Session(recipe)
    for value in (1.3, 1.4, 1.5):
        louder(session, value)
    session.undo()
    session.keep("calm")
    again = Session(recipe)
    assert again.takes[0].name == "calm"
    again.redo()
    assert "saturation = 1.5" in recipe.read_text()
    for _ in range(9):
        again.undo()
    assert recipe.read_text() == RECIPE


def test_a_journal_that_was_cut_off_is_read_as_far_as_it_goes(recipe):
    session = Session(recipe)
    louder(session, 1.3)
    journal = session.journal.read_bytes()
    session.journal.write_bytes(journal + journal[:40])
    again = Session(recipe)
    again.undo()
    assert recipe.read_text() == RECIPE


def test_an_edit_by_others_is_a_change_that_can_be_undone(recipe):
    session = Session(recipe)
    recipe.write_text(RECIPE.replace("turn = -12", "turn = -20"))
    louder(session, 1.3)
    assert "turn = -20" in recipe.read_text()
    session.undo()
    session.undo()
    assert recipe.read_text() == RECIPE


def test_a_file_with_faults_is_never_written_over(recipe):
    session = Session(recipe)
    broken = RECIPE.replace("saturation = 1.2", "saturation = ")
    recipe.write_text(broken)
    with pytest.raises(InputError, match="problems"):
        louder(session, 1.3)
    assert session.problems
    assert recipe.read_text() == broken


def test_a_value_that_no_step_takes_changes_nothing(recipe):
    session = Session(recipe)
    with pytest.raises(RecipeError):
        louder(session, 9.0)
    assert recipe.read_text() == RECIPE
    with pytest.raises(InputError):
        moved(session.look, ("look", 1), ("saturation",), 9.0)


def test_a_byte_order_mark_is_kept(recipe):
    recipe.write_bytes(b"\xef\xbb\xbf" + RECIPE.encode())
    session = Session(recipe)
    louder(session, 1.3)
    assert recipe.read_bytes().startswith(b"\xef\xbb\xbf# The film")

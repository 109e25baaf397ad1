"""What the page can do to a recipe: one function for each change that a user finishes."""

from __future__ import annotations

from typing import Any

from lookkit.errors import InputError
from lookkit.page import rewrite
from lookkit.page.sentences import start_of
from lookkit.page.session import Session, step_at


def change_of(session: Session, message: dict[str, Any]) -> None:
    """Make the change that a message asks for.

    Raises
    ------
    InputError
        If it cannot be made.
    """
    file = str(session.file)
    what = message["do"]
    if what == "undo":
        session.undo()
    elif what == "redo":
        session.redo()
    elif what == "keep":
        session.keep(str(message["name"]))
    elif what == "forget":
        session.forget(str(message["name"]))
    elif what == "back":
        session.go_back_to(str(message["name"]))
    elif what == "bring-in":
        session.change("steps brought into this file", lambda text: rewrite.bring_in(text, file))
    elif what == "set":
        path, key = tuple(message["step"]), tuple(message["key"])
        value = message.get("value", rewrite.MISSING)
        label = str(message.get("label") or key[-1])[:80]
        session.change(label, lambda text: rewrite.set_value(text, file, (*path, *key), value))
    elif what == "add":
        path = tuple(message["step"])
        table = message.get("table") or start_of(str(message["kind"]))
        session.change(
            f"{table['kind']} added", lambda text: rewrite.insert_step(text, file, path, table)
        )
    elif what == "remove":
        path = tuple(message["step"])
        label = f"{step_at(session.look.recipe, path).label} removed"
        session.change(label, lambda text: rewrite.remove_step(text, file, path))
    elif what == "shift":
        path, to = tuple(message["step"]), int(message["to"])
        label = f"{step_at(session.look.recipe, path).label} moved"
        session.change(label, lambda text: rewrite.move_step(text, file, path, to))
    else:
        raise InputError(f"the page asked for an unknown change, {what!r}")

"""What the page can do to a recipe: one function for each change that a user finishes."""

from __future__ import annotations

from typing import Any

from lookkit.errors import InputError
from lookkit.page import rewrite
from lookkit.page.meeting import Gone, decided, landing
from lookkit.page.sentences import start_of, title_of
from lookkit.page.session import Session, step_at
from lookkit.recipe.extend import join
from lookkit.recipe.lines import Path as KeyPath


def change_of(session: Session, message: dict[str, Any]) -> None:
    """Make the change that a message asks for.

    A message that names a step says in `base` on which text it was made, by its digest.

    Raises
    ------
    Unclear
        If the text has moved on and the user has to decide.
    InputError
        If it cannot be made.
    """
    file = str(session.file)
    what = message["do"]
    label = str(message.get("label") or what)[:80]
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
        value = message.get("value", rewrite.MISSING)
        session.change(
            label, lambda text: rewrite.set_value(text, file, place_of(session, message), value)
        )
    elif what == "add":
        table = message.get("table") or start_of(str(message["kind"]))
        session.change(
            f"{title_of(table['kind'])} added",
            lambda text: rewrite.insert_step(text, file, _room(session, message), table),
        )
    elif what == "remove":
        session.change(
            label, lambda text: rewrite.remove_step(text, file, place_of(session, message))
        )
    elif what == "shift":
        by = int(message["to"]) - int(message["step"][-1])

        def shifted(text: str) -> str:
            path = place_of(session, message)
            last = len(rewrite.get(join(text, file).data, path[:-1])) - 1
            return rewrite.move_step(text, file, path, min(max(int(path[-1]) + by, 0), last))

        session.change(label, shifted)
    else:
        raise InputError(f"the page asked for an unknown change, {what!r}")


def place_of(session: Session, message: dict[str, Any]) -> KeyPath:
    """Return where a change lands in the text as it is now, step and key; see `decided`."""

    def named(path: KeyPath) -> str:
        step = step_at(session.look.recipe, path)
        return f"“{title_of(step.kind)}”, step {int(path[-1]) + 1} now"

    base = session.texts.get(str(message.get("base", session.digest)))
    return decided(message, base, session.text, str(session.file), session.digest, named)


def _room(session: Session, message: dict[str, Any]) -> KeyPath:
    """Return where a new step goes: after the one it was put after, else at the end."""
    path = tuple(message["step"])
    base = session.texts.get(str(message.get("base", session.digest)))
    if base == session.text or path[-1] == 0:
        return path
    file = str(session.file)
    try:
        if base is None:
            raise Gone
        before = landing(base, session.text, file, (*path[:-1], path[-1] - 1))
        return (*before[:-1], int(before[-1]) + 1)
    except Gone:
        steps = rewrite.get(join(session.text, file).data, path[:-1])
        return (*path[:-1], len(steps) if isinstance(steps, list) else 0)

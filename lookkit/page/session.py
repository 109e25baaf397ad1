"""The state of the page: the recipe's text, its history, its takes, and the file they lie in.

The text is the truth. Every finished change becomes a new text, is written to the recipe's file
at once if that is as it was last seen, and goes into a journal beside it before anybody is told;
so undo, takes and the last change outlive the page, the server and the machine.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from lookkit.errors import InputError, LookkitError, Problem, RecipeError
from lookkit.files import write_beside
from lookkit.look import Look
from lookkit.nodes.base import Step
from lookkit.page import rewrite
from lookkit.recipe.lines import Path as KeyPath
from lookkit.recipe.load import parsed, read_text
from lookkit.recipe.model import Recipe

Change = Callable[[str], str]
"""What makes a new text of a recipe's text."""
_BOM = b"\xef\xbb\xbf"


@dataclass(frozen=True)
class Entry:
    """One text of the recipe, and in words what made it."""

    label: str
    text: str


@dataclass(frozen=True)
class Take:
    """A state that the user has kept."""

    name: str
    text: str


class Session:
    """A recipe that is being changed.

    Attributes
    ----------
    look
        The last look that could be loaded.
    problems
        What is wrong with the file as it is now; while there are any, the page changes nothing.
    revision
        Counts up with every change of anything.
    texts
        Every text that a page may have seen, by its digest.
    """

    def __init__(self, file: Path) -> None:
        self.file = file
        self._seen = b""
        self.text = self._read()
        self.look = self._loaded(self.text)
        self.problems: tuple[Problem, ...] = ()
        self.revision = 1
        self.history: list[Entry] = []
        self.texts: dict[str, str] = {}
        self._differences: dict[tuple[str, str], list[str]] = {}
        self.at = 0
        self.takes: list[Take] = []
        self.journal = file.with_name(f"{file.stem}.adjust.jsonl")
        self._replay()

    # The history.

    @property
    def digest(self) -> str:
        """What a page calls the text by that it shows."""
        return digest_of(self.text)

    @property
    def can_undo(self) -> str | None:
        """What an undo would take back, in words."""
        return self.history[self.at].label if self.at > 0 else None

    @property
    def can_redo(self) -> str | None:
        """What a redo would do again, in words."""
        return self.history[self.at + 1].label if self.at + 1 < len(self.history) else None

    def change(self, label: str, change: Change) -> None:
        """Make a finished change, and write it.

        Raises
        ------
        InputError
            If it cannot be made, or makes no recipe; nothing is changed then.
        """
        self.take_in()
        if self.problems:
            raise InputError("the recipe has problems: mend them in its file first")
        text = change(self.text)
        if text == self.text:
            return
        self._set(Entry(label, text), self._loaded(text))

    def undo(self) -> None:
        """Go back to the text before the last change."""
        self.take_in()
        if self.at > 0:
            self._go(self.at - 1)

    def redo(self) -> None:
        """Make again what was undone."""
        self.take_in()
        if self.at + 1 < len(self.history):
            self._go(self.at + 1)

    def keep(self, name: str) -> None:
        """Keep the state as a take; a take of that name is replaced.

        Raises
        ------
        InputError
            If the name is empty.
        """
        name = name.strip()[:60]
        if not name:
            raise InputError("a take needs a name")
        self._note({"take": name, "text": self.text})
        self._put_take(Take(name, self.text))
        self.revision += 1

    def forget(self, name: str) -> None:
        """Drop a take."""
        self._note({"forget": name})
        self.takes = [one for one in self.takes if one.name != name]
        self.revision += 1

    def take(self, name: str) -> Take:
        """Return a take.

        Raises
        ------
        InputError
            If there is none of that name.
        """
        for one in self.takes:
            if one.name == name:
                return one
        raise InputError(f"no take {name!r}")

    def differs(self, take: Take) -> list[str]:
        """Return in words how a take differs from the state; worked out once for each pair."""
        from lookkit.page.differences import differences

        key = (self.digest, digest_of(take.text))
        if key not in self._differences:
            try:
                told = differences(self.look, self._loaded(take.text))
            except InputError as error:
                told = [f"cannot be used: {str(error).splitlines()[0]}"]
            self._differences[key] = told
        return self._differences[key]

    def go_back_to(self, name: str) -> None:
        """Make a take the state, as a change that can be undone."""
        text = self.take(name).text
        self.change(f"back to “{name}”", lambda _: text)

    def look_of(self, text: str) -> Look:
        """Return the look of another text of this recipe."""
        return self._loaded(text)

    def take_in(self) -> bool:
        """Take in what others have written into the file; return whether anything changed.

        Their text becomes a change like any other. If it is no recipe, its problems are kept
        and the look stays.
        """
        try:
            found = self.file.read_bytes()
        except OSError as error:
            problem = Problem(str(self.file), 0, "", f"cannot be read ({error.strerror})", "")
            changed = self.problems != (problem,)
            self.problems = (problem,)
            self.revision += changed
            return changed
        if found == self._seen:
            return False
        self._seen = found
        self.revision += 1
        try:
            text = read_text(self.file)
            look = self._loaded(text)
        except RecipeError as error:
            self.problems = error.problems
            return True
        except InputError as error:
            self.problems = (Problem(str(self.file), 0, "", str(error), ""),)
            return True
        self.problems = ()
        if text != self.text:
            self._append(Entry("an edit of the file", text))
            self.text, self.look = text, look
        return True

    # What is kept on disk.

    def _set(self, entry: Entry, look: Look) -> None:
        self._append(entry)
        self._write(entry.text)
        self.text, self.look = entry.text, look

    def _go(self, at: int) -> None:
        if self.problems:
            raise InputError("the recipe has problems: mend them in its file first")
        text = self.history[at].text
        look = self._loaded(text)
        self._note({"at": at})
        self.at = at
        self._write(text)
        self.text, self.look = text, look

    def _append(self, entry: Entry) -> None:
        self._note({"from": self.at, "label": entry.label, "text": entry.text})
        self.history = [*self.history[: self.at + 1], entry]
        self.texts[digest_of(entry.text)] = entry.text
        self.at += 1
        self.revision += 1

    def _write(self, text: str) -> None:
        content = (_BOM if self._seen.startswith(_BOM) else b"") + text.encode()
        with write_beside(self.file) as beside:
            beside.write_bytes(content)
        self._seen = content
        self.revision += 1

    def _note(self, what: Mapping[str, Any]) -> None:
        """Put a line into the journal and wait until the disk has it."""
        try:
            with self.journal.open("a", encoding="utf-8") as file:
                file.write(json.dumps(what, ensure_ascii=False) + "\n")
                file.flush()
                os.fsync(file.fileno())
        except OSError as error:
            raise LookkitError(f"{self.journal}: cannot be written ({error.strerror})") from error

    def _replay(self) -> None:
        """Read the journal; a last line that was cut off is left out."""
        try:
            lines = self.journal.read_text(encoding="utf-8").split("\n")
        except OSError:
            lines = []
        for line in lines:
            try:
                one = json.loads(line)
                self._replay_one(one)
            except (ValueError, KeyError, TypeError, IndexError):
                continue
        if not self.history:
            self.history, self.at = [Entry("as it was", self.text)], 0
            self.texts[self.digest] = self.text
            self._note({"from": -1, "label": "as it was", "text": self.text})
        elif self.history[self.at].text != self.text:
            self._append(Entry("an edit of the file", self.text))

    def _replay_one(self, one: dict[str, Any]) -> None:
        if "take" in one:
            self._put_take(Take(str(one["take"]), str(one["text"])))
        elif "forget" in one:
            self.takes = [take for take in self.takes if take.name != one["forget"]]
        elif "at" in one:
            if not 0 <= one["at"] < len(self.history):
                raise IndexError
            self.at = one["at"]
        else:
            start = int(one["from"])
            self.history = [*self.history[: start + 1], Entry(one["label"], one["text"])]
            self.texts[digest_of(one["text"])] = one["text"]
            self.at = len(self.history) - 1

    def _put_take(self, take: Take) -> None:
        self.takes = [*(one for one in self.takes if one.name != take.name), take]

    def _read(self) -> str:
        text = read_text(self.file)
        self._seen = self.file.read_bytes()
        return text

    def _loaded(self, text: str) -> Look:
        recipe, whole = parsed(text, str(self.file))
        return Look(recipe, whole, str(self.file))


def digest_of(text: str) -> str:
    """Return a short name of a text, the same wherever it is made."""
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def moved(look: Look, step: KeyPath, key: KeyPath, value: Any) -> Look:
    """Return the look with one value of one step changed, without going through its text.

    Raises
    ------
    InputError
        If the step cannot take that value.
    """
    recipe = look.recipe
    if step[2:3] == ("overrides",):
        return Look(_with_override(recipe, step, key, value), look.text, look.source)
    node = step_at(recipe, step)
    given = node.model_dump(mode="json", by_alias=True, exclude_unset=True)
    given["kind"] = node.kind
    table = rewrite.with_value(given, key, value)
    try:
        made = type(node).model_validate_json(
            json.dumps(table), strict=True, context=dict(recipe._context)
        )
    except ValidationError as error:
        raise InputError("; ".join(one["msg"] for one in error.errors())) from error
    return Look(_with_step(recipe, step, made), look.text, look.source)


def step_at(recipe: Recipe, path: KeyPath) -> Step:
    """Return a step by its path.

    Raises
    ------
    InputError
        If there is none.
    """
    at: Any = recipe
    try:
        for part in path:
            if isinstance(part, int):
                if part < 0:
                    raise IndexError
                at = at[part]
            else:
                at = at[part] if isinstance(at, dict) else getattr(at, part)
    except (AttributeError, KeyError, IndexError, TypeError) as error:
        raise InputError(f"no step at {path}") from error
    if not isinstance(at, Step):
        raise InputError(f"no step at {path}")
    return at


def _with_override(recipe: Recipe, path: KeyPath, key: KeyPath, value: Any) -> Recipe:
    name = str(path[1])
    changes = rewrite.with_value(recipe.scenes[name].overrides, (path[3], *key), value)
    scene = recipe.scenes[name].model_copy(update={"overrides": changes})
    made = recipe.model_copy(update={"scenes": {**recipe.scenes, name: scene}})
    try:
        made.in_scene(name)
    except ValidationError as error:
        raise InputError("; ".join(one["msg"] for one in error.errors())) from error
    return made


def _with_step(recipe: Recipe, path: KeyPath, step: Any) -> Recipe:
    if path[0] == "rendering":
        return recipe.model_copy(update={"rendering": step})
    if path[0] == "look":
        return recipe.model_copy(update={"look": _with_item(recipe.look, path[1], step)})
    if path[0] == "shots":
        shot = recipe.shots[int(path[1])]
        shot = shot.model_copy(update={"trims": _with_item(shot.trims, path[3], step)})
        return recipe.model_copy(update={"shots": _with_item(recipe.shots, path[1], shot)})
    table = dict(getattr(recipe, str(path[0])))
    entry = table[path[1]]
    if path[2] == "rendering":
        table[path[1]] = entry.model_copy(update={"rendering": step})
    else:
        table[path[1]] = entry.model_copy(update={"trims": _with_item(entry.trims, path[3], step)})
    return recipe.model_copy(update={str(path[0]): table})


def _with_item(items: tuple[Any, ...], place: Any, item: Any) -> tuple[Any, ...]:
    return (*items[:place], item, *items[place + 1 :])

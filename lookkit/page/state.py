"""Everything of a session that the page shows, as one message."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import cached_property
from pathlib import Path
from typing import Any

from lookkit.page.drawings import drawing, hues_of, levels_of
from lookkit.page.pictures import Picture
from lookkit.page.rewrite import own_path
from lookkit.page.sentences import addable, override_sentences, step_sentence
from lookkit.page.session import Session
from lookkit.recipe.extend import join


class Counted:
    """What the light of the pictures holds; counted once."""

    def __init__(self, pictures: Sequence[Picture]) -> None:
        self._pictures = pictures

    @cached_property
    def levels(self) -> list[dict[str, Any]]:
        """How often each level is in each scene."""
        return levels_of(self._pictures)

    @cached_property
    def hues(self) -> list[list[float]]:
        """Hues and chromas of all pictures."""
        return hues_of(self._pictures)


def state_of(
    session: Session, pictures: Sequence[Picture], counted: Counted, output: str
) -> dict[str, Any]:
    """Return the state as the page takes it."""
    look, recipe = session.look, session.look.recipe
    joined = join(session.text, str(session.file))

    def told(path: tuple[str | int, ...], step: Any, count: int = 1) -> dict[str, Any]:
        origin = joined.origin(path)
        own = own_path(joined, path) is not None
        return {
            "path": list(path),
            "own": own,
            "from": "" if own else Path(origin.source.file).stem,
            "count": count,
            **step_sentence(step),
            "drawing": drawing(look, step, output),
        }

    def all_of(where: tuple[str | int, ...], steps: Sequence[Any]) -> list[dict[str, Any]]:
        return [told((*where, place), step, len(steps)) for place, step in enumerate(steps)]

    target = look.graph.output(output)
    choice = recipe.outputs[output]
    rendering: tuple[tuple[str | int, ...], Any]
    rendering = (("rendering",), recipe.rendering)
    if choice.rendering is not None:
        rendering = (("outputs", output, "rendering"), choice.rendering)
    return {
        "what": "state",
        "revision": session.revision,
        "text": session.digest,
        "name": recipe.name,
        "show": recipe.show,
        "file": session.file.name,
        "output": output,
        "outputName": target.name,
        "hdr": bool(target.is_hdr),
        "undo": session.can_undo,
        "redo": session.can_redo,
        "takes": [
            {"name": take.name, "now": take.text == session.text, "differs": session.differs(take)}
            for take in session.takes
        ],
        "problems": [
            {"text": str(problem), "path": _step_of(problem.key)} for problem in session.problems
        ],
        "extends": len(joined.sources) > 1,
        "steps": all_of(("look",), recipe.look),
        "rendering": told(*rendering),
        "scenes": [
            {
                "name": name,
                "light": recipe.light_of(name) or "",
                "trims": all_of(("scenes", name, "trims"), scene.trims),
                "overrides": [
                    {"path": ["scenes", name, "overrides", node], **one}
                    for node, one in override_sentences(recipe, name)
                ],
            }
            for name, scene in recipe.scenes.items()
        ],
        "cameras": [
            {
                "name": name,
                "encoding": camera.encoding,
                "note": camera.note,
                "matched": camera.match is not None,
                "trims": all_of(("cameras", name, "trims"), camera.trims),
            }
            for name, camera in recipe.cameras.items()
        ],
        "shots": [
            {
                "name": shot.match,
                "scene": shot.scene,
                "camera": shot.camera,
                "trims": all_of(("shots", place, "trims"), shot.trims),
            }
            for place, shot in enumerate(recipe.shots)
        ],
        "pictures": [
            {
                "camera": one.camera,
                "scene": one.scene,
                "name": one.place,
                "size": list(one.size),
                "aspect": one.light.shape[1] / one.light.shape[0],
            }
            for one in pictures
        ],
        "levels": counted.levels,
        "hues": counted.hues,
        "addable": addable(),
    }


def _step_of(key: str) -> list[str | int]:
    """Return the path of the step that a problem's key lies in: look[2].stops is ("look", 1)."""
    parts: list[str | int] = []
    for name, place in re.findall(r"([^.\[\]]+)|\[(\d+)\]", key):
        parts.append(name or int(place) - 1)
    return parts[:1] if parts[:1] == ["rendering"] else parts[: 2 if parts[:1] == ["look"] else 4]

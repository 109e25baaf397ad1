"""Everything of a session that the page shows, as one message."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from lookkit.evaluate import Runner
from lookkit.look import Look
from lookkit.nodes.base import Op
from lookkit.page.drawings import drawing, hues_of, levels_of
from lookkit.page.pictures import Picture, trims_of
from lookkit.page.rewrite import own_path
from lookkit.page.sentences import addable, override_sentences, step_sentence
from lookkit.page.session import Session
from lookkit.recipe.extend import join


class Counted:
    """Levels and hues of the pictures' light after their cameras' trims; counted once for each."""

    def __init__(self, pictures: Sequence[Picture]) -> None:
        self._pictures = pictures
        self._trims: list[tuple[Op, ...]] | None = None
        self._found: dict[str, Any] = {}

    def of(self, look: Look) -> dict[str, Any]:
        """Return `levels`, how often each is in each scene, and `hues` with their chromas."""
        trims = [trims_of(look, one.camera) for one in self._pictures]
        if trims != self._trims:
            lights = [
                (one.scene, Runner(steps).run(np.ascontiguousarray(one.light[::4, ::4])))
                for one, steps in zip(self._pictures, trims, strict=True)
            ]
            self._found = {"levels": levels_of(lights), "hues": hues_of(lights)}
            self._trims = trims
        return self._found


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
            {"text": str(problem), **_word_of(problem.key)} for problem in session.problems
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
        **counted.of(look),
        "addable": addable(),
    }


def _word_of(key: str) -> dict[str, list[str | int]]:
    """Return the step that a problem lies in, and the key there: look[2].stops is its `stops`."""
    parts: list[str | int] = []
    for name, place in re.findall(r"([^.\[\]]+)|\[(\d+)\]", key):
        parts.append(name or int(place) - 1)
    count = {"rendering": 1, "look": 2}.get(str(parts[0]) if parts else "", 4)
    if parts[:1] == ["outputs"]:
        count = 3
    return {"path": parts[:count], "key": parts[count:]}

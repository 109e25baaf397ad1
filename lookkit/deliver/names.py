"""How files and their contents are named: encodings and ranges are always said."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lookkit.files import safe_name

if TYPE_CHECKING:
    from lookkit.look import Look


def camera_stem(look: Look, camera: str, scene: str | None = None) -> str:
    """Return the beginning of a file name: camera, scene, encoding and range."""
    step = look.graph.input_transform(camera)
    who = (camera,) if scene is None else (camera, scene)
    return "_".join(safe_name(part) for part in (*who, step.encoding.name, step.signal_range))


def chain_stem(look: Look, camera: str, output: str, scene: str | None = None) -> str:
    """Return the file name of a whole chain, without size and ending."""
    target = look.graph.output(output)
    end = "_".join(safe_name(part) for part in ("to", output, target.name, target.range))
    return f"{camera_stem(look, camera, scene)}_{end}"


def look_stem(look: Look, scene: str | None = None) -> str:
    """Return the beginning of the file name of the look itself, or of its form in a scene."""
    parts = (look.recipe.name,) if scene is None else (look.recipe.name, scene)
    return "_".join(safe_name(part) for part in parts)


def shown_look(look: Look, scene: str | None = None) -> str:
    """Return the look's name, and the scene's, for people."""
    name = look.recipe.name
    return name if scene is None else f"{name}, scene {scene}{_middle(look, scene)}"


def _middle(look: Look, scene: str | None) -> str:
    return ", the middle of its key frames" if look.recipe.is_keyed(scene) else ""


def codes_of(look: Look, camera: str, scene: str | None = None) -> str:
    """Return what a camera's codes are, for people, and with which match they are read."""
    step = look.graph.input_transform(camera)
    match = look.recipe.match_of(camera, scene)
    matched = "" if match is None else f", with the {match.name}"
    return f"{step.encoding.name}, {step.signal_range} range{matched}{_middle(look, scene)}"


def signal_of(look: Look, output: str) -> str:
    """Return what an output's signal is, for people."""
    target = look.graph.output(output)
    return f"{target.name}, {target.range} range"

"""The rules of an OCIO config: whose a file is by its name, and which views suit which spaces."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any, Final

from lookkit.ocio import library
from lookkit.recipe.shots import Shot

PICTURES: Final = "pictures"
NUMBERS: Final = "numbers"
_SLASH: Final = r"[/\\]"
_INSIDE: Final = r"[^/\\]"
_PARTS: Final = re.compile(r"\[!?\]?[^\]]*\]|.", re.DOTALL)


def file_rules(shots: Sequence[Shot], spaces: Mapping[tuple[str, str | None], str]) -> Any:
    """Return the rules that give a file of the shot list the space of its camera.

    Parameters
    ----------
    spaces
        Names of colour spaces by camera and scene.
    """
    rules = library().FileRules()
    rules.setDefaultRuleColorSpace("Raw")
    for place, shot in enumerate(shots):
        space = spaces.get((shot.camera, shot.scene)) or spaces[shot.camera, None]
        rules.insertRule(place, f"shot {place + 1}", space, path_expression(shot.match))
    return rules


def path_expression(pattern: str) -> str:
    """Return a shot's pattern as a regular expression (ECMAScript) of a whole path.

    Letter case does not matter, both slashes part folders, and a pattern may begin at any
    folder, as `Shot.fits` has it.
    """
    folders = [part for part in pattern.split("/") if part not in ("", ".")]
    expression = _SLASH.join(_component(part) for part in folders)
    return _SLASH + expression if pattern.startswith("/") else f"(.*{_SLASH})?{expression}"


def _component(pattern: str) -> str:
    return "".join(_piece(piece) for piece in _PARTS.findall(pattern))


def _piece(piece: str) -> str:
    if piece == "*":
        return f"{_INSIDE}*"
    if piece == "?":
        return _INSIDE
    if len(piece) > 1:
        start, inside = ("[^", piece[2:-1]) if piece.startswith("[!") else ("[", piece[1:-1])
        escaped = re.sub(r"([\[\]\\^])", r"\\\1", inside)
        return f"{start}{escaped.lower()}{escaped.upper()}]"
    if piece.lower() != piece.upper():
        return f"[{piece.lower()}{piece.upper()}]"
    return re.escape(piece) if not piece.isspace() else piece


def viewing_rules() -> Any:
    """Return the rules that offer the look for pictures only, and raw numbers for data only."""
    rules = library().ViewingRules()
    rules.insertRule(0, PICTURES)
    for encoding in ("scene-linear", "log", "sdr-video"):
        rules.addEncoding(0, encoding)
    rules.insertRule(1, NUMBERS)
    rules.addEncoding(1, "data")
    return rules

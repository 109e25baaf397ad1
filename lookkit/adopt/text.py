"""The recipe's text: its steps, what each stands for, and how close it came."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Mapping, Sequence
from typing import Any, Final

from lookkit.adopt.parts import Part
from lookkit.recipe.write import toml_value

RIGHT: Final = (
    "You need the right to use the look that this was taken from; nothing of the source is kept "
    "here but the fit."
)
REMAINDER_SAYS: Final = (
    "What the steps below cannot say: moves colours a little before them. Take it away, and the "
    "look is what the steps are. Light beyond LogC4's range is held at its edge here."
)
_ID: Final[Mapping[str, str]] = {"hue-bands in lights": "hue-bands-lights"}


def recipe_text(
    name: str,
    cameras: Mapping[str, Mapping[str, Any]],
    output: Mapping[str, Any],
    steps: Sequence[tuple[str, Mapping[str, Any]]],
    rendering: Mapping[str, Any],
    parts: Sequence[Part],
    told: Sequence[str],
    remainder: Mapping[str, Any] | None = None,
    remainder_says: str = "",
) -> str:
    """Return a recipe that loads as it is.

    Parameters
    ----------
    cameras, output
        Tables of the cameras by plain names, and of the one output.
    steps, rendering
        The look's steps with their names, and the rendering, as tables.
    parts
        What was fitted, for the comments.
    told
        Lines for its head: what it was made from and how close it came.
    remainder
        The table of the `lut` step that comes first, with what it stands for.
    """
    blocks = [
        *[_comment(line) for line in (*told, RIGHT)],
        f"\nschema = 1\nname = {toml_value(recipe_name(name))}\nshow = \"Adopted\"\n",
    ]  # fmt: skip
    for camera, table in cameras.items():
        blocks.append(f"[cameras.{camera}]\n{_lines(table)}\n")
    if remainder is not None:
        blocks.append(f"{_comment(remainder_says)}[[look]]\n{_lines(remainder)}\n")
    for step, table in steps:
        says = f"{_says(step, parts)}."
        head = {"kind": table["kind"], "id": _ID.get(step, step)}
        rest = {key: value for key, value in table.items() if key != "kind"}
        blocks.append(f"{_comment(says)}[[look]]\n{_lines({**head, **rest})}\n")
    shown = _says("rendering", parts)
    plain = "as ACES 2 does" if rendering["kind"] == "aces-2" else "a plain print"
    what = f"How light is shown: {shown or plain}"
    print_head = {"kind": rendering["kind"], "id": "print"}
    rest = {key: value for key, value in rendering.items() if key != "kind"}
    blocks.append(f"{_comment(what + '.')}[rendering]\n{_lines({**print_head, **rest})}\n")
    blocks.append(f"[outputs.main]\n{_lines(output)}\n")
    return "\n".join(_together(blocks))


def recipe_name(name: str) -> str:
    """Return a recipe's name made from any text."""
    plain = re.sub(r"[^A-Za-z0-9 ._-]+", " ", name).strip(" ._-")[:60].strip()
    return plain or "Adopted look"


def _together(blocks: Sequence[str]) -> list[str]:
    """Return blocks with the head's comments as one."""
    head = "".join(block for block in blocks if block.startswith("#") and "[" not in block)
    kept = [block for block in blocks if not (block.startswith("#") and "[" not in block)]
    return [head.rstrip("\n"), *kept]


def _says(step: str, parts: Sequence[Part]) -> str:
    said = ", ".join(dict.fromkeys(part.says for part in parts if part.step == step))
    return said[:1].upper() + said[1:] if step != "rendering" else said


def _comment(text: str) -> str:
    return "".join(f"# {line}\n" for line in textwrap.wrap(text, 96))


def _lines(table: Mapping[str, Any]) -> str:
    lines = []
    for key, value in table.items():
        if isinstance(value, list) and value and isinstance(value[0], Mapping | list):
            rows = "".join(f"  {toml_value(row)},\n" for row in value)
            lines.append(f"{key} = [\n{rows}]")
        else:
            lines.append(f"{key} = {toml_value(value)}")
    return "\n".join(lines)

"""A match file's text, read with every problem at its line, and written for people."""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path

from pydantic import ValidationError

from lookkit.errors import RecipeError
from lookkit.files import write_beside
from lookkit.matchfile.model import SCHEMA, LightMatch, MatchFile
from lookkit.nodes.base import Matrix
from lookkit.recipe.extend import Source, read_text
from lookkit.recipe.toml import parse_toml
from lookkit.recipe.words import problems_of
from lookkit.recipe.write import toml_value

WANTED = "a match file (.toml), as `lookkit match` writes it"


def read_match(path: Path, leads: str = "") -> MatchFile:
    """Read and check a match file; `leads` says in messages who names it.

    Raises
    ------
    InputError
        If it cannot be read.
    RecipeError
        With every problem and its line.
    """
    return parse_match(read_text(path, WANTED), str(path), leads)


def parse_match(text: str, file: str = "<match>", leads: str = "") -> MatchFile:
    """Check the text of a match file; `file` is named in the problems.

    Raises
    ------
    RecipeError
        With every problem and its line.
    """
    source = Source(file, text, parse_toml(text, file, leads, "a match file in TOML"), leads)
    try:
        return MatchFile.model_validate_json(json.dumps(source.data, default=str), strict=True)
    except ValidationError as error:
        problems = problems_of(error, MatchFile, source.data, source.problem)
        raise RecipeError(problems) from error


def match_text(match: MatchFile) -> str:
    """Return the file's text; `parse_match` gives the same match back."""
    told = f"Camera {match.camera}, made to land where {_reference_words(match.reference)} does."
    lines = [
        f"# {''.join(letter if letter.isprintable() else ' ' for letter in told)}",
        "# One [[lights]] table per light; a scene picks its own by name. Delta E is CIEDE2000.",
        f"schema = {SCHEMA}",
        f"camera = {toml_value(match.camera)}",
        f"reference = {toml_value(match.reference)}",
        f"encoding = {toml_value(match.encoding)}",
        f"range = {toml_value(match.range)}",
        f"bits = {match.bits}",
    ]
    for one in match.lights:
        lines += ["", *_light_lines(one)]
    return "\n".join(lines) + "\n"


def write_match(match: MatchFile, path: Path) -> None:
    """Write the file in one step; an existing one is replaced.

    Raises
    ------
    InputError, LookkitError
        If it cannot be written.
    """
    with write_beside(path) as beside:
        beside.write_text(match_text(match), encoding="utf-8", newline="\n")


def _reference_words(reference: str) -> str:
    return f"the {reference}" if reference.startswith("chart ") else f"camera {reference}"


def _light_lines(one: LightMatch) -> list[str]:
    lines = [
        "[[lights]]",
        f"light = {toml_value(one.light)}",
        f"method = {toml_value(one.method)}",
        "# to the main camera's scene-linear AP1",
        *_matrix_lines("matrix", one.matrix),
    ]
    if one.roots is not None:
        lines += ["# the colour stage, on root terms", *_matrix_lines("roots", one.roots)]
    if one.stage is not None:
        lines += [
            "",
            "[lights.stage]",
            "# what follows the matrix, on its result and the roots of that; no 1D + 3x3 form",
            f"learnt = {toml_value(one.stage.learnt)}",
            *_matrix_lines("matrix", one.stage.matrix),
            *_matrix_lines("roots", one.stage.roots),
        ]
    if one.curve is not None:
        lines += [
            "",
            "[lights.curve]",
            "# correction of the BT.709 curve: slopes at even steps of signal from 0 to top",
            f"top = {toml_value(one.curve.top)}",
            "slopes = [",
            *_wrapped(one.curve.slopes),
            "]",
        ]
    known = one.statistics.model_dump(by_alias=True, exclude_none=True, exclude={"warnings"})
    lines += ["", "[lights.statistics]"]
    if one.statistics.promise is not None:
        lines.append(
            "# promise: on other colours, not clipped; nine of ten matches stay below up-to"
        )
    lines += [f"{key} = {toml_value(value)}" for key, value in known.items()]
    told = one.statistics.warnings
    lines += ["warnings = [", *(f"  {toml_value(words)}," for words in told), "]"] if told else []
    if one.chart is not None:
        lines += [
            "",
            "[lights.chart]",
            "# what both cameras saw of it, for `lookkit match --check`",
            "patches = [",
            *_wrapped(one.chart.patches, 24),
            "]",
            "camera = [",
            *_wrapped(one.chart.camera, 3),
            "]",
            "reference = [",
            *_wrapped(one.chart.reference, 3),
            "]",
        ]
    lines += ["", "[lights.provenance]", f"made-by = {toml_value(one.provenance.made_by)}"]
    for source in one.provenance.sources:
        lines += ["", "[[lights.provenance.sources]]"]
        lines += [f"{key} = {toml_value(value)}" for key, value in source.model_dump().items()]
    return lines


def _matrix_lines(key: str, rows: Matrix) -> list[str]:
    return [f"{key} = [", *(f"  {toml_value(row)}," for row in rows), "]"]


def _wrapped(values: Iterable[object], width: int = 9) -> list[str]:
    texts = [toml_value(value) for value in values]
    return [
        "  " + " ".join(f"{text}," for text in texts[start : start + width])
        for start in range(0, len(texts), width)
    ]

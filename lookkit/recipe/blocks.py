"""Where the blocks of a recipe's text begin and end: a header, its keys, the comments above it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from lookkit.recipe.lines import Path


def above(lines: Sequence[str], place: int) -> int:
    """Return where the comments that stand right above a line begin; places count from 0."""
    while place > 0 and lines[place - 1].lstrip().startswith("#"):
        place -= 1
    return place


def end_of(lines: Sequence[str], numbers: Mapping[Path, int], path: Path) -> int:
    """Return where the block at `path` ends, all blocks within it included.

    Parameters
    ----------
    numbers
        What `key_lines` gives of the text.
    """
    inside = {number for one, number in numbers.items() if one[: len(path)] == path}
    later = {number for number in numbers.values() if number > numbers[path]} - inside
    return first_header(lines, later)


def first_header(lines: Sequence[str], numbers: Iterable[int]) -> int:
    """Return where the first header among lines counted from 1 begins, or the text ends."""
    heads = [number - 1 for number in numbers if lines[number - 1].lstrip().startswith("[")]
    return above(lines, min(heads)) if heads else len(lines)

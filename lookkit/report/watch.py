"""Waiting until a recipe or its frames change, by asking the file system now and then."""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Final

from lookkit.errors import LookkitError
from lookkit.recipe.extend import join
from lookkit.recipe.load import read_text
from lookkit.recipe.named_files import named_files

PAUSE: Final = 0.4
"""Seconds between two looks at the files."""
Stamp = frozenset[tuple[str, int, int]]


def stamp_of(recipes: Sequence[Path], frames: Sequence[str], leave: Path) -> Stamp:
    """Return name, size and time of change of all that a sheet is drawn from.

    That is recipes, what they extend and name, and frames with all that lies in their folders;
    `leave` is the sheet itself.
    """
    paths = {one for recipe in recipes for one in _named(recipe)}
    for frame in frames:
        path = Path(frame)
        if "#" in path.name or "%" in path.name:
            path = path.parent
        paths.update(path.rglob("*") if path.is_dir() else [path])
    found = []
    for path in paths:
        try:
            about = path.stat()
        except OSError:
            continue  # Gone, or being replaced: that is a change too.
        if path.is_file() and not (leave.exists() and path.samefile(leave)):
            found.append((str(path), about.st_size, about.st_mtime_ns))
    return frozenset(found)


def changes(
    recipes: Sequence[Path], frames: Sequence[str], leave: Path, pause: float = PAUSE
) -> Iterator[None]:
    """Yield after each change since the call, when the files have come to rest; never ends."""
    return _changes(recipes, frames, leave, pause, stamp_of(recipes, frames, leave))


def _changes(
    recipes: Sequence[Path], frames: Sequence[str], leave: Path, pause: float, last: Stamp
) -> Iterator[None]:
    while True:
        time.sleep(pause)
        now = stamp_of(recipes, frames, leave)
        if now == last:
            continue
        while True:
            time.sleep(pause)
            later = stamp_of(recipes, frames, leave)
            if later == now:
                break
            now = later
        last = now
        yield


def _named(recipe: Path) -> Iterator[Path]:
    yield recipe
    try:
        joined = join(read_text(recipe), str(recipe))
    except LookkitError:
        return  # What is wrong with it is told when the sheet is drawn.
    yield from (Path(source.file) for source in joined.sources)
    yield from (recipe.parent / name for _, name in named_files(joined.data))

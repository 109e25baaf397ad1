"""Numbered frames: `name.####.exr 1001-1100` and what a folder holds of them."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from lookkit.errors import InputError

_PATTERN = re.compile(r"^(?P<head>.*?)(?:(?P<hashes>#+)|%0?(?P<digits>\d*)d)(?P<tail>[^#]*)$")
_NUMBERED = re.compile(r"^(?P<head>.*?)(?P<number>\d+)(?P<tail>\.[^.]+)$")
_RANGE = re.compile(r"^(-?\d+)(?:-(-?\d+)(?:x(\d+))?)?$")
_MOST = 10_000_000


@dataclass(frozen=True)
class Numbered:
    """A sequence of numbered pictures.

    Frame n is the file `head` + n in at least `digits` digits + `tail` of `folder`. Of a part of a
    sequence, `before` says how many frames of the whole come before it.
    """

    folder: Path
    head: str
    digits: int
    tail: str
    frames: tuple[int, ...]
    missing: tuple[int, ...] = ()
    before: int = 0

    def path(self, frame: int) -> Path:
        """Return the file of a frame."""
        sign = "-" if frame < 0 else ""
        return self.folder / f"{self.head}{sign}{abs(frame):0{self.digits}d}{self.tail}"

    def place_of(self, path: Path) -> int:
        """Return how many frames come before the one of a file."""
        places = enumerate(self.frames, self.before)
        return next(place for place, one in places if self.path(one) == path)

    @property
    def name(self) -> str:
        """What the files are called, with # for each digit."""
        return f"{self.head}{'#' * self.digits}{self.tail}"

    @property
    def pattern(self) -> Path:
        """The name in its folder."""
        return self.folder / self.name

    @property
    def stem(self) -> str:
        """The name without the number and what joins it on."""
        return self.head.rstrip("._- ") or self.folder.name or "frames"

    def only(self, frames: Iterable[int]) -> Numbered:
        """Return the part of a sequence that has some of its frames, in a row."""
        kept = tuple(frames)
        before = self.before + self.frames.index(kept[0])
        return replace(self, frames=kept, missing=(), before=before)


def is_pattern(text: str) -> bool:
    """Say whether a name stands for numbered frames (`####` or `%04d`)."""
    return _PATTERN.match(Path(text).name) is not None


def is_range(text: str) -> bool:
    """Say whether a word is a frame range: `1001-1100`, `1001-1100x2`, `1,5,9-12`."""
    return all(_RANGE.match(part) for part in text.split(","))


def parse_range(text: str) -> tuple[int, ...]:
    """Return the frames of a range, each once, in the order given.

    Raises
    ------
    InputError
        If it is no range, runs backwards or holds more than ten million frames.
    """
    frames: dict[int, None] = {}
    for part in text.split(","):
        found = _RANGE.match(part)
        if found is None:
            raise InputError(f"frame range {text!r}: expected first-last, such as 1001-1100")
        first, last, step = int(found[1]), int(found[2] or found[1]), int(found[3] or 1)
        if last < first or step < 1:
            raise InputError(f"frame range {part!r}: runs backwards, expected first-last")
        if last - first > _MOST:
            raise InputError(f"frame range {part!r}: more than {_MOST} frames")
        frames.update(dict.fromkeys(range(first, last + 1, step)))
    return tuple(frames)


def numbered(pattern: str, frames: str | None = None) -> Numbered:
    """Return the sequence that a pattern and a range mean.

    Without a range every frame that is there is meant, and the gaps are missing; with
    one, those of the range that are not there are missing.

    Raises
    ------
    InputError
        If the pattern or the range is none, or not one of the frames is there.
    """
    path = Path(pattern)
    found = _PATTERN.match(path.name)
    if found is None:
        raise InputError(f"{pattern}: expected a name with # for each digit, such as name.####.exr")
    digits = len(found["hashes"]) if found["hashes"] else int(found["digits"] or 1)
    made = Numbered(path.parent, found["head"], digits, found["tail"], ())
    there = {frame for frame, _ in _present(made)}
    if frames is not None:
        wanted = parse_range(frames)
    elif there:
        wanted = tuple(range(min(there), max(there) + 1))
    else:
        wanted = ()
    if not there.intersection(wanted):
        which = f"none of the frames {frames}" if frames else "no such frame"
        raise InputError(f"{pattern}: {which} is there")
    return replace(
        made,
        frames=tuple(frame for frame in wanted if frame in there),
        missing=tuple(frame for frame in wanted if frame not in there),
    )


def _present(sequence: Numbered) -> Iterator[tuple[int, Path]]:
    try:
        names = list(sequence.folder.iterdir())
    except OSError as error:
        raise InputError(f"{sequence.folder}: cannot be read ({error.strerror})") from error
    for path in names:
        if path.name.startswith(sequence.head) and path.name.endswith(sequence.tail):
            number = path.name[len(sequence.head) : len(path.name) - len(sequence.tail)]
            if number.lstrip("-").isdigit() and sequence.path(int(number)).name == path.name:
                yield int(number), path


def group(paths: Iterable[Path]) -> list[Path | Numbered]:
    """Return the files with runs of numbered ones taken together, in the order of names.

    Two or more files that differ in the last number of their names are a sequence if the
    numbers have one width, or none has leading zeros, and they leave out fewer frames than
    they hold.
    """
    alike: dict[tuple[Path, str, str], list[tuple[str, Path]]] = defaultdict(list)
    single: list[Path | Numbered] = []
    for path in paths:
        found = _NUMBERED.match(path.name)
        if found is None:
            single.append(path)
        else:
            alike[path.parent, found["head"], found["tail"]].append((found["number"], path))
    for (folder, head, tail), members in alike.items():
        widths = {len(number) for number, _ in members}
        padded = any(number.startswith("0") and len(number) > 1 for number, _ in members)
        numbers = sorted(int(number) for number, _ in members)
        span = range(numbers[0], numbers[-1] + 1)
        together = len(numbers) > 1 and len(set(numbers)) == len(numbers)
        if together and (len(widths) == 1 or not padded) and len(span) < 2 * len(numbers):
            there = set(numbers)
            missing = tuple(frame for frame in span if frame not in there)
            digits = min(widths)
            single.append(Numbered(folder, head, digits, tail, tuple(numbers), missing))
        else:
            single.extend(path for _, path in members)
    return sorted(single, key=lambda one: str(one.pattern if isinstance(one, Numbered) else one))


def listed(frames: Iterable[int]) -> str:
    """Return frames as people write them: 1001-1003, 1007."""
    runs: list[list[int]] = []
    for frame in frames:
        if runs and frame == runs[-1][1] + 1:
            runs[-1][1] = frame
        else:
            runs.append([frame, frame])
    return ", ".join(str(a) if a == b else f"{a}-{b}" for a, b in runs)

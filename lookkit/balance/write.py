"""Trims into a recipe's shot list, all else of its text as it was written.

Each balanced file has a line of the shot list of its own, before the line that it fitted until
then. The steps that balancing wrote before, known by their ids, are replaced; a user's own stay
behind them.
"""

from __future__ import annotations

import copy
import re
import tomllib
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from lookkit.balance.gains import EXPOSURE, WHITE, trim_of
from lookkit.errors import InputError
from lookkit.files import write_beside
from lookkit.media.clip import Clip
from lookkit.recipe.blocks import above, end_of
from lookkit.recipe.lines import key_lines
from lookkit.recipe.load import parse_recipe, read_text
from lookkit.recipe.shots import Shot as Line
from lookkit.recipe.shots import pattern_of, shot_for
from lookkit.recipe.write import toml_value

if TYPE_CHECKING:
    from lookkit.balance.run import Balanced, Shot

_OURS: Final = (EXPOSURE, WHITE)
_TOLD: Final = "# balanced: "
Tables = dict[str, Any]


def write_trims(path: Path, balanced: Balanced, *, follow: bool = False) -> int:
    """Write what was found into a recipe; return for how many files it changed.

    Heroes, and shots that need nothing, lose the trims of an earlier balance. A shot for which
    nothing was found keeps them.

    Parameters
    ----------
    follow
        Write key frames for shots that drift.

    Raises
    ------
    InputError
        If the shot list cannot be changed safely.
    LookkitError
        If the disk fails.
    """
    text = read_text(path)
    made, count = with_trims(text, path, balanced, follow=follow)
    if made != text:
        with write_beside(path) as beside:
            beside.write_bytes(made.encode("utf-8"))
    return count


def with_trims(
    text: str, path: Path, balanced: Balanced, *, follow: bool = False
) -> tuple[str, int]:
    """Return a recipe's text with the trims in it, and for how many files it changed."""
    changed = 0
    places = [shot.taken.place for shot in balanced.shots]
    for shot in balanced.shots:
        if shot.trim is None and not shot.hero:
            continue
        trims = shot.trim.tables() if shot.trim is not None and shot.is_written else []
        keys = _keys(shot) if follow else []
        made = _changed(text, path, shot, pattern_of(shot.taken.place, places), trims, keys)
        changed += made != text
        text = made
    return text, changed


def _changed(
    text: str, path: Path, shot: Shot, pattern: str, trims: list[Tables], keys: list[Tables]
) -> str:
    data = tomllib.loads(text)
    listed = data.get("shots", [])
    if not listed and parse_recipe(text, str(path)).shots:
        raise InputError(
            f"{path}: its shot list stands in a recipe that it extends; expected [[shots]] here"
        )
    lines = [Line.model_validate({**one, "trims": []}) for one in listed]
    fitting = shot_for(lines, shot.taken.place)
    at = lines.index(fitting) if fitting is not None else len(lines)
    own = fitting is not None and _is_of(fitting, shot, pattern)
    if not own and not trims and not keys:
        return text
    wanted = copy.deepcopy(data)
    if own:
        table = wanted["shots"][at]
        table["trims"] = [*trims, *(one for one in table.get("trims", []) if not _is_ours(one))]
        if not table["trims"]:
            del table["trims"]
        table.pop("keys", None)
        if keys:
            table["keys"] = keys
        made = _rewritten(text, path, at, _blocks(shot, trims), keys)
    else:
        table = {"match": pattern, "camera": shot.taken.camera}
        if shot.taken.scene is not None:
            table["scene"] = shot.taken.scene
        block = ["[[shots]]", *(f"{key} = {toml_value(value)}" for key, value in table.items())]
        if keys:
            table["keys"] = keys
            block += _key_lines(keys)
        if trims:
            table["trims"] = trims
        wanted.setdefault("shots", []).insert(at, table)
        made = _inserted(text, path, at, [*block, *_blocks(shot, trims), ""])
    if tomllib.loads(made) != wanted:
        raise InputError(f"{path}: its shot list could not be changed safely: edit it in the file")
    parse_recipe(made, str(path))
    return made


def _is_of(line: Line, shot: Shot, pattern: str) -> bool:
    """Say whether a line of the shot list is that of one file, and means what the file is."""
    same = (line.camera, line.scene) == (shot.taken.camera, shot.taken.scene)
    return same and line.match.casefold() == pattern.casefold()


def _is_ours(step: Tables) -> bool:
    return step.get("id") in _OURS


def _keys(shot: Shot) -> list[Tables]:
    """Return the key frames that take a drift away, so that all is as in the middle."""
    drift = shot.drift
    if drift is None:
        return []
    source = shot.taken.source
    count = source.frames if isinstance(source, Clip) else len(getattr(source, "frames", [0]))
    found = []
    for share, gain in zip(drift.shares, drift.gains, strict=True):
        trim = trim_of(gain, shot.white)
        frame = round((count - 1) * share)
        found.append({"frame": frame, "stops": round(trim.stops, 3), "mired": round(trim.mired, 1)})
    return found


def _blocks(shot: Shot, trims: Sequence[Tables]) -> list[str]:
    lines: list[str] = []
    for number, table in enumerate(trims):
        lines.append("")
        if number == 0:
            lines.append(f"{_TOLD}{shot.trim}; by {shot.how}")
        lines.append("[[shots.trims]]")
        lines += [f"{key} = {toml_value(value)}" for key, value in table.items()]
    return [line for line in lines if line]


def _key_lines(keys: Sequence[Tables]) -> list[str]:
    return ["keys = [", *(f"    {toml_value(one)}," for one in keys), "]"] if keys else []


def _inserted(text: str, path: Path, at: int, block: Sequence[str]) -> str:
    """Return the text with a block before a line of the shot list, or behind the last one."""
    lines = text.splitlines(keepends=True)
    newline = "\r\n" if "\r\n" in text else "\n"
    heads = key_lines(text)
    if ("shots", at) in heads:
        place = above(lines, _header(lines, path, heads[("shots", at)]))
    elif at:
        place = end_of(lines, heads, ("shots", at - 1))
    else:
        place = len(lines)
    if place and not lines[place - 1].endswith("\n"):
        lines[place - 1] += newline
    if place and lines[place - 1].strip():
        block = ["", *block]
    if place == len(lines):
        block = block[:-1]
    return "".join([*lines[:place], *(f"{one}{newline}" for one in block), *lines[place:]])


def _rewritten(
    text: str, path: Path, at: int, blocks: Sequence[str], keys: Sequence[Tables]
) -> str:
    """Return the text with the steps of an earlier balance at a shot replaced."""
    lines = text.splitlines(keepends=True)
    newline = "\r\n" if "\r\n" in text else "\n"
    heads = key_lines(text)
    start = _header(lines, path, heads[("shots", at)])
    end = end_of(lines, heads, ("shots", at))
    steps = tomllib.loads(text)["shots"][at].get("trims", [])
    starts = [_header(lines, path, heads[("shots", at, "trims", one)]) for one in range(len(steps))]
    spans = list(_spans(lines, starts, end))
    first = spans[0][0] if spans else end
    own = _without_keys(lines[start:first])
    while own and not own[-1].strip():
        own.pop()
    if own and not own[-1].endswith("\n"):
        own[-1] += newline
    kept = [
        line for (a, b), step in zip(spans, steps, strict=True) if not _is_ours(step)
        for line in lines[a:b]
    ]  # fmt: skip
    new = [f"{one}{newline}" for one in (*_key_lines(keys), *blocks)]
    made = [*own, *new, *kept]
    if lines[end:] and made and made[-1].strip():
        made.append(newline)
    return "".join([*lines[:start], *made, *lines[end:]])


def _without_keys(lines: Sequence[str]) -> list[str]:
    kept, inside = [], False
    for line in lines:
        inside = inside or re.match(r"\s*keys\s*=", line) is not None
        if not inside:
            kept.append(line)
        elif line.rstrip().endswith("]"):
            inside = False
    return kept


def _header(lines: Sequence[str], path: Path, number: int) -> int:
    """Return the place of a header, from 0."""
    if not lines[number - 1].lstrip().startswith("[["):
        raise InputError(
            f"{path}:{number}: a shot list within one value cannot be changed here; "
            "expected [[shots]] and [[shots.trims]]"
        )
    return number - 1


def _spans(lines: Sequence[str], starts: Sequence[int], end: int) -> Iterator[tuple[int, int]]:
    """Yield the lines, from and to, of steps with the comments above them."""
    begins = [above(lines, one) for one in starts]
    yield from zip(begins, [*begins[1:], end], strict=False)

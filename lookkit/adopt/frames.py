"""Frames before and after, over each other: colours that both show, and where they disagree."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt

from lookkit.errors import InputError, some_of
from lookkit.match.pairs import BLOCK, CLIPS, Picture, aligned, blocks_of, shown_blocks
from lookkit.media.jobs import STILLS
from lookkit.media.stills import read_still
from lookkit.progress import Progress
from lookkit.spaces.working import Array

Mask = npt.NDArray[np.bool_]
_FLAT_BEFORE, _FLAT_AFTER = 0.03, 0.045
_FEWEST: Final = 60


@dataclass(frozen=True, eq=False)
class PairOfFrames:
    """One frame before and after.

    Attributes
    ----------
    name
        The file before.
    recorded
        The frame before, small, shape (height, width, 3).
    picture
        The frame after as the one before is framed, of the same shape.
    before, after
        Mean codes and mean signal of each block, shape (n, 3), rows of blocks first.
    shape
        Rows and columns of blocks; n is their product.
    fair
        Blocks that both show, even and not clipped, shape (n,).
    seen
        Blocks that both show, shape (n,).
    """

    name: str
    recorded: Picture
    picture: Picture
    before: Array
    after: Array
    shape: tuple[int, int]
    fair: Mask
    seen: Mask


def pairs_of_files(before: Path, after: Path) -> list[tuple[Path, Path]]:
    """Return the stills of two folders by their names, or by their order where no name is shared.

    Raises
    ------
    InputError
        If a folder holds no stills, or what belongs together cannot be told.
    """
    ours, theirs = (_stills(folder) for folder in (before, after))
    names = {one.stem: one for one in theirs}
    shared = [(one, names[one.stem]) for one in ours if one.stem in names]
    if len(shared) == len(ours) == len(theirs):
        return shared
    if not shared and len(ours) == len(theirs):
        return list(zip(ours, theirs, strict=True))
    known = {one.stem for one, _ in shared}
    lone = [one.name for one in (*ours, *theirs) if one.stem not in known]
    raise InputError(
        f"{before} holds {len(ours)} stills and {after} {len(theirs)}, expected frames of the same "
        f"names in both, or as many of both in the same order; without a partner: "
        f"{', '.join(some_of(lone, 8))}"
    )


def _stills(folder: Path) -> list[Path]:
    if not folder.is_dir():
        raise InputError(f"{folder}: no such folder, expected one of stills")
    found = sorted(one for one in folder.iterdir() if one.suffix.lower() in STILLS)
    if not found:
        raise InputError(f"{folder}: holds no stills")
    return found


def read_pairs(
    files: Sequence[tuple[Path, Path]], progress: Progress
) -> tuple[list[PairOfFrames], list[str]]:
    """Return the pairs that lie over each other, and what is said of the others.

    Raises
    ------
    InputError
        If a file cannot be read.
    """
    found, told = [], []
    for place, (ours, theirs) in enumerate(files):
        progress(f"adopt: {ours.name}", place, len(files))
        one = _pair(ours, theirs)
        if isinstance(one, str):
            told.append(f"{ours.name} and {theirs.name} are left out: {one}")
        else:
            found.append(one)
    return found, told


def _pair(ours: Path, theirs: Path) -> PairOfFrames | str:
    first, second = (
        np.nan_to_num(np.asarray(read_still(one).pixels, dtype=np.float32)[..., :3])
        for one in (ours, theirs)
    )
    over = aligned(first, second)
    if isinstance(over, str):
        return over
    small, warped, covered = over
    before, spread = blocks_of(small)
    after, spread_after = blocks_of(warped)
    seen = shown_blocks(covered)
    even = (spread < _FLAT_BEFORE) & (spread_after < _FLAT_AFTER)
    inside = (before.max(axis=1) < CLIPS) & (before.min(axis=1) > 0.002)
    fair = seen & even & inside
    if fair.sum() < _FEWEST:
        return "they share too few even areas"
    shape = small.shape[0] // BLOCK, small.shape[1] // BLOCK
    return PairOfFrames(ours.name, small, warped, before, after, shape, fair, seen)


def disagreeing(pair: PairOfFrames, off: Array) -> Mask:
    """Return the blocks of areas that no look over all frames explains, shape (n,).

    Parameters
    ----------
    off
        Delta E between the frame after and what the fit makes of the one before, shape (n,).

    Notes
    -----
    An area is six blocks and more that hang together, around each of which more than half of the
    even blocks are far off: three times the frame's median, and 2.5 at least (our own choice).
    Edges do not count, for frames that are a little moved differ there.
    """
    from scipy.ndimage import label, uniform_filter

    usual = float(np.median(off[pair.fair]))
    far = pair.fair & (off > max(2.5, 3.0 * usual))
    near_far, near_fair = (
        uniform_filter(one.reshape(pair.shape).astype(np.float64), size=5, mode="constant")
        for one in (far, pair.fair)
    )
    apart = near_far > 0.5 * np.maximum(near_fair, 3.0 / 25.0)
    areas, count = label(apart)
    for area in range(1, count + 1):
        if (areas == area).sum() < 6:
            apart[areas == area] = False
    return np.asarray(apart).ravel() & pair.seen

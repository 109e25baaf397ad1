"""Adopting a look from frames before and after."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from lookkit.accuracy.difference import delta_e_2000
from lookkit.accuracy.samples import image_like
from lookkit.accuracy.truth import Light
from lookkit.adopt.chain import Chain
from lookkit.adopt.checks import grey_warnings, is_grey_only
from lookkit.adopt.colours import Asked
from lookkit.adopt.frames import Mask, PairOfFrames, disagreeing, pairs_of_files, read_pairs
from lookkit.adopt.grow import Error, Task, grown
from lookkit.adopt.parts import DEPTH, FILM, SATURATION, TONE
from lookkit.adopt.run import CAMERA, OUTPUT, rounded, tables_of, written_recipe
from lookkit.adopt.solve import Wanted, solve
from lookkit.adopt.text import recipe_text
from lookkit.errors import InputError
from lookkit.files import check_new
from lookkit.lattice.of_graph import light_of
from lookkit.look import Look
from lookkit.match.pairs import rare_first
from lookkit.progress import Progress, silent
from lookkit.spaces.encodings import Encoding, encoding
from lookkit.spaces.level import stops_of
from lookkit.spaces.oklab import chroma_of, hue_of, oklab
from lookkit.spaces.outputs import Output, output
from lookkit.spaces.ranges import SignalRange
from lookkit.spaces.working import Array

Decode = Callable[[Array], Array]
Fitted = tuple[Chain, Array]
_DOUBTED: Final = 2.0
MOST: Final = 3000
_OPEN: Final = Error(0.3, 0.6)
"""What pictures of eight bits leave open (our own choice: about two steps)."""
_TOLD: Final = 0.005
"""The share of a frame from which areas that disagree are told."""
_NO_LOOK: Final = 5.0
_NEAR: Final = 0.05
"""Distance in code within which a colour counts as shown."""
_HUES: Final = {"reds": 25, "yellows": 100, "greens": 145, "cyans": 195, "blues": 260,
                "magentas": 330}  # fmt: skip


@dataclass(frozen=True, eq=False)
class FromPairs:
    """A look as a recipe, from frames.

    Attributes
    ----------
    pairs, apart
        The frames that were used, and of each the blocks of areas that disagree.
    error
        Delta E 2000 on even areas left out of the fit, areas that disagree not counted.
    shown
        The share of colours as pictures have them that lie near one in the frames.
    told
        What the user should know.
    """

    recipe: Path
    look: Look
    light: Light
    display: Output
    pairs: tuple[PairOfFrames, ...]
    apart: tuple[Mask, ...]
    error: Error
    shown: float
    steps: int
    told: tuple[str, ...]


def adopt_pairs(
    before: str | os.PathLike[str],
    after: str | os.PathLike[str],
    target: str | os.PathLike[str],
    *,
    camera: str,
    shown: str,
    camera_range: SignalRange | None = None,
    shown_range: SignalRange | None = None,
    progress: Progress = silent,
) -> FromPairs:
    """Write a recipe that makes the frames of one folder look as those of another.

    Parameters
    ----------
    before, after
        Folders of stills: the camera's codes, and the same frames with the look, of the same names
        or in the same order. Those after may be resized, cropped and a little moved.
    target, camera, shown, camera_range, shown_range
        As of `adopt_lut`.

    Raises
    ------
    InputError
        If frames or a name cannot be used, no pair lies over each other, no look explains them, or
        `target` is there already.
    """
    place = Path(target)
    check_new(place)
    takes, display = encoding(camera), output(shown).delivered(range=shown_range)
    light = light_of(display)
    files = pairs_of_files(Path(before), Path(after))
    pairs, told = read_pairs(files, progress)
    if not pairs:
        raise InputError("\n".join(told))

    def scene(code: Array) -> Array:
        return takes.decode(code, range=camera_range)

    progress("adopt: areas that disagree", 0, 10)
    chain, values = _first(pairs, scene, light, display)
    off = [_off(one, chain, values, scene, light) for one in pairs]
    pairs, off, lone = _of_one_look(pairs, off)
    told += lone
    if lone:
        chain, values = _first(pairs, scene, light, display)
        off = [_off(one, chain, values, scene, light) for one in pairs]
    apart = [disagreeing(one, o) for one, o in zip(pairs, off, strict=True)]
    fitted, left = _split(pairs, apart, scene, light)
    grey_only = is_grey_only(fitted)
    if grey_only:
        told.append("the frames after show no colour: the recipe is black and white")
    near = fitted.only(fitted.near_grey) if fitted.near_grey.sum() > 100 else fitted
    task = Task(
        Wanted(fitted.scene, fitted.lab, light, doubted=_DOUBTED),
        Wanted(near.scene, near.lab, light, doubted=_DOUBTED),
        left, light, display, grey_only, _OPEN,
    )  # fmt: skip
    fit, _ = grown(task, progress)
    digits = rounded(task, fit)
    steps, rendering = fit.found.chain.tables(fit.found.values, digits)
    off = [_off(one, fit.found.chain, fit.found.values, scene, light) for one in pairs]
    apart = [disagreeing(one, o) for one, o in zip(pairs, off, strict=True)]
    told += _areas(pairs, apart)
    known = _known(fitted, takes, camera_range)
    told += _not_shown(known)
    if len(pairs) == 1:
        told.append("one pair alone: colours that it does not show are a guess")
    error = fit.error
    lines = [
        f"Made by lookkit adopt from {len(pairs)} pair{'s' * (len(pairs) > 1)} of frames, taken as "
        f"{takes.name} before and {display.name} after.",
        f"Delta E 2000 on even areas that the fit has not seen: {error}. The frames show "
        f"{known.share:.0%} of the colours that pictures commonly have; the rest is a guess.",
    ]
    camera_table, output_table = tables_of(takes, camera_range, display)
    text = recipe_text(
        place.stem, {CAMERA: camera_table}, output_table, steps, rendering,
        fit.found.chain.parts, lines,
    )  # fmt: skip
    look = written_recipe(place, text, told)
    told = grey_warnings(_Look(look, takes, camera_range, display, light)) + told
    return FromPairs(
        place, look, light, display, tuple(pairs), tuple(apart), error, known.share,
        len(steps) + 1, tuple(told),
    )  # fmt: skip


@dataclass(frozen=True, eq=False)
class _Look:
    """The recipe as what its greys are judged by."""

    look: Look
    camera: Encoding
    camera_range: SignalRange | None
    shown: Output
    light: Light

    def signal(self, code: Array) -> Array:
        return self.look.evaluate(code, camera=CAMERA, output=OUTPUT)


def _first(pairs: Sequence[PairOfFrames], scene: Decode, light: Light, display: Output) -> Fitted:
    """Return a fit of few numbers that no single area can turn."""
    code = np.concatenate([one.before[one.fair] for one in pairs])
    signal = np.concatenate([one.after[one.fair] for one in pairs])
    rows = _even(code, MOST)
    wanted = Wanted(scene(code[rows]), light.lab(signal[rows]), light, doubted=_DOUBTED)
    chain = Chain("film-print", (*FILM, SATURATION), display)
    found = solve(chain, chain.plain, wanted, 20)
    more = chain.with_parts((*FILM, SATURATION, TONE, DEPTH))
    found = solve(more, more.carried(chain, found.values), wanted, 10)
    return more, found.values


def _off(pair: PairOfFrames, chain: Chain, values: Array, scene: Decode, light: Light) -> Array:
    made = chain.signal(values, scene(pair.before))
    return delta_e_2000(light.lab(made), light.lab(pair.after))


def _of_one_look(
    pairs: list[PairOfFrames], off: list[Array]
) -> tuple[list[PairOfFrames], list[Array], list[str]]:
    """Return the pairs that follow one look, and what is said of the others.

    Raises
    ------
    InputError
        If none does.
    """
    middle = np.array([float(np.median(o[one.fair])) for one, o in zip(pairs, off, strict=True)])
    limit = max(_NO_LOOK, 3.0 * float(np.median(middle)))
    if np.median(middle) > _NO_LOOK:
        raise InputError(
            f"no look makes these frames of each other: half of the even areas are off by more "
            f"than {np.median(middle):.1f} Delta E. Do they belong together, by name and by order, "
            "and is --from what the frames before hold?"
        )
    good = middle <= limit
    told = [
        f"{one.name} is left out: half of it is off by more than {m:.1f} Delta E where the other "
        "frames agree; it has another look, or its pair is another frame"
        for one, m, fine in zip(pairs, middle, good, strict=True) if not fine
    ]  # fmt: skip
    kept = [place for place, fine in enumerate(good) if fine]
    return [pairs[place] for place in kept], [off[place] for place in kept], told


def _split(
    pairs: Sequence[PairOfFrames], apart: Sequence[Mask], scene: Decode, light: Light
) -> tuple[Asked, Asked]:
    """Return the colours of the fit, drawn evenly over all, and a fifth that is left out."""
    used = [one.fair & ~gone for one, gone in zip(pairs, apart, strict=True)]
    code = np.concatenate([one.before[rows] for one, rows in zip(pairs, used, strict=True)])
    signal = np.concatenate([one.after[rows] for one, rows in zip(pairs, used, strict=True)])
    order = np.random.default_rng(3).permutation(len(code))
    left, kept = order[: len(order) // 5], order[len(order) // 5 :]
    kept = kept[_even(code[kept], MOST)]

    def asked(rows: np.ndarray) -> Asked:
        return Asked(code[rows], scene(code[rows]), signal[rows], light.lab(signal[rows]))

    return asked(kept), asked(left)


def _even(code: Array, most: int) -> np.ndarray:
    """Return at most so many rows, drawn evenly over cells of colours: rare colours stay."""
    return np.asarray(np.sort(rare_first(code, 24)[:most]))


def _areas(pairs: Sequence[PairOfFrames], apart: Sequence[Mask]) -> list[str]:
    shares = [gone.sum() / max(one.seen.sum(), 1) for one, gone in zip(pairs, apart, strict=True)]
    return [
        f"{one.name}: {share:.0%} of it follows no look over the whole frame (a window, a "
        "vignette, a title, a retouch) and was not counted"
        for one, share in zip(pairs, shares, strict=True) if share >= _TOLD
    ]  # fmt: skip


@dataclass(frozen=True, eq=False)
class _Known:
    """Colours as pictures have them, and which lie near a colour of the frames."""

    scene: Array
    near: Mask

    @property
    def share(self) -> float:
        return float(self.near.mean())


def _known(fitted: Asked, takes: Encoding, way: SignalRange | None) -> _Known:
    from scipy.spatial import cKDTree

    scene = image_like(np.random.default_rng(8), 6000)
    code = np.clip(takes.encode(scene, range=way), 0.0, 1.0)
    far, _ = cKDTree(fitted.code).query(code)
    return _Known(scene, np.asarray(far) < _NEAR)


def _not_shown(known: _Known) -> list[str]:
    """Say which hues and levels the frames do not show."""
    lab = oklab(known.scene)
    hue, coloured, stops = hue_of(lab), chroma_of(lab) > 0.06, stops_of(known.scene)
    lacking = []
    for name, centre in _HUES.items():
        rows = coloured & (np.abs((hue - centre + 180.0) % 360.0 - 180.0) < 30.0)
        if rows.sum() > 30 and known.near[rows].mean() < 0.4:
            lacking.append(name)
    for name, low, high in (("deep shadows", -9.0, -4.0), ("bright lights", 2.5, 9.0)):
        rows = (stops > low) & (stops < high)
        if known.near[rows].mean() < 0.4:
            lacking.append(name)
    if not lacking:
        return []
    return [f"the frames hardly show {', '.join(lacking)}: what the recipe does there is a guess"]

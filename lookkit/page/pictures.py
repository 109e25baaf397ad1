"""The pictures of a film as the page keeps them: scene light before all trims.

What a camera recorded is decoded and matched once; every change of the look or of a trim, a
camera's, a scene's or a shot's, starts from there. Pictures are made small in light, by areas.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from lookkit.coordinates import SHOWN, SceneColours
from lookkit.errors import InputError, LookkitError
from lookkit.evaluate import Runner, clean
from lookkit.graph import serial
from lookkit.look import Look
from lookkit.media.frame import read_frame
from lookkit.media.jobs import Options, Taken, assign
from lookkit.nodes.base import Op
from lookkit.progress import Progress, silent
from lookkit.report.shown import recorded

KEPT_WIDTH = 1280
"""Pixels across a picture that is kept; the full view reads the file again."""

Pixels = npt.NDArray[np.float32]
Bytes = npt.NDArray[np.uint8]
Place = tuple[str, str | None]
_STEPS = 65535
_PART = 1 << 16
_STRIP = 256
_AXES = SceneColours(33, SHOWN)
_GREY = _AXES.place(np.full(3, 0.18))


@dataclass(frozen=True, eq=False)
class Picture:
    """One picture of the film.

    `light` is float32 scene light before all trims, shape (height, width, 3); `before` the same
    picture as recorded, as sRGB bytes. `size` is the file's own (width, height).
    """

    taken: Taken
    camera: str
    scene: str | None
    name: str
    place: str
    size: tuple[int, int]
    light: Pixels
    before: Bytes
    share: float = 0.5
    decoding: tuple[Op, ...] = ()
    """The steps that made `light` of codes; where a look has others, the file is read again."""

    def place_in(self, look: Look) -> Place:
        """Return the picture's camera and setting, which say what trims it has."""
        return self.camera, self.taken.setting(look)


def read_pictures(
    look: Look,
    files: Sequence[str | Path],
    options: Options,
    at: Sequence[float] = (0.5,),
    progress: Progress = silent,
) -> tuple[list[Picture], list[str]]:
    """Read the pictures of a film in the order of its scenes and cameras.

    Parameters
    ----------
    at
        Shares of a clip's or a sequence's length at which frames are taken.

    Returns
    -------
    pictures
        Of the files whose camera is known and that could be read.
    left_out
        What is wrong with each of the others, in words.

    Raises
    ------
    InputError
        If an option cannot be, such as an unknown camera.
    """
    taken, refused = assign(look, files, options, progress)
    left_out = [one.problem for one in refused]
    scenes = [*look.scenes, None]
    cameras = list(look.cameras)
    taken.sort(key=lambda one: (scenes.index(one.scene), cameras.index(one.camera)))
    wanted = [
        (one, share) for one in taken for share in (at[:1] if isinstance(one.source, Path) else at)
    ]
    made = []
    for count, (one, share) in enumerate(wanted):
        progress(f"reading {one.place.name}", count, len(wanted))
        try:
            made.append(read_picture(look, one, share))
        except LookkitError as error:
            left_out.append(str(error))
    progress("pictures", len(wanted), len(wanted))
    return made, left_out


def read_picture(look: Look, taken: Taken, share: float = 0.5, width: int = KEPT_WIDTH) -> Picture:
    """Read one picture, at most `width` pixels wide."""
    frame = read_frame(look, taken, share)
    high, wide = frame.code.shape[:2]
    aspect = float(frame.aspect)
    shown_wide = min(wide, width)
    shown_high = max(1, round(high * shown_wide / (wide * aspect)))
    code = np.asarray(frame.code, dtype=np.float32)
    decoding = _decoding(look, taken.camera, taken.scene)
    runner = Runner(decoding)
    lights, befores = [], []
    for start in range(0, high, _STRIP):
        strip = code[start : start + _STRIP]
        cleaned = np.asarray(clean(runner.run(strip)).pixels, dtype=np.float32)
        lights.append(_narrowed(cleaned, shown_wide))
        shown = recorded(look, taken.camera, strip).astype(np.float32)
        befores.append(_narrowed(shown, shown_wide))
    light = resized(np.concatenate(lights), shown_wide, shown_high)
    before = np.rint(resized(np.concatenate(befores), shown_wide, shown_high)).astype(np.uint8)
    return Picture(
        taken, taken.camera, taken.scene, taken.place.name, Path(frame.place).name, (wide, high),
        light, before, share, decoding,
    )  # fmt: skip


def is_current(look: Look, picture: Picture) -> bool:
    """Say whether a look still reads a picture as it was read."""
    try:
        return _decoding(look, picture.camera, picture.scene) == picture.decoding
    except InputError:
        # The camera or the scene is gone from the recipe: the picture stays as it was.
        return True


def trims_of(look: Look, camera: str) -> tuple[Op, ...]:
    """Return a camera's own trims; none if the recipe has no such camera any more."""
    known = look.recipe.cameras.get(camera)
    return () if known is None else tuple(serial(known.trims))


def _decoding(look: Look, camera: str, scene: str | None) -> tuple[Op, ...]:
    steps = tuple(look.graph.camera(camera, scene))
    return steps[: len(steps) - len(trims_of(look, camera))]


def resized(image: Pixels, width: int, height: int) -> Pixels:
    """Return an image at another size, each pixel the mean of its area; shape (h, w, 3)."""
    high, wide = image.shape[:2]
    if (high, wide) == (height, width):
        return image
    out = np.tensordot(_areas(high, height), image, axes=(1, 0))
    out = np.einsum("xw,hwc->hxc", _areas(wide, width), out, optimize=True)
    return np.ascontiguousarray(out, dtype=np.float32)


def _narrowed(image: Pixels, width: int) -> Pixels:
    """Return an image at no more than its width, as `resized`, whatever its size."""
    wide = image.shape[1]
    if width == wide:
        return np.asarray(image, dtype=np.float32)
    # Pixels from the one that holds an edge on, less what lies before it, and what is beyond.
    edges = np.linspace(0.0, wide, width + 1)
    low = np.minimum(np.floor(edges).astype(int), wide - 1)
    part = (edges - low)[None, :, None] * image[:, low]
    sums = np.add.reduceat(image.astype(np.float64), low[:-1], axis=1)
    sums[:, -1] -= image[:, -1]
    return np.asarray((sums - part[:, :-1] + part[:, 1:]) * (width / wide), dtype=np.float32)


def _areas(source: int, target: int) -> Pixels:
    """Return how much of each source pixel lies in each target pixel, rows summing to one."""
    edges = np.linspace(0.0, source, target + 1)
    low = np.maximum(edges[:-1, None], np.arange(source)[None, :])
    high = np.minimum(edges[1:, None], np.arange(source)[None, :] + 1.0)
    share = np.maximum(high - low, 0.0)
    return np.asarray(share / share.sum(axis=1, keepdims=True), dtype=np.float32)


@dataclass(frozen=True, eq=False)
class Domain:
    """The part of `coordinates.SceneColours` that the film's light fills.

    `low` and `high` have shape (3,); the middle of the second and third axis is grey.
    """

    low: npt.NDArray[np.float64]
    high: npt.NDArray[np.float64]

    @classmethod
    def of(cls, pictures: Sequence[Picture]) -> Domain:
        """Return the domain of all pictures."""
        low, high = np.full(3, 1.0), np.zeros(3)
        for picture in pictures:
            place = _AXES.place(picture.light.reshape(-1, 3).astype(np.float64))
            low, high = np.minimum(low, place.min(0)), np.maximum(high, place.max(0))
        for axis in (1, 2):
            grey = _GREY[axis]
            reach = max(grey - low[axis], high[axis] - grey, 1e-3)
            low[axis], high[axis] = grey - reach, grey + reach
        high[0] = max(high[0], low[0] + 1e-3)
        return cls(low, high)

    def points(self, size: int) -> Pixels:
        """Return the light at the lattice's points, shape (size^3, 3), the first axis fastest."""
        axes = [np.linspace(self.low[k], self.high[k], size) for k in range(3)]
        grid = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).transpose(2, 1, 0, 3)
        return np.asarray(_AXES.values_at(grid.reshape(-1, 3)), dtype=np.float32)

    def coded(self, light: Pixels) -> npt.NDArray[np.uint16]:
        """Return where light lies in the domain, in 0-65535, same shape."""
        flat = light.reshape(-1, 3)
        out = np.empty(flat.shape, np.uint16)
        for start in range(0, len(flat), _PART):
            place = _AXES.place(flat[start : start + _PART].astype(np.float64))
            share = np.clip((place - self.low) / (self.high - self.low), 0.0, 1.0)
            out[start : start + _PART] = np.rint(share * _STEPS)
        return out.reshape(light.shape)

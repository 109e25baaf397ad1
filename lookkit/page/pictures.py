"""The pictures of a film as the page keeps them: scene light before all trims.

What a camera recorded is decoded and matched once; every change of the look or of a trim, a
camera's, a scene's or a shot's, starts from there. Pictures are made small in light, by areas.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
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
from lookkit.ocio import Processor
from lookkit.progress import Progress, silent
from lookkit.report.shown import recorded

KEPT_WIDTH = 1280
"""Pixels across a picture that is kept; the full view reads the file again."""

Pixels = npt.NDArray[np.float32]
Bytes = npt.NDArray[np.uint8]
Place = tuple[str, str | None]
_STEPS = 65535
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
        cleaned = np.asarray(clean(runner.run(strip)), dtype=np.float32)
        lights.append(_meant(cleaned, shown_wide, 1))
        shown = recorded(look, taken.camera, strip).astype(np.float32)
        befores.append(_meant(shown, shown_wide, 1))
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


def all_trims(look: Look, place: Place) -> tuple[Op, ...]:
    """Return all trims of a place: its camera's, its scene's and its shot's."""
    camera, setting = place
    return (*trims_of(look, camera), *look.graph.trims(setting))


def _decoding(look: Look, camera: str, scene: str | None) -> tuple[Op, ...]:
    steps = tuple(look.graph.camera(camera, scene))
    return steps[: len(steps) - len(trims_of(look, camera))]


def lights_of(look: Look, pictures: Sequence[Picture]) -> Iterator[Pixels]:
    """Return the light of pictures before their trims, and after them."""
    for picture in pictures:
        yield picture.light
        if trims := all_trims(look, picture.place_in(look)):
            yield Runner(trims).run(picture.light)


def resized(image: Pixels, width: int, height: int) -> Pixels:
    """Return an image at another size, each pixel the mean of its area; shape (h, w, 3)."""
    return _meant(_meant(image, height, 0), width, 1)


def _meant(image: Pixels, size: int, axis: int) -> Pixels:
    """Return an image with `size` pixels along one axis, each the mean of what it covers."""
    old = image.shape[axis]
    if size == old:
        return np.asarray(image, dtype=np.float32)
    # Pixels from the one that holds an edge on, less what lies before it, and what is beyond.
    edges = np.linspace(0.0, old, size + 1)
    low = np.minimum(np.floor(edges).astype(int), old - 1)
    image = np.moveaxis(image, axis, 0)
    part = (edges - low).reshape(-1, *[1] * (image.ndim - 1)) * image[low]
    sums = np.add.reduceat(image, low[:-1], axis=0, dtype=np.float64)
    sums[-1] -= image[-1]
    sums[:-1][low[:-2] == low[1:-1]] = 0.0
    means = (sums - part[:-1] + part[1:]) * (size / old)
    return np.ascontiguousarray(np.moveaxis(means, 0, axis), dtype=np.float32)


@dataclass(frozen=True, eq=False)
class Domain:
    """The part of `coordinates.SceneColours` that the film's light fills.

    `low` and `high` have shape (3,); the middle of the second and third axis is grey.
    """

    low: npt.NDArray[np.float64]
    high: npt.NDArray[np.float64]

    @classmethod
    def of(cls, lights: Iterable[Pixels]) -> Domain:
        """Return the domain of some light, arrays of shape (height, width, 3)."""
        low, high = np.full(3, 1.0), np.zeros(3)
        for light in lights:
            place = _places().apply(light).reshape(-1, 3)
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
        codes = self._codes(light)
        return np.rint(np.clip(codes, 0, _STEPS, out=codes), out=codes).astype(np.uint16)

    def holds(self, light: Pixels) -> bool:
        """Say whether all light lies in the domain."""
        codes = self._codes(light)
        return bool(codes.min() > -1.0 and codes.max() < _STEPS + 1.0)

    def _codes(self, light: Pixels) -> Pixels:
        scale = _STEPS / (self.high - self.low)
        place = _places().apply(light)
        place -= self.low.astype(np.float32)
        place *= scale.astype(np.float32)
        return place


@cache
def _places() -> Processor:
    """Return `SceneColours.place` in float32, 0.1 of a code from it and thirty times as fast."""
    return Processor(_AXES.to_place())

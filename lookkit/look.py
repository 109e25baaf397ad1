"""The library's front door: load a recipe, apply it, bake it."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from functools import cached_property
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from lookkit.errors import InputError, UnknownNameError
from lookkit.evaluate import evaluate
from lookkit.graph import Graph
from lookkit.lower import is_analytic, lower
from lookkit.recipe.load import read_recipe
from lookkit.recipe.model import Recipe
from lookkit.spaces.working import Array

if TYPE_CHECKING:
    from lookkit.ocio import Processor


_FAST_SIZE = 65


def load(path: str | PathLike[str]) -> Look:
    """Load a recipe file.

    Raises
    ------
    InputError
        If the file cannot be read.
    RecipeError
        With every problem of the recipe, each with its line.
    """
    recipe, text = read_recipe(Path(path))
    return Look(recipe, text, str(path))


class Look:
    """A recipe that is ready to grade pictures.

    Parameters
    ----------
    recipe
        The validated recipe.
    text
        The recipe as it was written; goes into the hand-off.
    source
        Where it came from; named in errors.
    """

    def __init__(self, recipe: Recipe, text: str, source: str = "<recipe>") -> None:
        self.recipe = recipe
        self.text = text
        self.source = source
        self._processors: dict[tuple[str, str, str | None, bool], Processor] = {}

    @cached_property
    def recipe_hash(self) -> str:
        """The sha256 of the recipe's text."""
        return hashlib.sha256(self.text.encode()).hexdigest()

    @cached_property
    def graph(self) -> Graph:
        """The recipe's graph."""
        return Graph(self.recipe)

    @property
    def cameras(self) -> tuple[str, ...]:
        """The names of the recipe's cameras."""
        return tuple(self.recipe.cameras)

    @property
    def outputs(self) -> tuple[str, ...]:
        """The names of the recipe's outputs."""
        return tuple(self.recipe.outputs)

    def delivering(self, scenes: Iterable[str]) -> Look:
        """Return the same look, to be delivered for these scenes instead of the recipe's own.

        Raises
        ------
        UnknownNameError
            If the recipe has no such scene.
        """
        chosen = tuple(dict.fromkeys(scenes))
        for scene in chosen:
            if scene not in self.recipe.scenes:
                raise UnknownNameError("scene", scene, self.recipe.scenes)
        deliver = self.recipe.deliver.model_copy(update={"scenes": chosen})
        recipe = self.recipe.model_copy(update={"deliver": deliver})
        return Look(recipe, self.text, self.source)

    @property
    def scenes(self) -> tuple[str, ...]:
        """The names of the recipe's scenes."""
        return tuple(self.recipe.scenes)

    def apply(
        self,
        pixels: npt.ArrayLike,
        *,
        camera: str,
        output: str,
        scene: str | None = None,
        fast: bool = False,
        out: npt.NDArray[np.float32] | None = None,
    ) -> npt.NDArray[Any]:
        """Grade a picture: OpenColorIO on all cores.

        What OpenColorIO can say step by step runs as it is, within 1e-5 of the exact graph.
        With nodes that it cannot say, or with `fast`, the way from the camera's codes to
        the signal is one lattice of 65 points, read tetrahedrally: several times faster, and as
        exact as a 65-point .cube (see its certificate). A scene-linear camera always runs
        step by step.

        Parameters
        ----------
        pixels
            Code values of the camera, shape (..., 3). Floats: 0-1 spans the whole range
            of the camera's files, negatives and values above one are carried as far as the
            encoding goes. Unsigned integers: their whole range is 0-1.
        camera, output, scene
            Names from the recipe; no scene is the plain look.
        fast
            One lattice, even where every step could run as it is.
        out
            For float input, a C-contiguous float32 array of the same shape to fill.

        Returns
        -------
        array of the same shape
            Code values of the output in 0-1: float32 for floats, the same integer type
            (rounded) for integers. NaN and infinities in the input come out finite.

        Raises
        ------
        InputError
            If the camera or output is not in the recipe, or the type is neither float
            nor unsigned integer.
        ValueError
            If the last axis is not of length 3.
        """
        source = np.asarray(pixels)
        processor = self._processor(camera, output, scene, fast)
        if source.dtype.kind == "u":
            top = float(np.iinfo(source.dtype).max)
            graded = processor.apply(source.astype(np.float32) / np.float32(top))
            integers: npt.NDArray[Any] = np.rint(np.clip(graded, 0.0, 1.0) * top).astype(
                source.dtype
            )
            return integers
        if source.dtype.kind != "f":
            raise InputError(f"pixels of type {source.dtype}, expected float or unsigned integer")
        if not np.isfinite(source).all():
            source = np.nan_to_num(source, nan=0.0, posinf=1.0, neginf=0.0)
        return processor.apply(source, out)

    def evaluate(
        self, pixels: npt.ArrayLike, *, camera: str, output: str, scene: str | None = None
    ) -> Array:
        """Grade a picture exactly: every step in float64.

        Parameters and errors as in `apply`, for floats only; the result is float64.
        """
        return evaluate(self.graph.chain(camera, output, scene), pixels)

    def cube(self, *, camera: str, output: str, size: int = 33, scene: str | None = None) -> Array:
        """Return the lattice of a .cube: shape (size, size, size, 3), indexed [r, g, b].

        Raises
        ------
        InputError
            If the camera's encoding is scene-linear, which no plain .cube can carry.
        """
        from lookkit.deliver.cube import lattice

        return lattice(self, camera, output, size, scene)

    def ocio_config(self, folder: str | PathLike[str]) -> Path:
        """Write an OCIO config with its LUT files into `folder`; return the config's path."""
        from lookkit.deliver.config import write_config

        return write_config(self, Path(folder))

    def _processor(self, camera: str, output: str, scene: str | None, fast: bool) -> Processor:
        key = (camera, output, scene, fast)
        if key not in self._processors:
            from lookkit.ocio import Processor, lattice_transform

            chain = self.graph.chain(camera, output, scene)
            linear = self.graph.input_transform(camera).encoding.scene_linear
            if linear or (is_analytic(chain) and not fast):
                transforms = lower(chain)
            else:
                steps = np.linspace(0.0, 1.0, _FAST_SIZE)
                codes = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), axis=-1)
                transforms = [lattice_transform(evaluate(chain, codes))]
            self._processors[key] = Processor(transforms)
        return self._processors[key]


def shipped_looks() -> Mapping[str, Path]:
    """Return the recipes of the looks that come with lookkit, by name."""
    from lookkit.spaces.data import configs_folder

    return {path.stem: path for path in sorted((configs_folder() / "looks").glob("*.toml"))}

"""The library's front door: load a recipe, apply it, bake it."""

from __future__ import annotations

import hashlib
import json
import tomllib
from collections.abc import Iterable, Mapping
from datetime import datetime
from functools import cached_property
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import numpy.typing as npt

from lookkit.errors import InputError, UnknownNameError
from lookkit.evaluate import Runner, evaluate, evaluator
from lookkit.graph import Graph
from lookkit.lower import Lattices
from lookkit.recipe.extend import shipped_recipes
from lookkit.recipe.load import parsed, read_recipe
from lookkit.recipe.model import Recipe
from lookkit.recipe.named_files import named_files, renamed
from lookkit.spaces.working import Array

if TYPE_CHECKING:
    from lookkit.piece import View
    from lookkit.texture.engine import Textured


_TOP_STOPS: Final = 11.5
"""Over mid-grey: what the widest of cameras records."""


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


def loads(text: str, *, folder: str | PathLike[str] = ".") -> Look:
    """Load a recipe from its text.

    Parameters
    ----------
    text
        A whole recipe.
    folder
        Where the files that it names (LUTs, matches, a recipe that it extends) are looked for.

    Raises
    ------
    RecipeError
        With every problem of the recipe, each with its line; the file is called `<recipe>`.
    """
    file = str(Path(folder) / "<recipe>")
    recipe, whole = parsed(text, file)
    return Look(recipe, whole, file)


class Look:
    """A recipe that is ready to grade pictures.

    It can be copied and pickled at any time; the copy makes its caches anew.

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
        self._runners: dict[tuple[str, str, str | None], Runner] = {}
        self._textured: dict[tuple[str, str, str | None], Textured | None] = {}
        fit = recipe.deliver.fit and bool(recipe.outputs)
        self.lattices = Lattices((lambda: _view(self)) if fit else None)
        """The lattices of what is delivered, so that none is made twice."""

    def __repr__(self) -> str:
        cameras, outputs = (", ".join(names) or "none" for names in (self.cameras, self.outputs))
        names = f"cameras {cameras}; outputs {outputs}"
        return f"<Look {self.recipe.name!r} from {self.source}: {names}>"

    def __reduce__(self) -> tuple[type[Look], tuple[Recipe, str, str]]:
        return Look, (self.recipe, self.text, self.source)

    @cached_property
    def recipe_hash(self) -> str:
        """The sha256 of the recipe.

        It is that of the text; of a recipe that names files, that of its tables with each
        name replaced by the sha256 of the file, so that it does not depend on where they lie.

        Raises
        ------
        InputError
            If one of them is gone.
        """
        content = {name: _sha256_of(path) for name, path in files_of(self)}
        if not content:
            return hashlib.sha256(self.text.encode()).hexdigest()
        tables = renamed(tomllib.loads(self.text), content.__getitem__)
        text = json.dumps(tables, sort_keys=True, default=str)
        return hashlib.sha256(text.encode()).hexdigest()

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

    @property
    def first_output(self) -> str:
        """The name of the recipe's first output.

        Raises
        ------
        InputError
            If it has none.
        """
        if not self.outputs:
            raise InputError(f"{self.source}: no outputs, expected at least one")
        return self.outputs[0]

    def delivering(
        self,
        scenes: Iterable[str] | None = None,
        date: datetime | None = None,
        *,
        shots: bool = False,
    ) -> Look:
        """Return the same look, to be delivered otherwise than its recipe says.

        Parameters
        ----------
        scenes
            Scenes, or settings of shots, that get files of their own; None leaves those of the
            recipe.
        date
            For files whose format demands one, with its time zone; None leaves the recipe's.
        shots
            Give each line of the shot list that has trims files of its own too.

        Raises
        ------
        UnknownNameError
            If the recipe has no such scene.
        """
        changes: dict[str, Any] = {} if date is None else {"date": date}
        if scenes is not None or shots:
            named = self.recipe.deliver.scenes if scenes is None else scenes
            own = self.recipe.shot_settings if shots else ()
            changes["scenes"] = tuple(dict.fromkeys((*named, *own)))
            for scene in changes["scenes"]:
                self.recipe.in_setting(scene)
        deliver = self.recipe.deliver.model_copy(update=changes)
        recipe = self.recipe.model_copy(update={"deliver": deliver})
        return Look(recipe, self.text, self.source)

    def wearing(self, other: Look) -> Look:
        """Return these cameras, outputs and scenes with another recipe's look and rendering.

        What this recipe says of its own look goes: scenes' overrides, and renderings of outputs.
        """
        mine = self.recipe
        scenes = {
            name: one.model_copy(update={"overrides": {}}) for name, one in mine.scenes.items()
        }
        outputs = {
            name: one.model_copy(update={"rendering": None}) for name, one in mine.outputs.items()
        }
        theirs = other.recipe
        recipe = mine.model_copy(
            update={
                "name": theirs.name,
                "note": theirs.note,
                "version": theirs.version,
                "look": theirs.look,
                "rendering": theirs.rendering,
                "texture": theirs.texture,
                "scenes": scenes,
                "outputs": outputs,
            }
        )
        return Look(recipe, other.text, other.source)

    def at_frame(self, setting: str, frame: int) -> Look:
        """Return the look as it is at one frame of a shot with key frames, from 0."""
        return Look(self.recipe.at_frame(setting, frame), self.text, self.source)

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
        out: npt.NDArray[np.float32] | None = None,
    ) -> npt.NDArray[Any]:
        """Grade a picture, on all cores.

        Every pixel comes out within 0.1 of a ten-bit code of `evaluate`: the same formulas, in
        float32, and in float64 where float32 is not exact enough.

        Parameters
        ----------
        pixels
            Code values of the camera, shape (..., 3). Floats: 0-1 spans the whole range
            of the camera's files, negatives and values above one are carried as far as the
            encoding goes. Unsigned integers: their whole range is 0-1.
        camera, output, scene
            Names from the recipe; no scene is the plain look.
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
        runner = self.runner(camera, output, scene)
        if source.dtype.kind == "u":
            top = float(np.iinfo(source.dtype).max)
            graded = runner.run(source.astype(np.float32) / np.float32(top))
            integers: npt.NDArray[Any] = np.rint(np.clip(graded, 0.0, 1.0) * top).astype(
                source.dtype
            )
            return integers
        if source.dtype.kind != "f":
            raise InputError(f"pixels of type {source.dtype}, expected float or unsigned integer")
        return runner.run(source, out)

    def picture(
        self,
        codes: npt.NDArray[np.float32],
        *,
        camera: str,
        output: str,
        scene: str | None = None,
        shot: str = "",
        frame: int = 0,
        aspect: float = 1.0,
    ) -> npt.NDArray[np.float32]:
        """Grade a whole picture as `apply` does, with the recipe's texture where it has one.

        Parameters
        ----------
        codes
            As of `apply`, shape (height, width, 3).
        camera, output, scene
            As of `apply`.
        shot, frame
            What the grain is drawn for; the same ones give the same grain, on every machine.
        aspect
            A pixel's width over its height, for texture is round on the screen.

        Returns
        -------
        array of the same shape
            float32, 0-1.

        Raises
        ------
        InputError
            As `apply`.
        """
        textured = self.textured(camera, output, scene)
        if textured is None:
            return self.apply(codes, camera=camera, output=output, scene=scene)
        return textured.apply(np.asarray(codes, np.float32), shot=shot, frame=frame, aspect=aspect)

    def has_texture(self, output: str, scene: str | None = None) -> bool:
        """Say whether pictures on an output get the recipe's texture: the film print alone does."""
        from lookkit.texture.engine import texture_of

        return texture_of(self.graph, output, scene) is not None

    def textured(self, camera: str, output: str, scene: str | None = None) -> Textured | None:
        """Return a camera's way to an output with texture, made once; None where it has none.

        Raises
        ------
        InputError
            As `apply`.
        """
        from lookkit.texture.engine import Textured, texture_of

        key = (camera, output, scene)
        if key not in self._textured:
            chosen = texture_of(self.graph, output, scene)
            self._textured[key] = chosen and Textured(self.graph.chain(*key), chosen)
        return self._textured[key]

    def without_texture(self) -> Look:
        """Return the same look without its texture."""
        recipe = self.recipe.model_copy(update={"texture": None})
        return Look(recipe, self.text, self.source)

    def evaluate(
        self, pixels: npt.ArrayLike, *, camera: str, output: str, scene: str | None = None
    ) -> Array:
        """Grade a picture exactly: every step in float64.

        Parameters and errors as in `apply`, for floats only; the result is float64.
        """
        kind = np.asarray(pixels).dtype
        if kind.kind != "f":
            raise InputError(f"pixels of type {kind}, expected floats; `apply` takes integers too")
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

    def runner(self, camera: str, output: str, scene: str | None = None) -> Runner:
        """Return the chain of a camera and an output, ready for pictures; made once.

        Raises
        ------
        InputError
            As `apply`.
        """
        key = (camera, output, scene)
        if key not in self._runners:
            self._runners[key] = Runner(self.graph.chain(camera, output, scene))
        return self._runners[key]


_FITTED_TO: Final = {
    "image-like": 480_000,
    "skin": 32_000,
    "saturated-emitters": 256_000,
    "over-range": 160_000,
}
"""How many colours of each set a lattice is fitted to and chosen on."""


def _view(look: Look) -> View:
    """Return the light of scenes, and what the first display in SDR, or any, shows of it."""
    from lookkit.accuracy import samples
    from lookkit.piece import View

    def drawn(order: int, name: str) -> Array:
        rng = np.random.default_rng([samples.FIT_SEED, order])
        count = _FITTED_TO[name]
        if name == "over-range":
            return samples.over_range(rng, count, _TOP_STOPS)
        draw = {
            "image-like": samples.image_like,
            "skin": samples.skin,
            "saturated-emitters": samples.saturated_emitters,
        }[name]
        return draw(rng, count)

    ordinary = [name for name in look.outputs if not look.graph.output(name).is_hdr]
    shown = (ordinary or list(look.outputs))[0]
    steps = (*look.graph.rendering(shown), *look.graph.output_steps(shown))
    return View(
        {name: drawn(order, name) for order, name in enumerate(_FITTED_TO)},
        evaluator(steps),
    )


def files_of(look: Look) -> tuple[tuple[str, Path], ...]:
    """Return the LUTs and matches that a look's recipe names: the name, and where the file is."""
    names = dict.fromkeys(name for _, name in named_files(tomllib.loads(look.text)))
    return tuple((name, look.recipe.folder / name) for name in names)


def _sha256_of(path: Path) -> str:
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror})") from error


def shipped_looks() -> Mapping[str, Path]:
    """Return the recipes of the looks that come with lookkit, by name."""
    return shipped_recipes()


def load_shipped(name: str) -> Look:
    """Load one of the looks that come with lookkit.

    Raises
    ------
    UnknownNameError
        If there is none of that name.
    """
    looks = shipped_looks()
    if name not in looks:
        raise UnknownNameError("look", name, looks)
    return load(looks[name])


def beside_look(look: Look, name: str) -> Look:
    """Return what stands beside a look on a page: a recipe by its path, or a shipped look.

    A shipped look is shown with the cameras, outputs and scenes of `look`.

    Raises
    ------
    InputError
        If it is neither, or the recipe cannot be read.
    RecipeError
        With every problem of the recipe.
    """
    shipped = shipped_looks()
    if name in shipped:
        return look.wearing(load_shipped(name))
    if not Path(name).exists() and not name.endswith(".toml"):
        raise UnknownNameError("look", name, shipped)
    return load(name)

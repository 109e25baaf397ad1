"""Lattices in ACEScct: scene light to scene light on a log scale, judged as a viewer sees it.

A code of 0-1 is light from -0.0069 to 222.9 (10.3 stops over mid-grey), so a plain lattice over
it loses next to nothing of a scene; what lies beyond is held at the ends.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from lookkit.accuracy.samples import CodeSpace
from lookkit.accuracy.truth import Light
from lookkit.deliver.written import LATTICE_DECIMALS
from lookkit.evaluate import evaluator
from lookkit.lattice.of_graph import Baking
from lookkit.lutfile.cube import read_cube, write_cube
from lookkit.nodes.base import Op
from lookkit.spaces.encodings import encoding
from lookkit.spaces.outputs import Output
from lookkit.spaces.working import Array
from lookkit.version import __version__

if TYPE_CHECKING:
    from lookkit.look import Look

SPACE: Final = "ACEScct"
SIZE: Final = 33

Change = Callable[[Array], Array]
"""From codes to codes, or from light to light; float64, shape (..., 3)."""


def encode(light: Array) -> Array:
    """Return the ACEScct code of scene light, AP1; nothing is clamped."""
    return encoding(SPACE).encode(light)


def decode(code: Array) -> Array:
    """Return the scene light, AP1, of an ACEScct code."""
    return encoding(SPACE).decode(code)


def viewing_output(look: Look) -> str:
    """Return the name of the output that scene light is judged on: the first in SDR, or any."""
    ordinary = [name for name in look.outputs if not look.graph.output(name).is_hdr]
    return (ordinary or list(look.outputs))[0]


def viewed(rendering: Sequence[Op], output: Output) -> Light:
    """Return what a viewer sees of ACEScct codes, rendered for a display."""
    shown, rendered = of_display(output), evaluator(rendering)
    return Light(lambda code: shown.xyz(rendered(decode(code))), shown.white)


def of_display(output: Output) -> Light:
    """Return what a viewer sees of a display's light, RGB of its limiting gamut."""
    to_xyz = 100.0 * output.limiting.to_xyz().T
    x, y, z = (output.reference_white / 100.0 * to_xyz.sum(axis=0)).tolist()
    return Light(
        lambda light: np.asarray(np.clip(light, 0.0, output.peak / 100.0) @ to_xyz), (x, y, z)
    )


def baking(change: Change, light: Light, before: Change, undo: Change) -> Baking:
    """Return what a lattice of `change`, ACEScct to ACEScct, is baked from.

    Parameters
    ----------
    before, undo
        What happens to ACEScct codes before they reach the lattice, and its inverse; they tell
        where pictures lie in it.
    """
    space = CodeSpace(lambda scene: before(encode(scene)), lambda code: decode(undo(code)))
    return Baking(change, space, light)


def write_lattice(
    look: Look, made: Array, path: Path, title: str, comments: Sequence[str]
) -> Array:
    """Write a lattice as .cube; return it as read back."""
    told = (*comments, *words(look))
    write_cube(path, made, title=title, comments=told, decimals=LATTICE_DECIMALS)
    found = read_cube(path).lattice
    assert found is not None
    return found.values


def words(look: Look) -> tuple[str, ...]:
    """Return what every .cube in ACEScct says of itself."""
    return (
        f"recipe: sha256 {look.recipe_hash}",
        f"made by: lookkit {__version__}",
        "ACEScct in and out, 0-1 = light of -0.0069 to 222.9; beyond is held",
        "for viewing and finishing; not an exposure meter",
    )

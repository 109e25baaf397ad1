"""From a recipe to the chain of steps that one camera's picture takes to one output.

code -> input transform -> scene -> look nodes -> scene -> rendering -> display
-> output transform -> signal
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, TypeVar

from lookkit.errors import InputError, UnknownNameError
from lookkit.nodes.base import Op
from lookkit.recipe.model import Camera, Recipe
from lookkit.spaces.encodings import Encoding, encoding
from lookkit.spaces.outputs import Output, output
from lookkit.spaces.working import Array, OcioTransform, State

T = TypeVar("T")


@dataclass(frozen=True)
class InputTransform:
    """A camera's code values to the scene."""

    encoding: Encoding
    range: Literal["full", "legal"] | None = None
    bits: int | None = None
    takes: State = State.CODE
    gives: State = State.SCENE

    @property
    def label(self) -> str:
        """Name the encoding."""
        return f"from {self.encoding.name}"

    def evaluate(self, rgb: Array) -> Array:
        """Return scene-linear AP1."""
        return self.encoding.decode(rgb, range=self.range, bits=self.bits)

    def inverse(self, rgb: Array) -> Array:
        """Return code values."""
        return self.encoding.encode(rgb, range=self.range, bits=self.bits)

    def lower(self) -> list[OcioTransform]:
        """Return the decoding as OCIO transforms."""
        return self.encoding.lower(range=self.range, bits=self.bits)

    def lower_inverse(self) -> list[OcioTransform]:
        """Return the encoding as OCIO transforms."""
        return self.encoding.lower_inverse(range=self.range, bits=self.bits)


@dataclass(frozen=True)
class OutputTransform:
    """Display light to the code values of a display."""

    output: Output
    takes: State = State.DISPLAY
    gives: State = State.SIGNAL

    @property
    def label(self) -> str:
        """Name the output."""
        return f"to {self.output.name}"

    def evaluate(self, rgb: Array) -> Array:
        """Return code values, clipped to the signal range."""
        return self.output.encode(rgb)

    def lower(self) -> list[OcioTransform]:
        """Return the encoding as OCIO transforms."""
        return self.output.lower()


@dataclass(frozen=True)
class Graph:
    """A recipe, ready to be asked for its chains."""

    recipe: Recipe

    def input_transform(self, camera: str) -> InputTransform:
        """Return the step from `camera`'s code values to the scene."""
        chosen: Camera = _find("camera", camera, self.recipe.cameras)
        return InputTransform(encoding(chosen.encoding), chosen.range, chosen.bits)

    def look(self) -> tuple[Op, ...]:
        """Return the look's steps, scene to scene."""
        return tuple(node for node in self.recipe.look if node.enabled)

    def output(self, name: str) -> Output:
        """Return the description of the recipe's output called `name`."""
        return output(_find("output", name, self.recipe.outputs).output)

    def rendering(self, name: str) -> tuple[Op, ...]:
        """Return the steps from the scene to the display light of the output `name`."""
        target = self.output(name)
        return tuple(self.recipe.rendering_for(name).ops_for(target))

    def chain(self, camera: str, output: str) -> tuple[Op, ...]:
        """Return all the steps from `camera`'s code values to the signal of `output`."""
        return checked(
            (
                self.input_transform(camera),
                *self.look(),
                *self.rendering(output),
                OutputTransform(self.output(output)),
            )
        )


def checked(chain: Sequence[Op]) -> tuple[Op, ...]:
    """Return `chain` if the states of its steps meet.

    Raises
    ------
    InputError
        Naming the two steps that do not.
    """
    for first, second in zip(chain, chain[1:], strict=False):
        if first.gives != second.takes:
            raise InputError(
                f"{first.label!r} gives {first.gives}, but {second.label!r} takes {second.takes}"
            )
    return tuple(chain)


def _find(what: str, name: str, table: Mapping[str, T]) -> T:
    if name not in table:
        raise UnknownNameError(what, name, table)
    return table[name]

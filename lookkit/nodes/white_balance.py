"""White balance: from the light of a scene to the working white.

    out = A in,   A: the von Kries adaptation in AP1 from the light's white to the camera's

The light is a colour temperature with a tint (on the CIE daylight locus from 4000 K, on the
Planckian locus below 3500 K, blended between; `tint` is the distance from the locus in the
CIE 1960 uv diagram, positive towards green), a named illuminant, or the value that a grey
had in the picture. `camera` is what the camera's white balance was set to: its files show a grey
under that light as neutral already, and the node corrects only the way from there to the light.
Without `camera` the files count as balanced for AP1's own white (about 6000 K). A grey under the
light becomes neutral, and its luminance stays. Negatives and values above one are carried; exactly
invertible.

Sources: CIE 15 (loci, uv, illuminants), CAT02 of CIE 159 (CIECAM02), Bradford as in ICC
profiles.
"""

from __future__ import annotations

from functools import cached_property
from typing import Annotated, ClassVar, Literal

import numpy as np
from pydantic import AfterValidator, Discriminator, Field, Tag, model_validator
from pydantic_core import PydanticCustomError

from lookkit.errors import InputError, UnknownNameError
from lookkit.kernel.formula import Program, affine_call
from lookkit.nodes.base import Node, Triple, matrix_transform, param
from lookkit.spaces.whitepoints import (
    HIGHEST_KELVIN,
    LOWEST_KELVIN,
    balance,
    grey_white,
    illuminant,
    white,
)
from lookkit.spaces.working import Array, OcioTransform


def _known(name: str) -> str:
    try:
        illuminant(name)
    except UnknownNameError as error:
        raise PydanticCustomError(
            "unknown_name",
            "unknown illuminant '{name}', expected {choices}",
            {"name": name, "choices": error.expected},
        ) from error
    return name


Illuminant = Annotated[str, AfterValidator(_known)]
Balanced = Annotated[
    Annotated[float, Field(ge=LOWEST_KELVIN, le=HIGHEST_KELVIN), Tag("number")]
    | Annotated[Illuminant, Tag("name")],
    Discriminator(lambda value: "name" if isinstance(value, str) else "number"),
]
"""What a camera can be set to: a colour temperature in kelvin, or a light by name."""


class WhiteBalance(Node):
    """Make a grey under the light of the scene neutral."""

    example: ClassVar[str] = """
        [[look]]
        kind = "white-balance"
        kelvin = 2800.0             # the light of the room
        camera = 3200.0             # what the camera was set to
    """

    kind: Literal["white-balance"] = "white-balance"
    kelvin: float | None = param(
        None, "colour temperature of the light", unit="kelvin", ge=1000.0, le=25000.0
    )
    tint: float = param(
        0.0, "distance from the locus, positive is greener", unit="CIE 1960 uv", ge=-0.05, le=0.05
    )
    light: Illuminant | None = param(None, "the light by name, instead of kelvin: tungsten, D55")
    grey: Triple | None = param(
        None, "what a grey looks like before, instead of kelvin", unit="scene-linear"
    )
    camera: Balanced | None = param(
        None,
        "what the camera's white balance was set to, in kelvin or by name; default the working "
        "white, about 6000 kelvin",
    )
    method: Literal["cat02", "bradford"] = param("cat02", "the chromatic adaptation")

    @model_validator(mode="after")
    def _one_light(self) -> WhiteBalance:
        given = [name for name in ("kelvin", "light", "grey") if getattr(self, name) is not None]
        if len(given) > 1:
            raise PydanticCustomError(
                "lights", "{found} together, expected one of them", {"found": " and ".join(given)}
            )
        if self.tint and self.kelvin is None:
            raise PydanticCustomError("tint", "tint without kelvin, expected kelvin beside it")
        if self.camera is not None and not given:
            raise PydanticCustomError(
                "camera", "camera alone, expected the light beside it: kelvin, light or grey"
            )
        if self.camera is not None and self.grey is not None:
            raise PydanticCustomError(
                "camera", "camera and grey together, expected grey alone: it was measured behind "
                "the camera's balance"
            )  # fmt: skip
        if self.grey is not None:
            try:
                grey_white(self.grey)
            except InputError as error:
                raise PydanticCustomError(
                    "grey", "grey {grey}, expected the values of a lit grey", {"grey": self.grey}
                ) from error
        return self

    @cached_property
    def _matrix(self) -> Array:
        if self.kelvin is not None:
            source = white(self.kelvin, self.tint)
        elif self.light is not None:
            source = illuminant(self.light)
        elif self.grey is not None:
            source = grey_white(self.grey)
        else:
            return np.eye(3)
        if self.camera is None:
            return balance(source, method=self.method)
        was = illuminant(self.camera) if isinstance(self.camera, str) else white(self.camera)
        return balance(source, was, self.method)

    def warnings(self) -> list[str]:
        """Return in words where a balance is likely to be done twice, or does nothing."""
        if not self.enabled:
            return []
        light = self.light if self.kelvin is None else f"{self.kelvin:g}"
        if light is None and self.grey is None:
            return [
                "no light is given, so it changes nothing; write kelvin = (the light's) and "
                "camera = (what the camera was set to)"
            ]
        if light is None or self.camera is not None:
            return []
        return [
            f"balances {light} to the working white. If the camera was set to {light} too, its "
            "files are balanced already and this is done twice: leave the node out. If it was "
            "set to another light, say so: camera = 3200"
        ]

    def program(self) -> Program:
        """Return the matrix."""
        return (affine_call(self._matrix),)

    def lower(self) -> list[OcioTransform]:
        """Return one matrix."""
        return [matrix_transform(self._matrix)]

    def inverse(self, rgb: Array) -> Array:
        """Return A^-1 out."""
        return np.asarray(rgb @ np.linalg.inv(self._matrix).T)

"""White balance: from the light of a scene to the working white.

    out = A in,   A: the von Kries adaptation in AP1 from the light's white to the target's

The light is a colour temperature with a tint (on the CIE daylight locus from 4000 K, on the
Planckian locus below 3500 K, blended between; `tint` is the distance from the locus in the
CIE 1960 uv diagram, positive towards green), a named illuminant, or the value that a grey
had in the picture. `camera` is the white that the camera was set to, which its files are
balanced for already: with it, a grey under the light becomes as neutral as one under that white.
The common case is both: the camera was set to 3200 K, the light was 2800 K. Without `camera` the
picture is taken for one that was never balanced. The luminance of that grey stays. Negatives and
values above one are carried; exactly invertible.

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
from lookkit.spaces.whitepoints import balance, grey_white, illuminant, white
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
Kelvin = Annotated[float, Field(ge=1000.0, le=25000.0)]
CameraWhite = Annotated[
    Annotated[Kelvin, Tag("number")] | Annotated[Illuminant, Tag("name")],
    Discriminator(lambda value: "name" if isinstance(value, str) else "number"),
]


class WhiteBalance(Node):
    """Make a grey under the light of the scene neutral."""

    example: ClassVar[str] = """
        [[look]]
        kind = "white-balance"
        kelvin = 2800.0
        tint = 0.002
        camera = 3200.0
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
    camera: CameraWhite | None = param(
        None,
        "the white that the camera was set to, in kelvin or by name; default none: a picture that "
        "was not balanced",
        unit="kelvin",
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
        set_to = white(self.camera) if isinstance(self.camera, float) else illuminant(self.camera)
        return balance(source, set_to, self.method)

    def program(self) -> Program:
        """Return the matrix."""
        return (affine_call(self._matrix),)

    def warnings(self) -> list[str]:
        """Say where it changes nothing, and where it may balance twice."""
        if self.kelvin is None and self.light is None:
            return [] if self.grey is not None else [
                "says no light, so it changes nothing: give kelvin, light or grey"
            ]  # fmt: skip
        if self.camera is not None:
            return []
        return [
            "takes the picture for one that no camera has balanced; if the camera was set to a "
            "white, add it (camera = 5600), or the picture is balanced twice"
        ]

    def lower(self) -> list[OcioTransform]:
        """Return one matrix."""
        return [matrix_transform(self._matrix)]

    def inverse(self, rgb: Array) -> Array:
        """Return A^-1 out."""
        return np.asarray(rgb @ np.linalg.inv(self._matrix).T)

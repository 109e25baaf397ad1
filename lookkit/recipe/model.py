"""The recipe: everything a `.toml` recipe may say, as pydantic models."""

from __future__ import annotations

from typing import Annotated, Any, Literal, Union

from pydantic import AfterValidator, Field, StringConstraints, ValidationInfo
from pydantic_core import PydanticCustomError

from lookkit.errors import UnknownNameError
from lookkit.nodes import LOOK_KINDS, RENDERING_KINDS
from lookkit.nodes.base import Table
from lookkit.nodes.film_print import FilmPrint
from lookkit.nodes.rendering import Rendering
from lookkit.spaces.encodings import encoding
from lookkit.spaces.outputs import output

SCHEMA = 1
"""The version of the recipe's own form; older ones are migrated when they load."""

Name = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9 ._-]{0,62}$")]
"""A name that is safe as (part of) a file name on every system."""

AnyLookNode = Annotated[Union[LOOK_KINDS], Field(discriminator="kind")]  # noqa: UP007
AnyRendering = Annotated[Union[RENDERING_KINDS], Field(discriminator="kind")]  # noqa: UP007


def _known(lookup: Any) -> AfterValidator:
    def check(name: str, info: ValidationInfo) -> str:
        try:
            lookup(name)
        except UnknownNameError as error:
            raise PydanticCustomError(
                "unknown_name",
                "unknown {what} '{name}', expected {choices}",
                {"what": error.what, "name": name, "choices": error.expected},
            ) from error
        return name

    return AfterValidator(check)


EncodingName = Annotated[str, _known(encoding)]
OutputName = Annotated[str, _known(output)]


class Camera(Table):
    """One camera of the film: how its code values are to be read."""

    encoding: EncodingName = Field(description="what its code values mean; see `explain encoding`")
    range: Literal["full", "legal"] | None = Field(
        default=None, description="signal range of its files; default the encoding's own"
    )
    bits: Literal[8, 10, 12, 16] | None = Field(
        default=None, description="bit depth of its files; default the encoding's own"
    )
    note: str = Field(default="", description="for people")


class OutputChoice(Table):
    """One display or file that the look is delivered for."""

    output: OutputName = Field(description="a name of the outputs table; see `explain output`")
    rendering: AnyRendering | None = Field(
        default=None, description="instead of the recipe's own rendering"
    )
    note: str = Field(default="", description="for people")


class Deliver(Table):
    """What a build writes."""

    sizes: Annotated[tuple[Literal[17, 33, 65], ...], Field(min_length=1)] = Field(
        default=(33,), description="lattice points per edge of the .cube files"
    )
    config: bool = Field(default=True, description="write the OCIO config")


class Recipe(Table):
    """A whole recipe."""

    schema_: Literal[1] = Field(alias="schema", description="version of the recipe's form")
    name: Name = Field(description="the look's name")
    show: Name = Field(default="show", description="the film's name; begins the hand-off's name")
    version: int = Field(default=1, ge=1, le=999, description="counts up with each hand-off")
    note: str = Field(default="", description="for people")
    cameras: dict[Name, Camera] = Field(default={}, description="the cameras, by name")
    look: tuple[AnyLookNode, ...] = Field(default=(), description="the look's nodes, in order")
    rendering: AnyRendering = Field(
        default=FilmPrint(), description="from scene light to display light"
    )
    outputs: dict[Name, OutputChoice] = Field(default={}, description="the outputs, by name")
    deliver: Deliver = Field(default=Deliver(), description="what a build writes")

    def rendering_for(self, name: str) -> Rendering:
        """Return the rendering of the output called `name`."""
        return self.outputs[name].rendering or self.rendering


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema of a recipe, for editors."""
    schema = Recipe.model_json_schema(by_alias=True)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **schema,
        "title": "lookkit recipe",
    }

"""What all tables of a recipe share: strict keys, and parameters that carry their units."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError
from pydantic_core import PydanticCustomError


class Table(BaseModel):
    """A table of a recipe: unknown keys, infinities and NaN are errors."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    former: ClassVar[Mapping[str, str]] = {}
    """Keys of earlier versions, and what to write now."""


def param(
    default: Any,
    text: str,
    *,
    unit: str = "",
    alias: str | None = None,
    ge: float | None = None,
    gt: float | None = None,
    le: float | None = None,
) -> Any:
    """Declare a parameter of a node: its default, meaning, unit and range."""
    return Field(
        default=default,
        description=text,
        alias=alias,
        ge=ge,
        gt=gt,
        le=le,
        json_schema_extra={"unit": unit} if unit else None,
    )


def error_at(place: tuple[str | int, ...], message: str, value: Any = None) -> ValidationError:
    """Return the error that a field's validator raises for one item of the field.

    Parameters
    ----------
    place
        The way to the item within the field, such as `(2, "width")`.
    message
        What was found, then ", expected " and what would have been accepted.
    """
    problem = PydanticCustomError("item", "{message}", {"message": message})
    return ValidationError.from_exception_data(
        "item", [{"type": problem, "loc": place, "input": value}]
    )

"""What a recipe's lists of nodes and its renderings may hold."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Union

from pydantic import Field

from lookkit.nodes import LOOK_KINDS, RENDERING_KINDS
from lookkit.nodes.base import Node
from lookkit.nodes.rendering import Rendering

if TYPE_CHECKING:
    AnyLookNode = Node
    AnyRendering = Rendering
else:
    AnyLookNode = Annotated[Union[LOOK_KINDS], Field(discriminator="kind")]  # noqa: UP007
    AnyRendering = Annotated[Union[RENDERING_KINDS], Field(discriminator="kind")]  # noqa: UP007

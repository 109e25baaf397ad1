"""What a rendering is: the node that turns scene light into display light."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar

from lookkit.nodes.base import Op, Step
from lookkit.spaces.outputs import Output
from lookkit.spaces.working import State


class Rendering(Step):
    """A node that takes scene light and gives the light of one output's display."""

    gives: ClassVar[State] = State.DISPLAY

    def ops_for(self, output: Output) -> Sequence[Op]:
        """Return the steps from the scene to display light in `output`'s limiting gamut."""
        raise NotImplementedError

"""A join of branches by weight.

    out = (weight in + sum_i weight_i in_i) / (weight + sum_i weight_i)

`in` is the node's own input, as every node has one: the node above unless `input` names
another. Each branch names one more node whose light joins it. Weights are shares, so the
picture gets no brighter than its branches; without branches this is the identity. `mix` and
`only` move from the node's own input towards the join. All that is joined is of one
state. Negatives and values above one are carried. No inverse is offered.

Source: a weighted mean of light, common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar, Literal

from pydantic import model_validator
from pydantic_core import PydanticCustomError

from lookkit.kernel.formula import Call, Planes, Program, formula
from lookkit.kernel.maths import Plane
from lookkit.nodes.base import Node, Table, param
from lookkit.nodes.only import Share
from lookkit.spaces.working import OcioTransform


class Branch(Table):
    """One more way into a blend."""

    node: str = param(..., "the id of the node whose light joins, or `start`")
    weight: float = param(1.0, "its share", ge=0.0, le=1000.0)


@formula()
def take_share(er: Plane, eg: Plane, eb: Plane, r: Plane, g: Plane, b: Plane, p: Share) -> Planes:
    """Take a share of another slot."""
    return p.share * er, p.share * eg, p.share * eb


@formula()
def add_share(er: Plane, eg: Plane, eb: Plane, r: Plane, g: Plane, b: Plane, p: Share) -> Planes:
    """Add a share of another slot."""
    return r + p.share * er, g + p.share * eg, b + p.share * eb


class Blend(Node):
    """Join branches of the graph by weight."""

    example: ClassVar[str] = """
        [[look]]
        kind = "blend"
        input = "plain"
        weight = 0.6
        branches = [{ node = "warm", weight = 0.4 }]

        [[look]]
        kind = "exposure"
        id = "plain"
        input = "start"
        stops = 0.2

        [[look]]
        kind = "lift-gamma-gain"
        id = "warm"
        input = "start"
        gain = { hue = 40, strength = 0.1 }
    """

    kind: Literal["blend"] = "blend"
    weight: float = param(1.0, "the share of the node's own input", ge=0.0, le=1000.0)
    branches: tuple[Branch, ...] = param((), "what joins it; none is the identity")

    @model_validator(mode="after")
    def _some_weight(self) -> Blend:
        if self.weight + sum(branch.weight for branch in self.branches) <= 0.0:
            raise PydanticCustomError("weights", "all weights are 0, expected one above 0")
        return self

    def joining(self, inputs: Sequence[int], slot: int) -> list[Call]:
        """Return the calls that put into `slot` the weighted mean of the inputs' slots."""
        weights = [self.weight, *(branch.weight for branch in self.branches)]
        first, *others = [weight / sum(weights) for weight in weights]
        calls = [Call(take_share, Share(first), slot, inputs[0])]
        calls += [
            Call(add_share, Share(weight), slot, place)
            for weight, place in zip(others, inputs[1:], strict=True)
        ]
        return calls

    def program(self) -> Program:
        """Return nothing to do: a join of equal branches gives the light itself."""
        return ()

    def lower(self) -> list[OcioTransform] | None:
        """Return nothing to do without branches, else None: OpenColorIO has no branches."""
        return None if self.branches else []

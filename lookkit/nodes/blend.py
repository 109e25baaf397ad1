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

import numpy as np
from pydantic import model_validator
from pydantic_core import PydanticCustomError

from lookkit.nodes.base import Node, Table, param
from lookkit.spaces.working import Array, OcioTransform


class Branch(Table):
    """One more way into a blend."""

    node: str = param(..., "the id of the node whose light joins, or `start`")
    weight: float = param(1.0, "its share", ge=0.0, le=1000.0)


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
        gain = { hue = 40, amount = 0.1 }
    """

    kind: Literal["blend"] = "blend"
    weight: float = param(1.0, "the share of the node's own input", ge=0.0, le=1000.0)
    branches: tuple[Branch, ...] = param((), "what joins it; none is the identity")

    @model_validator(mode="after")
    def _some_weight(self) -> Blend:
        if self.weight + sum(branch.weight for branch in self.branches) <= 0.0:
            raise PydanticCustomError("weights", "all weights are 0, expected one above 0")
        return self

    def join(self, values: Sequence[Array]) -> Array:
        """Return the weighted mean of the node's own input and its branches, in that order."""
        weights = [self.weight, *(branch.weight for branch in self.branches)]
        total = sum(weights)
        out = np.zeros_like(values[0])
        for weight, value in zip(weights, values, strict=True):
            out += weight / total * value
        return out

    def evaluate(self, rgb: Array) -> Array:
        """Return what a join of equal branches gives: the light itself."""
        return np.array(rgb)

    def lower(self) -> list[OcioTransform] | None:
        """Return nothing to do without branches, else None: OpenColorIO has no branches."""
        return None if self.branches else []

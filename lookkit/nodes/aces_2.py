"""The ACES 2 output transform.

    out = ACES 2 (min(in, 64))    in AP0, rendered for the output's peak and limiting gamut

The transform is OpenColorIO's builtin of the Academy's ACES 2, evaluated in float32
without lossy optimisation: here that is the truth itself, so evaluation and lowering
cannot differ. Scene light above 64 (8.5 stops over mid-grey) is held at 64 first: there
the picture is at its peak already, and the builtin turns isolated pixels black beyond
it. Negatives are carried into it. No inverse is offered.

Source: Academy, ACES 2.0 output transforms, as OpenColorIO ships them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar, Literal

import numpy as np

from lookkit.errors import InputError
from lookkit.nodes.base import Op, matrix_transform
from lookkit.nodes.rendering import Rendering
from lookkit.ocio import Processor, library
from lookkit.spaces.outputs import Output
from lookkit.spaces.working import AP1_TO_AP0, Array, OcioTransform, State

HIGHEST = 64.0


@dataclass(frozen=True)
class Aces2Output:
    """ACES 2 for one output: scene light in, light of its limiting gamut out."""

    output: Output
    style: str
    takes: State = State.SCENE
    gives: State = State.DISPLAY

    @property
    def label(self) -> str:
        """Name the rendering."""
        return "aces-2"

    @cached_property
    def _processor(self) -> Processor:
        return Processor(self.lower())

    def program(self) -> None:
        """Return None: OpenColorIO's builtin is the formula."""

    def evaluate(self, rgb: Array) -> Array:
        """Return display light in the output's limiting gamut, 1.0 = 100 cd/m2."""
        return self._processor.apply_exact(rgb)

    def lower(self) -> list[OcioTransform]:
        """Return a ceiling, AP1 to AP0, the builtin, and XYZ to the limiting gamut."""
        ocio = library()
        ceiling = ocio.RangeTransform(maxInValue=HIGHEST, maxOutValue=HIGHEST)
        from_xyz = np.asarray(np.linalg.inv(self.output.limiting.to_xyz()), dtype=np.float64)
        return [
            ceiling,
            matrix_transform(AP1_TO_AP0),
            ocio.BuiltinTransform(style=self.style),
            matrix_transform(from_xyz),
        ]


class Aces2(Rendering):
    """Render as ACES 2 does."""

    example: ClassVar[str] = """
        [rendering]
        kind = "aces-2"
    """

    kind: Literal["aces-2"] = "aces-2"

    def ops_for(self, output: Output) -> Sequence[Op]:
        """Return the one step.

        Raises
        ------
        InputError
            If ACES 2 has no published rendering for this output.
        """
        if output.aces2_style is None:
            raise InputError(f"output {output.name!r} has no ACES 2 rendering; use film-print")
        return [Aces2Output(output, output.aces2_style)]

"""One output: from display-linear light to the signal of a monitor, projector or file.

Light is RGB of the output's limiting gamut, 1.0 = 100 cd/m2. The output transform is the
one place of the graph that clips: light to 0 and the peak, then the signal to its range.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from lookkit.errors import InputError
from lookkit.kernel.formula import (
    Affine,
    Call,
    Ends,
    Planes,
    Program,
    affine_call,
    formula,
    hold,
)
from lookkit.kernel.maths import Plane, absolute, maximum, minimum, mixed, unsure
from lookkit.spaces import ranges
from lookkit.spaces.curves import LARGEST, Bt1886, Curve
from lookkit.spaces.primaries import Adaptation, Primaries, between
from lookkit.spaces.ranges import SignalRange
from lookkit.spaces.working import Array, OcioTransform, as_pixels


@formula()
def to_display(r: Plane, g: Plane, b: Plane, p: Affine) -> Planes:
    """Mix light to the display's primaries."""
    top = maximum(maximum(absolute(r), absolute(g)), absolute(b))
    r, g, b = mixed(p.rows, r, g, b)
    least = minimum(minimum(absolute(r), absolute(g)), absolute(b))
    # A root magnifies what float32 leaves of a difference.
    unsure((least < 0.002 * top) & (top > 1e-3))
    return r, g, b


@dataclass(frozen=True)
class Output:
    """A display or delivery signal.

    Parameters
    ----------
    display, limiting
        The primaries that the signal is for, and those that its colours stay inside.
    peak, reference_white
        cd/m2. Reference (paper) white is the peak of SDR and 203 cd/m2 of HDR (ITU-R
        BT.2408). SDR is relative light: its peak counts as 100 cd/m2 whatever the display
        is set to (48 cd/m2 in a cinema).
    curve
        Between signal and light, 1.0 = 100 cd/m2.
    range, bits
        How the signal lies in the integers of what is delivered.
    excursions
        Whether light below black and above the peak is kept as sub-black and super-white,
        as far as the file's integers go; else light is clipped to 0 and the peak.
    interface_range
        The range that the signal's standard has on a video interface.
    aces2_style
        Name of OpenColorIO's builtin rendering of ACES 2 to XYZ for this output.
    """

    name: str
    display: Primaries
    limiting: Primaries
    curve: Curve
    peak: float
    reference_white: float
    range: SignalRange
    bits: int
    source: str
    evidence: str
    aliases: tuple[str, ...] = ()
    interop_id: str | None = None
    aces2_style: str | None = None
    adaptation: Adaptation = "none"
    interface_range: SignalRange = "full"
    excursions: bool = False
    note: str = ""

    @property
    def is_hdr(self) -> bool:
        """Whether the peak is above the reference white."""
        return self.peak > self.reference_white

    @cached_property
    def matrix(self) -> Array:
        """The 3x3 matrix from linear RGB of the limiting gamut to that of the display."""
        return between(self.limiting, self.display, self.adaptation)

    @cached_property
    def _inverse(self) -> Array:
        return np.asarray(np.linalg.inv(self.matrix), dtype=np.float64)

    def delivered(
        self,
        range: SignalRange | None = None,
        bits: int | None = None,
        excursions: bool | None = None,
    ) -> Output:
        """Return the same output, delivered in another range or bit depth."""
        made = replace(
            self,
            range=range or self.range,
            bits=bits or self.bits,
            excursions=self.excursions if excursions is None else excursions,
        )
        ranges.limits(made.range, made.bits)
        return made

    def with_black(self, black: float) -> Output:
        """Return the same output on a display whose black is `black` cd/m2 (BT.1886 only).

        Raises
        ------
        InputError
            If the output's curve has no black level, or black is not below the peak.
        """
        if not isinstance(self.curve, Bt1886):
            raise InputError(f"output {self.name!r} has no black level; only BT.1886 has")
        return replace(self, curve=Bt1886(self.curve.white, black))

    def encode(self, display: Array) -> Array:
        """Return the signal, shape (..., 3), 0-1 of the file's integers, for light.

        Clips: without `excursions` to black and peak; always to the file's integers.
        """
        return np.clip(ranges.convert(self.nominal(display), "full", self.range, self.bits), 0, 1)

    def nominal(self, display: Array) -> Array:
        """Return the signal before it is put into a range: 0-1 from black to peak.

        Clipped to 0-1 without `excursions`.
        """
        low, high = (-LARGEST, LARGEST) if self.excursions else (0.0, self.peak / 100)
        light = np.clip(as_pixels(display), low, high)
        signal = self.curve.encode(light @ self.matrix.T)
        return signal if self.excursions else np.clip(signal, 0.0, 1.0)

    def program(self, *, nominal: bool = False) -> Program | None:
        """Return `encode`, or `nominal`, as formulas; None where the curve has none."""
        way = self.curve.encoding
        if way is None:
            return None
        low, high = (-LARGEST, LARGEST) if self.excursions else (0.0, self.peak / 100)
        calls = [Call(hold, Ends(low, high))]
        if not np.array_equal(self.matrix, np.eye(3)):
            calls.append(Call(to_display, affine_call(self.matrix).p))
        calls.append(Call(*way))
        if not self.excursions:
            calls.append(Call(hold, Ends(0.0, 1.0)))
        if not nominal:
            scale, offset = ranges.scale_offset("full", self.range, self.bits)
            if (scale, offset) != (1.0, 0.0):
                calls.append(affine_call(scale * np.eye(3), offset))
            calls.append(Call(hold, Ends(0.0, 1.0)))
        return tuple(calls)

    def decode(self, signal: Array) -> Array:
        """Return light, RGB of the limiting gamut, 1.0 = 100 cd/m2; nothing is clipped."""
        held = np.clip(as_pixels(signal), -LARGEST, LARGEST)
        video = ranges.convert(held, self.range, "full", self.bits)
        return self.curve.decode(video) @ self._inverse.T

    def lower(self) -> list[OcioTransform]:
        """Return `encode` as OpenColorIO transforms."""
        from lookkit.spaces.ocio_ops import clip

        steps = [*self.lower_nominal(), *ranges.lower("full", self.range, self.bits)]
        return [*steps, clip(0.0, 1.0)] if self.excursions else steps

    def lower_nominal(self) -> list[OcioTransform]:
        """Return `nominal` as OpenColorIO transforms."""
        from lookkit.spaces.ocio_ops import clip, matrix

        steps: list[OcioTransform] = []
        if not self.excursions:
            steps.append(clip(0.0, self.peak / 100))
        if not np.array_equal(self.matrix, np.eye(3)):
            steps.append(matrix(self.matrix))
        steps += self.curve.lower_encode()
        if not self.excursions:
            steps.append(clip(0.0, 1.0))
        return steps

    def lower_inverse(self) -> list[OcioTransform]:
        """Return `decode` as OpenColorIO transforms."""
        from lookkit.spaces.ocio_ops import matrix

        video = ranges.lower(self.range, "full", self.bits)
        steps = [*video, *self.curve.lower_decode()]
        if not np.array_equal(self.matrix, np.eye(3)):
            steps.append(matrix(self._inverse))
        return steps

"""Outputs: from display-linear light to the signal of a monitor, projector or file.

Light is RGB of the output's limiting gamut, 1.0 = 100 cd/m2. The output transform is the
one place of the graph that clips: light to 0 and the peak, then the signal to its range.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache, cached_property
from types import MappingProxyType
from typing import Any, Final

import numpy as np

from lookkit.errors import InputError, UnknownNameError
from lookkit.spaces import ranges
from lookkit.spaces.curves import Bt1886, Curve, Power, ToePower
from lookkit.spaces.data import shipped_table
from lookkit.spaces.primaries import BT709, P3_D65, Adaptation, Primaries, between
from lookkit.spaces.ranges import SignalRange
from lookkit.spaces.working import Array, OcioTransform, as_pixels


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
        light = as_pixels(display)
        if not self.excursions:
            light = np.clip(light, 0.0, self.peak / 100)
        signal = self.curve.encode(light @ self.matrix.T)
        if not self.excursions:
            signal = np.clip(signal, 0.0, 1.0)
        return np.clip(ranges.convert(signal, "full", self.range, self.bits), 0.0, 1.0)

    def decode(self, signal: Array) -> Array:
        """Return light, RGB of the limiting gamut, 1.0 = 100 cd/m2; nothing is clipped."""
        video = ranges.convert(as_pixels(signal), self.range, "full", self.bits)
        return self.curve.decode(video) @ self._inverse.T

    def lower(self) -> list[OcioTransform]:
        """Return `encode` as OpenColorIO transforms."""
        from lookkit.spaces.ocio_ops import clip, matrix

        steps: list[OcioTransform] = []
        if not self.excursions:
            steps.append(clip(0.0, self.peak / 100))
        if not np.array_equal(self.matrix, np.eye(3)):
            steps.append(matrix(self.matrix))
        steps += self.curve.lower_encode()
        if not self.excursions:
            steps.append(clip(0.0, 1.0))
        steps += ranges.lower("full", self.range, self.bits)
        if self.excursions:
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


def outputs() -> Mapping[str, Output]:
    """Return every shipped output by name, in the order of the table."""
    return _shipped()


def output(name: str, extra: Mapping[str, Output] | None = None) -> Output:
    """Return an output by its name, an alias or its interop id, in any case.

    Raises
    ------
    UnknownNameError
        With the nearest name.
    """
    key = name.strip().casefold()
    for table in (extra or {}, outputs()):
        for one in table.values():
            if key in (one.name.casefold(), *(also.casefold() for also in one.aliases)):
                return one
        for one in table.values():
            if one.interop_id == key:
                return one
    raise UnknownNameError("output", name, [*(extra or {}), *outputs()])


_CURVES: Final[Mapping[str, Curve]] = {
    "BT.1886": Bt1886(),
    "sRGB": ToePower(2.4, 0.055, 12.92, 0.0031308),
    "gamma 2.6": Power(2.6),
}
_PRIMARIES: Final = {one.name: one for one in (BT709, P3_D65)}


@cache
def _shipped() -> Mapping[str, Output]:
    table = shipped_table("outputs")["outputs"]
    return MappingProxyType({name: _output(name, entry) for name, entry in table.items()})


def _output(name: str, entry: Mapping[str, Any]) -> Output:
    display = _PRIMARIES[entry["primaries"]]
    peak = float(entry.get("peak", 100))
    return Output(
        name=name,
        display=display,
        limiting=_PRIMARIES[entry.get("limiting", display.name)],
        curve=_CURVES[entry["curve"]],
        peak=peak,
        reference_white=float(entry.get("reference_white", peak)),
        range=entry.get("range", "full"),
        bits=entry.get("bits", 10),
        source=entry["source"],
        evidence=entry["evidence"],
        aliases=tuple(entry.get("aliases", ())),
        interop_id=entry.get("interop_id"),
        aces2_style=entry.get("aces2_style"),
        adaptation=entry.get("adaptation", "none"),
        interface_range=entry.get("interface_range", "full"),
        note=entry.get("note", ""),
    )

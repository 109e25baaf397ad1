"""Academy density exchange: scanned negative density."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import log10
from typing import ClassVar, Final, NamedTuple

import numpy as np

from lookkit.kernel.formula import Planes, formula
from lookkit.kernel.maths import Plane, clip, maximum, minimum, mixed
from lookkit.spaces.curves.base import Curve, Way, require
from lookkit.spaces.curves.log import Log, log_decode
from lookkit.spaces.working import Array, OcioTransform

_CROSSTALK: Final = np.array(
    [[0.75573, 0.22197, 0.02230], [0.05901, 0.96928, -0.02829], [0.16134, 0.07406, 0.76460]]
)
"""Channel-dependent to channel-independent density; rows sum to one."""

_GAMMA: Final = 0.55
_STRAIGHT: Final = 0.6
_GREY_DENSITY: Final = 0.70
_DENSITY: Final = np.array(
    [-0.19, 0.010, 0.028, 0.054, 0.095, 0.145, 0.220, 0.300, 0.400, 0.500, _STRAIGHT]
)
_TOE: Final = np.array(
    [
        -6.0,
        -2.721718645,
        -2.521718645,
        -2.321718645,
        -2.121718645,
        -1.921718645,
        -1.721718645,
        -1.521718645,
        -1.321718645,
        -1.121718645,
        (_STRAIGHT - _GREY_DENSITY) / _GAMMA + log10(0.18),
    ]
)
"""log10 exposure at `_DENSITY`; from the last on the straight line of gamma 0.55."""

_EXPOSURE: Final = Log(
    log_slope=1, log_offset=0, lin_slope=1, lin_offset=0, lin_break=1e-6, base=10
)


_FOOT_SLOPE: Final = (_TOE[1] - _TOE[0]) / (_DENSITY[1] - _DENSITY[0])


class AdxNumbers(NamedTuple):
    """Density is scale code - black."""

    scale: float
    black: float


@formula()
def adx_decode(r: Plane, g: Plane, b: Plane, p: AdxNumbers) -> Planes:
    """Return exposure for codes."""
    r, g, b = p.scale * r - p.black, p.scale * g - p.black, p.scale * b - p.black
    r, g, b = mixed(_CROSSTALK.tolist(), r, g, b)
    return _exposure(r), _exposure(g), _exposure(b)


def _exposure(density: Plane) -> Plane:
    return log_decode.one(_log_exposure(density), _EXPOSURE.numbers)


def _log_exposure(density: Plane) -> Plane:
    # Each line of the table adds what it rises up to here; the first and last go on beyond it.
    out = float(_TOE[0]) + float(_FOOT_SLOPE) * minimum(density - float(_DENSITY[0]), 0.0)
    for (start, end), (low, high) in zip(pairwise(_DENSITY), pairwise(_TOE), strict=True):
        slope = float((high - low) / (end - start))
        out = out + slope * clip(density - float(start), 0.0, float(end - start))
    return out + (1.0 / _GAMMA) * maximum(density - _STRAIGHT, 0.0)


@dataclass(frozen=True)
class Adx(Curve):
    """Code of a scanned negative to exposure, of the three layers together.

    Density above D-min is ``(code * code_range - black) / codes_per_density``. A crosstalk
    matrix makes it independent of the channels, a table with a straight line of gamma 0.55
    above gives log10 exposure, 18 % grey at density 0.70. The published table ends at
    log10 exposure -6, D = -0.19; here it goes on, and exposure below 1e-6 runs straight
    through zero, so that nothing is lost. Works on shape (..., 3).

    Source: SMPTE ST 2065-3; Academy S-2008-002 and the Academy's ADX to ACES transforms.

    Parameters
    ----------
    code_range, black, codes_per_density
        1023, 95, 500 for ADX10; 65535, 1520, 8000 for ADX16.
    """

    family: ClassVar[str] = "adx"
    is_log: ClassVar[bool] = True

    code_range: float
    black: float
    codes_per_density: float

    def __post_init__(self) -> None:
        ok = min(self.code_range, self.codes_per_density) > 0
        require(ok, "code_range and codes_per_density: expected above 0")

    @property
    def decoding(self) -> Way:
        """The formula from codes to exposure, of the three layers together."""
        per_code = self.codes_per_density
        return adx_decode, AdxNumbers(self.code_range / per_code, self.black / per_code)

    def decode(self, code: Array) -> Array:
        """Return exposure for codes."""
        formula, p = self.decoding
        with np.errstate(all="ignore"):
            return np.stack(formula(code[..., 0], code[..., 1], code[..., 2], p), axis=-1)

    def encode(self, linear: Array) -> Array:
        """Return codes for exposure."""
        density = _density(_EXPOSURE.encode(linear)) @ np.linalg.inv(_CROSSTALK).T
        return (density * self.codes_per_density + self.black) / self.code_range

    def lower_decode(self) -> list[OcioTransform]:
        """Return an affine step, the crosstalk, a half-float 1D LUT and an exponential.

        The LUT takes thousandths of density, so that the corners of the table are half floats.
        """
        from lookkit.spaces.ocio_ops import affine, half_lut, matrix

        scale = 1000 * self.code_range / self.codes_per_density
        start = affine(scale, -1000 * self.black / self.codes_per_density)
        table = half_lut(lambda density: _log_exposure(density / 1000))
        return [start, matrix(_CROSSTALK), table, *_EXPOSURE.lower_decode()]

    def lower_encode(self) -> list[OcioTransform]:
        """Return `lower_decode` backwards.

        The LUT takes fifths of log10 exposure from the second corner of the table, so that all
        but its last corner are half floats: off by 2e-5 there. Exposure below -0.03 is held.
        """
        from lookkit.spaces.ocio_ops import affine, half_lut, matrix

        start = affine(5, -5 * _TOE[1])
        table = half_lut(lambda fifths: _density(fifths / 5 + _TOE[1]))
        scale = self.codes_per_density / self.code_range
        inverse = np.asarray(np.linalg.inv(_CROSSTALK), dtype=np.float64)
        end = affine(scale, self.black / self.code_range)
        return [*_EXPOSURE.lower_encode(), start, table, matrix(inverse), end]


def _density(log_exposure: Array) -> Array:
    inside = np.interp(log_exposure, _TOE, _DENSITY)
    below = _DENSITY[0] + (log_exposure - _TOE[0]) / _FOOT_SLOPE
    above = _STRAIGHT + (log_exposure - _TOE[-1]) * _GAMMA
    outer = np.where(log_exposure > _TOE[-1], above, below)
    within = (log_exposure >= _TOE[0]) & (log_exposure <= _TOE[-1])
    return np.asarray(np.where(within, inside, outer))

"""A difference of exposure and white between two pictures, and the trims that take it away.

A gain is three factors on the cones of CAT02 (CIE 159), in log2, scaled so that a neutral of AP1
has equal cones: the space in which the white-balance node works, so that exposure and white say a
gain exactly.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from lookkit.errors import InputError
from lookkit.nodes.exposure import Exposure
from lookkit.nodes.white_balance import WhiteBalance
from lookkit.spaces.primaries import AP1
from lookkit.spaces.whitepoints import balance, kelvin_and_tint, white
from lookkit.spaces.working import Array

CAT02: Final = np.array(
    [[0.7328, 0.4296, -0.1624], [-0.7036, 1.6975, 0.0061], [0.0030, 0.0136, 0.9834]]
)
_CONES: Final = CAT02 @ AP1.to_xyz()
TO_CONES: Final[Array] = _CONES / _CONES.sum(axis=1, keepdims=True)
"""From AP1 to cones, of which a neutral has equal ones."""
LEAST_STOPS: Final = 0.05
LEAST_MIRED: Final = 4.0
LEAST_TINT: Final = 0.002
"""Differences up to these are left alone: the eye takes neighbouring shots for alike."""
DAYLIGHT: Final = 5600.0
EXPOSURE, WHITE = "balance-exposure", "balance-white"
"""The ids of the steps that balancing writes, by which it finds them again."""


@dataclass(frozen=True)
class Trim:
    """What brings a shot to its hero: stops of exposure, and the light that it was under.

    `camera` is the white that the picture is taken to be balanced for, in kelvin; `kelvin` and
    `tint` are those of the shot's own light.
    """

    stops: float
    kelvin: float
    tint: float
    camera: float

    @property
    def mired(self) -> float:
        """How much warmer (positive) the shot's light was, in mired."""
        return 1e6 / self.kelvin - 1e6 / self.camera

    @property
    def is_small(self) -> bool:
        """Whether it is too small to be worth a trim."""
        return (
            abs(self.stops) <= LEAST_STOPS
            and abs(self.mired) <= LEAST_MIRED
            and abs(self.tint) <= LEAST_TINT
        )

    def tables(self) -> list[dict[str, Any]]:
        """Return the steps as a recipe has them, rounded to what can be seen."""
        found: list[dict[str, Any]] = [
            {"kind": "exposure", "id": EXPOSURE, "stops": round(self.stops, 3)}
        ]
        if abs(self.mired) > 0.05 or abs(self.tint) > 0.00005:
            found.append(
                {
                    "kind": "white-balance", "id": WHITE, "kelvin": round(self.kelvin, 1),
                    "tint": round(self.tint, 5), "camera": self.camera,
                }
            )  # fmt: skip
        return found

    def __str__(self) -> str:
        tint = f", tint {self.tint:+.4f}" if abs(self.tint) > LEAST_TINT else ""
        return f"{self.stops:+.2f} stop, {self.mired:+.0f} mired{tint}"


def trim_of(gain: Array, camera: float = DAYLIGHT) -> Trim:
    """Return the trim that multiplies a picture's cones by 2^gain, shape (3,).

    Raises
    ------
    InputError
        If no colour temperature and tint make that white, or more than 20 stops are asked.
    """
    set_to = _cones(white(camera))
    x, y, z = np.linalg.solve(CAT02, set_to * 2.0**-gain)
    if min(x, y, z) <= 0:
        raise InputError("no light can look like it")
    kelvin, tint = kelvin_and_tint((x / (x + y + z), y / (x + y + z)))
    made = balance(white(kelvin, tint), white(camera))
    factors = np.diag(TO_CONES @ made @ np.linalg.inv(TO_CONES))
    stops = float(np.mean(gain - np.log2(factors)))
    if abs(stops) > 20:
        raise InputError(f"{stops:+.1f} stops, more than a trim can be")
    return Trim(stops, float(kelvin), float(tint), camera)


def gain_of(trim: Trim) -> Array:
    """Return the gain that a trim makes, as its two steps make it, shape (3,)."""
    unit = np.asarray(np.linalg.inv(TO_CONES).T, np.float64)
    steps = WhiteBalance(kelvin=trim.kelvin, tint=trim.tint, camera=trim.camera)
    light = Exposure(stops=trim.stops).evaluate(steps.evaluate(unit))
    cones = np.asarray(light, np.float64) @ TO_CONES.T
    return np.asarray(np.log2(np.diag(cones)))


def _cones(xy: tuple[float, float]) -> Array:
    x, y = xy
    return np.asarray(CAT02 @ np.array([x / y, 1.0, (1.0 - x - y) / y]))

"""What a camera that records PQ saw: the display light of PQ taken back to the scene."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Final

import numpy as np

from lookkit.spaces.curves.base import Curve, require
from lookkit.spaces.curves.hdr import Pq
from lookkit.spaces.curves.power import Power, ToePower
from lookkit.spaces.working import Array, OcioTransform

_PQ: Final = Pq()
_SCREEN: Final = Power(gamma=2.4)
_CAMERA: Final = ToePower(gamma=1 / 0.45, offset=0.099, toe_slope=4.5, lin_break=0.018)
_GAIN: Final = 59.5208


@dataclass(frozen=True)
class PqCamera(Curve):
    """The PQ opto-electronic transfer function of BT.2100, light 1.0 = a perfect white.

    ``code = PQ(F_D)``, ``F_D = 100 G^2.4 cd/m2``, ``G = 1.099 (59.5208 E)^0.45 - 0.099`` and
    ``267.84 E`` up to E = 0.0003024, with E = `unit` times the light; odd about zero
    (ITU-R BT.2100-2, table 4: the reference OOTF of PQ, taken back).

    Parameters
    ----------
    unit
        E of light 1.0.
    """

    family: ClassVar[str] = "pq-camera"

    unit: float

    def __post_init__(self) -> None:
        require(self.unit > 0, f"unit is {self.unit:g}, expected above 0")

    def decode(self, code: Array) -> Array:
        """Return linear light for codes, any shape."""
        camera = _CAMERA.decode(_SCREEN.encode(_PQ.decode(np.asarray(code, dtype=np.float64))))
        return np.asarray(camera / (_GAIN * self.unit))

    def encode(self, linear: Array) -> Array:
        """Return codes for linear light, any shape."""
        light = np.asarray(linear, dtype=np.float64) * (_GAIN * self.unit)
        return _PQ.encode(_SCREEN.decode(_CAMERA.encode(light)))

    def lower_decode(self) -> list[OcioTransform]:
        """Return a half-float 1D LUT of PQ and the screen, the camera's curve and a gain."""
        from lookkit.spaces.ocio_ops import affine, half_lut

        table = half_lut(lambda code: _SCREEN.encode(_PQ.decode(code)))
        return [table, *_CAMERA.lower_decode(), affine(1 / (_GAIN * self.unit), 0)]

    def lower_encode(self) -> list[OcioTransform]:
        """Return a gain, the camera's curve and a half-float 1D LUT of the screen and PQ.

        OpenColorIO's own PQ takes light, whose smallest half float is far above what is dark.
        """
        from lookkit.spaces.ocio_ops import affine, half_lut

        table = half_lut(lambda camera: _PQ.encode(_SCREEN.decode(camera)))
        return [affine(_GAIN * self.unit, 0), *_CAMERA.lower_encode(), table]

"""The light level of HDR pictures, for their static metadata."""

from __future__ import annotations

import threading

import numpy as np

from lookkit.bounded import Planes
from lookkit.media.coding import Coding
from lookkit.spaces import ranges
from lookkit.spaces.curves import Curve

_BINS = 4096
_ROWS = 64


class LightMeter:
    """Measures MaxCLL and MaxFALL over the frames of a clip (CTA-861.3, annex P).

    The light of a pixel is that of its brightest component; MaxCLL is the brightest pixel
    of all frames, MaxFALL the highest frame average, both in cd/m2. Codes are counted in
    4096 steps, the average is that of the steps.
    """

    def __init__(self, coding: Coding, curve: Curve) -> None:
        self._to_rgb = [part.astype(np.float32) for part in coding.to_rgb()]
        codes = np.linspace(0.0, 1.0, _BINS)
        full = ranges.convert(codes, coding.range, "full", coding.bits)
        self._light = 100 * np.maximum(curve.decode(np.clip(full, 0.0, 1.0)), 0.0)
        self._lock = threading.Lock()
        self.most = 0.0
        self.average = 0.0

    def add(self, planes: Planes, width: int) -> None:
        """Measure a frame: three planes as `Grader.planes` gives them."""
        counts = np.zeros(_BINS, dtype=np.int64)
        for start in range(0, len(planes[0]), _ROWS):
            strip = [p[start : start + _ROWS, :width].astype(np.float32) for p in planes]
            brightest = np.zeros(strip[0].shape, dtype=np.float32)
            for row, constant in zip(*self._to_rgb, strict=True):
                channel = sum(f / 65535 * part for f, part in zip(row, strip, strict=True))
                np.maximum(brightest, channel + constant, out=brightest)
            steps = np.minimum(np.rint(brightest * (_BINS - 1)), _BINS - 1).astype(np.int64)
            counts += np.bincount(steps.ravel(), minlength=_BINS)
        with self._lock:
            self.most = max(self.most, float(self._light[np.nonzero(counts)[0][-1]]))
            self.average = max(self.average, float(counts @ self._light / counts.sum()))

    @property
    def levels(self) -> tuple[float, float]:
        """MaxCLL and MaxFALL so far, cd/m2."""
        return self.most, self.average

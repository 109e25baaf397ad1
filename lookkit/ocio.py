"""The one place where pixels are handed to OpenColorIO.

OpenColorIO's image description ignores numpy strides and writes in place, so only
C-contiguous float32 copies made here ever reach it. It releases the interpreter lock
while it works, so strips of a picture run on all cores, bit-identical to one core.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt

from lookkit.spaces.working import Array, OcioTransform

_STRIP_PIXELS = 1 << 16
_ROW = 1 << 11
_UNFOLDABLE = (65521, 65535)


@cache
def library() -> Any:
    """Return PyOpenColorIO, with the environment variables that change results ignored."""
    for name in (
        "OCIO_OPTIMIZATION_FLAGS",
        "OCIO_ACTIVE_DISPLAYS",
        "OCIO_ACTIVE_VIEWS",
        "OCIO_INACTIVE_COLORSPACES",
    ):
        os.environ.pop(name, None)
    import PyOpenColorIO as ocio

    return ocio


@contextmanager
def quiet() -> Iterator[Any]:
    """Give OpenColorIO, which meanwhile prints nothing: what it raises is told by others."""
    ocio = library()
    before = ocio.GetLoggingLevel()
    ocio.SetLoggingLevel(ocio.LOGGING_LEVEL_NONE)
    try:
        yield ocio
    finally:
        ocio.SetLoggingLevel(before)


@cache
def _raw_config() -> Any:
    # OpenColorIO's cache knows a table by its size and its ends alone, and would hand out the
    # processor of another table.
    config = library().Config.CreateRaw()
    config.setProcessorCacheFlags(library().PROCESSOR_CACHE_OFF)
    return config


@cache
def _workers() -> ThreadPoolExecutor:
    return ThreadPoolExecutor(max_workers=cores(), thread_name_prefix="lookkit")


def cores() -> int:
    """Return how many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


class Processor:
    """A compiled chain of OpenColorIO transforms, without lossy optimisation."""

    def __init__(self, transforms: Sequence[OcioTransform]) -> None:
        ocio = library()
        group = ocio.GroupTransform()
        for transform in transforms:
            group.appendTransform(transform)
        self._cpu = (
            _raw_config().getProcessor(group).getOptimizedCPUProcessor(ocio.OPTIMIZATION_LOSSLESS)
        )

    @classmethod
    def of(cls, processor: Any) -> Processor:
        """Wrap a processor that a config made."""
        made = cls.__new__(cls)
        made._cpu = processor.getOptimizedCPUProcessor(library().OPTIMIZATION_LOSSLESS)
        return made

    def apply(
        self,
        pixels: npt.ArrayLike,
        out: npt.NDArray[np.float32] | None = None,
        *,
        finite: bool = False,
    ) -> npt.NDArray[np.float32]:
        """Return the processed pixels; float32, the shape of the input, (..., 3).

        The input is never changed. `out`, where given, must be C-contiguous float32 of
        the same shape; it is filled and returned. With `finite`, NaN and minus infinity are
        read as 0 and infinity as 1.

        Raises
        ------
        ValueError
            If the last axis is not of length 3 or `out` does not fit.
        """
        source = np.asarray(pixels)
        if source.ndim == 0 or source.shape[-1] != 3:
            raise ValueError(f"expected an array of shape (..., 3), found {source.shape}")
        if out is None:
            out = np.empty(source.shape, dtype=np.float32)
        elif out.shape != source.shape or out.dtype != np.float32 or not out.flags.c_contiguous:
            raise ValueError("out must be C-contiguous float32 of the input's shape")
        if source.size == 0:
            return out
        flat_out = out.reshape(-1, 3)
        flat_in = source.reshape(-1, 3)
        starts = range(0, len(flat_out), _STRIP_PIXELS)
        if len(starts) == 1:
            self._strip(flat_in, flat_out, 0, finite)
        else:
            list(
                _workers().map(lambda start: self._strip(flat_in, flat_out, start, finite), starts)
            )
        return out

    def apply_exact(self, pixels: Array) -> Array:
        """Return the processed pixels as float64, for steps whose truth is OpenColorIO's own."""
        return self.apply(pixels).astype(np.float64)

    def _strip(self, source: np.ndarray, target: np.ndarray, start: int, finite: bool) -> None:
        strip = target[start : start + _STRIP_PIXELS]
        np.copyto(strip, source[start : start + _STRIP_PIXELS], casting="same_kind")
        if finite and not np.isfinite(strip).all():
            np.nan_to_num(strip, copy=False, nan=0.0, posinf=1.0, neginf=0.0)
        # Short rows: each operation finds in the cache what the one before it left there.
        whole = len(strip) // _ROW * _ROW
        for part in (strip[:whole], strip[whole:]):
            if len(part):
                width = min(len(part), _ROW)
                image = library().PackedImageDesc(part, width, len(part) // width, 3)
                self._cpu.apply(image)


def lattice_transform(lattice: Array) -> OcioTransform:
    """Return a lattice, shape (n, n, n, 3) indexed [r, g, b], as a tetrahedral 3D table."""
    ocio = library()
    table = ocio.Lut3DTransform(len(lattice))
    table.setInterpolation(ocio.INTERP_TETRAHEDRAL)
    table.setData(np.ascontiguousarray(lattice, dtype=np.float32).ravel())
    return table


def table_transform(table: Array) -> OcioTransform:
    """Return a table over 0-1, shape (n, 3), as a 1D table that is read linearly."""
    ocio = library()
    made = ocio.Lut1DTransform(len(table), False)
    made.setData(np.ascontiguousarray(table, dtype=np.float32).ravel())
    return made


def foldable(transform: OcioTransform) -> OcioTransform:
    """Return a 1D table of a length that OpenColorIO can fold into a texture.

    In OpenColorIO 2.2 to 2.6 tables of 65521 to 65535 entries never end when a shader is asked for.
    They are read at 65536 places instead; anything else is returned as it is.
    """
    ocio = library()
    if not isinstance(transform, ocio.Lut1DTransform) or transform.getInputHalfDomain():
        return transform
    entries = transform.getLength()
    if not _UNFOLDABLE[0] <= entries <= _UNFOLDABLE[1]:
        return transform
    table = np.array([transform.getValue(i) for i in range(entries)], dtype=np.float64)
    places = np.linspace(0.0, entries - 1.0, _UNFOLDABLE[1] + 1)
    rows = [np.interp(places, np.arange(entries), table[:, k]) for k in range(3)]
    return table_transform(np.stack(rows, axis=-1))

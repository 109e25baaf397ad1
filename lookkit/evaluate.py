"""A chain of steps on pixels: exactly by numpy in float64, or as fast by compiled kernels.

Both run the same formulas. What has no formula (ACES 2, LUT files, some curves) is run by its
own evaluation in either.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt

from lookkit.kernel import numpy_engine
from lookkit.kernel.engine import Compiled
from lookkit.kernel.formula import Program
from lookkit.kernel.join import joined
from lookkit.nodes.base import Op
from lookkit.ocio import cores
from lookkit.spaces.working import Array, as_pixels

HIGHEST = 1e6
"""Infinities become this value: beyond any light a camera records."""
LARGEST = 1e30
"""Finite values are held within this."""
_CHUNK = 16384
_STRIP = 1 << 16


def clean(rgb: npt.ArrayLike) -> Array:
    """Replace NaN by 0 and infinities by +-1e6; hold finite values within +-1e30.

    Shape (..., 3) in and out, float64.
    """
    pixels = as_pixels(rgb)
    if not np.isfinite(pixels).all():
        pixels = np.nan_to_num(pixels, nan=0.0, posinf=HIGHEST, neginf=-HIGHEST)
    return np.clip(pixels, -LARGEST, LARGEST)


def evaluate(chain: Sequence[Op], rgb: npt.ArrayLike) -> Array:
    """Return the exact result of `chain`; float64 of shape (..., 3).

    NaN in the input counts as 0 and infinities as +-1e6, so the result is finite. Worked on in
    parts that the processor's cache holds, so that a large picture takes little memory.
    """
    pixels = clean(rgb)
    parts = parts_of(chain)
    flat = pixels.reshape(-1, 3)
    out = np.empty_like(flat)
    for start in range(0, len(flat), _CHUNK):
        values = flat[start : start + _CHUNK]
        for part in parts:
            if isinstance(part, tuple):
                values = numpy_engine.run(part, values)
            else:
                values = part.evaluate(values)
        out[start : start + _CHUNK] = values
    return out.reshape(pixels.shape)


def evaluator(chain: Sequence[Op]) -> Callable[[npt.ArrayLike], Array]:
    """Return `evaluate` of a chain as a function for very many colours.

    Compiled kernels run it in float64, where they are to be had, on the caller's thread: four
    times as fast, and the same within a hundred-thousandth of a ten-bit code.
    """
    parts = _compiled(chain)

    def evaluated(rgb: npt.ArrayLike) -> Array:
        values = clean(rgb)
        for part in parts:
            if isinstance(part, Compiled):
                made = np.empty_like(values)
                part.run(np.ascontiguousarray(values), made, exactly=True)
                values = made
            else:
                values = part.evaluate(values)
        return values

    return evaluated


def parts_of(chain: Sequence[Op]) -> list[Program | Op]:
    """Return a chain as programs, and ops without one between them."""
    parts: list[Program | Op] = []
    for op in chain:
        program = op.program()
        if program is None:
            parts.append(op)
        elif parts and isinstance(parts[-1], tuple):
            parts[-1] = (*parts[-1], *program)
        else:
            parts.append(program)
    return [joined(part) if isinstance(part, tuple) else part for part in parts]


def _compiled(chain: Sequence[Op]) -> list[Compiled | Op]:
    """Return `parts_of` a chain, its programs compiled."""
    return [Compiled(part) if isinstance(part, tuple) else part for part in parts_of(chain)]


class Runner:
    """A chain, ready for pictures: compiled kernels on all cores.

    Each pixel comes out within 0.1 of a ten-bit code of `evaluate`; where there are no compiled
    kernels, numpy gives the same more slowly.
    """

    def __init__(self, chain: Sequence[Op]) -> None:
        self._parts = _compiled(chain)
        self._whole = len(self._parts) == 1 and isinstance(self._parts[0], Compiled)

    def run(
        self, pixels: npt.NDArray[Any], out: npt.NDArray[np.float32] | None = None
    ) -> npt.NDArray[np.float32]:
        """Return what the chain makes of float pixels, shape (..., 3).

        Parameters
        ----------
        out
            A C-contiguous float32 array of that shape to fill, which may be `pixels`.

        Raises
        ------
        ValueError
            If the last axis is not of length 3, or `out` does not fit.
        """
        if pixels.ndim == 0 or pixels.shape[-1] != 3:
            raise ValueError(f"pixels of shape {pixels.shape}, expected (..., 3)")
        if out is None:
            out = np.empty(pixels.shape, np.float32)
        elif out.shape != pixels.shape or out.dtype != np.float32 or not out.flags.c_contiguous:
            raise ValueError("out: expected a C-contiguous float32 array of the pixels' shape")
        kind = np.float64 if pixels.dtype == np.float64 else np.float32
        source = np.ascontiguousarray(pixels, dtype=kind).reshape(-1, 3)
        target = out.reshape(-1, 3)
        starts = range(0, len(source), _STRIP)
        strips = [slice(start, start + _STRIP) for start in starts]

        def one(part: slice) -> None:
            self._strip(source[part], target[part])

        if len(strips) <= 1:
            for part in strips:
                one(part)
        else:
            for _ in _workers().map(one, strips):
                pass
        return out

    def run_planes(
        self,
        source: npt.NDArray[np.float32],
        target: npt.NDArray[np.float32],
        entering: npt.NDArray[np.float32] | None = None,
    ) -> None:
        """Fill `target` with what the chain makes of `source`, on this thread alone.

        All of shape (3, ...), each plane C-contiguous. `entering` is a second input, for a first
        step that takes two.
        """
        if self._whole:
            first = self._parts[0]
            assert isinstance(first, Compiled)
            first.run(source, target, entering=entering, planes=True)
            return

        def pixels(planes: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
            return np.ascontiguousarray(np.moveaxis(planes, 0, -1)).reshape(-1, 3)

        made = np.empty((source[0].size, 3), np.float32)
        self._strip(pixels(source), made, None if entering is None else pixels(entering))
        target[...] = np.moveaxis(made, -1, 0).reshape(target.shape)

    def _strip(
        self,
        source: npt.NDArray[Any],
        target: npt.NDArray[np.float32],
        entering: npt.NDArray[np.float32] | None = None,
    ) -> None:
        if self._whole:
            first = self._parts[0]
            assert isinstance(first, Compiled)
            first.run(source, target, entering=entering)
            return
        values = clean(source)
        before = None if entering is None else clean(entering)
        for part in self._parts:
            if isinstance(part, Compiled):
                made = np.empty_like(values)
                # What has no formula may magnify any difference that it is given.
                part.run(values, made, entering=before, exactly=part is not self._parts[-1])
                values, before = made, None
            else:
                values = part.evaluate(values)
        target[...] = values


@cache
def _workers() -> ThreadPoolExecutor:
    return ThreadPoolExecutor(max_workers=cores(), thread_name_prefix="lookkit-run")

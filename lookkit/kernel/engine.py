"""Programs run by the compiled kernels, where they are to be had."""

from __future__ import annotations

import ctypes
import os
from collections.abc import Sequence
from functools import cache
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from lookkit.kernel import numpy_engine
from lookkit.kernel.build import source_hash, targets
from lookkit.kernel.formula import Program, slots_of
from lookkit.kernel.record import flat, kernel_name, length_of

SWITCH: Final = "LOOKKIT_ENGINE"
"""The environment's word for it: `numpy` runs everything in numpy."""

Pixels = npt.NDArray[Any]


@cache
def library() -> Any | None:
    """Return the compiled kernels for this processor, or None where there are none.

    They are not taken where they were compiled from other sources than these.
    """
    if os.environ.get(SWITCH) == "numpy":
        return None
    paths = [path for path, _ in targets()]
    try:
        lowest = ctypes.CDLL(str(paths[0]))
        level = lowest.lookkit_level()
        best = ctypes.CDLL(str(paths[min(level - 2, len(paths) - 1)]))
        best.lookkit_source.restype = ctypes.c_char_p
        best.lookkit_run.restype = ctypes.c_long
        if best.lookkit_source().decode() != source_hash():
            return None
    except (OSError, AttributeError):
        return None
    return best


def name() -> str:
    """Return which engine runs programs here: "compiled" or "numpy"."""
    return "numpy" if library() is None else "compiled"


def functions(prefix: str, signatures: Sequence[tuple[str, Any, tuple[Any, ...]]]) -> Any:
    """Return the compiled library with some functions ready to be called, or None without one.

    Parameters
    ----------
    prefix
        How their names begin.
    signatures
        Of each the rest of its name, the ctypes of its result and of its arguments.
    """
    made = library()
    if made is not None:
        for name, result, arguments in signatures:
            function = getattr(made, prefix + name)
            function.restype, function.argtypes = result, arguments
    return made


class Compiled:
    """A program, ready to be run on pixels.

    In float32, and in float64 where a formula says that float32 is not exact enough. Without the
    compiled kernels, or with a formula of a length that was not compiled, numpy runs it in
    float64.
    """

    def __init__(self, program: Program) -> None:
        self.program = program
        self._library = library()
        found = None if self._library is None else _functions(self._library, program)
        if found is None:
            self._library = None
            return
        count = len(program)
        fast, exact = found
        self._fast = (ctypes.c_void_p * count)(*fast)
        self._exact = (ctypes.c_void_p * count)(*exact)
        # Kernels without parameters get one number all the same.
        numbers = [flat(call.p) or [0.0] for call in program]
        self._kept = [(np.array(one, np.float32), np.array(one, np.float64)) for one in numbers]
        self._fast_p = (ctypes.c_void_p * count)(*[one.ctypes.data for one, _ in self._kept])
        self._exact_p = (ctypes.c_void_p * count)(*[one.ctypes.data for _, one in self._kept])
        self._slots = (ctypes.c_int * count)(*[call.slot for call in program])
        self._others = (ctypes.c_int * count)(*[call.other for call in program])
        self._count = slots_of(program)

    @property
    def compiled(self) -> bool:
        """Whether the compiled kernels have all formulas of the program, in their lengths."""
        return self._library is not None

    def run(
        self,
        pixels: Pixels,
        out: Pixels,
        *,
        entering: Pixels | None = None,
        exactly: bool = False,
        planes: bool = False,
    ) -> int:
        """Fill `out` with what the program makes of `pixels`; return how many took float64.

        Both C-contiguous, float32 or float64, of the same shape (..., 3). NaN counts as 0 and
        infinities as +-1e6. With `exactly`, all take float64. The interpreter is free meanwhile.
        `entering` is a second input, of the shape and type of `pixels`; it lies in slot 1.
        With `planes`, all are of shape (3, ...), each plane C-contiguous.
        """
        if planes:
            for one in (pixels, out, entering):
                assert one is None or one[0].flags.c_contiguous
        if self._library is None and planes:
            inputs = [
                None if one is None else np.moveaxis(one, 0, -1) for one in (pixels, entering)
            ]
            assert inputs[0] is not None
            result = np.empty(inputs[0].shape, out.dtype)
            count = self.run(inputs[0], result, entering=inputs[1], exactly=exactly)
            out[...] = np.moveaxis(result, -1, 0)
            return count
        if self._library is None:
            lights = [pixels] if entering is None else [pixels, entering]
            wide = [np.asarray(one, dtype=np.float64) for one in lights]
            wide = [np.nan_to_num(one, nan=0.0, posinf=1e6, neginf=-1e6) for one in wide]
            out[...] = numpy_engine.run(self.program, *wide)
            return out.size // 3
        redone = self._library.lookkit_run(
            ctypes.c_void_p(pixels.ctypes.data),
            ctypes.c_void_p(None if entering is None else entering.ctypes.data),
            ctypes.c_void_p(out.ctypes.data),
            ctypes.c_long(pixels.size // 3),
            int(pixels.dtype == np.float64),
            int(out.dtype == np.float64),
            int(exactly),
            self._count,
            len(self.program),
            self._fast,
            self._exact,
            self._fast_p,
            self._exact_p,
            self._slots,
            self._others,
            *[
                ctypes.c_long(one.strides[0] // one.itemsize if planes and one is not None else 0)
                for one in (pixels, entering, out)
            ],
        )
        if redone < 0:
            raise MemoryError
        return int(redone)


def _functions(lib: Any, program: Program) -> tuple[Sequence[int], Sequence[int]] | None:
    """Return the addresses of a program's kernels, or None where one was not compiled."""
    found: tuple[list[int], list[int]] = ([], [])
    for call in program:
        length = length_of(call.p)
        for kind, into in zip(("float", "double"), found, strict=True):
            try:
                function = getattr(lib, kernel_name(call.formula, length, kind))  # type: ignore[arg-type]
            except AttributeError:
                return None
            address = ctypes.cast(function, ctypes.c_void_p).value
            assert address is not None
            into.append(address)
    return found

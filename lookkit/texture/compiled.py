"""What of texture is compiled, or None where there is no compiler's work to be had."""

from __future__ import annotations

import ctypes
from functools import cache
from typing import Any

import numpy.typing as npt

from lookkit.kernel import engine


@cache
def library() -> Any:
    """Return the compiled functions, or None where this lookkit was built without."""
    pointer, size, real, whole = ctypes.c_void_p, ctypes.c_long, ctypes.c_float, ctypes.c_uint32
    count = ctypes.c_int
    return engine.functions("lookkit_texture_", (
        ("grain", count, (pointer, size, size, size, size, whole, whole, whole, pointer, count)),
        ("box", None, (pointer, size, size, size, pointer, size, size)),
        ("spread", count, (pointer, size, size, size, size, pointer, size, size, pointer)),
        ("blur", count, (pointer, pointer, size, size, pointer, count, real)),
        ("add", None,
         (pointer, pointer, pointer, size, pointer, count, real, real, pointer, count, pointer)),
    ))  # fmt: skip


def place(array: npt.NDArray[Any]) -> int:
    """Return where the numbers of a C-contiguous array lie."""
    assert array.flags.c_contiguous
    return int(array.ctypes.data)


def checked(result: int) -> None:
    """Tell of a function that found no memory."""
    if result < 0:
        raise MemoryError

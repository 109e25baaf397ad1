"""What of texture is compiled, or None where there is no compiler's work to be had."""

from __future__ import annotations

import ctypes
from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt

from lookkit.kernel import engine

Planes = npt.NDArray[np.float32]
"""Rows of a picture in three planes, shape (3, rows, `wide_of` its width); rows lie side by side.

What is beyond the picture's width is its last pixel again.
"""

_VECTOR = 32


@cache
def library() -> Any:
    """Return the compiled functions, or None where this lookkit was built without."""
    pointer, size, real, whole = ctypes.c_void_p, ctypes.c_long, ctypes.c_float, ctypes.c_uint32
    count = ctypes.c_int
    return engine.functions("lookkit_texture_", (
        ("parted", None, (pointer, size, size, pointer, size, size)),
        ("joined", None, (pointer, size, size, size, size, pointer)),
        ("from_codes", None, (pointer, *[size] * 3, pointer, pointer, size, size)),
        ("to_codes", None, (pointer, *[size] * 4, real, real, pointer, pointer, size)),
        ("grain", count,
         (pointer, *[size] * 5, whole, whole, whole, pointer, count, pointer, count)),
        ("box", count, (pointer, *[size] * 6, pointer, *[size] * 3)),
        ("spread", count, (pointer, size, pointer, *[size] * 6, pointer, *[size] * 5, pointer)),
        ("blur", count, (pointer, size, pointer, *[size] * 4, pointer, count, pointer, count)),
        ("add", None, (pointer, size, pointer, size, pointer, pointer, size, size, pointer, count,
                       real, real, pointer, count, pointer)),
    ))  # fmt: skip


def wide_of(width: int) -> int:
    """Return how many numbers a row of planes has: whole vectors."""
    return -(-width // _VECTOR) * _VECTOR


def place(array: npt.NDArray[Any]) -> int:
    """Return where the numbers of a C-contiguous array lie."""
    assert array.flags.c_contiguous
    return int(array.ctypes.data)


def placed(planes: Planes) -> tuple[int, int]:
    """Return where planes lie, and how many numbers each is after the one before."""
    assert planes.strides[1:] == (4 * planes.shape[2], 4)
    return int(planes.ctypes.data), planes.strides[0] // 4


def checked(result: int) -> None:
    """Tell of a function that found no memory."""
    if result < 0:
        raise MemoryError

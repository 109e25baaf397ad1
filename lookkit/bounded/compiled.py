"""The functions of `lookkit/kernel/lattice.c`."""

from __future__ import annotations

import ctypes
from functools import cache
from typing import Any

from lookkit.kernel import engine


class Header(ctypes.Structure):
    """`struct lattice`."""

    _fields_ = (
        ("points", ctypes.c_void_p),
        ("errors", ctypes.c_void_p),
        ("n", ctypes.c_int32 * 3),
        ("slope", ctypes.c_float * 3),
        ("place", ctypes.c_float * 12),
        ("rgb", ctypes.c_float * 12),
        ("coded", ctypes.c_float * 12),
        ("axis", ctypes.c_void_p * 3),
    )


@cache
def library() -> Any:
    """Return the compiled functions, or None where this lookkit was built without."""
    pointer, i32, i64, real = ctypes.c_void_p, ctypes.c_int32, ctypes.c_int64, ctypes.c_float
    header = ctypes.POINTER(Header)
    return engine.functions("lookkit_lattice_", (
        ("planes", None, (header, pointer, i64, pointer, i64, i32, i32, pointer, pointer, pointer)),
        ("packed", None, (header, pointer, pointer, i32, pointer, pointer, pointer)),
        ("take", None, (header, pointer, i64, i32, pointer, i64, pointer)),
        ("put", None, (header, pointer, i64, i32, pointer, i64, pointer)),
        ("unmeasured", i64, (header, pointer, i64, pointer)),
        ("probes", i64, (header, pointer, i64, pointer, i64, pointer, pointer)),
        ("measure", None, (header, pointer, i64, pointer, pointer)),
        ("judge", None, (header, pointer, i64, real)),
    ))  # fmt: skip

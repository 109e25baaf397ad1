"""Full and legal (narrow) signal range.

A file's code values 0-1 span all its integers, 0 to 2^bits - 1. In full range the signal
spans the same integers. In legal range (ITU-R BT.709, BT.2100 table 9) the signal 0-1 spans
16 x 2^(bits-8) to 235 x 2^(bits-8); codes beyond carry super-white and sub-black.
"""

from __future__ import annotations

from typing import Final, Literal, get_args

import numpy as np

from lookkit.errors import InputError
from lookkit.spaces.working import Array, OcioTransform

SignalRange = Literal["full", "legal"]
RANGES: Final = get_args(SignalRange)
DEPTHS: Final = (8, 10, 12, 16)


def limits(signal_range: SignalRange, bits: int) -> tuple[int, int]:
    """Return the integers that stand for signal 0 and 1.

    Raises
    ------
    InputError
        If the range or the bit depth is none of `RANGES` and `DEPTHS`.
    """
    if signal_range not in RANGES:
        raise InputError(f"range {signal_range!r}: expected 'full' or 'legal'")
    if bits not in DEPTHS:
        raise InputError(f"{bits} bits: expected 8, 10, 12 or 16")
    if signal_range == "full":
        return 0, 2**bits - 1
    step = 2 ** (bits - 8)
    return 16 * step, 235 * step


def scale_offset(
    source: SignalRange, target: SignalRange, bits: int, target_bits: int | None = None
) -> tuple[float, float]:
    """Return scale and offset so that `code * scale + offset` changes the range, exactly.

    The same signal is written in `target` range; values outside 0-1 are carried.
    """
    low, high = limits(source, bits)
    to_low, to_high = limits(target, target_bits or bits)
    top, to_top = 2**bits - 1, 2 ** (target_bits or bits) - 1
    scale = top * (to_high - to_low) / (to_top * (high - low))
    offset = (to_low * (high - low) - low * (to_high - to_low)) / (to_top * (high - low))
    return scale, offset


def convert(
    code: Array,
    source: SignalRange,
    target: SignalRange,
    bits: int,
    target_bits: int | None = None,
) -> Array:
    """Return codes of any shape in the target range; nothing is clamped."""
    if source == target:
        limits(source, bits)
        return np.asarray(code, dtype=np.float64)
    scale, offset = scale_offset(source, target, bits, target_bits)
    return np.asarray(code, dtype=np.float64) * scale + offset


def lower(
    source: SignalRange, target: SignalRange, bits: int, target_bits: int | None = None
) -> list[OcioTransform]:
    """Return the conversion as OpenColorIO transforms (one matrix, or none)."""
    if source == target:
        limits(source, bits)
        return []
    from lookkit.spaces.ocio_ops import affine

    scale, offset = scale_offset(source, target, bits, target_bits)
    return [affine(scale, offset)]

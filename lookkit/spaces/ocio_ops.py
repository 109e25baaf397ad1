"""The few OpenColorIO transforms that everything is lowered to; imported only when asked."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import PyOpenColorIO as ocio

from lookkit.spaces.working import Array, OcioTransform


def matrix(rows: Array, offset: Array | None = None) -> OcioTransform:
    """Return a 3x3 matrix and an offset, shape (3,), alpha untouched."""
    square = np.eye(4)
    square[:3, :3] = rows
    added = [0.0] * 4 if offset is None else [*map(float, offset), 0.0]
    return ocio.MatrixTransform(matrix=square.ravel().tolist(), offset=added)


def affine(scale: float, offset: float) -> OcioTransform:
    """Return `x * scale + offset` on every channel."""
    return matrix(np.diag([scale] * 3), np.full(3, offset))


def log_camera(
    *,
    base: float,
    log_slope: float,
    log_offset: float,
    lin_slope: float,
    lin_offset: float,
    lin_break: float,
    linear_slope: float | None = None,
    inverse: bool = False,
) -> OcioTransform:
    """Return a logarithm with a straight line below `lin_break`, linear to log."""
    transform = ocio.LogCameraTransform([lin_break] * 3)
    transform.setBase(base)
    transform.setLogSideSlopeValue([log_slope] * 3)
    transform.setLogSideOffsetValue([log_offset] * 3)
    transform.setLinSideSlopeValue([lin_slope] * 3)
    transform.setLinSideOffsetValue([lin_offset] * 3)
    if linear_slope is not None:
        transform.setLinearSlopeValue([linear_slope] * 3)
    return inverted(transform) if inverse else transform


def power(exponent: float | Array) -> OcioTransform:
    """Return `sign(x) |x|^exponent`, one exponent or one for each channel."""
    exponents = np.broadcast_to(np.asarray(exponent, dtype=np.float64), (3,))
    transform = ocio.ExponentTransform([*map(float, exponents), 1.0])
    transform.setNegativeStyle(ocio.NEGATIVE_MIRROR)
    return transform


def clip(low: float, high: float) -> OcioTransform:
    """Return a clamp of every channel."""
    return ocio.RangeTransform(low, high, low, high)


def half_lut(function: Callable[[Array], Array]) -> OcioTransform:
    """Return a 1D LUT with one entry for every 16-bit float, so negatives are carried.

    Between entries it is linear: a smooth function f is off by at most
    |f''(x)| x^2 / 2^23 where |x| is a normal half; beyond +-65504 the last entry holds.
    """
    with np.errstate(invalid="ignore"):
        halves = np.arange(65536, dtype=np.uint16).view(np.float16).astype(np.float64)
    halves = np.nan_to_num(halves, nan=0.0, posinf=65504.0, neginf=-65504.0)
    top = float(np.finfo(np.float32).max)
    column = np.clip(function(halves), -top, top).astype(np.float32)
    lut = ocio.Lut1DTransform(65536, True)
    lut.setData(np.ascontiguousarray(np.repeat(column[:, None], 3, axis=1)))
    return lut


def inverted(transform: OcioTransform) -> OcioTransform:
    """Return the same transform, turned round."""
    transform.setDirection(
        ocio.TRANSFORM_DIR_INVERSE
        if transform.getDirection() == ocio.TRANSFORM_DIR_FORWARD
        else ocio.TRANSFORM_DIR_FORWARD
    )
    return transform


def builtin(style: str) -> OcioTransform:
    """Return a builtin transform of OpenColorIO."""
    return ocio.BuiltinTransform(style)


def surround(gamma: float) -> OcioTransform:
    """Return `rgb * Y^(gamma - 1)`, Y the BT.2020 luminance, not below 1e-4."""
    return ocio.FixedFunctionTransform(ocio.FIXED_FUNCTION_REC2100_SURROUND, [gamma])

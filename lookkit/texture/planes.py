"""Pixels, and the integers of clips, to planes of floats and back."""

from __future__ import annotations

import ctypes
from typing import Any

import numpy as np
import numpy.typing as npt

from lookkit.texture.compiled import Planes, library, place, placed

Pixels = npt.NDArray[np.float32]
Integers = tuple[npt.NDArray[np.uint16], npt.NDArray[np.uint16], npt.NDArray[np.uint16]]
Affine = tuple[Any, Any]
"""A 3x3 matrix and an offset: `matrix @ values + offset`."""


def parted(pixels: Pixels, out: Planes) -> None:
    """Put pixels, shape (rows, width, 3), into planes."""
    pixels = np.ascontiguousarray(pixels, np.float32)
    rows, width = pixels.shape[:2]
    made = library()
    if made is None:
        out[:, :, :width] = np.moveaxis(pixels, -1, 0)
        out[:, :, width:] = out[:, :, width - 1 : width]
        return
    made.lookkit_texture_parted(place(pixels), rows, width, *placed(out), out.shape[2])


def joined(planes: Planes, out: Pixels) -> None:
    """Put planes into pixels, C-contiguous of shape (rows, width, 3)."""
    rows, width = out.shape[:2]
    made = library()
    if made is None:
        out[...] = np.moveaxis(planes[:, :, :width], 0, -1)
        return
    made.lookkit_texture_joined(*placed(planes), planes.shape[2], rows, width, place(out))


def from_codes(source: Integers, width: int, affine: Affine, out: Planes) -> None:
    """Put three planes of 16-bit integers, 0-65535, into planes.

    Parameters
    ----------
    source
        C-contiguous, shape (rows, `width` or more).
    affine
        From the integers to what `out` gets.
    """
    numbers = _flat(affine)
    made = library()
    if made is None:
        values = np.stack([plane[:, :width] for plane in source]).astype(np.float32)
        out[:, :, :width] = _mixed(numbers, values)
        out[:, :, width:] = out[:, :, width - 1 : width]
        return
    stride = _stride(source)
    made.lookkit_texture_from_codes(
        _addresses(source), stride, len(source[0]), width, place(numbers),
        *placed(out), out.shape[2],
    )  # fmt: skip


def to_codes(
    planes: Planes, width: int, given: tuple[float, float], affine: Affine, target: Integers
) -> None:
    """Put planes into three planes of 16-bit integers.

    Parameters
    ----------
    given
        Scale and offset, after which values are held in 0-1.
    affine
        From these to 0-1 for 0-65535, where they are held again.
    """
    numbers = _flat(affine)
    made = library()
    if made is None:
        held = np.clip(planes[:, :, :width] * np.float32(given[0]) + np.float32(given[1]), 0, 1)
        coded = np.clip(_mixed(numbers, held), 0, 1) * np.float32(65535) + np.float32(0.5)
        for plane, values in zip(target, coded, strict=True):
            plane[:, :width] = values.astype(np.uint16)
        return
    made.lookkit_texture_to_codes(
        *placed(planes), planes.shape[2], planes.shape[1], width, *given, place(numbers),
        _addresses(target), _stride(target),
    )  # fmt: skip


def _flat(affine: Affine) -> Pixels:
    return np.concatenate([np.ravel(one) for one in affine]).astype(np.float32)


def _mixed(numbers: Pixels, values: Planes) -> Planes:
    made = np.tensordot(numbers[:9].reshape(3, 3), values, axes=1) + numbers[9:, None, None]
    return made.astype(np.float32)


def _stride(planes: Integers) -> int:
    first = planes[0]
    for plane in planes:
        if plane.dtype != np.uint16 or plane.shape != first.shape or plane.strides[1] != 2:
            raise ValueError("expected 16-bit planes of one shape")
    return first.strides[0] // 2


def _addresses(planes: Integers) -> Any:
    return (ctypes.c_void_p * 3)(*(plane.ctypes.data for plane in planes))

"""Pictures of the report and of sheets: sRGB, made small in light, tagged as what they are."""

from __future__ import annotations

import base64
import io
from fractions import Fraction
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from lookkit.errors import LookkitError
from lookkit.ocio import Processor
from lookkit.spaces import ranges
from lookkit.spaces.icc import profile_of
from lookkit.spaces.outputs import Output, output
from lookkit.spaces.primaries import AP1, BT709, between

if TYPE_CHECKING:
    from lookkit.look import Look

Bytes = npt.NDArray[np.uint8]
"""A picture: sRGB, shape (height, width, 3)."""

_LINEAR = np.where(
    np.arange(256) / 255 <= 0.04045,
    np.arange(256) / 255 / 12.92,
    ((np.arange(256) / 255 + 0.055) / 1.055) ** 2.4,
).astype(np.float32)
"""Light of each sRGB code (IEC 61966-2-1)."""


def srgb_of(target: Output) -> Processor:
    """Return what carries the signal of an output to that of an sRGB display; see `screen_of`."""
    return screen_of(target, output("sRGB"))


def screen_of(target: Output, screen: Output) -> Processor:
    """Return what carries the signal of an output to that of a computer's display.

    Light relative to paper white is equal on both; what lies outside the display's primaries or
    above paper white is clipped, and whites that differ are adapted (Bradford).
    """
    from lookkit.spaces.ocio_ops import matrix

    rows = between(target.limiting, screen.limiting, "bradford") * (100.0 / target.reference_white)
    steps = [*target.lower_inverse(), matrix(rows), *screen.lower()]
    return Processor(steps)


def seen(target: Output, signal: npt.ArrayLike) -> Bytes:
    """Return the signal of an output, shape (..., 3), as sRGB bytes; see `srgb_of`."""
    return as_bytes(srgb_of(target).apply(np.asarray(signal, dtype=np.float32)))


def recorded(look: Look, camera: str, code: npt.NDArray[np.floating[Any]]) -> Bytes:
    """Return what a camera recorded as a monitor without any look shows it.

    Codes, from black to white of the file's range, are the signal of an sRGB display: log
    codes look flat. Scene-linear light, which is no signal, is encoded for that display.
    """
    step = look.graph.input_transform(camera)
    if step.encoding.scene_linear:
        from lookkit.spaces.ocio_ops import matrix

        to_709 = matrix(between(AP1, BT709, "bradford"))
        return as_bytes(Processor([*step.lower(), to_709, *output("sRGB").lower()]).apply(code))
    bits = step.bits or step.encoding.bits
    scale, offset = ranges.scale_offset(step.signal_range, "full", bits)
    return as_bytes(code * np.float32(scale) + np.float32(offset))


def as_bytes(signal: npt.NDArray[np.floating[Any]]) -> Bytes:
    """Return values 0-1 as bytes, rounded and clipped; NaN is black."""
    held = np.clip(np.nan_to_num(signal, nan=0.0), 0.0, 1.0)
    return np.asarray(np.rint(held * 255), dtype=np.uint8)


def small(picture: Bytes, width: int, aspect: Fraction = Fraction(1)) -> Bytes:
    """Return a picture at another width, averaged in light.

    Parameters
    ----------
    aspect
        Width over height of a pixel; the result has square ones.
    """
    image = pillow().Image
    high = max(1, round(picture.shape[0] * width / (picture.shape[1] * aspect)))
    if picture.shape[:2] == (high, width):
        return picture
    channels = [
        np.asarray(
            image.fromarray(_LINEAR[picture[..., channel]]).resize(
                (width, high), image.Resampling.BOX
            )
        )
        for channel in range(3)
    ]
    light = np.stack(channels, axis=-1)
    # Half-way between the light of two codes the nearer code is taken.
    edges = (_LINEAR[1:] + _LINEAR[:-1]) / 2
    return np.asarray(np.searchsorted(edges, light), dtype=np.uint8)


@cache
def profile() -> bytes:
    """Return an ICC profile of sRGB."""
    return profile_of(output("sRGB")) or b""


def data_uri(picture: Bytes) -> str:
    """Return a picture as a JPEG inside a URI, tagged sRGB."""
    kept = io.BytesIO()
    pillow().Image.fromarray(picture).save(
        kept, "JPEG", quality=90, subsampling="4:4:4", icc_profile=profile()
    )
    return "data:image/jpeg;base64," + base64.b64encode(kept.getvalue()).decode("ascii")


@cache
def pillow() -> Any:
    """Return Pillow.

    Raises
    ------
    LookkitError
        If it is not installed.
    """
    try:
        import PIL
        from PIL import Image, ImageCms, ImageDraw, ImageFont  # noqa: F401
    except ImportError as error:
        raise LookkitError(
            "sheets need Pillow: install lookkit with its extra, lookkit[pictures]"
        ) from error
    return PIL

"""Reading and writing stills through OpenImageIO: EXR, TIFF, PNG, JPEG, DPX and more."""

from __future__ import annotations

import math
import shutil
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from lookkit.errors import InputError, NotWrittenError
from lookkit.media.partial import whole_or_none
from lookkit.spaces import ranges

Pixels = npt.NDArray[np.float32]
Attribute = tuple[str, str, Any]

FORMATS = {".exr": "half", ".tif": "uint16", ".tiff": "uint16", ".png": "uint16",
           ".jpg": "uint8", ".jpeg": "uint8", ".dpx": "uint10"}  # fmt: skip
"""The formats that can be written, each with the sample type it gets by default."""
NO_ALPHA = (".jpg", ".jpeg")
"""Those that hold no alpha."""

_BLOCK = 1 << 20
"""Free bytes under which a picture that could not be written found a full disk."""
_STALE = (
    "oiio:ColorSpace",
    "ICCProfile",
    "chromaticities",
    "colorInteropID",
    "oiio:BitsPerSample",
    "CICP",
    "dpx:Transfer",
    "dpx:Colorimetric",
    "Exif:ColorSpace",
    "Orientation",
    "Exif:PixelXDimension",
    "Exif:PixelYDimension",
)
"""What describes the colour or coding of the input and would be untrue of the output."""
_HELD = (
    ".png", ".tif", ".tiff", ".jpg", ".jpeg", ".dpx", ".cin", ".bmp", ".ppm", ".tga", ".sgi",
    ".hdr",
)  # fmt: skip
"""Formats whose packing has a limit, so that a size in the header can be judged by the file's."""
_MOST_PACKED = 1300
"""Bytes that a byte of them holds at the most: Deflate 1032 (RFC 1951); JPEG 1229, a bit for each
of the ten blocks that 32 x 16 pixels have at the least (ITU-T T.81, 1:8 chroma); and some."""
_FRAME = 1 << 25
"""Pixels that the frame of a small part of it may have."""
_NO_RGB = ("CMYK", "YCCK", "CIELAB", "ICCLAB", "ITULAB", "color separated")
_SPARE = 1 << 20
_STRIP = 256
"""Rows that are read at once."""
_WITH_PROFILE = (".tif", ".tiff", ".png", ".jpg", ".jpeg")
_STALE_PREFIXES = ("ICCProfile:", "compression", "tiff:", "openexr:", "png:", "jpeg:", "dpx:")


@dataclass(frozen=True, eq=False)
class Still:
    """A picture as its file holds it.

    `pixels` is float32 (height, width, 3): code values, 0-1 for the whole range of an
    integer file, or the floats of an EXR, upright. `alpha` is (height, width, 1) or None;
    colour is not multiplied by it. `spec` is the file's header; its pixels' aspect is that of
    the upright picture.
    """

    pixels: Pixels
    alpha: Pixels | None
    bits: int
    spec: Any

    @property
    def depth(self) -> int:
        """The bits that the codes count in; 16 for floats."""
        return self.bits if self.bits in ranges.DEPTHS else 16

    @property
    def is_unseen(self) -> bool:
        """Whether its alpha is 0 everywhere, so that viewers show nothing of it."""
        return self.alpha is not None and not self.alpha.any()

    @property
    def aspect(self) -> Fraction:
        """Width over height of a pixel, 1 where the file says none or one that cannot be."""
        told = self.spec.get_float_attribute("PixelAspectRatio", 1.0)
        return Fraction(told).limit_denominator(1000) if 0.1 < told < 10 else Fraction(1)

    @property
    def not_finite(self) -> int:
        """How many pixels hold a NaN or an infinity."""
        return int((~np.isfinite(self.pixels)).any(axis=-1).sum())


def opened(path: Path) -> Any:
    """Open a picture with OpenImageIO.

    Raises
    ------
    InputError
        If it is missing or not a picture, or its header claims more than its bytes can hold.
    """
    import OpenImageIO as oiio

    if not path.is_file():
        what = "is not a file" if path.exists() else "does not exist"
        raise InputError(f"{path}: {what}, expected a picture")
    hints = oiio.ImageSpec()
    hints.attribute("oiio:UnassociatedAlpha", 1)
    hints.attribute("cineon:linear", 0)
    reader = oiio.ImageInput.open(str(path), hints)
    if reader is None:
        raise InputError(f"{path}: cannot be read as a picture ({_reason(oiio)})")
    spec, size = reader.spec(), path.stat().st_size
    if path.suffix.lower() in _HELD and spec.image_bytes(True) > _MOST_PACKED * size + _SPARE:
        reader.close()
        raise InputError(
            f"{path}: claims {spec.width}x{spec.height} pixels, which a file of {size} bytes "
            "cannot hold"
        )
    return reader


def read_still(path: Path) -> Still:
    """Read a picture, turned upright as its header says (Exif 2.32, tag Orientation).

    Raises
    ------
    InputError
        If it is missing, not a picture, cut short, empty or has no red, green and blue.
    """
    reader = opened(path)
    try:
        spec = reader.spec()
        order = _checked(spec, path)
        whole = reader.read_image(0, 0, 0, spec.nchannels, "float")
        failure = _said(reader)
    finally:
        reader.close()
    if whole is None or failure:
        raise _damaged(path, failure)
    whole = np.asarray(whole, dtype=np.float32).reshape(spec.height, spec.width, -1)
    if spec.full_width > 0 and spec.full_height > 0:
        whole = _framed(whole, spec)
    pixels, alpha = _colours_and_alpha(whole, spec, order)
    return _turned(pixels, alpha, spec)


def read_small(path: Path, factor: int) -> tuple[Still, int]:
    """Read a big picture as means of blocks, in strips, so that it is never in memory whole.

    Parameters
    ----------
    factor
        The width and height of a block in pixels. Rows and columns that fill none are left out.

    Returns
    -------
    tuple
        The small picture without alpha, NaN where a block holds no number, and how many pixels of
        the file are no numbers (the other pixels of their block make its mean).

    Raises
    ------
    InputError
        As `read_still`.
    """
    reader = opened(path)
    try:
        spec = reader.spec()
        order = _checked(spec, path)
        window = (spec.x, spec.y, spec.width, spec.height)
        whole = window == (spec.full_x, spec.full_y, spec.full_width, spec.full_height)
        step = factor * max(1, _STRIP // factor)
        if spec.tile_height:
            step = math.lcm(spec.tile_height, factor)
        strips, lost, failure = [], 0, ""
        for top in range(0, spec.height if whole else 0, step):
            rows = _rows(reader, spec, top, min(top + step, spec.height))
            failure = _said(reader)
            if rows is None or failure:
                raise _damaged(path, failure)
            pixels, _ = _colours_and_alpha(rows, spec, order)
            lost += int((~np.isfinite(pixels)).any(axis=-1).sum())
            if len(pixels) >= factor:
                strips.append(block_means(pixels, factor))
    finally:
        reader.close()
    if not whole:
        # Part of a frame, or more than it: rare, and read as it is.
        still = read_still(path)
        return replace(
            still, pixels=block_means(still.pixels, factor), alpha=None
        ), still.not_finite
    return _turned(np.concatenate(strips), None, spec), lost


def block_means(pixels: npt.NDArray[Any], factor: int) -> Pixels:
    """Return the mean of the numbers in each whole block of factor x factor pixels.

    Any number of channels, (height, width, channels); NaN where a block holds no number.
    """
    height, width = (length // factor for length in pixels.shape[:2])
    cut = pixels[: height * factor, : width * factor]
    fair = np.asarray(np.isfinite(cut).all(axis=-1))
    if not fair.all():
        cut = np.where(fair[..., None], cut, np.float32(0.0))
    total = np.zeros((height, width, cut.shape[2]), np.float32)
    count = np.zeros((height, width), np.float32)
    for y in range(factor):
        for x in range(factor):
            total += cut[y::factor, x::factor]
            count += fair[y::factor, x::factor]
    total[count == 0] = np.nan
    return np.asarray(total / np.maximum(count, 1.0)[..., None])


def _rows(reader: Any, spec: Any, top: int, end: int) -> Pixels | None:
    """Read some rows of a picture, counted from its first, as float32."""
    first, last = spec.y + top, spec.y + end
    if spec.tile_height:
        left, right = spec.x, spec.x + spec.width
        read = reader.read_tiles(0, 0, left, right, first, last, 0, 1, 0, spec.nchannels, "float")
    else:
        read = reader.read_scanlines(0, 0, first, last, 0, 0, spec.nchannels, "float")
    if read is None:
        return None
    return np.asarray(read, dtype=np.float32).reshape(end - top, spec.width, -1)


def _checked(spec: Any, path: Path) -> list[int]:
    """Refuse what is no flat picture of red, green and blue; return their indices."""
    if spec.width < 1 or spec.height < 1 or spec.depth > 1:
        raise InputError(f"{path}: an empty or volume picture, expected a flat one")
    if spec.full_width * spec.full_height > max(_FRAME, 16 * spec.width * spec.height):
        raise InputError(
            f"{path}: claims a frame of {spec.full_width}x{spec.full_height} around "
            f"{spec.width}x{spec.height} pixels"
        )
    if path.suffix.lower() == ".dpx" and spec.get_int_attribute("Orientation", 1) in LYING:
        # OpenImageIO takes the length of such lines for the width.
        raise InputError(f"{path}: its lines run from top to bottom, expected left to right")
    return _channel_order(spec, path)


def _damaged(path: Path, failure: str) -> InputError:
    return InputError(f"{path}: damaged or cut short ({failure.strip() or 'no pixels'})")


def _colours_and_alpha(whole: Pixels, spec: Any, order: list[int]) -> tuple[Pixels, Pixels | None]:
    """Return red, green and blue, not multiplied by alpha, and alpha, of all channels."""
    pixels = np.ascontiguousarray(whole[..., order])
    alpha = None
    if 0 <= spec.alpha_channel < spec.nchannels:
        alpha = np.ascontiguousarray(whole[..., [spec.alpha_channel]])
        if not spec.get_int_attribute("oiio:UnassociatedAlpha"):
            pixels = np.divide(pixels, alpha, out=pixels.copy(), where=alpha > 0.0)
    bits = _bits(spec)
    if bits in (10, 12):
        top = np.float32((1 << bits) - 1)
        pixels = np.rint(pixels * top) / top
    return pixels, alpha


def _bits(spec: Any) -> int:
    return int(spec.get_int_attribute("oiio:BitsPerSample", 8 * spec.format.size()))


def _turned(pixels: Pixels, alpha: Pixels | None, spec: Any) -> Still:
    how = spec.get_int_attribute("Orientation", 1)
    if how in _TURNS:
        pixels = _upright(pixels, how)
        alpha = None if alpha is None else _upright(alpha, how)
        if how in LYING:
            aspect = spec.get_float_attribute("PixelAspectRatio", 1.0)
            spec.attribute("PixelAspectRatio", 1.0 / aspect if aspect > 0 else 1.0)
    return Still(pixels, alpha, _bits(spec), spec)


_TURNS = {2: (0, True), 3: (2, False), 4: (2, True), 5: (3, True), 6: (3, False),
          7: (1, True), 8: (1, False)}  # fmt: skip
"""Quarter turns to the left and then, perhaps, a swap of left and right, that make upright."""
LYING = (5, 6, 7, 8)


def _framed(whole: Pixels, spec: Any) -> Pixels:
    """Return a picture in its whole frame, which an EXR may fill in part, or exceed.

    OpenEXR calls the two its data window and its display window. What is missing is 0.
    """
    x, y = spec.x - spec.full_x, spec.y - spec.full_y
    if (x, y, *whole.shape[:2]) == (0, 0, spec.full_height, spec.full_width):
        return whole
    frame = np.zeros((spec.full_height, spec.full_width, whole.shape[2]), np.float32)
    left, top = max(x, 0), max(y, 0)
    part = whole[top - y : max(spec.full_height - y, 0), left - x : max(spec.full_width - x, 0)]
    frame[top : top + part.shape[0], left : left + part.shape[1]] = part
    return frame


def left_out(reader: Any) -> list[str]:
    """Return what a file holds besides the picture that is read, in words for people."""
    spec = reader.spec()
    colours = _colours(spec)
    if colours is None:
        return []
    used = {spec.channelnames[at] for at in colours}
    if 0 <= spec.alpha_channel < spec.nchannels:
        used.add(spec.channelnames[spec.alpha_channel])
    others = [name for name in spec.channelnames if name not in used]
    told = [f"holds channels {', '.join(others)} too: left out"] if others else []
    if reader.seek_subimage(1, 0):
        told.append("holds more than one picture: the first is taken")
        reader.seek_subimage(0, 0)
    inside = spec.x >= spec.full_x and spec.y >= spec.full_y
    right, below = spec.full_x + spec.full_width, spec.full_y + spec.full_height
    if not (inside and spec.x + spec.width <= right and spec.y + spec.height <= below):
        told.append("holds pixels outside its frame: left out")
    return told


def _upright(pixels: Pixels, how: int) -> Pixels:
    turns, mirrored = _TURNS[how]
    turned = np.rot90(pixels, turns)
    return np.ascontiguousarray(turned[:, ::-1] if mirrored else turned)


def depth_of(suffix: str, bits: int | None) -> int:
    """Return the bits that a picture's codes count in: what it is written in, 16 for floats.

    White of legal range is 235 x 2^(bits-8) of them, in floats as in 16 bits.
    """
    bits = bits or {".dpx": 10, ".jpg": 8, ".jpeg": 8}.get(suffix.lower(), 16)
    return bits if bits in ranges.DEPTHS else 16


def write_still(
    path: Path,
    pixels: npt.NDArray[np.floating[Any]],
    source: Still | None = None,
    *,
    bits: int | None = None,
    interop_id: str | None = None,
    profile: bytes | None = None,
    location: bool = False,
    note: str = "",
    software: str = "",
    attributes: Sequence[Attribute] = (),
) -> None:
    """Write a picture beside `path` and move it there when it is whole.

    Parameters
    ----------
    path
        Where to; the extension chooses the format (see `FORMATS`).
    pixels
        Code values, (height, width, 3); integer formats round and clip to 0-1.
    source
        Its alpha and metadata are carried over, less what describes its coding.
    bits
        8, 10, 12 or 16 for integer formats; default by format (JPEG 8, DPX 10, else 16).
    interop_id
        The published colour interop id of the output, written where a format has a place.
    profile
        An ICC profile of the output, for the formats that take one: TIFF, PNG and JPEG.
    location
        Whether the source's place on Earth is carried over too.
    note
        Written as the picture's history.
    software
        Written as what made the picture.
    attributes
        More metadata: name, OpenImageIO type name and value.

    Raises
    ------
    InputError
        If the format is unknown or cannot hold that bit depth.
    NotWrittenError
        If writing fails.
    """
    import OpenImageIO as oiio

    suffix = path.suffix.lower()
    if suffix not in FORMATS:
        raise InputError(f"{path}: unknown format, expected one of {', '.join(FORMATS)}")
    alpha = source.alpha if source is not None and suffix not in NO_ALPHA else None
    pixels = np.asarray(pixels, dtype=np.float32)
    height, width = pixels.shape[:2]
    spec = oiio.ImageSpec(width, height, 3 if alpha is None else 4, "float")
    if source is not None:
        _carry(source.spec, spec, location)
    _set_depth(spec, suffix, bits, path)
    if note:
        history = spec.get_string_attribute("Exif:ImageHistory")
        spec.attribute("Exif:ImageHistory", f"{history}\n{note}" if history else note)
    if software:
        spec.attribute("Software", software)
    for name, kind, value in attributes:
        spec.attribute(name, oiio.TypeDesc(kind), value)
    if interop_id:
        spec.attribute("colorInteropID", interop_id)
        spec.attribute("oiio:ColorSpace", interop_id)
    if profile is not None and suffix in _WITH_PROFILE:
        held = oiio.TypeDesc(f"uint8[{len(profile)}]")
        spec.attribute("ICCProfile", held, np.frombuffer(profile, np.uint8))
    whole = pixels
    if alpha is not None:
        stored = pixels * np.where(alpha > 0.0, alpha, 1.0) if suffix == ".exr" else pixels
        whole = np.concatenate([stored, alpha], axis=-1)
        if suffix != ".exr":
            spec.attribute("oiio:UnassociatedAlpha", 1)
    with whole_or_none(path) as beside:
        writer = oiio.ImageOutput.create(str(beside))
        if writer is None or not writer.open(str(beside), spec):
            raise NotWrittenError(f"{path}: cannot be written ({_reason(oiio, writer)})")
        done = writer.write_image(_filled(whole, spec.get_int_attribute("oiio:BitsPerSample")))
        failure = _said(writer)
        if not (writer.close() and done):
            full = shutil.disk_usage(path.parent).free < _BLOCK
            why = "no space left on the disk" if full else failure.strip() or "disk full?"
            raise NotWrittenError(f"{path}: writing failed ({why})")
        if suffix == ".dpx":
            _name_inside(beside, path.name)


def _name_inside(dpx: Path, name: str) -> None:
    """Write a name into the file header of a DPX (SMPTE ST 268-1), bytes 36 to 135."""
    with dpx.open("r+b") as file:
        file.seek(36)
        file.write(name.encode(errors="replace")[:99].ljust(100, b"\0"))


def _colours(spec: Any) -> list[int] | None:
    """Return the indices of red, green and blue, of the first layer that has them."""
    names = [name.upper() for name in spec.channelnames]
    for name in names:
        layer, dot, colour = name.rpartition(".")
        wanted = [f"{layer}{dot}{one}" for one in "RGB"]
        if colour == "R" and all(one in names for one in wanted):
            return [names.index(one) for one in wanted]
    return None


def _channel_order(spec: Any, path: Path) -> list[int]:
    """Return the indices of red, green and blue.

    Raises
    ------
    InputError
        If there are none, or what stands for them was made of inks.
    """
    for key in ("tiff:ColorSpace", "jpeg:ColorSpace"):
        kind = spec.get_string_attribute(key)
        if kind in _NO_RGB:
            raise InputError(f"{path}: {kind}, expected red, green and blue")
    order = _colours(spec)
    if order is not None:
        return order
    several = f"channels {', '.join(spec.channelnames)}"
    found = "one channel" if spec.nchannels == 1 else several
    raise InputError(f"{path}: {found}, expected red, green and blue")


def is_location(name: str) -> bool:
    """Say whether the name of a piece of metadata is of where a picture was taken."""
    folded = name.casefold()
    return folded.startswith("gps:") or any(
        word in folded for word in ("location", "gpscoord", "exif:gps", "iso6709", "geotag")
    )


def names_in(spec: Any) -> list[str]:
    """Return the names of the metadata in a header."""
    return [one.name for one in spec.extra_attribs]


def _carry(source: Any, target: Any, location: bool) -> None:
    for attribute in source.extra_attribs:
        # Bytes that are no text in UTF-8 cannot be had from OpenImageIO's attributes.
        with suppress(UnicodeDecodeError):
            name = attribute.name
            kept = location or not is_location(name)
            if kept and name not in _STALE and not name.startswith(_STALE_PREFIXES):
                target.attribute(name, attribute.type, attribute.value)


Bits = Literal[8, 10, 12, 16]


def _set_depth(spec: Any, suffix: str, bits: int | None, path: Path) -> None:
    allowed = {".exr": (16, 32), ".jpg": (8,), ".jpeg": (8,), ".dpx": (8, 10, 12, 16)}
    possible = allowed.get(suffix, (8, 16))
    if bits is None:
        bits = {".exr": 16, ".dpx": 10, ".jpg": 8, ".jpeg": 8}.get(suffix, 16)
    if bits not in possible:
        listing = ", ".join(map(str, possible))
        raise InputError(f"{path}: {bits} bits do not fit the format, expected {listing}")
    if suffix == ".exr":
        spec.set_format("half" if bits == 16 else "float")
        return
    spec.set_format("uint8" if bits == 8 else "uint16")
    if bits in (10, 12):
        spec.attribute("oiio:BitsPerSample", bits)
    if suffix in (".jpg", ".jpeg"):
        spec.attribute("Compression", "jpeg:95")
        spec.attribute("jpeg:subsampling", "4:4:4")


def _filled(whole: Pixels, bits: int) -> npt.NDArray[Any]:
    """Return 10 and 12 bits rounded and spread over 16, which OpenImageIO itself would cut off."""
    if bits not in (10, 12):
        return np.ascontiguousarray(whole)
    top = (1 << bits) - 1
    code = np.rint(np.clip(whole, 0.0, 1.0) * top).astype(np.uint16)
    return (code << (16 - bits)) | (code >> (2 * bits - 16))


def _reason(oiio: Any, part: Any = None) -> str:
    text = (_said(part) if part is not None else "") or _said(oiio)
    return text.strip().splitlines()[0] if text.strip() else "unknown format"


def _said(part: Any) -> str:
    """Return what went wrong in a part of OpenImageIO, which may quote bytes of the file."""
    try:
        return str(part.geterror())
    except UnicodeDecodeError as error:
        return bytes(error.object).decode(errors="replace")

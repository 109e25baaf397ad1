"""The codecs that movies are written in, by the names that `--codec` takes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Final

from lookkit.errors import InputError, UnknownNameError
from lookkit.media.avlib import library


@dataclass(frozen=True)
class Codec:
    """One way to write a movie.

    `formats` are FFmpeg's pixel formats by bit depth, the default first. Thread counts are
    fixed where an encoder's result depends on them, so that every machine writes the same.
    """

    name: str
    encoder: str
    suffixes: tuple[str, ...]
    formats: Mapping[int, str]
    options: Mapping[str, str] = field(default_factory=dict)
    even: bool = False
    least: tuple[int, int] = (16, 16)
    tag: str | None = None

    def bits(self, wanted: int | None) -> int:
        """Return the bit depth to write.

        Raises
        ------
        InputError
            If the codec does not have the one that is wanted.
        """
        if wanted is None:
            return next(iter(self.formats))
        if wanted not in self.formats:
            listing = " or ".join(map(str, self.formats))
            raise InputError(f"codec {self.name!r} writes {listing} bits, not {wanted}")
        return wanted

    def misfit(self, width: int, height: int) -> str:
        """Return why a picture size cannot be written, or an empty text."""
        if self.even and (width % 2 or height % 2):
            return (
                f"{width}x{height} is odd, but {self.name} halves its chroma and wants even sizes; "
                "expected another --codec, such as prores-422-hq, or pictures, such as --format tif"
            )
        if width < self.least[0] or height < self.least[1]:
            least = "x".join(map(str, self.least))
            return f"{width}x{height} is too small for {self.name}, which begins at {least}"
        return ""


_X264 = {"preset": "medium", "crf": "16", "threads": "8"}
_X265 = {"preset": "medium", "crf": "16"}
X265_PARAMS: Final = "log-level=none:frame-threads=2"

CODECS: Final[Mapping[str, Codec]] = {
    codec.name: codec
    for codec in (
        Codec("prores-422-hq", "prores_ks", (".mov", ".mkv"), {10: "yuv422p10le"},
              {"profile": "3"}),
        Codec("prores-4444", "prores_ks", (".mov", ".mkv"), {10: "yuv444p10le"},
              {"profile": "4"}),
        Codec("dnxhr-hq", "dnxhd", (".mov", ".mxf"), {8: "yuv422p"},
              {"profile": "dnxhr_hq"}, least=(256, 120)),
        Codec("dnxhr-hqx", "dnxhd", (".mov", ".mxf"), {10: "yuv422p10le"},
              {"profile": "dnxhr_hqx"}, least=(256, 120)),
        Codec("dnxhr-444", "dnxhd", (".mov",), {10: "yuv444p10le"},
              {"profile": "dnxhr_444"}, least=(256, 120)),
        Codec("h264", "libx264", (".mp4", ".mov", ".mkv"), {8: "yuv420p", 10: "yuv420p10le"},
              _X264, even=True),
        Codec("hevc", "libx265", (".mp4", ".mov", ".mkv"), {10: "yuv420p10le", 8: "yuv420p"},
              _X265, even=True, tag="hvc1"),
    )
}  # fmt: skip

SUFFIXES: Final = (".mov", ".mp4", ".mkv", ".mxf")
"""The movie formats that can be written."""


def codec_for(name: str | None, suffix: str, *, deep: bool) -> Codec:
    """Return the codec called `name`, or the usual one of a movie format.

    The usual one is ProRes 422 HQ in .mov and DNxHR HQX in .mxf; in the others HEVC for
    pictures of more than 8 bits or high dynamic range (`deep`), else H.264.

    Raises
    ------
    UnknownNameError
        If no codec is called so.
    InputError
        If it does not go into that format.
    """
    if name is None:
        usual = {".mov": "prores-422-hq", ".mxf": "dnxhr-hqx"}
        name = usual.get(suffix, "hevc" if deep else "h264")
    if name not in CODECS:
        raise UnknownNameError("codec", name, CODECS)
    codec = CODECS[name]
    if suffix not in codec.suffixes:
        raise InputError(f"codec {name!r} goes into {', '.join(codec.suffixes)}, not {suffix}")
    return codec


def fits_mxf(width: int, height: int, rate: Fraction, variable: bool) -> bool:
    """Return whether .mxf takes a clip of this size and rate, as FFmpeg's writer has it."""
    whole = rate in _MXF_RATES or rate * 1001 / 1000 in _MXF_RATES
    return whole and not variable and not CODECS["dnxhr-hqx"].misfit(width, height)


_MXF_RATES: Final = (24, 25, 30, 48, 50, 60)


def check_build(codec: Codec) -> None:
    """Check that this build of PyAV can encode.

    Raises
    ------
    InputError
        If it cannot, with the codecs that it can.
    """
    if not _has(codec):
        able = ", ".join(one.name for one in CODECS.values() if _has(one)) or "none"
        raise InputError(
            f"codec {codec.name!r}: this build of PyAV has no encoder {codec.encoder}; "
            f"it has: {able}"
        )


def _has(codec: Codec) -> bool:
    av = library()
    try:
        av.codec.Codec(codec.encoder, "w")
    except av.codec.codec.UnknownCodecError:
        return False
    return True

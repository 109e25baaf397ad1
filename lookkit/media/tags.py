"""Colour tags: what the code points of ITU-T H.273 say, both ways.

FFmpeg numbers primaries, transfer and matrix as H.273 (CICP) does; 2 is "unspecified".
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from lookkit.errors import InputError
from lookkit.media.coding import Matrix
from lookkit.media.profiles import encoding_of
from lookkit.spaces.curves import Bt1886, Hlg, HlgDisplay, Pq, PqCamera, ToePower
from lookkit.spaces.encodings import Encoding, encoding, encodings
from lookkit.spaces.primaries import Primaries

if TYPE_CHECKING:
    from lookkit.spaces.outputs import Output

UNSPECIFIED: Final = 2

MATRICES: Final[dict[int, Matrix]] = {
    0: "rgb", 1: "bt709", 4: "fcc", 5: "bt601", 6: "bt601", 7: "smpte240m", 9: "bt2020",
}  # fmt: skip
REFUSED_MATRICES: Final = {
    8: "YCgCo", 10: "BT.2020 constant luminance", 11: "Y'D'zD'x", 14: "ICtCp",
}  # fmt: skip
PRIMARIES: Final = {
    1: "BT.709", 4: "BT.470 M", 5: "BT.470 BG", 6: "SMPTE 170M", 7: "SMPTE 240M", 9: "BT.2020",
    10: "CIE XYZ", 11: "P3-DCI", 12: "P3-D65",
}  # fmt: skip
TRANSFERS: Final = {
    1: "BT.709", 4: "gamma 2.2", 5: "gamma 2.8", 6: "BT.601", 7: "SMPTE 240M", 8: "linear",
    13: "sRGB", 14: "BT.2020", 15: "BT.2020", 16: "PQ", 17: "gamma 2.6", 18: "HLG",
}  # fmt: skip
SAME_TRANSFER: Final = {6: 1, 14: 1, 15: 1}
"""Code points of one and the same curve, by the one that stands for them (H.273, table 3)."""
_SAY_ENOUGH: Final = {
    (1, 1): "BT.709 camera",
    (1, 6): "BT.709 camera",
    (9, 14): "BT.2020 camera",
    (9, 15): "BT.2020 camera",
    (9, 18): "HLG camera",
    (9, 16): "PQ camera",
    (1, 13): "sRGB",
    (12, 13): "Display P3",
    (1, 8): "Linear BT.709",
    (9, 8): "Linear BT.2020",
    (12, 8): "Linear P3-D65",
}
"""Primaries and transfer that name one encoding of the table."""


@dataclass(frozen=True)
class Tags:
    """The colour that a file says it has.

    `primaries`, `transfer` and `matrix` are H.273 code points; `encoding` is the name of
    the encoding they amount to, or None where they do not say enough; `profile` is how an ICC
    profile that amounts to none calls itself.
    """

    primaries: int = UNSPECIFIED
    transfer: int = UNSPECIFIED
    matrix: int = UNSPECIFIED
    named: str | None = None
    profile: str = ""

    @property
    def encoding(self) -> str | None:
        """The encoding of the table that the tags amount to, or None."""
        return self.named or _SAY_ENOUGH.get((self.primaries, self.transfer))

    def contradicts(self, one: Encoding) -> bool:
        """Say whether the tags speak of another encoding.

        Where they do not amount to one, a transfer of high dynamic range still does.
        """
        if self.encoding is not None:
            return self.encoding != one.name
        if self.profile:
            return True
        hdr = {16: PqCamera, 18: Hlg}.get(self.transfer)
        return hdr is not None and not isinstance(one.curve, hdr)

    def __str__(self) -> str:
        if self.named:
            return self.named
        if self.profile:
            return f"with the ICC profile {self.profile!r}"
        parts = [
            names.get(code, f"code {code}")
            for code, names in ((self.primaries, PRIMARIES), (self.transfer, TRANSFERS))
            if code not in (0, UNSPECIFIED)
        ]
        return " primaries, ".join(parts) + (" transfer" if len(parts) == 2 else "")


def still_tags(spec: Any) -> Tags:
    """Return what a still's metadata says of its colour (an OpenImageIO spec)."""
    interop = spec.get_string_attribute("colorInteropID")
    if interop:
        try:
            return Tags(named=encoding(interop).name)
        except InputError:
            return Tags()
    chromaticities = spec.getattribute("chromaticities")
    if chromaticities is not None and len(chromaticities) == 8:
        return Tags(named=_scene_linear(np.asarray(chromaticities, dtype=np.float64)))
    if spec.get_int_attribute("acesImageContainerFlag"):
        return Tags(named="ACES2065-1")
    cicp = spec.getattribute("CICP")
    if cicp is not None and len(cicp) >= 2:
        return Tags(int(cicp[0]), int(cicp[1]))
    profile = spec.getattribute("ICCProfile")
    if profile is not None and spec.get_string_attribute("ICCProfile:color_space") != "GRAY":
        named = encoding_of(np.asarray(profile).astype(np.uint8).tobytes())
        words = spec.get_string_attribute("ICCProfile:profile_description") or "without a name"
        return Tags(named=named, profile="" if named else words)
    if spec.get_int_attribute("Exif:ColorSpace") == 1:
        return Tags(named="sRGB")
    return Tags()


def _scene_linear(chromaticities: np.ndarray[Any, np.dtype[np.float64]]) -> str | None:
    """Return the scene-linear encoding of red, green, blue and white x y, or None."""
    for one in encodings().values():
        p = one.primaries
        if one.scene_linear and np.allclose(
            np.array([p.red, p.green, p.blue, p.white]).ravel(), chromaticities, atol=2e-4
        ):
            return one.name
    return None


def output_tags(output: Output) -> Tags:
    """Return the code points of an output, as a movie of it is tagged.

    Unspecified where H.273 has no code point for the output's curve. The matrix is that of
    BT.2020 for its primaries, else that of BT.709.

    Raises
    ------
    InputError
        If the output is no R'G'B' (X'Y'Z').
    """
    display = output.display.name
    if display == "CIE XYZ":
        raise InputError(
            f"output {output.name!r} is X'Y'Z', which these codecs do not carry: "
            "expected a sequence of pictures, such as --format tif"
        )
    primaries = next((code for code, name in PRIMARIES.items() if name == display), UNSPECIFIED)
    curve = output.curve
    transfer = UNSPECIFIED
    if isinstance(curve, Bt1886):
        transfer = 14 if primaries == 9 else 1
    elif isinstance(curve, ToePower):
        transfer = 13
    elif isinstance(curve, Pq):
        transfer = 16
    elif isinstance(curve, HlgDisplay):
        transfer = 18
    return Tags(primaries, transfer, 9 if primaries == 9 else 1)


@dataclass(frozen=True)
class Mastering:
    """Static metadata of an HDR picture: the mastering display (SMPTE ST 2086)."""

    primaries: Primaries
    peak: float
    black: float = 0.0001


def mastering_of(output: Output) -> Mastering | None:
    """Return the mastering display of a PQ output: its limiting gamut and peak; else None."""
    if isinstance(output.curve, Pq):
        return Mastering(output.limiting, output.peak)
    return None

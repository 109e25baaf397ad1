"""The same encodings in colour-science and OpenColorIO, as the tests compare them."""

from __future__ import annotations

import warnings
from collections.abc import Callable
from typing import Any

import numpy as np

from lookkit.ocio import Processor
from lookkit.spaces.working import Array

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour

CUBE = np.stack(np.meshgrid(*[np.linspace(0.0, 1.0, 17)] * 3, indexing="ij"), axis=-1).reshape(
    -1, 3
)
"""A 17^3 grid of codes."""

GREYS = np.repeat(np.linspace(0.0, 1.0, 1024)[:, None], 3, axis=1)
"""Every 10-bit code of a grey."""

_PQ_WHITE = 0.030731188874500326
"""E of 203 cd/m2, by colour-science."""

COLOUR: dict[str, tuple[Callable[[Array], Array], str, str]] = {
    "LogC4": (lambda c: colour.log_decoding(c, "ARRI LogC4"), "ARRI Wide Gamut 4", "CAT02"),
    "S-Log2/S-Gamut": (lambda c: colour.log_decoding(c, "S-Log2"), "S-Gamut", "CAT02"),
    "S-Log3/S-Gamut3": (lambda c: colour.log_decoding(c, "S-Log3"), "S-Gamut3", "CAT02"),
    "S-Log3/S-Gamut3.Cine": (
        lambda c: colour.log_decoding(c, "S-Log3"),
        "S-Gamut3.Cine",
        "CAT02",
    ),
    "V-Log": (lambda c: colour.log_decoding(c, "V-Log"), "V-Gamut", "Bradford"),
    "Canon Log": (lambda c: colour.log_decoding(c, "Canon Log"), "Cinema Gamut", "CAT02"),
    "Canon Log 2": (lambda c: colour.log_decoding(c, "Canon Log 2"), "Cinema Gamut", "CAT02"),
    "Canon Log 3": (lambda c: colour.log_decoding(c, "Canon Log 3"), "Cinema Gamut", "CAT02"),
    "Log3G10": (lambda c: colour.log_decoding(c, "Log3G10"), "REDWideGamutRGB", "Bradford"),
    "F-Log": (lambda c: colour.log_decoding(c, "F-Log"), "F-Gamut", "Bradford"),
    "F-Log2": (lambda c: colour.log_decoding(c, "F-Log2"), "F-Gamut", "Bradford"),
    "F-Log2 C": (lambda c: colour.log_decoding(c, "F-Log2"), "F-Gamut C", "Bradford"),
    "N-Log": (lambda c: colour.log_decoding(c, "N-Log"), "N-Gamut", "Bradford"),
    "D-Log": (lambda c: colour.log_decoding(c, "D-Log"), "DJI D-Gamut", "CAT02"),
    "BMDFilm Gen 5": (
        lambda c: colour.cctf_decoding(c, "Blackmagic Film Generation 5"),
        "Blackmagic Wide Gamut",
        "CAT02",
    ),
    "Apple Log": (
        lambda c: colour.log_decoding(c, "Apple Log Profile"),
        "ITU-R BT.2020",
        "Bradford",
    ),
    "S-Log/S-Gamut": (lambda c: colour.log_decoding(c, "S-Log"), "S-Gamut", "CAT02"),
    "S-Log3/S-Gamut3, Venice": (
        lambda c: colour.log_decoding(c, "S-Log3"),
        "Venice S-Gamut3",
        "CAT02",
    ),
    "S-Log3/S-Gamut3.Cine, Venice": (
        lambda c: colour.log_decoding(c, "S-Log3"),
        "Venice S-Gamut3.Cine",
        "CAT02",
    ),
    "L-Log": (lambda c: colour.log_decoding(c, "L-Log"), "ITU-R BT.2020", "Bradford"),
    "Mi-Log": (lambda c: colour.log_decoding(c, "Mi-Log"), "ITU-R BT.2020", "Bradford"),
    "Log3G12": (lambda c: colour.log_decoding(c, "Log3G12"), "REDWideGamutRGB", "Bradford"),
    "REDLog": (lambda c: colour.log_decoding(c, "REDLog"), "REDWideGamutRGB", "Bradford"),
    "REDLogFilm": (lambda c: colour.log_decoding(c, "REDLogFilm"), "REDWideGamutRGB", "Bradford"),
    "Panalog": (lambda c: colour.log_decoding(c, "Panalog"), "ITU-R BT.709", "Bradford"),
    "ViperLog": (lambda c: colour.log_decoding(c, "ViperLog"), "ITU-R BT.709", "Bradford"),
    "Protune": (lambda c: colour.log_decoding(c, "Protune"), "Protune Native", "Bradford"),
    "ACESproxy10": (lambda c: colour.log_decoding(c, "ACESproxy"), "ACEScg", "CAT02"),
    "ACESproxy12": (
        lambda c: colour.log_decoding(c, "ACESproxy", bit_depth=12),
        "ACEScg",
        "CAT02",
    ),
    "ACEScc": (lambda c: colour.log_decoding(c, "ACEScc"), "ACEScg", "CAT02"),
    "ACEScct": (lambda c: colour.log_decoding(c, "ACEScct"), "ACEScg", "CAT02"),
    "Printing density, white 685": (
        lambda c: colour.log_decoding(c, "Cineon"),
        "ITU-R BT.709",
        "Bradford",
    ),
    "HLG camera": (
        lambda c: colour.models.oetf_inverse_BT2100_HLG(c) / 0.26496256042100716,
        "ITU-R BT.2020",
        "Bradford",
    ),
    "PQ camera": (
        lambda c: colour.models.oetf_inverse_BT2100_PQ(c) / _PQ_WHITE,
        "ITU-R BT.2020",
        "Bradford",
    ),
    "BT.709 camera": (
        lambda c: colour.models.oetf_inverse_BT709(c),
        "ITU-R BT.709",
        "Bradford",
    ),
    "sRGB": (lambda c: colour.cctf_decoding(c, "sRGB"), "sRGB", "Bradford"),
    "Display P3": (lambda c: colour.cctf_decoding(c, "sRGB"), "Display P3", "Bradford"),
    "Adobe RGB": (
        lambda c: colour.RGB_COLOURSPACES["Adobe RGB (1998)"].cctf_decoding(c),
        "Adobe RGB (1998)",
        "Bradford",
    ),
    "ProPhoto RGB": (lambda c: colour.cctf_decoding(c, "ROMM RGB"), "ProPhoto RGB", "Bradford"),
    "ACES2065-1": (lambda c: c, "ACES2065-1", "Bradford"),
    "ACEScg": (lambda c: c, "ACEScg", "Bradford"),
    "Linear BT.709": (lambda c: c, "ITU-R BT.709", "Bradford"),
    "Linear BT.2020": (lambda c: c, "ITU-R BT.2020", "Bradford"),
    "Linear P3-D65": (lambda c: c, "P3-D65", "Bradford"),
} | {
    f"LogC3 EI{index}": (
        lambda c, index=index: colour.log_decoding(c, "ARRI LogC3", EI=index),
        "ARRI Wide Gamut 3",
        "CAT02",
    )
    for index in (160, 200, 250, 320, 400, 500, 640, 800, 1000, 1280, 1600)
}
"""Curve, RGB colour space and chromatic adaptation in colour-science."""

OCIO_STYLES = {
    "LogC3 EI800": "ARRI_ALEXA-LOGC-EI800-AWG_to_ACES2065-1",
    "LogC4": "ARRI_LOGC4_to_ACES2065-1",
    "S-Log3/S-Gamut3": "SONY_SLOG3-SGAMUT3_to_ACES2065-1",
    "S-Log3/S-Gamut3.Cine": "SONY_SLOG3-SGAMUT3.CINE_to_ACES2065-1",
    "S-Log3/S-Gamut3, Venice": "SONY_SLOG3-SGAMUT3-VENICE_to_ACES2065-1",
    "S-Log3/S-Gamut3.Cine, Venice": "SONY_SLOG3-SGAMUT3.CINE-VENICE_to_ACES2065-1",
    "REDLogFilm": "RED_REDLOGFILM-RWG_to_ACES2065-1",
    "Apple Log/Apple Wide Gamut": "APPLE_LOG-APPLEWG_to_ACES2065-1",
    "ACESproxy10": "ACESproxy10i_to_ACES2065-1",
    "V-Log": "PANASONIC_VLOG-VGAMUT_to_ACES2065-1",
    "Canon Log 2": "CANON_CLOG2-CGAMUT_to_ACES2065-1",
    "Canon Log 3": "CANON_CLOG3-CGAMUT_to_ACES2065-1",
    "Log3G10": "RED_LOG3G10-RWG_to_ACES2065-1",
    "Apple Log": "APPLE_LOG_to_ACES2065-1",
    "ACEScc": "ACEScc_to_ACES2065-1",
    "ACEScct": "ACEScct_to_ACES2065-1",
    "ACEScg": "ACEScg_to_ACES2065-1",
    "ADX10": "ADX10_to_ACES2065-1",
}
"""Builtin transforms of OpenColorIO."""


def colour_ap0(name: str, code: Array) -> Array:
    """Return AP0 for codes, by colour-science with matrices derived from the primaries."""
    decode, space, method = COLOUR[name]
    source = colour.RGB_COLOURSPACES[space].copy()
    target = colour.RGB_COLOURSPACES["ACES2065-1"].copy()
    for one in (source, target):
        one.use_derived_transformation_matrices(True)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        light = decode(code)
        return np.asarray(
            colour.RGB_to_RGB(light, source, target, chromatic_adaptation_transform=method)
        )


def ocio_apply(transforms: list[Any], pixels: Array) -> Array:
    """Return pixels through OpenColorIO, float32, without lossy optimisation."""
    return Processor(transforms).apply(pixels).astype(np.float64)


def difference(found: Array, expected: Array) -> Array:
    """Return the largest difference of each pixel, relative to its largest channel.

    The floor is 0.01 of light.
    """
    size = np.maximum(np.abs(expected).max(axis=-1), 0.01)
    return np.asarray(np.abs(found - expected).max(axis=-1) / size)

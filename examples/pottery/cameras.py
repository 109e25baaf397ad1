"""The three cameras: from raw channels to the code values each one records.

A  cinema camera: colour matrix to ACES 2065-1, then LogC4, 10-bit full range.
B  small camcorder: BT.709 curve with a knee above 85 %, 8-bit, legal range (16-235,
   super-white up to 255), about a third of a stop brighter, a little off in colour.
C  stills camera: sRGB with a soft shoulder, 16-bit, full range.
"""

from __future__ import annotations

import warnings
from functools import cache

import numpy as np
from scipy import ndimage

from pottery.spectra import SKINS, Bench, chart_names, colour_science, observer, reflectances

B_BRIGHTER = 0.3
"""Stops by which camera B is brighter than camera A."""
_A_CLIP = 0.18 * 2.0**8.2
_B_CLIP = 9.0
_C_CLIP = 10.0


def colour_matrix(bench: Bench, camera: str) -> np.ndarray:
    """Return the 3x3 of a camera for its preset light, raw to its own linear RGB.

    Least squares over the chart and the skin tones under the preset light; a white stays
    white exactly. A aims at ACES 2065-1, B and C at BT.709 primaries.
    """
    return _fit(bench.presets[camera].tobytes(), camera)


@cache
def _fit(light_bytes: bytes, camera: str) -> np.ndarray:
    colour = colour_science()
    light = np.frombuffer(light_bytes)
    bench = Bench({}, dict.fromkeys("ABC", light))
    index = "ABC".index(camera)
    weights = bench.weights()[:, 3 * index : 3 * index + 3]
    surfaces = reflectances()
    spectra = np.stack([surfaces[name] for name in (*chart_names(), *SKINS)])
    raw = (spectra * light) @ weights
    xyz = (spectra * light) @ observer()
    space = colour.RGB_COLOURSPACES["ACES2065-1" if camera == "A" else "ITU-R BT.709"]
    white = light @ observer()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        target_white = colour.xy_to_XYZ(space.whitepoint)
        adapt = colour.adaptation.matrix_chromatic_adaptation_VonKries(
            white / white[1], target_white, transform="CAT02"
        )
    aim = xyz @ adapt.T @ np.asarray(space.matrix_XYZ_to_RGB).T
    # rows that sum to one: solve for the first two columns against the third
    basis = raw[:, :2] - raw[:, 2:]
    part = np.linalg.lstsq(basis, aim - raw[:, 2:], rcond=None)[0].T
    return np.concatenate([part, 1 - part.sum(axis=1, keepdims=True)], axis=1)


def _bloom(image: np.ndarray, width: int, amounts: list[tuple[float, float, tuple]]) -> np.ndarray:
    """Add what the glass spreads: (sigma in pixels at 960 wide, share, tint) each."""
    out = image.copy()
    for sigma, share, tint in amounts:
        size = sigma * width / 960
        step = max(1, int(size / 4))
        small = image[::step, ::step] if step == 1 else _shrink(image, step)
        for k in range(3):
            spread = ndimage.gaussian_filter(small[..., k], size / step, mode="nearest")
            if step > 1:
                spread = _grow(spread, step, image.shape[:2])
            out[..., k] += np.float32(share * tint[k]) * (spread - image[..., k])
    return out


def _shrink(image: np.ndarray, step: int) -> np.ndarray:
    pad = [(0, -image.shape[0] % step), (0, -image.shape[1] % step), (0, 0)]
    full = np.pad(image, pad, mode="edge")
    h, w = full.shape[0] // step, full.shape[1] // step
    return full.reshape(h, step, w, step, -1).mean(axis=(1, 3))


def _grow(plane: np.ndarray, step: int, shape: tuple[int, int]) -> np.ndarray:
    rows = (np.arange(shape[0]) + 0.5) / step - 0.5
    columns = (np.arange(shape[1]) + 0.5) / step - 0.5
    return ndimage.map_coordinates(
        plane, np.meshgrid(rows, columns, indexing="ij"), order=1, mode="nearest"
    )


def _noisy(image: np.ndarray, read: float, shot: float, seed: int) -> np.ndarray:
    """Add sensor noise: deviation sqrt(read^2 + shot * signal)."""
    rng = np.random.default_rng(seed)
    spread = np.sqrt(read**2 + shot * np.maximum(image, 0), dtype=np.float32)
    return image + rng.standard_normal(image.shape, dtype=np.float32) * spread


def exposure_factor(grey: np.ndarray, bench: Bench) -> float:
    """Return the gain that makes an 18 % grey at the chart decode to .18 in camera A.

    `grey` are the channels (12,) of the chart's neutral 5 patch.
    """
    light = bench.presets["A"]
    luminous = light * observer()[:, 1]
    reflectance = float((luminous @ reflectances()[chart_names()[21]]) / luminous.sum())
    return reflectance / float(colour_matrix(bench, "A")[1] @ grey[:3])


def _whiten(raw: np.ndarray, linear: np.ndarray, clip: float) -> np.ndarray:
    """Turn colours grey where two sensor channels run full, so that none is false.

    A narrow-band light that fills one channel alone keeps its colour.
    """
    second = np.median(raw, axis=-1, keepdims=True)
    full = np.clip((second / clip - 0.4) / 0.5, 0, 1)
    full = full * full * (3 - 2 * full)
    white = np.maximum(linear, 0).max(axis=-1, keepdims=True) * 0.5
    white = white + 0.5 * np.maximum(linear.mean(axis=-1, keepdims=True), 0)
    return linear + (white - linear) * full


def camera_a(image: np.ndarray, bench: Bench, exposure: float, seed: int) -> np.ndarray:
    """Return LogC4 code values, integers 0-1023, shape (h, w, 3)."""
    colour = colour_science()
    width = image.shape[1]
    raw = _bloom(
        image[..., 0:3] * np.float32(exposure),
        width,
        [
            (1.1, 0.22, (1, 1, 1)),
            (5.0, 0.020, (1.5, 0.95, 0.7)),
            (26.0, 0.010, (1.25, 1.0, 0.9)),
            (95.0, 0.004, (1.1, 1.0, 1.0)),
        ],
    )
    raw = np.minimum(_noisy(raw, 0.0007, 0.00012, seed), np.float32(_A_CLIP))
    ap0 = _whiten(raw, raw @ colour_matrix(bench, "A").T, _A_CLIP)
    wide = colour.RGB_COLOURSPACES["ARRI Wide Gamut 4"]
    aces = colour.RGB_COLOURSPACES["ACES2065-1"]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        to_wide = colour.matrix_RGB_to_RGB(aces, wide, chromatic_adaptation_transform="CAT02")
        code = colour.models.log_encoding_ARRILogC4(ap0 @ to_wide.T)
    return np.clip(np.round(code * 1023), 0, 1023).astype(np.uint16)


def camera_b(image: np.ndarray, bench: Bench, exposure: float, seed: int) -> np.ndarray:
    """Return BT.709 code values in 8-bit legal range, integers 16-255, shape (h, w, 3)."""
    width = image.shape[1]
    off = np.array([1.035, 1.0, 0.955], dtype=np.float32)
    raw = _bloom(
        image[..., 3:6] * np.float32(exposure * 2**B_BRIGHTER) * off,
        width,
        [(0.7, 0.3, (1, 1, 1)), (12.0, 0.006, (1, 1, 1))],
    )
    raw = np.minimum(_noisy(raw, 0.0011, 0.00022, seed), np.float32(_B_CLIP))
    luma = np.array([0.2126, 0.7152, 0.0722])
    vivid = 1.07 * np.eye(3) - 0.07 * luma[np.newaxis, :]
    twist = np.array([[0.985, 0.015, 0.0], [0.0, 0.99, 0.01], [0.012, 0.0, 0.988]])
    linear = raw @ (twist @ vivid @ colour_matrix(bench, "B")).T.astype(np.float32)
    linear = np.maximum(_whiten(raw, linear, _B_CLIP), 0)
    signal = np.where(linear < 0.018, 4.5 * linear, 1.099 * linear**0.45 - 0.099)
    # knee: above 85 % the slope is such that six times white lands on code 255
    top = 239.0 / 219.0
    slope = (top - 0.85) / (1.099 * 6.0**0.45 - 0.099 - 0.85)
    signal = np.where(signal > 0.85, 0.85 + (signal - 0.85) * slope, signal)
    y = signal @ luma
    detail = y - ndimage.gaussian_filter(y, 0.9 * max(width / 960, 0.5))
    signal = signal + (0.45 * np.clip(detail, -0.08, 0.08))[..., np.newaxis]
    return np.clip(np.round(16 + 219 * signal), 16, 255).astype(np.uint8)


def camera_c(image: np.ndarray, bench: Bench, exposure: float, seed: int) -> np.ndarray:
    """Return sRGB code values, integers 0-65535, shape (h, w, 3).

    Linear up to .6, then a shoulder that reaches 1 at ten times white.
    """
    raw = _bloom(image[..., 6:9] * np.float32(exposure), image.shape[1], [(0.6, 0.2, (1, 1, 1))])
    raw = np.minimum(_noisy(raw, 0.00015, 0.000012, seed), np.float32(_C_CLIP))
    linear = _whiten(raw, raw @ colour_matrix(bench, "C").T.astype(np.float32), _C_CLIP)
    linear = np.maximum(linear, 0)
    knee, reach = 0.6, _C_CLIP - 0.6
    room = 0.4 * reach / (reach - 0.4)
    over = np.maximum(linear - knee, 0)
    linear = np.where(linear > knee, knee + over * room / (over + room), linear)
    linear = np.clip(linear, 0, 1)
    signal = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return np.clip(np.round(signal * 65535), 0, 65535).astype(np.uint16)

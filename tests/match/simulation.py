"""Two cameras that look at the same spectra, for the tests of matching.

Nothing here is fitted to the code under test: reflectances, lights and sensitivities are
published measurements that colour-science ships (and four more in the open sample data),
and the fit only ever sees the codes of chart patches.

Camera A is the well-behaved one: its own matrix to AP1, a log encoding, little noise.
Camera B is a small camcorder: wrong white balance, its own matrix to BT.709 with extra
saturation, sensor noise, the BT.709 curve with a knee (or an S-curve), clipping, 8-bit
limited-range Y'CbCr 4:2:0, and about a third of a stop more exposure.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from lookkit.spaces.encodings import encoding

Array = np.ndarray[Any, np.dtype[np.float64]]

TYPICAL = ("Nikon 5100 (NPL)", "rawtoaces")
STRESS = ("Nikon 5100 (NPL)", "Sigma SDMerill (NPL)")
"""(camera A, camera B): keys of colour-science's built-in sensitivities."""

BLOCK = 24
"""Width in pixels of what is sampled of a patch."""


def _aligned(spectra: Any) -> Array:
    """Values on 380-780 nm in steps of 5 nm; zero outside of what was measured."""
    import colour

    outside = {"method": "Constant", "left": 0, "right": 0}
    shape = colour.SpectralShape(380, 780, 5)
    return np.asarray(spectra.copy().align(shape, extrapolator_kwargs=outside).values)


@cache
def sensitivities(name: str) -> Array:
    """Measured sensitivities, (81, 3): a key of colour-science, or a sample file's path.

    "made-up SEED PATH,PATH,..." makes some up from measured ones.
    """
    import colour

    if name.startswith("made-up "):
        from tests.match.worlds import made_up

        _, seed, paths = name.split(" ", 2)
        return made_up(int(seed), paths.split(","))

    if name == "rawtoaces":
        root = Path(colour.__file__).parent / "characterisation" / "datasets" / "rawtoaces"
        table = colour.read_sds_from_csv_file(
            str(root / "CANON_EOS_5DMark_II_RGB_Sensitivities.csv")
        )
        return _aligned(colour.MultiSpectralDistributions(table))
    if name.endswith(".json"):
        main = json.loads(Path(name).read_text())["spectral_data"]["data"]["main"]
        return np.array([main[str(wavelength)] for wavelength in range(380, 785, 5)])
    return _aligned(colour.MSDS_CAMERA_SENSITIVITIES[name])


@cache
def light(name: str = "D55") -> Array:
    """Relative spectral power of a CIE illuminant, (81,)."""
    import colour

    return _aligned(colour.SDS_ILLUMINANTS[name])


@cache
def chart_spectra() -> Array:
    """The 24 patches as measured by N. Ohta, (24, 81)."""
    import colour

    chart = colour.SDS_COLOURCHECKERS["ColorChecker N Ohta"]
    return np.array([_aligned(patch) for patch in chart.values()])


@cache
def held_out_spectra() -> Array:
    """The 99 samples of CIE 224:2017, (99, 81)."""
    import colour
    from colour.quality.cfi2017 import load_TCS_CIE2017

    return np.asarray(load_TCS_CIE2017(colour.SpectralShape(380, 780, 5)).values).T


@cache
def training_spectra() -> Array:
    """The 190 spectra from which each camera's own matrix is made, (190, 81)."""
    import colour

    return _aligned(colour.characterisation.read_training_data_rawtoaces_v1()).T


@cache
def skin_spectra() -> Array:
    """Skin-like spectra, (42, 81).

    The two measured skins among the CIE 224 samples (numbers 15 and 18), with their
    absorbance scaled (a power of the reflectance, after Beer and Lambert) and their
    brightness: paler and darker, not measured, hence "skin-like".
    """
    skins = held_out_spectra()[[14, 17]]
    powers, gains = (0.6, 0.8, 1.0, 1.25, 1.5, 2.0, 2.5), (0.8, 1.0, 1.15)
    return np.array([gain * skin**power for skin in skins for power in powers for gain in gains])


def responses(camera: str, spectra: Array, illuminant: Array) -> Array:
    """White-balanced linear responses: 1 for a perfect white in that light, (n, 3)."""
    s = sensitivities(camera) * illuminant[:, None]
    return np.asarray(spectra @ s / s.sum(axis=0))


@cache
def _observer() -> tuple[Array, Array]:
    """CIE 1931 colour matching functions, and AP1 to XYZ."""
    import colour

    matching = _aligned(colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"])
    return matching, np.asarray(colour.RGB_COLOURSPACES["ACEScg"].matrix_RGB_to_XYZ)


def ap1_of(spectra: Array, illuminant: Array) -> Array:
    """What the standard observer sees as scene-linear AP1, adapted to its white, (n, 3)."""
    import colour

    matching, to_xyz = _observer()
    white = matching.T @ illuminant
    xyz = spectra @ (matching * illuminant[:, None]) / white[1]
    adapt = colour.adaptation.matrix_chromatic_adaptation_VonKries(
        white / white[1], to_xyz.sum(axis=1), transform="CAT02"
    )
    return np.asarray(xyz @ adapt.T @ np.linalg.inv(to_xyz).T)


def lab(ap1: Array) -> Array:
    """CIE L*a*b* of scene-linear AP1, white at 1, by colour-science."""
    import colour

    _, to_xyz = _observer()
    white = colour.XYZ_to_xy(to_xyz.sum(axis=1))
    return np.asarray(colour.XYZ_to_Lab(ap1 @ to_xyz.T, white))


def difference(first: Array, second: Array) -> Array:
    """Delta E 2000 between scene-linear AP1 colours, by colour-science, (n,)."""
    import colour

    return np.asarray(colour.delta_E(lab(first), lab(second), method="CIE 2000"))


@cache
def camera_matrix(camera: str, illuminant: str = "D55") -> Array:
    """The maker's own matrix: linear responses to AP1, least squares in L*a*b*, (3, 3)."""
    from scipy.optimize import least_squares

    source = responses(camera, training_spectra(), light(illuminant))
    wanted = ap1_of(training_spectra(), light(illuminant))
    start = np.linalg.lstsq(source, wanted, rcond=None)[0].T
    goal = lab(wanted)
    result = least_squares(
        lambda m: (lab(source @ m.reshape(3, 3).T) - goal).ravel(), start.ravel()
    )
    return np.asarray(result.x.reshape(3, 3))


AP1_TO_709 = np.array(
    [[1.70505, -0.62179, -0.08326], [-0.13026, 1.14080, -0.01055], [-0.02400, -0.12897, 1.15297]]
)
"""Scene-linear AP1 to BT.709 primaries, five digits; rows sum to one within 1e-5."""


@dataclass(frozen=True)
class CameraA:
    """The reference: `truth` is where the match must land."""

    sensitivity: str
    illuminant: Array
    noise: float = 0.002

    def truth(self, spectra: Array) -> Array:
        """Noise-free scene-linear AP1 at nominal exposure."""
        made = responses(self.sensitivity, spectra, self.illuminant)
        return np.asarray(made @ camera_matrix(self.sensitivity).T)

    def codes(self, light: Array, rng: np.random.Generator) -> Array:
        """10-bit LogC4 codes of scene-linear AP1 with sensor noise, any shape (..., 3)."""
        spread = self.noise * np.sqrt(np.maximum(light, 0.0) + 0.01)
        noisy = light + rng.normal(size=light.shape) * spread
        return np.round(np.clip(encoding("LogC4").encode(noisy), 0.0, 1.0) * 1023.0) / 1023.0

    def read(self, spectra: Array, stops: float, rng: np.random.Generator) -> Array:
        """Mean of each patch's pixels after decoding its codes: scene-linear, (n, 3)."""
        level = self.truth(spectra)[:, None, :] * 2.0**stops
        pixels = self.codes(np.repeat(level, BLOCK * BLOCK, axis=1), rng)
        return np.asarray(encoding("LogC4").decode(pixels).mean(axis=1))


def knee(signal: Array, start: float = 0.85, slope: float = 0.2) -> Array:
    """A camcorder's knee: straight compression of the signal above `start`."""
    return np.where(signal > start, start + slope * (signal - start), signal)


def cine(signal: Array) -> Array:
    """A "cine" S-curve: lifted, flat shadows and a long shoulder."""
    s = np.maximum(signal, 0.0)
    return np.where(signal > 0.0, 1.06 * s**1.25 / (s**1.25 + 0.42) * 1.25, signal)


def bt709(linear: Array) -> Array:
    """The camera curve of ITU-R BT.709, carried on below zero and above one."""
    lifted = np.maximum(linear, 0.018)
    return np.where(linear < 0.018, 4.5 * linear, 1.099 * lifted**0.45 - 0.099)


@dataclass(frozen=True)
class CameraB:
    """The small camera; `seed` draws its white-balance error and saturation."""

    sensitivity: str
    illuminant: Array
    seed: int = 0
    curve: Any = field(default=knee)
    flare: float = 0.0
    noise: float = 0.006
    stops: float = 0.3
    saturation: tuple[float, float] = (1.0, 1.15)

    def linear(self, spectra: Array, stops: float) -> Array:
        """Sensor light after white balance, before the camera's matrix."""
        rng = np.random.default_rng(1000 + self.seed)
        balance = 2.0 ** rng.uniform(-0.15, 0.15, size=3)
        balance /= balance[1]
        made = responses(self.sensitivity, spectra, self.illuminant) + self.flare
        return np.asarray(made * balance * 2.0 ** (self.stops + stops))

    def signal(self, linear: Array) -> Array:
        """R'G'B' signal, 0 black, 1 nominal white, before quantisation."""
        rng = np.random.default_rng(2000 + self.seed)
        amount = rng.uniform(*self.saturation)
        luma = np.array([0.2126, 0.7152, 0.0722])
        saturate = amount * np.eye(3) + (1.0 - amount) * luma
        own = saturate @ AP1_TO_709 @ camera_matrix(self.sensitivity)
        return np.clip(self.curve(bt709(linear @ own.T)), -0.07, 1.09)

    def codes(
        self, spectra: Array, stops: float, rng: np.random.Generator, glare: Array | float = 0.0
    ) -> Array:
        """Pixels of patches as decoded from the file: (n, BLOCK, BLOCK, 3), 0-1 full range.

        `glare` is white light added to each, as a share of a perfect white's, (n,).
        """
        extra = np.broadcast_to(glare, len(spectra)) * 2.0 ** (self.stops + stops)
        level = (self.linear(spectra, stops) + extra[:, None])[:, None, None, :]
        grain = rng.normal(size=(len(spectra), BLOCK, BLOCK, 3))
        noisy = level + grain * self.noise * np.sqrt(np.maximum(level, 0.0) + 0.02)
        return through_video(self.signal(noisy))

    def exact(self, spectra: Array, stops: float = 0.0) -> Array:
        """Codes without noise and quantisation: full range, (n, 3)."""
        return np.asarray((16.0 + 219.0 * self.signal(self.linear(spectra, stops))) / 255.0)


_LUMA = np.array([0.2126, 0.7152, 0.0722])


def to_planes(signal: Array) -> tuple[Array, Array, Array]:
    """8-bit limited-range Y'CbCr 4:2:0 of ITU-R BT.709: Y (..., h, w), Cb and Cr half as big."""
    y = signal @ _LUMA

    def quarter(c: Array) -> Array:
        h, w = c.shape[-2:]
        small = c.reshape(*c.shape[:-2], h // 2, 2, w // 2, 2).mean(axis=(-3, -1))
        return np.clip(np.round(128.0 + 224.0 * small), 1, 254)

    luma = np.clip(np.round(16.0 + 219.0 * y), 1, 254)
    return luma, quarter((signal[..., 2] - y) / 1.8556), quarter((signal[..., 0] - y) / 1.5748)


def from_planes(y: Array, cb: Array, cr: Array) -> Array:
    """R'G'B' codes on which 0-1 spans the integers 0-255, so that video black is 16/255.

    Super-white and the excursions of chroma are kept.
    """
    cb, cr = (np.repeat(np.repeat(c, 2, axis=-2), 2, axis=-1) for c in (cb, cr))
    luma = (y - 16.0) / 219.0
    red, blue = luma + 1.5748 * (cr - 128.0) / 224.0, luma + 1.8556 * (cb - 128.0) / 224.0
    green = (luma - _LUMA[0] * red - _LUMA[2] * blue) / _LUMA[1]
    return np.asarray((16.0 + 219.0 * np.stack([red, green, blue], axis=-1)) / 255.0)


def through_video(signal: Array) -> Array:
    """What is left of a signal after being stored and read as 8-bit video, (..., h, w, 3)."""
    return from_planes(*to_planes(signal))


def pair(kind: Sequence[str], seed: int, **camera_b: Any) -> tuple[CameraA, CameraB]:
    """The two cameras in daylight of 5500 K."""
    daylight = light("D55")
    return CameraA(kind[0], daylight), CameraB(kind[1], daylight, seed=seed, **camera_b)

"""Lights, surfaces and sensors of the demo as spectra, and the integrals over them.

Measured data come from colour-science: two camera sensitivity sets, the reflectances of
a 24-patch chart (average edition) and of four skin tones, CIE observers and daylight.
Glazes, clay, wood, cloth, stone and the sensor of camera B are smooth curves of our own.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np

WAVELENGTHS = np.arange(380.0, 781.0, 5.0)
"""Nanometres; 5 nm resolves the 18 nm wide red tube."""

CAMERAS = ("A", "B", "C")
CHANNELS = 3 * len(CAMERAS) + 3
"""Three raw channels for each camera, then CIE XYZ (1931, 2 degrees)."""

SKINS = ("skin light", "skin fair", "skin tan", "skin deep")
_SKIN_SOURCES = ("Caucasian", "Oriental", "South Asian", "African")


@cache
def colour_science():
    """Import colour-science (2 s) once, without its notes on optional packages."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour

    return colour


def _aligned(distribution) -> np.ndarray:
    """Resample a colour-science distribution to `WAVELENGTHS`, holding its end values."""
    colour = colour_science()
    copy = distribution.copy()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        copy.align(colour.SpectralShape(380, 780, 5))
    return np.maximum(copy.values, 0.0)


@cache
def observer() -> np.ndarray:
    """CIE 1931 colour matching functions, shape (81, 3)."""
    return _aligned(colour_science().MSDS_CMFS["CIE 1931 2 Degree Standard Observer"])


# --- lights -------------------------------------------------------------------------------


def unit_luminance(power: np.ndarray) -> np.ndarray:
    """Scale a spectrum so that its luminance is 1."""
    return power / (power @ observer()[:, 1])


def black_body(kelvin: float) -> np.ndarray:
    """Planck's law, luminance 1."""
    metres = WAVELENGTHS * 1e-9
    return unit_luminance(metres**-5.0 / np.expm1(1.438776877e-2 / (metres * kelvin)))


def daylight(kelvin: float, ozone: float = 0.0) -> np.ndarray:
    """CIE daylight (4000-25000 K), luminance 1.

    `ozone` deepens the absorption around 600 nm which makes a dusk sky blue; its shape here
    is a pair of bells of our own.
    """
    colour = colour_science()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        xy = colour.temperature.CCT_to_xy_CIE_D(kelvin)
        power = _aligned(colour.sd_CIE_illuminant_D_series(xy))
    depth = _bell(WAVELENGTHS, 575, 28) + 1.1 * _bell(WAVELENGTHS, 605, 38)
    return unit_luminance(power * np.exp(-ozone * depth))


def low_sun(air_mass: float, haze: float = 0.06) -> np.ndarray:
    """Sunlight through `air_mass` atmospheres, luminance 1.

    A 5800 K black body behind Rayleigh's optical depth .008735 um^4.08 / wavelength^4.08
    and a haze after Angstrom's law, haze / wavelength^1.3 (textbook atmosphere, no source).
    """
    microns = WAVELENGTHS / 1000.0
    depth = 0.008735 * microns**-4.08 + haze * microns**-1.3
    return unit_luminance(black_body(5800.0) * np.exp(-air_mass * depth))


def red_tube() -> np.ndarray:
    """Return a narrow-band red LED, peak 630 nm, 18 nm full width at half height."""
    return unit_luminance(_bell(WAVELENGTHS, 630.0, 18.0 / 2.3548))


# --- surfaces -----------------------------------------------------------------------------


def _bell(x: np.ndarray, centre: float, sigma: float) -> np.ndarray:
    return np.exp(-0.5 * ((x - centre) / sigma) ** 2)


def _step(centre: float, width: float) -> np.ndarray:
    return 1.0 / (1.0 + np.exp(-(WAVELENGTHS - centre) / width))


def _own_surfaces() -> dict[str, np.ndarray]:
    w = WAVELENGTHS
    return {
        # glazes
        "celadon": 0.10 + 0.30 * _bell(w, 530, 62) + 0.09 * _step(560, 60),
        "celadon pool": 0.05 + 0.20 * _bell(w, 520, 48) + 0.02 * _step(600, 40),
        "tenmoku": 0.017 + 0.028 * _step(610, 22),
        "tenmoku rim": 0.035 + 0.24 * _step(598, 20),
        "iron red": 0.030 + 0.36 * _step(598, 13),
        "iron red thin": 0.05 + 0.30 * _step(585, 24),
        "cobalt": 0.022 + 0.27 * _bell(w, 448, 33) + 0.24 * _step(708, 9),
        "cobalt thin": 0.14 + 0.36 * _bell(w, 455, 48) + 0.18 * _step(690, 20),
        "ash white": 0.50 + 0.24 * _step(470, 42),
        "ash drip": 0.16 + 0.20 * _bell(w, 560, 55) + 0.12 * _step(590, 35),
        "copper green": 0.030 + 0.26 * _bell(w, 512, 30) + 0.02 * _step(620, 30),
        "honey": 0.05 + 0.48 * _step(560, 22),
        # clay and the workshop
        "raw clay": 0.10 + 0.42 * _step(575, 28),
        "dark clay": 0.045 + 0.13 * _step(585, 32),
        "dry clay": 0.26 + 0.30 * _step(560, 48),
        "slip": 0.34 + 0.24 * _step(520, 60),
        "brick": 0.075 + 0.27 * _step(588, 22),
        "brick pale": 0.16 + 0.30 * _step(565, 34),
        "soot": 0.022 + 0.010 * _step(600, 60),
        "mortar": 0.24 + 0.12 * _step(540, 60),
        "plaster": 0.40 + 0.22 * _step(510, 55),
        "plaster stain": 0.20 + 0.17 * _step(545, 45),
        "oak": 0.09 + 0.30 * _step(560, 45),
        "oak dark": 0.035 + 0.13 * _step(580, 45),
        "weathered": 0.13 + 0.09 * _step(540, 70),
        "iron": 0.055 + 0.012 * _step(560, 60),
        "enamel green": 0.022 + 0.09 * _bell(w, 520, 32) + 0.02 * _step(660, 30),
        "enamel white": 0.80 + 0.04 * _step(450, 20),
        "black card": np.full_like(w, 0.034),
        "paper": 0.62 + 0.20 * _step(440, 20),
        # cloth, hair
        "linen": 0.36 + 0.24 * _step(500, 55),
        "indigo cloth": 0.035 + 0.10 * _bell(w, 445, 42) + 0.26 * _step(715, 14),
        "apron": 0.06 + 0.13 * _step(575, 40),
        "ochre cloth": 0.055 + 0.40 * _step(545, 18),
        "madder cloth": 0.035 + 0.33 * _step(606, 14) + 0.03 * _bell(w, 430, 30),
        "hair": 0.020 + 0.030 * _step(620, 40),
        "lip": 0.10 + 0.36 * _step(598, 15) + 0.04 * _bell(w, 450, 40),
        # the shore
        "sand wet": 0.050 + 0.050 * _step(560, 50),
        "sand damp": 0.11 + 0.10 * _step(555, 50),
        "weed": 0.018 + 0.030 * _bell(w, 560, 30) + 0.22 * _step(705, 8),
        "hull blue": 0.045 + 0.20 * _bell(w, 465, 45) + 0.03 * _step(680, 20),
        "hull white": 0.55 + 0.10 * _step(480, 40),
        "rust": 0.05 + 0.22 * _step(592, 20),
        "slate": 0.055 + 0.02 * _bell(w, 470, 60),
    }


@cache
def chart_names() -> tuple[str, ...]:
    """Return the 24 patch names in reading order, rows of six, as colour-science has them."""
    return tuple(colour_science().SDS_COLOURCHECKERS["BabelColor Average"])


@cache
def reflectances() -> dict[str, np.ndarray]:
    """Every surface of the film: name to reflectance, shape (81,), 0-1."""
    colour = colour_science()
    table = _own_surfaces()
    skins = colour.SDS_COLOURCHECKERS["PMC"]
    for name, source in zip(SKINS, _SKIN_SOURCES, strict=True):
        table[name] = _aligned(skins[source])
    chart = colour.SDS_COLOURCHECKERS["BabelColor Average"]
    for name in chart_names():
        table[name] = _aligned(chart[name])
    for name, values in table.items():
        if values.min() < 0.0 or values.max() > 1.0:
            raise AssertionError(f"{name}: a reflectance leaves 0-1")
    return table


# --- sensors ------------------------------------------------------------------------------


def _skewed(centre: float, left: float, right: float) -> np.ndarray:
    sigma = np.where(centre > WAVELENGTHS, left, right)
    return _bell(WAVELENGTHS, centre, 1.0) ** (1.0 / sigma**2)


@cache
def sensitivities(camera: str) -> np.ndarray:
    """Return the sensor of a camera, shape (81, 3), any scale.

    A and C are measured (Darrodi, Finlayson, Goodman & Mackiewicz 2015, as colour-science
    carries them); B is three skewed bells behind an infra-red filter, of our own.
    """
    measured = colour_science().MSDS_CAMERA_SENSITIVITIES
    if camera == "A":
        return _aligned(measured["Nikon 5100 (NPL)"])
    if camera == "C":
        values = _aligned(measured["Sigma SDMerill (NPL)"])
        return values * ((WAVELENGTHS >= 400) & (WAVELENGTHS <= 680))[:, np.newaxis]
    red = _skewed(606, 27, 42) + 0.07 * _bell(WAVELENGTHS, 465, 40)
    green = _skewed(534, 37, 42) + 0.02
    blue = _skewed(456, 24, 33) + 0.015
    hot_mirror = 1.0 / (1.0 + np.exp((WAVELENGTHS - 668.0) / 9.0))
    return np.stack([red, green, blue], axis=1) * hot_mirror[:, np.newaxis]


@dataclass(frozen=True)
class Bench:
    """What every camera sees of every light on every surface of one set-up.

    Attributes
    ----------
    presets
        White-balance light of each camera: a raw channel is 1 where a perfect white is lit
        by its preset light with unit luminance.
    sources
        Name to spectrum (81,), luminance 1.
    """

    sources: Mapping[str, np.ndarray]
    presets: Mapping[str, np.ndarray]

    def weights(self) -> np.ndarray:
        """Return the matrix that takes a spectrum (81,) to all channels, shape (81, 12)."""
        columns = []
        for camera in CAMERAS:
            sensor = sensitivities(camera)
            columns.append(sensor / (self.presets[camera] @ sensor))
        columns.append(observer())
        return np.concatenate(columns, axis=1)

    def tables(self) -> tuple[dict[str, np.ndarray], dict[str, Callable[..., np.ndarray]]]:
        """Return emitted channels of each source, and a look-up of reflected channels.

        The second gives, for a source, a function of surface names to shape (k, 12).
        """
        weights = self.weights()
        surfaces = reflectances()
        emitted = {
            name: (light @ weights).astype(np.float32) for name, light in self.sources.items()
        }
        reflected = {}
        for name, light in self.sources.items():
            known = {
                surface: ((light * values) @ weights).astype(np.float32)
                for surface, values in surfaces.items()
            }

            def pick(names: tuple[str, ...], known: dict[str, np.ndarray] = known) -> np.ndarray:
                return np.stack([known[surface] for surface in names])

            reflected[name] = pick
        return emitted, reflected

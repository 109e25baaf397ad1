"""Random pairs of cameras, lights, curves and faults, of which a match is learnt and measured.

Nothing that the table of accuracy is scored on is used for learning: other measurements of the
chart, other objects than the samples of CIE 224, a skin model of its own, other seeds, and none
of colour-science's cameras.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from lookkit.match.fit import Shot
from lookkit.spaces.encodings import encoding
from tests.match import simulation as sim
from tests.match.trials import shot

Array = np.ndarray[Any, np.dtype[np.float64]]

LIGHTS = (
    "A", "C", "D50", "D55", "D65", "D75", "FL2", "FL4", "FL7", "FL8", "FL11", "FL12", "FL3.12",
    "LED-B1", "LED-B3", "LED-B5", "LED-BH1", "LED-RGB1", "LED-V1",
)  # fmt: skip
"""CIE illuminants; daylight, the commonest, is drawn more often."""

BRACKET = (-2.0, 0.0, 2.0)
CURVES = ("knee", "cine", "709", "drawn", "known")


@cache
def chart_spectra(which: str) -> Array:
    """The 24 patches by N. Ohta, or the mean of thirty charts by D. Pascale, (24, 81)."""
    import colour

    name = {"ohta": "ColorChecker N Ohta", "babel": "BabelColor Average"}[which]
    chart = colour.SDS_COLOURCHECKERS[name]
    return np.array([sim._aligned(patch) for patch in chart.values()])


@cache
def object_spectra() -> Array:
    """Reflectances for learning, spread evenly over the colours of surfaces, (n, 81).

    Measured ones of the ACES input transforms' training set, of the colour quality scale and of
    the CIE colour rendering index, and powers of them: the same dyes, thinner and denser (after
    Beer and Lambert). One is kept for each cube of 14 L*a*b* units.
    """
    from colour.quality.datasets import SDS_TCS, SDS_VS

    tables = [table for group in (SDS_TCS, SDS_VS) for table in group.values()]
    more = [sim._aligned(one) for table in tables for one in table.values()]
    measured = np.concatenate([sim.training_spectra(), np.array(more)])
    pool = np.concatenate([np.clip(measured, 0.002, 1.0) ** p for p in (0.6, 1.0, 1.6, 2.4)])
    colours = sim.lab(sim.ap1_of(pool, sim.light("D50")))
    pool, colours = pool[colours[:, 0] > 12.0], colours[colours[:, 0] > 12.0]
    order = np.random.default_rng(3).permutation(len(pool))
    cells = np.floor(colours[order] / 14.0).astype(int)
    _, first = np.unique(cells, axis=0, return_index=True)
    return np.asarray(pool[order[first]])


_OXY = (
    (400, 266232), (414, 524280), (420, 480360), (430, 246072), (440, 102580), (450, 62816),
    (460, 44480), (470, 33209), (480, 26629), (490, 23684), (500, 20932), (510, 20035),
    (520, 24202), (530, 39956), (540, 53236), (550, 43016), (560, 32613), (570, 44496),
    (576, 55540), (580, 50104), (590, 14400), (600, 3200), (620, 942), (640, 442), (660, 320),
    (680, 278), (700, 290), (720, 348), (750, 518), (780, 710),
)  # fmt: skip
_DEOXY = (
    (400, 223296), (410, 303956), (420, 407560), (432, 552160), (440, 413280), (450, 103292),
    (460, 23389), (470, 16156), (480, 14550), (490, 16684), (500, 20862), (510, 25774),
    (520, 31590), (530, 39036), (540, 46592), (550, 53412), (560, 53788), (570, 45072),
    (580, 37020), (590, 28324), (600, 14678), (620, 6510), (640, 4345), (660, 3227), (680, 2408),
    (700, 1794), (720, 1325), (750, 1405), (780, 1075),
)  # fmt: skip
"""Molar extinction of haemoglobin, cm-1/M, after S. Prahl's compilation; from memory."""


@cache
def modelled_skin() -> Array:
    """Skins from pale to dark by their absorption, (60, 81).

    Melanin above, blood below (after S. Jacques, "Optical properties of biological tissues",
    2013, constants from memory), diffuse reflection of the dermis after T. Farrell, M. Patterson,
    B. Wilson (1992).
    """
    rng = np.random.default_rng(7)
    wavelength = np.arange(380.0, 785.0, 5.0)
    oxy, deoxy = (np.interp(wavelength, *np.array(one, float).T) for one in (_OXY, _DEOXY))
    out = []
    for _ in range(60):
        melanin = 0.013 * 33.0 ** rng.uniform() * 6.6e11 * wavelength**-3.33
        blood, full = 10.0 ** rng.uniform(-2.3, -1.5), rng.uniform(0.5, 0.9)
        absorbed = 2.303 * 150.0 / 64500.0 * blood * (full * oxy + (1.0 - full) * deoxy) + 0.25
        scattered = 46.0 * rng.uniform(0.7, 1.3) * (wavelength / 500.0) ** -rng.uniform(1.1, 1.8)
        share = scattered / (scattered + absorbed)
        root = np.sqrt(3.0 * (1.0 - share))
        dermis = 0.5 * share * (1.0 + np.exp(-4.0 / 3.0 * 3.25 * root)) * np.exp(-root)
        skin = dermis * np.exp(-2.0 * 0.006 * melanin) + rng.uniform(0.0, 0.03)
        out.append(skin * rng.uniform(0.8, 1.3))
    return np.clip(np.array(out), 0.005, 0.95)


def made_up(seed: int, samples: Sequence[str]) -> Array:
    """Sensitivities that no camera has, (81, 3): shifted, stretched, sharpened, in layers."""
    rng = np.random.default_rng(50_000 + seed)
    base = sim.sensitivities(samples[int(rng.integers(len(samples)))])
    wavelength = np.arange(380.0, 785.0, 5.0)
    out = np.empty_like(base)
    for k in range(3):
        moved = 550.0 + (wavelength - 550.0 - rng.normal() * 8.0) * rng.uniform(0.85, 1.15)
        out[:, k] = np.interp(moved, wavelength, base[:, k], 0.0, 0.0) ** rng.uniform(0.7, 1.4)
    if rng.random() < 0.5:
        mixed = np.eye(3) + rng.uniform(0.0, 0.8, size=(3, 3)) * (1.0 - np.eye(3))
        deep = np.exp(-rng.uniform(0.0, 1.0) * (wavelength[:, None] - 450.0) / 150.0 * [1, 0, -1])
        out = out @ mixed * np.clip(deep, 0.2, 5.0)
        out = out ** rng.uniform(0.7, 1.0)
    return np.asarray(out / out.max(axis=0))


def drawn_curve(seed: int) -> Any:
    """A camera's own tone: another gamma, lifted or crushed shadows, a shoulder or a knee."""
    rng = np.random.default_rng(60_000 + seed)
    gamma, bend, foot = rng.uniform(0.9, 1.2), rng.uniform(0.0, 0.5), rng.uniform(-0.12, 0.12)
    knee = rng.uniform(0.75, 1.0)

    def curve(signal: Array) -> Array:
        s = np.maximum(signal, 0.0) ** gamma
        s = s + bend * s * (1.0 - s) * (1.0 - 0.3 * s) + foot * s * (1.0 - s) ** 3
        return np.where(signal > 0.0, sim.knee(s, knee, rng_slope), signal)

    rng_slope = rng.uniform(0.15, 0.5)
    return curve


@dataclass(frozen=True)
class World:
    """One set-up: what is filmed, by which cameras, how.

    `plan` are the exposures of camera B; with "known" camera B records a known log encoding, so
    that only its colours differ.
    """

    seed: int
    first: str
    second: str
    light: str = "D55"
    curve: str = "knee"
    plan: tuple[float, ...] = BRACKET
    flare: float = 0.0
    glared: int = 0
    chart: str = "ohta"
    noise: float = 0.006
    more: dict[str, Any] = field(default_factory=dict)

    @property
    def known(self) -> bool:
        """Whether camera B's encoding is known."""
        return self.curve == "known"

    def cameras(self) -> tuple[sim.CameraA, sim.CameraB]:
        """The two cameras, without flare: what the scene is."""
        curves = {"knee": sim.knee, "cine": sim.cine, "709": lambda s: s, "known": lambda s: s}
        curve = curves.get(self.curve) or drawn_curve(self.seed)
        light = sim.light(self.light)
        return (
            sim.CameraA(self.first, light),
            sim.CameraB(
                self.second, light, seed=self.seed, curve=curve, noise=self.noise, **self.more
            ),
        )

    def chart_shots(self) -> tuple[list[Shot], Array]:
        """What sampling the patches gives of camera B, and of camera A as scene-linear AP1."""
        a, b = self.cameras()
        rng = np.random.default_rng(self.seed)
        patches = rng.choice(24, self.glared, replace=False)
        amounts = rng.uniform(0.05, 0.3, self.glared)
        glare = dict(zip(patches.tolist(), amounts.tolist(), strict=True))
        chart = chart_spectra(self.chart)
        if self.known:
            extra = np.zeros(24)
            extra[patches] = amounts
            shots = [self._log_shot(b, chart, extra, stops, rng) for stops in self.plan]
        else:
            stray = replace(b, flare=self.flare)
            shots = [shot(stray, chart, stops, rng, glare) for stops in self.plan]
        return shots, a.read(chart, 0.0, rng)

    def _log_shot(
        self, b: sim.CameraB, chart: Array, extra: Array, stops: float, rng: np.random.Generator
    ) -> Shot:
        level = self._own(b, chart) + (extra[:, None] + self.flare) * 2.0**b.stops
        pixels = np.repeat(level[:, None] * 2.0**stops, 400, axis=1)
        pixels = pixels + rng.normal(size=pixels.shape) * b.noise * np.sqrt(
            np.maximum(pixels, 0.0) + 0.02
        )
        log = encoding("LogC3 EI800")
        codes = np.round(np.clip(log.encode(pixels), 0.0, 1.0) * 1023.0) / 1023.0
        clipped = (codes >= 0.988).any(axis=-1).mean(axis=1) > 0.02
        return Shot(stops, np.asarray(log.decode(codes).mean(axis=1)), ~clipped)

    def _own(self, b: sim.CameraB, spectra: Array) -> Array:
        """Scene-linear AP1 by camera B's own matrix: its white balance errs too."""
        return np.asarray(b.linear(spectra, 0.0) @ sim.camera_matrix(self.second).T)

    def values(self, spectra: Array, stops: float = 0.0) -> Array:
        """Linear values of camera B before its curve, without noise, as the match takes them."""
        from tests.match.trials import footage_b

        b = self.cameras()[1]
        if self.known:
            return self._own(b, spectra) * 2.0**stops
        return footage_b().decode(b.exact(spectra, stops))

    def fair(self, spectra: Array) -> np.ndarray:
        """Which camera B does not clip, booleans (n,): no match brings the others back."""
        if self.known:
            return np.ones(len(spectra), dtype=bool)
        b = self.cameras()[1]
        signal = b.signal(b.linear(spectra, 0.0))
        return np.asarray((signal.max(axis=1) < 1.085) & (signal.min(axis=1) > -0.065))

    def truth(self, spectra: Array) -> Array:
        """Where they must land: camera A's scene-linear AP1."""
        return self.cameras()[0].truth(spectra)


def random_world(seed: int, firsts: Sequence[str], seconds: Sequence[str], chart: str) -> World:
    """A set-up drawn at random: mostly brackets, a third single exposures, some faults."""
    rng = np.random.default_rng(70_000 + seed)
    first = firsts[int(rng.integers(len(firsts)))]
    others = [one for one in seconds if one != first]
    second = others[int(rng.integers(len(others)))]
    light = "D55" if rng.random() < 0.2 else LIGHTS[int(rng.integers(len(LIGHTS)))]
    single = rng.random() < 0.35
    fault = rng.random()
    return World(
        seed,
        first,
        second,
        light,
        CURVES[int(rng.choice(5, p=[0.25, 0.2, 0.1, 0.3, 0.15]))],
        (0.0,) if single else BRACKET,
        float(rng.uniform(0.005, 0.03)) if fault < 0.25 else 0.0,
        int(rng.integers(1, 5)) if 0.25 <= fault < 0.4 else 0,
        chart,
        float(rng.choice([0.003, 0.006, 0.012, 0.02])),
        {"stops": float(rng.uniform(-0.2, 0.5)), "saturation": (1.0, 1.2)},
    )


def sample_cameras(folder: Path) -> list[str]:
    """The measured sensitivities of a folder of samples, by path."""
    return [str(path) for path in sorted(folder.glob("spectral/*.json"))]

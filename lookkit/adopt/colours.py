"""The colours at which a source is asked, and the shares in which they count."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from lookkit.accuracy.samples import image_like, saturated_emitters, skin
from lookkit.adopt.source import Source
from lookkit.spaces.working import MID_GREY, Array

FITTED: Final = 2500
LEFT_OUT: Final = 6000
_LOWEST, _HIGHEST = -9.0, 9.0


@dataclass(frozen=True, eq=False)
class Asked:
    """Scene colours and what the source makes of them.

    Attributes
    ----------
    code
        The source camera's codes, shape (n, 3).
    scene
        Scene-linear AP1 of these codes, shape (n, 3).
    signal
        What the source shows, shape (n, 3).
    lab
        L*a*b* of the signal, shape (n, 3).
    """

    code: Array
    scene: Array
    signal: Array
    lab: Array

    def only(self, rows: npt.NDArray[np.bool_]) -> Asked:
        """Return some of them."""
        return Asked(self.code[rows], self.scene[rows], self.signal[rows], self.lab[rows])

    @property
    def near_grey(self) -> npt.NDArray[np.bool_]:
        """Which are nearly neutral in the scene, shape (n,)."""
        most, least = self.scene.max(axis=1), self.scene.min(axis=1)
        return np.asarray(most < 1.35 * np.maximum(least, 1e-6))


def ask(source: Source, scene: Array) -> Asked:
    """Ask a source about scene colours; each is what the camera can record of it."""
    return _at(source, source.code(scene))


def _at(source: Source, code: Array) -> Asked:
    signal = source.signal(code)
    return Asked(code, source.scene(code), signal, source.light.lab(signal))


def fitted_colours(source: Source) -> Asked:
    """Return the colours of a fit: pictures, coloured lights, skin, greys and near-greys."""
    rng = np.random.default_rng(5)
    return ask(source, np.concatenate([_pictures(rng, FITTED), _greys(rng, FITTED // 10)]))


def left_out(source: Source) -> Asked:
    """Return colours of pictures that no fit has seen, for its figures."""
    return ask(source, _pictures(np.random.default_rng(77), LEFT_OUT))


def many_colours(source: Source, count: int) -> Asked:
    """Return colours of pictures and from the whole of the source, half and half."""
    rng = np.random.default_rng(13)
    drawn = ask(source, np.concatenate([_pictures(rng, count // 2), _greys(rng, count // 10)]))
    low, high = source.function.low, source.function.high
    code = low + rng.random((count - len(drawn.code), 3)) * (high - low)
    return _at(source, np.concatenate([drawn.code, code]))


def _pictures(rng: np.random.Generator, count: int) -> Array:
    lights, faces = count * 12 // 100, count * 6 // 100
    return np.concatenate([
        image_like(rng, count - lights - faces),
        saturated_emitters(rng, lights),
        skin(rng, faces),
    ])  # fmt: skip


def _greys(rng: np.random.Generator, count: int) -> Array:
    grey = MID_GREY * np.exp2(np.linspace(_LOWEST, _HIGHEST, count // 2))[:, None]
    tint = 1.0 + rng.normal(0.0, 0.03, (len(grey), 3))
    return np.concatenate([grey * np.ones(3), grey * tint])


def judged_colours(source: Source) -> Asked:
    """Return colours of pictures that neither a fit nor the choice of parts has seen."""
    return ask(source, _pictures(np.random.default_rng(99), LEFT_OUT))

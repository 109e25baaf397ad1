"""Where no pixel can be paired: the shift between two clouds of colours. Approximate.

The clouds of log light are laid over each other where their histograms correlate best, and then
moved until the nearer half of each fits the other (trimmed nearest neighbours). What one picture
shows and the other would show clipped or dark is left out of both, for clouds that are cut off
at the same ends look less shifted than they are. It holds for
the same place and the same camera alone: measured on different places, it made half of the shots
worse, and no figure told which.
"""

from __future__ import annotations

from math import log2
from typing import Final

import numpy as np
import numpy.typing as npt

from lookkit.balance.view import DARK, View, library
from lookkit.spaces.working import Array

SPREAD: Final = 0.2
_LOW: Final = np.array([-9.0, -3.0, -4.0])
_STEP: Final = np.array([0.15, 0.08, 0.10])
_BINS: Final = np.array([96, 64, 72])
_LIMITS: Final = np.array([4.0, 1.0, 2.0])
_SCALE: Final = np.array([1.0, 2.5, 2.0])
_COUNT: Final = 1500
_KEPT: Final = 0.6
_LEAST: Final = 50
_LEAST_SURE: Final = 0.15
"""Share of a picture under which its colours are a corner of the scene, not the scene."""
_CLIPPED: Final = 0.002
"""Share of a picture from which what is clipped bounds what is not."""


def shift_of(hero: View, shot: View) -> Array | None:
    """Return the gain that lays a shot's colours over a hero's; None where too few are sure."""
    first, second = _colours(hero), _colours(shot)
    if min(one.sure.mean() for one in (hero, shot)) < _LEAST_SURE:
        return None
    if min(len(first), len(second)) < _LEAST:
        return None
    ends = _ends(hero, first), _ends(shot, second)
    shift = _correlated(first, second)
    for turn in range(4):
        here = _within(first - shift, ends[1])
        there = _within(second + shift, ends[0])
        if min(here.sum(), there.sum()) < _LEAST:
            here, there = np.ones(len(first), bool), np.ones(len(second), bool)
        kept = first[here], second[there]
        shift = _correlated(*kept) if turn < 2 else _nearest(*kept, shift)
    return _gain(shift)


def _ends(view: View, colours: Array) -> tuple[float, float]:
    """Return between which stops of every cone a picture's light is sure."""
    if view.clipped < _CLIPPED:
        return log2(DARK), np.inf
    return log2(DARK), float(np.quantile(_cones(colours).max(axis=1), 0.995))


def _within(colours: Array, ends: tuple[float, float]) -> npt.NDArray[np.bool_]:
    cones = _cones(colours)
    return np.asarray((cones.min(axis=1) >= ends[0]) & (cones.max(axis=1) <= ends[1]))


def _cones(colours: Array) -> Array:
    middle = colours[:, :1]
    return np.concatenate([colours[:, 1:2] + middle, middle, colours[:, 2:] + middle], axis=1)


def _colours(view: View) -> Array:
    """Return blocks of a frame as luminance-like cone and two differences, in stops."""
    cv2 = library()
    size = (view.size[0] // 4, view.size[1] // 4)
    small = cv2.resize(view.cones, size, interpolation=cv2.INTER_AREA)
    sure = cv2.resize(view.sure.astype(np.float32), size, interpolation=cv2.INTER_AREA) > 0.9
    long, middle, short = np.log2(small[sure]).astype(np.float64).T
    return np.stack([middle, long - middle, short - middle], axis=1)


def _gain(shift: Array) -> Array:
    return np.array([shift[0] + shift[1], shift[0], shift[0] + shift[2]])


def _correlated(first: Array, second: Array) -> Array:
    spectra = [np.fft.rfftn(_histogram(one)) for one in (first, second)]
    fit = np.fft.irfftn(spectra[0] * np.conj(spectra[1]), tuple(_BINS), axes=(0, 1, 2))
    shifts = [np.fft.fftfreq(count, 1.0 / count) * step
              for count, step in zip(_BINS, _STEP, strict=True)]  # fmt: skip
    for axis, (values, limit) in enumerate(zip(shifts, _LIMITS, strict=True)):
        out = np.abs(values) > limit
        fit[tuple(out if one == axis else slice(None) for one in range(3))] = 0.0
    best = np.unravel_index(int(fit.argmax()), fit.shape)
    return np.array([values[at] for values, at in zip(shifts, best, strict=True)])


def _histogram(colours: Array) -> Array:
    from scipy import ndimage

    place = ((colours - _LOW) / _STEP).astype(int)
    kept = ((place >= 0) & (place < _BINS)).all(axis=1)
    flat = np.ravel_multi_index(tuple(place[kept].T), tuple(_BINS))
    counts = np.bincount(flat, minlength=int(_BINS.prod())).reshape(_BINS).astype(float)
    soft = np.sqrt(ndimage.gaussian_filter(counts, 1.2))
    return np.asarray(soft / (np.linalg.norm(soft) + 1e-9))


def _nearest(first: Array, second: Array, shift: Array) -> Array:
    from scipy.spatial import cKDTree

    draw = np.random.default_rng(0)
    here, there = (draw.permutation(one)[:_COUNT] * _SCALE for one in (first, second))
    moved = shift * _SCALE
    tree = cKDTree(here)
    for _ in range(25):
        now = there + moved
        apart, which = tree.query(now)
        back, other = cKDTree(now).query(here)
        ahead = (here[which] - now)[apart <= np.quantile(apart, _KEPT)]
        behind = (here - now[other])[back <= np.quantile(back, _KEPT)]
        step = (ahead.mean(axis=0) + behind.mean(axis=0)) / 2.0
        # Nearest neighbours are nearer than the true ones: a longer step makes up for it.
        moved = moved + 1.5 * step
        if np.abs(step).max() < 1e-3:
            break
    return np.asarray(moved / _SCALE)

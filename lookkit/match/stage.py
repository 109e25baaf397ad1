"""The colour stage behind curve and matrix, and what is known of it before any chart is shot.

    scene = (1 + D) y + R roots(y),     y = M curve(signal)

A chart has 24 colours: too few to tell a 3x6 by themselves where the sensors are ordinary, and
a low residual on them is no sign that they did. But how two sensors differ shows in what a 3x3
leaves of the chart, and that in what other colours will need. So D and R are predicted from the
chart's residuals by a regression over simulated pairs of cameras (`prior.json`), and mixed with
the stage that the chart itself asks for, by how ordinary the residuals are.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Final

import numpy as np

from lookkit.match import charts
from lookkit.match.colour import lab, lab_jacobian
from lookkit.matchfile.roots import root_terms
from lookkit.spaces.working import Array

LIMIT: Final = 6.0
"""Delta E beyond which a residual of the chart tells no more of a sensor."""
HUBER: Final = 2.0
_ROOTS: Final = 3.0
_STEADY: Final = 0.3
_PASSES: Final = 5
_FEWEST: Final = 9


@dataclass(frozen=True)
class ColourStage:
    """A 3x3 on the matched light, and one on its roots, (3, 3) each."""

    matrix: Array
    roots: Array

    @classmethod
    def of(cls, change: Array) -> ColourStage:
        """Return the stage of a change (3, 6): D beside R."""
        return cls(np.eye(3) + change[:, :3], change[:, 3:])

    @property
    def change(self) -> Array:
        """D beside R, (3, 6)."""
        return np.concatenate([self.matrix - np.eye(3), self.roots], axis=1)

    def __call__(self, scene: Array) -> Array:
        """Return the corrected scene-linear AP1, any shape (..., 3)."""
        return np.asarray(scene @ self.matrix.T + root_terms(scene) @ self.roots.T)


@dataclass(frozen=True)
class Prior:
    """What simulated pairs of cameras teach.

    Attributes
    ----------
    centre, axes, spread
        Mean of the chart's residuals, (72,), their principal axes, (k, 72), and the standard
        deviation along each, (k,).
    change
        D and R (18 numbers, row by row) for 1 and the places along the axes, (k + 1, 18).
    """

    centre: Array
    axes: Array
    spread: Array
    change: Array

    def place(self, residuals: Array) -> Array:
        """Return where residuals (72,) lie along the axes, (k,)."""
        return np.asarray(self.axes @ (residuals - self.centre))

    def unlikeness(self, residuals: Array) -> float:
        """Return how unlike those of the simulated pairs residuals are; 1 is ordinary.

        The Mahalanobis distance over the root of the number of axes.
        """
        scaled = self.place(residuals) / self.spread
        return float(np.sqrt((scaled**2).mean()))

    def stage(self, residuals: Array) -> ColourStage:
        """Return the predicted stage."""
        terms = np.concatenate([[1.0], self.place(residuals)])
        return ColourStage.of((terms @ self.change).reshape(3, 6))


@dataclass(frozen=True)
class Mixing:
    """How much of the prior is taken: `most` (ordinary / unlikeness)^power, never above `most`.

    Of the rest, the chart's own stage is taken to the part `own`: shrinking it a little makes
    tails worse in fewer runs.
    """

    most: float
    power: float
    ordinary: float
    own: float = 1.0

    def share(self, unlikeness: float) -> float:
        """Return the share of the predicted stage, 0 to 1."""
        ordinary = min(1.0, self.ordinary / max(unlikeness, 1e-9))
        return float(self.most * ordinary**self.power)

    def mixed(self, unlikeness: float, learnt: Array, own: Array) -> Array:
        """Return the change (3, 6) that is taken of the predicted and of the chart's own."""
        share = self.share(unlikeness)
        return np.asarray(share * learnt + self.own * (1.0 - share) * own)


def table_of(name: str) -> dict[str, Any]:
    """Return a table of the numbers that were learnt: prior, mixing or promise."""
    return dict(_learnt()[name])


def source() -> str:
    """Return what the numbers were learnt from, with licences."""
    return str(_learnt()["from"])


@cache
def _learnt() -> dict[str, Any]:
    text = (Path(__file__).parent / "prior.json").read_text("utf-8")
    return dict(json.loads(text))


@cache
def prior() -> Prior:
    """Return the learnt prior."""
    held = table_of("prior")
    centre, axes, spread, change = (
        np.array(held[name], dtype=np.float64) for name in ("centre", "axes", "spread", "change")
    )
    return Prior(centre[0], axes, spread[0], change)


@cache
def mixing() -> Mixing:
    """Return how it is mixed with the chart's own stage."""
    held = table_of("mixing")
    return Mixing(held["most"], held["power"], held["ordinary"], held["own"])


def chart_residuals(landed: Array, goal: Array, weights: Array, keep: np.ndarray) -> Array:
    """Return what a fit leaves of each patch in steps of Delta E, mean over exposures, (72,).

    Parameters
    ----------
    landed
        Scene-linear AP1 after the fit, (shots * 24, 3).
    goal, weights
        L*a*b* of the target, and its local metric, of the same length.
    keep
        Which count; patches that count nowhere have 0.
    """
    miss = np.einsum("nij,nj->ni", weights, lab(landed) - goal)
    size = np.linalg.norm(miss, axis=1, keepdims=True)
    miss = miss * np.minimum(1.0, LIMIT / np.maximum(size, 1e-12))
    patch = np.where(keep[:, None], miss, 0.0).reshape(-1, charts.COUNT, 3).sum(axis=0)
    counts = np.maximum(keep.reshape(-1, charts.COUNT).sum(axis=0), 1)
    return np.asarray((patch / counts[:, None]).ravel())


def own_change(
    landed: Array, goal: Array, weights: Array, keep: np.ndarray, roots: bool = True
) -> Array:
    """Return the D and R, (3, 6), that the chart itself asks for; only D without `roots`.

    Parameters are those of `chart_residuals`. Least squares in steps of Delta E with a Huber
    loss on each patch; R is held towards 0, and D a little.
    """
    terms = landed
    if roots:
        terms = np.concatenate([landed, root_terms(landed)], axis=1)
    terms, goal, weights, start = terms[keep], goal[keep], weights[keep], landed[keep]
    width = terms.shape[1]
    ridge = np.tile(np.array([_STEADY**2] * 3 + [_ROOTS**2] * (width - 3)), 3)
    change = np.zeros((3, width))
    for _ in range(_PASSES):
        scene = start + terms @ change.T
        miss = np.einsum("nij,nj->ni", weights, lab(scene) - goal)
        norm = np.sqrt((miss**2).sum(axis=1)) + 1e-12
        weight = np.minimum(1.0, HUBER / norm)
        by_scene = weights @ lab_jacobian(scene)
        rows = (by_scene[:, :, :, None] * terms[:, None, None, :]).reshape(len(terms), 3, -1)
        normal = np.einsum("n,nri,nrj->ij", weight, rows, rows) + np.diag(ridge)
        pull = np.einsum("n,nri,nr->i", weight, rows, miss) + ridge * change.ravel()
        change = change - np.linalg.solve(normal, pull).reshape(3, width)
    return change if roots else np.concatenate([change, np.zeros((3, 3))], axis=1)


def without_own_hue(
    landed: Array, goal: Array, weights: Array, keep: np.ndarray, patch: np.ndarray
) -> Array:
    """Return where patches land by matrices that did not see their hue, scene-linear AP1, (n, 3).

    Patches are left out by groups of one hue, for a patch's neighbours in hue tell what it is:
    each group is predicted by a 3x3 fitted to the others, the curve kept. Observations that do
    not count have NaN. `patch` is each one's number on the chart, (n,).
    """
    out = np.full((len(landed), 3), np.nan)
    for group in charts.hue_groups():
        mine = np.isin(patch, group) & keep
        rest = keep & ~mine
        if mine.any() and np.unique(patch[rest]).size >= _FEWEST:
            change = own_change(landed, goal, weights, rest, roots=False)
            out[mine] = ColourStage.of(change)(landed[mine])
    return out

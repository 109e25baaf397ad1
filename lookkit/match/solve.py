"""The least-squares problem at the heart of a match.

    scene = M z,   z = 2^-(stops + error + shade . place) curve(x) - flare

with one rising curve for the three channels, a 3x3 matrix M, an error of each shot's exposure,
a flare, and light that falls off over the chart. Residuals are steps of about one Delta E 2000
with a Huber loss on the norm of each patch. After P. Debevec, J. Malik, "Recovering High Dynamic
Range Radiance Maps from Photographs" (1997) for the joint curve.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final

import numpy as np

from lookkit.accuracy.difference import delta_e_2000
from lookkit.match.colour import lab, lab_jacobian, perceived
from lookkit.match.stage import HUBER, ColourStage
from lookkit.matchfile.curve import RisingCurve
from lookkit.spaces.working import Array

_SMOOTH: Final = 20.0
_SMOOTH_KINK: Final = 0.01
"""Bends of the log slope are nearly free of cost where few (a camcorder's knee)."""
_NEAR_IDENTITY: Final = 0.2
_STEADY: Final = 2.0
"""Above all light that was seen, the slope goes on as it is: a trend would run away."""
_EXPOSURE: Final = 100.0
_EXPOSURE_KINK: Final = 0.002
"""Stops; an exposure may be off by more, at a cost in proportion that data outweighs."""
_FLARE: Final = 30.0
_SHADE: Final = 100.0
_SHADE_KINK: Final = 0.002
_LN2: Final = float(np.log(2.0))


@dataclass(frozen=True)
class Problem:
    """Observations to be explained.

    Attributes
    ----------
    values
        Linear values of camera B before its curve, (n, 3).
    stops
        Nominal exposure of each shot, (shots,).
    shot
        Which shot each observation belongs to, (n,) integers.
    target
        Scene-linear AP1 that each observation should become, (n, 3).
    keep
        Which observations count, (n,) booleans.
    place
        Where each lies on the chart, from -0.5 to 0.5 across and down, (n, 2); None
        where light cannot fall off over it (pairs of a scene).
    """

    values: Array
    stops: Array
    shot: np.ndarray
    target: Array
    keep: np.ndarray
    place: Array | None = None

    @property
    def bracketed(self) -> bool:
        """Whether several exposures tell the flare and each other's errors."""
        return len(self.stops) > 1


@dataclass(frozen=True)
class Solution:
    """What explains them; `curve` and `stage` are None where there is none.

    `solve` knows of no stage: it is chosen afterwards.
    """

    curve: RisingCurve | None
    matrix: Array
    exposure_errors: Array
    flare: Array
    shade: Array
    """Rise of camera B's light against camera A's, stops from edge to edge, (2,)."""
    stage: ColourStage | None = None

    def scene(self, values: Array, stops: Array | float = 0.0, flare: bool = False) -> Array:
        """Return scene-linear AP1 of linear values (..., 3) shot at `stops`."""
        z = values if self.curve is None else self.curve(values)
        z = z * np.asarray(2.0 ** -np.asarray(stops, dtype=np.float64))
        if flare:
            z = z - self.flare
        out = np.asarray(z @ self.matrix.T)
        return out if self.stage is None else self.stage(out)


def start(problem: Problem, knots: Array | None) -> Solution:
    """Return the identity curve with the matrix that least squares gives for it."""
    shots = len(problem.stops)
    curve = None if knots is None else RisingCurve(knots, np.zeros(len(knots)))
    z = problem.values if curve is None else curve(problem.values)
    z = z * 2.0 ** -problem.stops[problem.shot][:, None]
    middle = problem.shot == int(np.argmin(np.abs(problem.stops)))
    rows = middle & problem.keep
    matrix = _robust_matrix(z[rows], problem.target[rows])
    return Solution(curve, matrix, np.zeros(shots), np.zeros(3), np.zeros(2))


def _robust_matrix(source: Array, target: Array) -> Array:
    """Return a 3x3 from relative least absolute deviations, starting from the median gain."""
    brightness = np.maximum(target.mean(axis=1), 1e-4)
    gain = np.median(target.mean(axis=1) / np.maximum(source.mean(axis=1), 1e-6))
    matrix = np.eye(3) * gain
    for _ in range(30):
        miss = np.linalg.norm(source @ matrix.T - target, axis=1) / brightness
        weight = 1.0 / (brightness * np.sqrt(np.maximum(miss, 0.02)))
        ridge = 1e-3 * weight.sum() * brightness.mean() / len(weight) * np.eye(3)
        rows = np.concatenate([source * weight[:, None], ridge])
        goal = np.concatenate([target * weight[:, None], ridge * gain])
        matrix = np.linalg.lstsq(rows, goal, rcond=None)[0].T
    return np.asarray(matrix)


def solve(problem: Problem, first: Solution, tolerance: float = 1e-6) -> Solution:
    """Return the solution nearest to `first` that minimises the loss."""
    from scipy.optimize import least_squares

    goal, weights = goal_of(problem)

    def residuals(vector: Array) -> Array:
        return _residuals(problem, _unpack(vector, first, problem), goal, weights)[0]

    def jacobian(vector: Array) -> Array:
        return _residuals(problem, _unpack(vector, first, problem), goal, weights, True)[1]

    result = least_squares(
        residuals,
        _pack(first, problem),
        jac=jacobian,
        method="lm",
        ftol=tolerance,
        xtol=tolerance,
        gtol=1e-9,
        max_nfev=100,
    )
    return _unpack(result.x, first, problem)


def goal_of(problem: Problem) -> tuple[Array, Array]:
    """Return L*a*b* of the target, (n, 3), and its local metric, (n, 3, 3)."""
    return _goal(problem.target.tobytes())


@lru_cache(maxsize=4)
def _goal(target: bytes) -> tuple[Array, Array]:
    goal = lab(np.frombuffer(target).reshape(-1, 3))
    return goal, perceived(goal)


def errors(problem: Problem, solution: Solution) -> Array:
    """Return Delta E 2000 of each observation, nuisances included, (n,)."""
    return delta_e_2000(lab(landed(problem, solution)), lab(problem.target))


def landed(problem: Problem, solution: Solution) -> Array:
    """Return scene-linear AP1 of each observation, nuisances included, (n, 3)."""
    return solution.scene(problem.values, _stops(problem, solution)[:, None], flare=True)


def _stops(problem: Problem, solution: Solution) -> Array:
    """Return the exposure of each observation, (n,)."""
    stops = (problem.stops + solution.exposure_errors)[problem.shot]
    if problem.place is not None:
        stops = stops + problem.place @ solution.shade
    return np.asarray(stops)


def _pack(solution: Solution, problem: Problem) -> Array:
    parts = [solution.matrix.ravel()]
    if solution.curve is not None:
        parts.append(solution.curve.log_slopes)
    if problem.bracketed:
        parts += [solution.exposure_errors, solution.flare]
    if problem.place is not None:
        parts.append(solution.shade)
    return np.concatenate(parts)


def _unpack(vector: Array, like: Solution, problem: Problem) -> Solution:
    at = 9
    solution = replace(like, matrix=vector[:9].reshape(3, 3))
    if like.curve is not None:
        count = len(like.curve.knots)
        solution = replace(solution, curve=RisingCurve(like.curve.knots, vector[at : at + count]))
        at += count
    if problem.bracketed:
        shots = len(like.exposure_errors)
        solution = replace(
            solution,
            exposure_errors=vector[at : at + shots],
            flare=vector[at + shots : at + shots + 3],
        )
    if problem.place is not None:
        solution = replace(solution, shade=vector[-2:])
    return solution


def _soft(values: Array, kink: float) -> tuple[Array, Array]:
    """Residuals whose squares grow like squares below `kink` and like sizes above.

    Returns the residuals and their derivative by the values.
    """
    root = np.sqrt(1.0 + (values / kink) ** 2)
    # 2 kink^2 (root - 1), without cancellation near zero.
    soft = values * np.sqrt(2.0 / (root + 1.0))
    slope = np.where(np.abs(values) > 1e-12, values / (root * np.where(soft == 0, 1, soft)), 1.0)
    return soft, slope


def _residuals(
    problem: Problem,
    solution: Solution,
    goal: Array,
    weights: Array,
    derivative: bool = False,
) -> tuple[Array, Array]:
    keep = problem.keep
    values, shot = problem.values[keep], problem.shot[keep]
    curve = solution.curve
    light = values if curve is None else curve(values)
    scale = 2.0 ** -_stops(problem, solution)[keep][:, None]
    scaled = light * scale
    z = scaled - solution.flare
    scene = z @ solution.matrix.T
    miss = np.einsum("nij,nj->ni", weights[keep], lab(scene) - goal[keep])
    norm = np.sqrt(np.einsum("ni,ni->n", miss, miss)) + 1e-12
    far = norm > HUBER
    root = np.sqrt(np.where(far, 2.0 * HUBER * norm - HUBER**2, 1.0))
    weight = np.where(far, root / norm, 1.0)
    data = miss * weight[:, None]

    rows = [data.ravel()]
    bends, steady = np.empty(0), np.empty(0)
    if curve is not None:
        bends = np.diff(curve.log_slopes, 2)
        steady = _STEADY * (curve.knots[:-1] >= problem.values.max())
        rows += [_SMOOTH * _soft(bends, _SMOOTH_KINK)[0], _NEAR_IDENTITY * curve.log_slopes]
        rows.append(steady * np.diff(curve.log_slopes))
    if problem.bracketed:
        off = _soft(solution.exposure_errors, _EXPOSURE_KINK)[0]
        rows += [_EXPOSURE * off, _FLARE * solution.flare]
    if problem.place is not None:
        rows.append(_SHADE * _soft(solution.shade, _SHADE_KINK)[0])
    residual = np.concatenate(rows)
    if not derivative:
        return residual, np.empty(0)

    by_scene = np.einsum("nij,njk->nik", weights[keep], lab_jacobian(scene))
    slope = np.where(far, HUBER / (norm * root) - root / norm**2, 0.0)
    turned = (slope / norm)[:, None, None] * miss[:, :, None] * miss[:, None, :]
    loss = np.eye(3) * weight[:, None, None] + turned
    by_scene = loss @ by_scene
    by_z = by_scene @ solution.matrix

    count = len(data.ravel())
    columns = [np.einsum("nri,nj->nrij", by_scene, z).reshape(count, 9)]
    if curve is not None:
        by_curve = curve.jacobian(values) * scale[:, :, None]
        columns.append((by_z @ by_curve).reshape(count, -1))
    by_stop = np.einsum("nij,nj->ni", by_z, -_LN2 * scaled)
    if problem.bracketed:
        by_error = np.zeros((len(z), 3, len(problem.stops)))
        by_error[np.arange(len(z)), :, shot] = by_stop
        columns += [by_error.reshape(count, -1), -by_z.reshape(count, 3)]
    if problem.place is not None:
        columns.append((by_stop[:, :, None] * problem.place[keep][:, None, :]).reshape(count, 2))
    top = np.concatenate(columns, axis=1)
    bottom = np.zeros((len(residual) - count, top.shape[1]))
    row, column = 0, 9
    if curve is not None:
        slopes = len(curve.log_slopes)
        change = _soft(bends, _SMOOTH_KINK)[1]
        second = np.diff(np.eye(slopes), 2, axis=0)
        bottom[: slopes - 2, column : column + slopes] = _SMOOTH * change[:, None] * second
        bottom[slopes - 2 : 2 * slopes - 2, column : column + slopes] = _NEAR_IDENTITY * np.eye(
            slopes
        )
        row = 2 * slopes - 2
        bottom[row : row + slopes - 1, column : column + slopes] = steady[:, None] * np.diff(
            np.eye(slopes), axis=0
        )
        row, column = row + slopes - 1, column + slopes
    if problem.bracketed:
        shots = len(problem.stops)
        change = _soft(solution.exposure_errors, _EXPOSURE_KINK)[1]
        bottom[row : row + shots, column : column + shots] = _EXPOSURE * np.diag(change)
        row, column = row + shots, column + shots
        bottom[row : row + 3, column : column + 3] = _FLARE * np.eye(3)
        row, column = row + 3, column + 3
    if problem.place is not None:
        bottom[row:, column:] = _SHADE * np.diag(_soft(solution.shade, _SHADE_KINK)[1])
    return residual, np.concatenate([top, bottom])

"""Fitting a match, and asking it honestly how good it is.

The fit is robust (Huber on each patch, then a second fit without outliers). Its own
residual proves little, so every patch is also predicted by a matrix that never saw its hue.
A colour stage behind the matrix is chosen from the residuals (`stage.py`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np

from lookkit.errors import InputError
from lookkit.match import charts
from lookkit.match.colour import difference
from lookkit.match.solve import Problem, Solution, errors, goal_of, landed, solve, start
from lookkit.match.stage import (
    ColourStage,
    chart_residuals,
    mixing,
    own_change,
    prior,
    without_own_hue,
)
from lookkit.match.stray import dark_stray
from lookkit.matchfile.camera_curve import bt709_decode
from lookkit.progress import Progress, silent
from lookkit.spaces.working import MID_GREY, Array

Stage = Literal["auto", "never", "always"]

KNOTS: Final = 45
SIGNAL_TOP: Final = 1.09
"""The highest signal of legal range: super-white at code 254 of 8 bits."""
FEWEST: Final = 12
_LUMINANCE_FLOOR: Final = 1e-4


@dataclass(frozen=True)
class Shot:
    """The chart in one exposure of camera B.

    Attributes
    ----------
    stops
        Nominal exposure relative to the main one.
    light
        Linear values before the curve, (n, 3).
    usable
        Which patches may be used, (n,) booleans.
    """

    stops: float
    light: Array
    usable: np.ndarray


@dataclass(frozen=True)
class Errors:
    """Delta E 2000 summed up."""

    mean: float
    p95: float
    max: float

    @classmethod
    def of(cls, values: Array) -> Errors:
        """Sum up differences of any shape."""
        return cls(float(values.mean()), float(np.percentile(values, 95)), float(values.max()))


@dataclass(frozen=True)
class Fit:
    """A fitted match and what is known about it.

    Attributes
    ----------
    solution
        Curve, matrix, perhaps a colour stage; exposure errors and flare as nuisances.
    per_patch
        Delta E 2000 of each patch, mean over the exposures that counted, (n,).
    left_out
        The same for patches predicted by a matrix that never saw their hue, (n,); NaN where
        that cannot be told, empty where it was not asked.
    observed
        Delta E 2000 of each patch in each exposure, (shots, n).
    kept
        Which of those counted in the end, (shots, n) booleans.
    brighter
        How much brighter each is after the fit than the target in all channels, stops, (shots, n).
    covers
        Darkest and brightest light that was observed, in stops from mid-grey.
    unlikeness
        How unlike those of ordinary cameras the chart's residuals are, about 1; None where
        there is no chart.
    learnt
        The share of the learnt colour stage in the one taken; None without a stage.
    plain
        The mean Delta E 2000 that curve and matrix leave without a colour stage.
    stray
        Stray light by the two darkest greys of a single exposure, percent of white; None where
        there are several exposures, or the greys cannot be used.
    """

    solution: Solution
    per_patch: Array
    left_out: Array
    observed: Array
    kept: np.ndarray
    brighter: Array
    covers: tuple[float, float]
    unlikeness: float | None = None
    learnt: float | None = None
    plain: float = 0.0
    stray: float | None = None

    @property
    def chart(self) -> Errors:
        """The residual of the fit on what it saw; trust `left_out` more."""
        return Errors.of(self.observed[self.kept])

    @property
    def cross(self) -> Errors:
        """The errors of the left-out patches."""
        return Errors.of(self.left_out[np.isfinite(self.left_out)])


def curve_knots(top: float = SIGNAL_TOP) -> Array:
    """Return where the slopes of a fitted curve stand: evenly spaced signals, decoded."""
    return np.asarray(bt709_decode(np.linspace(0.0, top, KNOTS)))


def fit_shots(
    shots: Sequence[Shot],
    target: Array,
    *,
    knots: Array | None,
    stage: Stage = "auto",
    hold_white: bool = False,
    leave_out: bool = True,
    progress: Progress = silent,
) -> Fit:
    """Fit camera B's chart to the colours it should become.

    Parameters
    ----------
    shots
        One or more exposures; -2, 0, +2 stops are best.
    target
        Scene-linear AP1 of each patch at exposure 0, (n, 3).
    knots
        Where the tone curve's slopes stand; None for a known encoding (matrix only).
    stage
        The colour stage behind the matrix: "auto" mixes what is learnt with what the chart
        asks for, "always" takes the chart's alone, "never" none.
    hold_white
        Land the chart's white exactly.
    leave_out
        Whether to predict each patch without its hue.

    Raises
    ------
    InputError
        If fewer than twelve patches are usable.
    """
    problem, kept, solution = plain_fit(shots, target, knots)
    usable = problem.keep.reshape(len(shots), len(target))
    left: Array = np.empty(0)
    unlike = share = stray = None
    plain = float(errors(kept, solution)[kept.keep].mean())
    if len(target) == charts.COUNT:
        progress("choosing the colours", 0, 1)
        if len(shots) == 1:
            stray = dark_stray(shots[0].light, target, usable[0])
        arrived, (goal, weights) = landed(kept, solution), goal_of(kept)
        seen = (arrived, goal, weights, kept.keep)
        residuals, own = chart_residuals(*seen), own_change(*seen)
        unlike, learnt = prior().unlikeness(residuals), prior().stage(residuals).change
        taken = np.zeros((3, 6))
        if stage == "always":
            taken, share = own, 0.0
        elif stage == "auto":
            taken, share = mixing().mixed(unlike, learnt, own), mixing().share(unlike)
        if leave_out:
            patch = np.tile(np.arange(charts.COUNT), len(shots))
            without = difference(without_own_hue(*seen, patch), kept.target)
            left = _mean_of_finite(without.reshape(usable.shape))
        if stage != "never":
            solution = replace(solution, stage=ColourStage.of(taken))
    if hold_white:
        solution = _white_exact(kept, solution, len(target))
    observed = errors(problem, solution).reshape(usable.shape)
    counted = kept.keep.reshape(usable.shape)
    return Fit(
        solution,
        _mean_where(observed, counted),
        left,
        observed,
        counted,
        brighter(problem, solution).reshape(usable.shape),
        _covers(target, shots, counted),
        unlike,
        share,
        plain,
        stray,
    )


def plain_fit(
    shots: Sequence[Shot], target: Array, knots: Array | None
) -> tuple[Problem, Problem, Solution]:
    """Fit curve and matrix alone: all observations, those kept in the end, and what explains them.

    Parameters and errors are those of `fit_shots`.
    """
    usable = np.array([shot.usable for shot in shots])
    if usable.any(axis=0).sum() < min(FEWEST, len(target)):
        raise InputError(
            f"only {int(usable.any(axis=0).sum())} of {len(target)} patches are usable "
            f"(the rest clip or are not seen); at least {FEWEST} are needed: expose less"
        )
    problem = Problem(
        np.concatenate([shot.light for shot in shots]),
        np.array([shot.stops for shot in shots], dtype=np.float64),
        np.repeat(np.arange(len(shots)), len(target)),
        np.tile(target, (len(shots), 1)),
        usable.ravel(),
        np.tile(charts.centres() - 0.5, (len(shots), 1)) if len(target) == charts.COUNT else None,
    )
    if not problem.keep[problem.shot == np.argmin(np.abs(problem.stops))].sum() >= 8:
        raise InputError("the main exposure has fewer than 8 usable patches: expose less")
    return (problem, *_robust(problem, start(problem, knots)))


def fit_pairs(values: Array, target: Array, *, knots: Array | None) -> Fit:
    """Fit paired colours of one scene, many of which may be wrong pairs.

    Parameters
    ----------
    values
        Linear values of camera B before the curve, (n, 3).
    target
        Scene-linear AP1 of camera A at the same places, (n, 3).
    knots
        As in `fit_shots`.

    Raises
    ------
    InputError
        If there are fewer than 24 pairs.
    """
    if len(values) < charts.COUNT:
        raise InputError(f"only {len(values)} paired colours, at least {charts.COUNT} are needed")
    problem = Problem(
        values, np.zeros(1), np.zeros(len(values), dtype=int), target, np.ones(len(values), bool)
    )
    kept, solution = problem, start(problem, knots)
    for _ in range(4):
        kept, solution = _robust(replace(problem, keep=kept.keep), solution, again=True)
    observed = errors(problem, solution)
    shot = Shot(0.0, values, kept.keep)
    return Fit(
        solution,
        observed,
        np.empty(0),
        observed[None],
        kept.keep[None],
        brighter(problem, solution)[None],
        _covers(target, [shot], kept.keep[None]),
    )


def _robust(problem: Problem, first: Solution, again: bool = False) -> tuple[Problem, Solution]:
    """Fit, drop outliers, fit once more. `again` lets dropped observations come back."""
    solution = solve(problem, first)
    found = errors(problem, solution)
    limit = max(3.0, 3.5 * 1.4826 * float(np.median(found[problem.keep])))
    fair = found <= limit
    keep = fair if again else problem.keep & fair
    if keep.sum() < 0.4 * problem.keep.sum():
        keep = problem.keep & (found <= np.quantile(found[problem.keep], 0.6))
    kept = replace(problem, keep=keep)
    return kept, solve(kept, solution)


def _white_exact(kept: Problem, solution: Solution, patches: int) -> Solution:
    """Scale the rows of the matrix so that the brightest neutral that counts lands exactly."""
    order = (charts.WHITE, charts.WHITE + 1, charts.WHITE + 2)
    middle = int(np.argmin(np.abs(kept.stops)))
    for patch in order:
        row = middle * patches + patch
        if kept.keep[row]:
            break
    else:
        raise InputError("white cannot be held: the chart's white and light greys are unusable")
    plain = replace(solution, flare=np.zeros(3))
    got = plain.scene(kept.values[row], kept.stops[middle])
    gain = kept.target[row] / got
    if solution.stage is None:
        return replace(solution, matrix=gain[:, None] * solution.matrix)
    held = ColourStage(gain[:, None] * solution.stage.matrix, gain[:, None] * solution.stage.roots)
    return replace(solution, stage=held)


def brighter(problem: Problem, solution: Solution) -> Array:
    """Return by how many stops all channels land above or below the target, (n,).

    0 where some land above and others below: that is a colour, not a brightness.
    """
    wanted, found = problem.target, landed(problem, solution)
    ratio = np.log2(np.maximum(found, 2e-3) / np.maximum(wanted, 2e-3))
    agree = np.abs(np.sign(ratio).sum(axis=1)) == 3
    return np.asarray(np.where(agree, np.sign(ratio[:, 0]) * np.abs(ratio).min(axis=1), 0.0))


def _mean_where(values: Array, mask: np.ndarray) -> Array:
    counts = np.maximum(mask.sum(axis=0), 1)
    return np.asarray(np.where(mask, values, 0.0).sum(axis=0) / counts)


def _mean_of_finite(values: Array) -> Array:
    finite = np.isfinite(values)
    counts = finite.sum(axis=0)
    total = np.where(finite, values, 0.0).sum(axis=0)
    return np.asarray(np.where(counts > 0, total / np.maximum(counts, 1), np.nan))


def _covers(target: Array, shots: Sequence[Shot], kept: np.ndarray) -> tuple[float, float]:
    stops = np.array([shot.stops for shot in shots])[:, None]
    level = np.maximum(target.mean(axis=1), _LUMINANCE_FLOOR)
    light = (np.log2(level / MID_GREY)[None] + stops)[kept]
    return float(light.min()), float(light.max())


def compare(first: Array, second: Array) -> Errors:
    """Return the errors between two sets of scene-linear AP1 colours, (n, 3)."""
    return Errors.of(difference(first, second))

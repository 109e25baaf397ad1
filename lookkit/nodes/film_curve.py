r"""Characteristic curves of a negative and its print, solved for what the picture should be.

Softplus S_w(u) = w ln(1 + e^(u/w)). A curve maps log10 exposure x, counted from mid-grey, to
density above D-min:

    L    = full / slope
    D(x) = full (1 - S_shoulder(L - S_toe(x - start)) / S_shoulder(L))

It rises strictly and smoothly between its limits 0 and `full`, and has a closed inverse. `start`
is such that mid-grey has the density that was asked for.

The slope of a picture at mid-grey is the product of both curves' slopes there, and its black is
what a clear negative prints. So two numbers are solved for: the print's slope, and the density of
mid-grey on the negative. What was asked for is then met exactly, whatever toes and shoulders are.

Sources: the shape of characteristic curves, and aim densities, from sensitometry handbooks (H-61,
H-387); the equations are ours.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from math import exp, expm1, inf, log, log1p
from typing import Final, NamedTuple

NEGATIVE_SLOPE: Final = 0.6
"""Of the negative's straight part; its product with the print's slope is what one sees."""
NEGATIVE_SHOULDER: Final = 0.25
NEGATIVE_LENGTH: Final = 2.6
"""log10 exposure from mid-grey to where the straight part would reach the highest density."""
PRINT_SHOULDER: Final = 0.30
HEADROOM: Final = 0.35
"""How far the print film's highest density lies over the picture's black."""
PUSHED_SLOPE: Final = 1.08
PUSHED_GREY: Final = 0.08
STEEPEST: Final = 8.0
"""The steepest print: beyond, a stop of the negative is a step between white and black."""


class FilmCurve(NamedTuple):
    """A characteristic curve as the numbers that its formula uses; see the module."""

    full: float
    length: float
    left: float
    """1 / S_shoulder(L)."""
    start: float
    toe: float
    per_toe: float
    shoulder: float
    per_shoulder: float

    def density(self, x: float) -> float:
        """Return the density at log10 exposure x."""
        left = softplus(self.length - softplus(x - self.start, self.toe), self.shoulder)
        return self.full * (1.0 - left * self.left)

    def slope(self, x: float) -> float:
        """Return the density per log10 exposure at x."""
        u = softplus(x - self.start, self.toe)
        down = _share((self.length - u) / self.shoulder)
        return self.full * self.left * down * _share((x - self.start) / self.toe)

    def exposure(self, density: float) -> float:
        """Return the log10 exposure that gives a density between 0 and `full`."""
        left = (1.0 - density / self.full) / self.left
        u = self.length - softplus_inverse(left, self.shoulder)
        return softplus_inverse(u, self.toe) + self.start


def softplus(u: float, width: float) -> float:
    """Return w ln(1 + e^(u/w)): 0 far below zero, u far above."""
    return max(u, 0.0) + width * log1p(exp(-abs(u) / width))


def softplus_inverse(v: float, width: float) -> float:
    """Return the u with softplus(u) = v, for v > 0."""
    return v + width * log(-expm1(-v / width)) if v > 0.0 else -inf


def curve(full: float, slope: float, toe: float, shoulder: float, grey: float) -> FilmCurve:
    """Return the curve of `slope` whose density is `grey` at mid-grey, 0 < grey < full."""
    length = full / slope
    whole = softplus(length, shoulder)
    u = length - softplus_inverse(whole * (1.0 - grey / full), shoulder)
    start = -softplus_inverse(u, toe)
    return FilmCurve(full, length, 1.0 / whole, start, toe, 1.0 / toe, shoulder, 1.0 / shoulder)


class Aims(NamedTuple):
    """What the picture should be; densities count from clear film, which is the paper's white."""

    contrast: float
    black: float
    grey: float
    highlights: float
    shadows: float
    push: float


class Films(NamedTuple):
    """A negative and its print, and the negative's density at mid-grey."""

    negative: FilmCurve
    print: FilmCurve
    grey: float


class CannotMeet(ValueError):
    """The aims cannot be met together; the message says why, and what to change."""


@lru_cache(maxsize=256)
def films_for(aims: Aims, open_by: float = 0.0) -> Films:
    """Return films that meet `aims` exactly.

    Parameters
    ----------
    open_by
        How much clearer than paper white the print gets, as density: log10(peak / paper white).

    Raises
    ------
    CannotMeet
        If the print would have to be steeper than film can be, or black lighter than grey.
    """
    if aims.black < aims.grey + 0.8:
        raise CannotMeet(
            f"black = {aims.black:g} is not 0.8 denser than grey = {aims.grey:g}, expected a "
            "denser black or a lighter grey"
        )
    full, grey = aims.black + HEADROOM + open_by, aims.grey + open_by
    aim, printed = 0.9, None
    for _ in range(60):
        slope = _negative(aims, aim).slope(0.0)
        printed = _print_of_slope(aims.contrast / slope, full, grey, aims)
        found = printed.exposure(aims.black + open_by)
        if abs(found - aim) < 1e-13:
            break
        aim = found
    else:
        raise CannotMeet(
            f"contrast = {aims.contrast:g}, black = {aims.black:g} and shadows = "
            f"{aims.shadows:g} have no negative in common, expected more contrast, a lighter "
            "black or shorter shadows"
        )
    return Films(_negative(aims, aim, aims.push), printed, aim)


def _negative(aims: Aims, grey: float, push: float = 0.0) -> FilmCurve:
    full = grey + NEGATIVE_SLOPE * NEGATIVE_LENGTH
    slope = NEGATIVE_SLOPE * PUSHED_SLOPE**push
    return curve(full, slope, aims.shadows, NEGATIVE_SHOULDER, grey - PUSHED_GREY * push)


def _print_of_slope(wanted: float, full: float, grey: float, aims: Aims) -> FilmCurve:
    """Return the print whose slope at mid-grey is `wanted`."""

    def made(slope: float) -> FilmCurve:
        return curve(full, slope, aims.highlights, PRINT_SHOULDER, grey)

    if made(STEEPEST).slope(0.0) < wanted:
        raise CannotMeet(
            f"contrast = {aims.contrast:g} with highlights = {aims.highlights:g} needs a print "
            f"steeper than {STEEPEST:g}, expected less contrast, a denser grey, shorter shadows or "
            "a smaller value of highlights"
        )
    return made(between(lambda slope: made(slope).slope(0.0) - wanted, 0.2, STEEPEST))


def between(function: Callable[[float], float], low: float, high: float) -> float:
    """Return where `function`, which rises through zero, is zero; to the last bits."""
    for _ in range(60):
        middle = 0.5 * (low + high)
        if function(middle) > 0.0:
            high = middle
        else:
            low = middle
    return 0.5 * (low + high)


@lru_cache(maxsize=256)
def films_for_screen(aims: Aims, white: float, peak: float, grey: float, paper: float) -> Films:
    """Return films for a screen whose highlights go beyond paper white.

    The print's clear film is the peak. Its toe, which opens the highlights, is solved so that
    light of `white` (scene-linear) lies at `paper` cd/m2, or as near as it can, with mid-grey at
    `grey` cd/m2.

    Raises
    ------
    CannotMeet
        As `films_for`.
    """
    open_by = log(peak / 203.0) / log(10.0)
    density = log(203.0 / grey) / log(10.0)
    aims = aims._replace(grey=density)
    wanted = log(peak / paper) / log(10.0)

    def above(toe: float) -> float:
        films = films_for(aims._replace(highlights=toe, push=0.0), open_by)
        exposed = films.negative.density(log(white / 0.18) / log(10.0)) - films.grey
        return films.print.density(-exposed) - wanted

    low, high = 0.02, _softest(aims, open_by)
    return films_for(aims._replace(highlights=between(above, low, high)), open_by)


def _softest(aims: Aims, open_by: float) -> float:
    """Return the widest toe that still has a print."""
    low, high = 0.02, 1.5
    for _ in range(24):
        middle = 0.5 * (low + high)
        try:
            films_for(aims._replace(highlights=middle, push=0.0), open_by)
            low = middle
        except CannotMeet:
            high = middle
    return low


def _share(u: float) -> float:
    return 1.0 / (1.0 + exp(-u)) if u > 0.0 else exp(u) / (1.0 + exp(u))

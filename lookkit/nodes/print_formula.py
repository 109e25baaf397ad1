r"""The formula of the film print, on planes of numbers.

Each function takes planes r, g, b and their parameters and gives planes, without branches. The same
text runs in float64, which is the truth, and is what fast builds are made from. `film_print.py`
says what it means; here is how.
"""

from __future__ import annotations

from typing import NamedTuple

from lookkit.kernel.formula import Planes, Rows, formula
from lookkit.kernel.maths import (
    Plane,
    absolute,
    cbrt,
    clip,
    exp2,
    log2,
    maximum,
    minimum,
    mixed,
    sqrt,
    unsure,
)
from lookkit.nodes.film_curve import FilmCurve

_LOG2_OF_E = 1.4426950408889634
_LN_OF_2 = 0.6931471805599453
_LOG10_OF_2 = 0.3010299956639812
_LOG2_OF_10 = 3.321928094887362
_DARK = 1e-30
_BRIGHT = 1e6
_STEEPEST = 0.99
"""Of a compression, where it is opened again: at 1 it would be level."""
_GIVEN_BACK = 1.4
"""Of the fit's turn: the fit turns part of what is given back too."""
_TINTED = 0.09
"""The square of the relative chroma at which a colour takes 71 % of a grey's tint."""
_TINY = 1e-12
"""Added to squares of lengths: a colour without hue has no direction, and is not divided by."""


class Knee(NamedTuple):
    """A compression of distances from the neutral axis: threshold, and 1 / scale by channel."""

    threshold: float
    red: float
    green: float
    blue: float


class Fit(NamedTuple):
    """From print light into a display's gamut."""

    matrix: Rows
    low: Knee
    high: Knee


class Hold(NamedTuple):
    """How the print's hues are taken back to the scene's."""

    scene_cones: Rows
    print_cones: Rows
    display_cones: Rows
    roots: Rows
    from_roots: Rows
    from_print_cones: Rows
    share: float
    chroma: float
    """The square of the relative chroma at which half of it is held."""
    lightness: float
    """The square of the lightness at which half of it is held."""
    floor: float


class Tint(NamedTuple):
    """A channel's printer light and shade, as a grey gets them."""

    light: float
    """What thin densities are multiplied by."""
    bend: float
    """(light - 1) / full."""
    shade: float
    """Density added at black, over the square of black."""


class PrintNumbers(NamedTuple):
    """Everything that the formula needs."""

    taking: Rows
    knee: Knee
    filter: Rows
    grey_light: float
    negative: FilmCurve
    negative_grey: float
    couplers: Rows
    print: FilmCurve
    dyes: Rows
    hold: Hold
    red: Tint
    green: Tint
    blue: Tint
    darkest: float
    """Oklab's lightness of the print's highest density."""
    flare: float
    fit: Fit
    scale: float


@formula()
def film_print(r: Plane, g: Plane, b: Plane, p: PrintNumbers) -> Planes:
    """Return display light, 1.0 = 100 cd/m2, of scene-linear AP1."""
    return _shown(*print_density(r, g, b, p), r, g, b, p)


@formula()
def film_exposure(r: Plane, g: Plane, b: Plane, p: PrintNumbers) -> Planes:
    """Return the light that the negative's layers see, of scene-linear AP1."""
    r, g, b = compressed(*mixed(p.taking, r, g, b), p.knee)
    r, g, b = mixed(p.filter, r, g, b)
    # A channel far below the others is what is left of a difference in float32.
    top = maximum(maximum(r, g), b)
    unsure((_faint(r, top) | _faint(g, top) | _faint(b, top)) & (top > 0.02))
    return r, g, b


@formula()
def film_negative(r: Plane, g: Plane, b: Plane, p: PrintNumbers) -> Planes:
    """Return the negative's densities above those of mid-grey, of its layers' light."""
    return _negative(r, p), _negative(g, p), _negative(b, p)


class NegativeNumbers(NamedTuple):
    """What the print of a negative needs: the print's numbers, and from layers to the scene."""

    print: PrintNumbers
    scene: Rows


@formula()
def negative_print(
    er: Plane, eg: Plane, eb: Plane, r: Plane, g: Plane, b: Plane, p: NegativeNumbers
) -> Planes:
    """Return display light of a negative's densities above mid-grey's.

    The light that its layers saw (er, eg, eb) says which hues are held.
    """
    hue = mixed(p.scene, *opened(er, eg, eb, p.print.knee))
    return _shown(*_printed(r, g, b, p.print), *hue, p.print)


def _shown(
    dr: Plane, dg: Plane, db: Plane, r: Plane, g: Plane, b: Plane, p: PrintNumbers
) -> Planes:
    """Return display light of the print's densities, with the hues of scene-linear AP1."""
    pr, pg, pb = exp2(-_LOG2_OF_10 * dr), exp2(-_LOG2_OF_10 * dg), exp2(-_LOG2_OF_10 * db)
    pr, pg, pb = fitted(*held(pr, pg, pb, r, g, b, p), p.fit)
    # Only light far beyond AP1 comes out below black or above clear film.
    pr, pg, pb = clip(pr, 0.0, 1.0), clip(pg, 0.0, 1.0), clip(pb, 0.0, 1.0)
    pr, pg, pb = pr + p.flare, pg + p.flare, pb + p.flare
    # A display's curve is steepest at black: what is left there of bright light must be exact.
    least = minimum(minimum(absolute(pr), absolute(pg)), absolute(pb))
    top = maximum(maximum(pr, pg), pb)
    unsure((least < 2e-4 * top) & (top > 1e-4))
    clear = p.scale / (1.0 + p.flare)
    return pr * clear, pg * clear, pb * clear


def print_density(r: Plane, g: Plane, b: Plane, p: PrintNumbers) -> Planes:
    """Return the densities of the print's dyes, seen as RGB, for scene-linear AP1."""
    return _printed(*film_negative(*film_exposure(r, g, b, p), p), p)


def _printed(r: Plane, g: Plane, b: Plane, p: PrintNumbers) -> Planes:
    """Return the densities of the print's dyes of a negative's above mid-grey."""
    r, g, b = mixed(p.couplers, r, g, b)
    r, g, b = _density(-r, p.print), _density(-g, p.print), _density(-b, p.print)
    return mixed(p.dyes, r, g, b)


def _faint(light: Plane, top: Plane) -> Plane:
    return (light < 0.02 * top) & (light > -1e-3 * top)


def _negative(light: Plane, p: PrintNumbers) -> Plane:
    x = _LOG10_OF_2 * log2(maximum(light, _DARK) * p.grey_light)
    return _density(x, p.negative) - p.negative_grey


def _density(x: Plane, curve: FilmCurve) -> Plane:
    u = _softplus(x - curve.start, curve.toe, curve.per_toe)
    left = _softplus(curve.length - u, curve.shoulder, curve.per_shoulder)
    return curve.full * (1.0 - left * curve.left)


def _softplus(u: Plane, width: float, per_width: float) -> Plane:
    shrunk = exp2(absolute(u) * (-_LOG2_OF_E * per_width))
    return maximum(u, 0.0) + (width * _LN_OF_2) * log2(1.0 + shrunk)


def compressed(r: Plane, g: Plane, b: Plane, knee: Knee) -> Planes:
    """Return the reference gamut compression with power 2: a root, and nothing else that costs."""
    top = maximum(maximum(r, g), b)
    size = maximum(absolute(top), _DARK)
    share = 1.0 / size
    return (
        r + size * _less((top - r) * share, knee.threshold, knee.red),
        g + size * _less((top - g) * share, knee.threshold, knee.green),
        b + size * _less((top - b) * share, knee.threshold, knee.blue),
    )


def _less(distance: Plane, threshold: float, per_scale: float) -> Plane:
    """Return by how much less a distance is compressed to: 0 under the threshold."""
    over = maximum(distance - threshold, 0.0)
    x = over * per_scale
    root = sqrt(1.0 + x * x)
    return over * (x * x / (root * (root + 1.0)))


def opened(r: Plane, g: Plane, b: Plane, knee: Knee) -> Planes:
    """Return what `compressed` gives these values for; beyond its limits the last ones."""
    top = maximum(maximum(r, g), b)
    size = maximum(absolute(top), _DARK)
    share = 1.0 / size
    return (
        r - size * _more((top - r) * share, knee.threshold, knee.red),
        g - size * _more((top - g) * share, knee.threshold, knee.green),
        b - size * _more((top - b) * share, knee.threshold, knee.blue),
    )


def _more(distance: Plane, threshold: float, per_scale: float) -> Plane:
    """Return by how much more a distance was before it was compressed."""
    over = maximum(distance - threshold, 0.0)
    x = minimum(over * per_scale, _STEEPEST)
    return over * (1.0 / sqrt(1.0 - x * x) - 1.0)


def fitted(r: Plane, g: Plane, b: Plane, fit: Fit) -> Planes:
    """Return print light inside a display's gamut, 0-1 of its white or peak.

    The second compression is that of 1 - light, written so that dark light keeps its digits.
    """
    r, g, b = compressed(*mixed(fit.matrix, r, g, b), fit.low)
    low, knee = minimum(minimum(r, g), b), fit.high
    size = maximum(absolute(1.0 - low), _DARK)
    share = 1.0 / size
    return (
        r - size * _less((r - low) * share, knee.threshold, knee.red),
        g - size * _less((g - low) * share, knee.threshold, knee.green),
        b - size * _less((b - low) * share, knee.threshold, knee.blue),
    )


def held(pr: Plane, pg: Plane, pb: Plane, r: Plane, g: Plane, b: Plane, p: PrintNumbers) -> Planes:
    """Return tinted print light, turned towards the scene's hue as the display will show it.

    Hues are directions, complex numbers of length one; turning is multiplying. The first turn
    goes from the print's hue to the aim; the second takes back what the fit does to the result.
    Hues are seen from the tint of a grey, so that a tinted print holds them too.
    """
    sl, sa, sb = _scene_colour(r, g, b, p.hold)
    light, a, b_ = _opponents(*mixed(p.hold.print_cones, pr, pg, pb), p.hold.roots)
    relative = (sa * sa + sb * sb) / (sl * sl + _DARK)
    bright = light * light
    share = relative / (relative + p.hold.chroma) * bright / (bright + p.hold.lightness)
    ux, uy = _direction(sa, sb)
    vx, vy = _direction(a, b_)
    along, across = ux * vx + uy * vy, uy * vx - ux * vy
    weight = p.hold.share * share * 0.5 * (1.0 + along)
    tx, ty = _direction(1.0 - weight + weight * along, weight * across)
    wx, wy = vx * tx - vy * ty, vx * ty + vy * tx
    times, ta, tb = _tint(light, p)
    less = 1.0 / sqrt(1.0 + (a * a + b_ * b_) / ((light * light + _DARK) * _TINTED))
    ta, tb = less * ta, less * tb
    light, a, b_ = times * light, times * a, times * b_
    a1, b1 = a * tx - b_ * ty, a * ty + b_ * tx
    seen = fitted(*_from_opponents(light, a1 + ta, b1 + tb, p.hold), p.fit)
    _, fa, fb = _opponents(*mixed(p.hold.display_cones, *seen), p.hold.roots)
    fx, fy = _direction(fa - ta, fb - tb)
    along, across = wx * fx + wy * fy, wy * fx - wx * fy
    back = _GIVEN_BACK * share * 0.5 * (1.0 + along)
    tx, ty = _direction(1.0 - back + back * along, back * across)
    return _from_opponents(light, a1 * tx - b1 * ty + ta, a1 * ty + b1 * tx + tb, p.hold)


def _tint(light: Plane, p: PrintNumbers) -> Planes:
    """Return what the tint does to the grey of a lightness in Oklab: times as light, a and b.

    Below the print's darkest light and above 1 the tint there is kept.
    """
    inside = minimum(maximum(light, p.darkest), 1.0)
    d = -3.0 * _LOG10_OF_2 * log2(inside)
    grey = _toned(d, p.red), _toned(d, p.green), _toned(d, p.blue)
    nl, na, nb = _opponents(*mixed(p.hold.print_cones, *grey), p.hold.roots)
    per_inside = 1.0 / inside
    share = light * per_inside
    return nl * per_inside, na * share, nb * share


def _toned(d: Plane, tint: Tint) -> Plane:
    """Return one channel's light of a grey of density d."""
    d = d * tint.light / (1.0 + d * tint.bend)
    return exp2(-_LOG2_OF_10 * (d + tint.shade * d * d))


def _scene_colour(r: Plane, g: Plane, b: Plane, p: Hold) -> Planes:
    """Return Oklab of scene light whose cones have a soft floor: lasers do not fold."""
    r, g, b = clip(r, -_BRIGHT, _BRIGHT), clip(g, -_BRIGHT, _BRIGHT), clip(b, -_BRIGHT, _BRIGHT)
    x, y, z = mixed(p.scene_cones, r, g, b)
    floor = p.floor * (absolute(x) + absolute(y) + absolute(z))
    square = floor * floor
    return _opponents(
        0.5 * (x + sqrt(x * x + square)),
        0.5 * (y + sqrt(y * y + square)),
        0.5 * (z + sqrt(z * z + square)),
        p.roots,
    )


def _opponents(x: Plane, y: Plane, z: Plane, roots: Rows) -> Planes:
    return mixed(roots, cbrt(x), cbrt(y), cbrt(z))


def _from_opponents(light: Plane, a: Plane, b: Plane, p: Hold) -> Planes:
    x, y, z = mixed(p.from_roots, light, a, b)
    return mixed(p.from_print_cones, x * x * x, y * y * y, z * z * z)


def _direction(a: Plane, b: Plane) -> tuple[Plane, Plane]:
    share = 1.0 / sqrt(a * a + b * b + _TINY)
    return a * share, b * share

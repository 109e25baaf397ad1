r"""A negative, its print, and the light that comes through it.

    E   = compress(M in)                            what the film's layers see
    n   = D_negative(log10(F E / 0.18)) - D_negative(0)
    h   = -(U^-1 A n)                               inter-image effects, the print's exposure
    D   = S U D_print(h)                            dyes that overlap, retained silver
    P   = tint(hold(10^-D))                         the scene's hues, printer lights and shade
    out = (fit(P) + flare) / (1 + flare)

**Film's eye.** M = I - 0.1 (AP1 to P3 - I): sensitivities that overlap a little. `compress` is the
reference gamut compression with power 2. F is the black-and-white filter, else nothing.
**Curves.** `film_curve.py`: the picture's log-log slope at mid-grey is `contrast`, mid-grey has
the density `grey` and a clear negative prints the density `black`, exactly; sets that no film
could meet are refused. `push` comes afterwards, as in the bath: 8 % slope and .08 density a stop.
**Inter-image effects.** A = I + interimage (X^-1 - I), X the density crosstalk of the Academy's
ADX. Rows sum to one and the others are taken away: a dense layer holds its neighbours back, so
colours part. At 1 they part as ADX's own encoding parts them.
**Dyes.** U = (1 - overlap) I + overlap O, O zero on its diagonal: deep colours get darker, and
mid-tones stay because h has U^-1. **Silver** adds one density to all: S D = (D + silver w.D) /
(1 + silver).
**Hold.** `print_formula.held`: P is turned in Oklab, at its own lightness and chroma, towards the
scene's hue by `hold`; a turn of d counts cos^2(d/2), weak colours and deep shade are let go. What
the fit into the display would do to the hue, seen from the tint, is measured and 1.4 times of it
taken back before it, for the fit turns part of that too.
**Tint.** d' = k d / (1 + (k - 1) d / full), then d' + shade (d' / black)^2, for each channel of a
grey of density d. k is such that mid-grey gets exactly the density that the printer light gives
it. The tint is made in the light of the print, RGB of P3-D65, so that all displays show one. A
colour moves in Oklab as the grey of its lightness L does: its lightness and chroma C times L'/L,
and that grey's a and b added, over sqrt(1 + (C / 0.3 L)^2), so that vivid colours stay in the
gamut. Greys are printed as film prints them, and skin seen from the look's own grey keeps its hue.
**Fit.** Distances from black's neutral axis, then from white's, are compressed; limits are measured
on all light that AP1 reaches over -6 to +10 stops. The largest channel stays; nothing folds.
**HDR.** The print's clear film is the screen's peak; grey lies at 26 cd/m2 for `grey` = 1, and the
toe is solved so that a white of 90 % lies at 179 cd/m2 for the default contrast, at a reference
white of 203 (ITU-R BT.2408). One curve that rises strictly; nothing is spliced.

Light of zero or less prints black; values above one go on up the shoulder. Neutrals stay neutral
where lights and shade are equal. 1.0 is paper white, 100 cd/m2 on SDR displays. No inverse.

Sources: the shape of characteristic curves, printer points of 0.025 log E and aim densities from
sensitometry handbooks (H-61, H-387); ADX crosstalk and the gamut compression from the Academy;
Oklab, B. Ottosson (2020); ITU-R BT.2408. The equations are ours.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from math import log10
from typing import Any, ClassVar, Final, Literal

import numpy as np
import numpy.typing as npt
from pydantic import field_validator, model_validator
from pydantic_core import PydanticCustomError

from lookkit.kernel.formula import Call, Program, Rows
from lookkit.nodes.base import Op, PerChannel, Triple, evaluated, param, per_channel
from lookkit.nodes.film_curve import (
    Aims,
    CannotMeet,
    Films,
    films_for,
    films_for_screen,
)
from lookkit.nodes.print_formula import (
    Fit,
    Hold,
    Knee,
    PrintNumbers,
    Tint,
    compressed,
    film_print,
    held,
    print_density,
)
from lookkit.nodes.rendering import Rendering
from lookkit.spaces.oklab import CONES, OPPONENTS, XYZ_TO_LMS
from lookkit.spaces.outputs import Output
from lookkit.spaces.primaries import AP1, P3_D65, Primaries, between
from lookkit.spaces.working import MID_GREY, Array, OcioTransform, State

PRINT_PRIMARIES: Final = P3_D65
"""RGB of print light: the gamut of a projected print (common practice, no source)."""
ADX_CROSSTALK: Final[Array] = np.array(
    [[0.75573, 0.22197, 0.02230], [0.05901, 0.96928, -0.02829], [0.16134, 0.07406, 0.76460]]
)
"""Density crosstalk of the Academy's ADX, as it decodes; rows sum to one."""
NORMAL_LIGHTS: Final = 25.0
LOG_E_PER_LIGHT: Final = 0.025
REFERENCE_WHITE: Final = 203.0
GREY_ON_HDR: Final = 26.0
WHITE_ON_HDR: Final = 179.0
"""cd/m2 of mid-grey and of a 90 % white where reference white is 203 (ITU-R BT.2408)."""
_WHITE: Final = 0.9
_CONTRAST: Final = 1.34

_OVERLAPPING: Final = 0.1
_EYE_THRESHOLD: Final = 0.65
_EYE_MARGIN: Final = 0.06
_FIT_THRESHOLD: Final = 0.83
_FIT_MARGIN: Final = 0.004
_OTHERS: Final[Array] = np.array([[0.0, 0.6, 0.4], [0.5, 0.0, 0.5], [0.35, 0.65, 0.0]])
"""Where each dye absorbs what is another's: about half of it in each of the two."""
_SILVER: Final[Array] = np.array([0.3, 0.6, 0.1])
_ROOTS: Final[Array] = OPPONENTS - (OPPONENTS.sum(axis=1) - [1.0, 0.0, 0.0])[:, None] / 3.0
"""Oklab of cone roots, whose digits are rounded: made exact on neutrals."""
_HELD_CHROMA: Final = 0.035
_HELD_LIGHTNESS: Final = 0.1
_CONE_FLOOR: Final = 0.25
_LEAST_LIMIT: Final = 1.002


class FilmPrint(Rendering):
    """Expose a negative, print it, and look at the light through the print."""

    example: ClassVar[str] = """
        [rendering]
        kind = "film-print"
        contrast = 1.25
        lights = [24.0, 25.0, 26.0]
    """

    former: ClassVar[Mapping[str, str]] = {
        "negative": "contrast, grey and shadows: the films are solved for what the picture has",
        "print": "contrast, black, grey and highlights: the films are solved for what the "
        "picture has",
        "crosstalk": "interimage, which parts colours as real negatives do; 0.5 is normal",
        "separation": "interimage, which parts colours as real negatives do; 0.5 is normal",
    }

    kind: Literal["film-print"] = "film-print"
    contrast: float = param(_CONTRAST, "log-log slope at mid-grey, exact", ge=1.0, le=1.8)
    black: float = param(
        3.6, "density of black: 3.6 is 3.2 % signal on BT.1886", unit="density", ge=2.2, le=4.5
    )
    grey: float = param(
        1.0, "density of mid-grey: 1.0 is 10 cd/m2 of 100", unit="density", ge=0.7, le=1.5
    )
    highlights: float = param(
        0.275,
        "softness towards white: how long the print's toe is",
        unit="log10 exposure",
        ge=0.12,
        le=0.45,
    )
    shadows: float = param(
        0.25,
        "softness towards black: how long the negative's toe is",
        unit="log10 exposure",
        ge=0.08,
        le=0.6,
    )
    interimage: float = param(
        0.5, "how far the layers part colours: 0 not at all, 1 as ADX does", ge=0.0, le=1.0
    )
    overlap: float = param(
        0.03, "how far the print's dyes overlap: more is denser deep colour", ge=0.0, le=0.25
    )
    hold: float = param(
        0.92, "how far hues are held: 0 turns fire yellow, 0.6 golden, 0.92 keeps it", ge=0, le=1
    )
    lights: PerChannel = param(
        NORMAL_LIGHTS, "printer lights; higher prints darker, 25 is normal", unit="points"
    )
    shade: PerChannel = param(
        0.0, "density added to black, less above: below zero lifts a channel", unit="density"
    )
    silver: float = param(
        0.0, "silver left in the print: muted, dense colour; raise contrast with it", ge=0, le=1
    )
    flare: float = param(
        0.0, "stray light of the room, as a share of white: 0.001 is 6 % signal", ge=0.0, le=0.02
    )
    push: float = param(0.0, "stops of longer development", unit="stops", ge=-1.0, le=2.0)
    filter: Triple | None = param(
        None, "black and white: how much red, green and blue light count; default colour"
    )

    @field_validator("lights")
    @classmethod
    def _lights(cls, value: PerChannel) -> PerChannel:
        lights = per_channel(value, NORMAL_LIGHTS)
        if lights.min() < 13.0 or lights.max() > 37.0:
            raise PydanticCustomError("range", "out of range, expected 13 to 37")
        return value

    @field_validator("shade")
    @classmethod
    def _shade(cls, value: PerChannel) -> PerChannel:
        if np.abs(per_channel(value, 0.0)).max() > 0.8:
            raise PydanticCustomError("range", "out of range, expected -0.8 to 0.8")
        return value

    @field_validator("filter")
    @classmethod
    def _filter(cls, value: Triple | None) -> Triple | None:
        if value is not None and (min(value) < 0.0 or not 0.01 <= sum(value) <= 100.0):
            raise PydanticCustomError(
                "filter", "negative or nothing, expected three shares of 0 or more"
            )
        return value

    @model_validator(mode="after")
    def _can_be_met(self) -> FilmPrint:
        try:
            films = films_for(self.aims)
            for light, shade in _by_channel(self):
                _tint(films, self.black, light, shade)
        except CannotMeet as problem:
            raise PydanticCustomError("aims", "{text}", {"text": str(problem)}) from None
        return self

    @property
    def aims(self) -> Aims:
        """What the curves are solved for."""
        return Aims(self.contrast, self.black, self.grey, self.highlights, self.shadows, self.push)

    def ops_for(self, output: Output) -> Sequence[Op]:
        """Return the one step to the light of `output`'s display."""
        peak = output.peak if output.is_hdr else None
        return [ShownPrint(self, output.limiting, peak)]


@dataclass(frozen=True)
class ShownPrint:
    """The print on a display.

    Attributes
    ----------
    gamut
        The display's limiting gamut.
    peak
        cd/m2 of an HDR screen's peak, or None: white is 100 cd/m2.
    """

    film: FilmPrint
    gamut: Primaries
    peak: float | None
    takes: State = State.SCENE
    gives: State = State.DISPLAY

    @property
    def label(self) -> str:
        """The kind, and the levels on an HDR screen."""
        if self.peak is None:
            return self.film.label
        return f"{self.film.label}, white {WHITE_ON_HDR:g}, peak {self.peak:g} cd/m2"

    @cached_property
    def numbers(self) -> PrintNumbers:
        """What the formula needs."""
        return numbers_for(self.film, self.gamut, self.peak)

    def fitted_as(self, fit: Fit) -> ShownPrint:
        """Return the print with a fit that was measured on another one of its gamut and peak.

        For pictures while a hand moves: measuring takes ten times as long as the rest of a print.
        """
        made = ShownPrint(self.film, self.gamut, self.peak)
        bare = _numbers_without_fit(self.film, self.gamut, self.peak)
        made.__dict__["numbers"] = bare._replace(fit=fit)
        return made

    def program(self) -> Program:
        """Return the formula."""
        return (Call(film_print, self.numbers),)

    def evaluate(self, rgb: Array) -> Array:
        """Return display light in the gamut, 1.0 = 100 cd/m2, for scene-linear AP1 (..., 3)."""
        return evaluated(self, rgb)

    def lower(self) -> list[OcioTransform] | None:
        """Return None: OpenColorIO cannot hold a hue."""
        return None


@lru_cache(maxsize=64)
def numbers_for(film: FilmPrint, gamut: Primaries, peak: float | None) -> PrintNumbers:
    """Return the numbers of a print on a display with the gamut and peak (None: SDR)."""
    bare = _numbers_without_fit(film, gamut, peak)
    return bare._replace(fit=_measured_fit(bare))


def _numbers_without_fit(film: FilmPrint, gamut: Primaries, peak: float | None) -> PrintNumbers:
    """Return the same with a fit that compresses nothing."""
    films = films_for(film.aims) if peak is None else _films_on(film.aims, peak)
    paper_share = 1.0 if peak is None else REFERENCE_WHITE / peak
    to_print = between(AP1, PRINT_PRIMARIES, "bradford")
    taking = np.eye(3) - _OVERLAPPING * (to_print - np.eye(3))
    dyes = (1.0 - film.overlap) * np.eye(3) + film.overlap * _OTHERS
    parted = np.eye(3) + film.interimage * (_adx_inverse() - np.eye(3))
    silver = (np.eye(3) + film.silver * np.outer(np.ones(3), _SILVER)) / (1.0 + film.silver)
    share = np.eye(3)
    if film.filter is not None:
        share = np.outer(np.ones(3), np.array(film.filter) / sum(film.filter))
    eye_limits = np.maximum(_distances(_cube_faces(9) @ taking.T), 1.0) + _EYE_MARGIN
    tints = [
        _tint(films, film.black - log10(paper_share), light, shade)
        for light, shade in _by_channel(film)
    ]
    return PrintNumbers(
        taking=_rows(taking),
        knee=_knee(eye_limits, _EYE_THRESHOLD),
        filter=_rows(share),
        grey_light=1.0 / MID_GREY,
        negative=films.negative,
        negative_grey=films.negative.density(0.0),
        couplers=_rows(np.linalg.solve(dyes, parted)),
        print=films.print,
        dyes=_rows(silver @ dyes),
        hold=_hold(film, gamut, paper_share),
        red=tints[0],
        green=tints[1],
        blue=tints[2],
        darkest=10.0 ** (-films.print.full / 3.0),
        flare=film.flare * paper_share,
        fit=_open_fit(gamut),
        scale=1.0 if peak is None else peak / 100.0,
    )


def _films_on(aims: Aims, peak: float) -> Films:
    """Return the films of an HDR screen: grey and white as BT.2408 has them by default."""
    grey = GREY_ON_HDR * 10.0 ** (1.0 - aims.grey)
    rise = (WHITE_ON_HDR / GREY_ON_HDR) ** (aims.contrast / _CONTRAST)
    return films_for_screen(aims, _WHITE, peak, grey, grey * rise)


def _adx_inverse() -> Array:
    inverse = np.linalg.inv(ADX_CROSSTALK)
    return np.asarray(inverse / inverse.sum(axis=1, keepdims=True))


def _hold(film: FilmPrint, gamut: Primaries, paper_share: float) -> Hold:
    seen, display = _cones(PRINT_PRIMARIES), _cones(gamut)
    return Hold(
        scene_cones=_rows(CONES),
        print_cones=_rows(seen),
        display_cones=_rows(display),
        roots=_rows(_ROOTS),
        from_roots=_rows(np.linalg.inv(_ROOTS)),
        from_print_cones=_rows(np.linalg.inv(seen)),
        share=film.hold if film.filter is None else 0.0,
        chroma=_HELD_CHROMA**2,
        lightness=_HELD_LIGHTNESS**2 * paper_share ** (2.0 / 3.0),
        floor=_CONE_FLOOR / 3.0,
    )


def _cones(gamut: Primaries) -> Array:
    cones = XYZ_TO_LMS @ gamut.to_xyz()
    return np.asarray(cones / cones.sum(axis=1, keepdims=True))


def _by_channel(film: FilmPrint) -> Iterator[tuple[float, float]]:
    """Yield printer light and shade of red, green and blue."""
    return zip(per_channel(film.lights, NORMAL_LIGHTS), per_channel(film.shade, 0.0), strict=True)


def _tint(films: Films, black: float, light: float, shade: float) -> Tint:
    """Return what makes a channel's density that of its light and shade.

    Raises
    ------
    CannotMeet
        If the shade leaves no density as deep as the light prints grey.
    """
    film = films.print
    grey = film.density(0.0)
    wanted = film.density((light - NORMAL_LIGHTS) * LOG_E_PER_LIGHT)
    bent = shade / black**2
    # The root of bent d^2 + d = wanted, in the form that holds for the smallest bend too.
    root = 1.0 + 4.0 * bent * wanted
    before = 2.0 * wanted / (1.0 + np.sqrt(max(root, 0.0)))
    if root <= 0.0 or before >= film.full:
        raise CannotMeet(
            f"shade = {shade:g} keeps a channel from being as dense as lights = {light:g} print "
            f"grey, expected lights nearer to {NORMAL_LIGHTS:g} or a shade nearer to 0"
        )
    times = float(before * (1.0 - grey / film.full) / (grey * (1.0 - before / film.full)))
    return Tint(times, (times - 1.0) / film.full, bent)


def _open_fit(gamut: Primaries) -> Fit:
    far = Knee(1e3, 1.0, 1.0, 1.0)
    return Fit(_rows(between(PRINT_PRIMARIES, gamut, "bradford")), far, far)


def _measured_fit(p: PrintNumbers) -> Fit:
    """Return the fit whose limits are the farthest that AP1's light reaches on this print."""
    steps = np.linspace(0.0, 1.0, 13)
    cube = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), axis=-1).reshape(-1, 3)
    brightest = cube[cube.max(axis=1) == 1.0]
    stops = np.arange(-6.0, 10.01, 0.5)
    scene = (MID_GREY * 2.0 ** stops[:, None, None] * brightest).reshape(-1, 3)
    planes = scene[:, 0], scene[:, 1], scene[:, 2]
    light = [10.0**-one for one in print_density(*planes, p)]
    matrix = np.array(p.fit.matrix)
    fit = p.fit
    for _ in range(2):
        turned = held(light[0], light[1], light[2], *planes, p._replace(fit=fit))
        seen = np.stack(turned, axis=-1) @ matrix.T
        low = _knee(_distances(seen[seen.max(axis=1) > 0.02]) + _FIT_MARGIN, _FIT_THRESHOLD)
        low_seen = _compress(seen, low)
        high = _knee(_distances(1.0 - low_seen) + _FIT_MARGIN, _FIT_THRESHOLD)
        fit = Fit(p.fit.matrix, low, high)
    return fit


def _compress(rgb: Array, knee: Knee) -> Array:
    return np.asarray(np.stack(compressed(rgb[:, 0], rgb[:, 1], rgb[:, 2], knee), axis=-1))


def _knee(limits: Array, threshold: float) -> Knee:
    """Return the knee that brings `limits` to 1: power 2 of the reference gamut compression."""
    span = np.maximum(limits, _LEAST_LIMIT) - threshold
    per_scale = np.sqrt((span / (1.0 - threshold)) ** 2 - 1.0) / span
    return Knee(threshold, *(float(one) for one in per_scale))


def _distances(rgb: Array) -> Array:
    """Return the farthest distance of each channel from the neutral axis, shape (3,)."""
    planes = [np.ascontiguousarray(rgb[:, channel]) for channel in range(3)]
    top = np.maximum(np.maximum(planes[0], planes[1]), planes[2])
    lit = top > 1e-9
    found = [
        np.divide(top - plane, top, out=np.zeros_like(top), where=lit).max() for plane in planes
    ]
    return np.array(found)


def _cube_faces(points: int) -> Array:
    steps = np.linspace(0.0, 1.0, points)
    cube = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), axis=-1).reshape(-1, 3)
    return np.asarray(cube[(cube.min(axis=1) == 0.0) | (cube.max(axis=1) == 1.0)])


def _rows(matrix: npt.NDArray[Any]) -> Rows:
    a, b, c = (tuple(float(one) for one in row) for row in matrix)
    return a, b, c  # type: ignore[return-value]

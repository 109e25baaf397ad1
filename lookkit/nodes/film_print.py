r"""A film-style negative and print, as densities.

Softplus S_w(u) = w ln(1 + e^(u/w)). A characteristic curve maps log10 exposure x, counted
from mid-grey, to density above D-min:

    L    = D-max / gamma
    u    = S_toe(x - x0)
    D(x) = D-max (1 - S_shoulder(L - u) / S_shoulder(L))

It is strictly increasing and smooth with the exact limits 0 and D-max, and has a closed
inverse. The aim density of mid-grey is placed exactly: u0 = L - S_shoulder^-1(S_shoulder(L)
(1 - aim / D-max)), x0 = -S_toe^-1(u0). The chain, per pixel:

    E   = M in                                   M: rows sum to one
    C   = D_negative(log10(E / 0.18)) - D_negative(0)
    h   = -A C + 0.025 (lights - 25)             A: rows sum to one
    out = 10^-D_print(h)

`out` is the light that a print passes to the screen, 1.0 = the open gate = 100 cd/m2, as
RGB of P3-D65, the gamut of a projected print (common practice, no source). On an HDR
display the print keeps its character with 1.0 at paper white (203 cd/m2, ITU-R BT.2408) and
opens its highlights towards the peak: see `HdrPrint`. Light of zero or
less leaves the negative at D-min: there the print is black and has no inverse; values
above one go on up the shoulder. With equal lights and equal curves neutrals stay neutral.

Sources: the shape of characteristic curves, printer points of 0.025 log E and the aim
densities from the sensitometry handbooks' figures (H-61, H-387); crosstalk between dyes
and the negative's gamma from the Academy's ADX documents. The equations are ours.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar, Literal, NamedTuple

import numpy as np
from pydantic import field_validator, model_validator
from pydantic_core import PydanticCustomError

from lookkit.kernel.formula import Call, Planes, Program, affine_call, formula, triple
from lookkit.kernel.formula import Triple as KernelTriple
from lookkit.kernel.maths import (
    DOUBLINGS,
    Plane,
    absolute,
    clip,
    exp2,
    log2,
    maximum,
    minimum,
    unsure,
)
from lookkit.kernel.maths import softplus as softplus_one
from lookkit.nodes.base import (
    Op,
    PerChannel,
    Table,
    evaluated,
    matrix_transform,
    param,
    per_channel,
)
from lookkit.nodes.gamut_fit import fit_into
from lookkit.nodes.rendering import Rendering
from lookkit.spaces.outputs import Output
from lookkit.spaces.primaries import AP1, P3_D65, between
from lookkit.spaces.working import MID_GREY, Array, OcioTransform, State

PRINT_PRIMARIES = P3_D65

ADX_CROSSTALK = np.array(
    [[0.75573, 0.22197, 0.02230], [0.05901, 0.96928, -0.02829], [0.16134, 0.07406, 0.76460]]
)
"""Density crosstalk of the Academy's ADX; rows sum to one."""

NORMAL_LIGHTS = 25.0
LOG_E_PER_LIGHT = 0.025
_FLOOR = 1e-30
_GREY = float(np.log2(MID_GREY))
_PER_DOUBLING = float(np.log10(2.0))
_ENTRIES = 8192
_FLAT = 16.0
"""Widths of toe or shoulder beyond which a curve has reached its limit to 1e-7."""


def softplus(u: Array, width: Array) -> Array:
    """Return w ln(1 + e^(u/w)): 0 far below zero, u far above."""
    return np.asarray(width * np.logaddexp(0.0, u / width))


def softplus_inverse(v: Array, width: Array) -> Array:
    """Return the u with softplus(u) = v, for v > 0."""
    return np.asarray(v + width * np.log(-np.expm1(-v / width)))


@dataclass(frozen=True)
class Curve:
    """A characteristic curve: density above D-min against log10 exposure from mid-grey.

    All fields are arrays of shape (3,): the slope of the straight line, the density
    limit, the widths of toe and shoulder in log10 exposure, and mid-grey's density.
    """

    gamma: Array
    d_max: Array
    toe: Array
    shoulder: Array
    aim: Array

    @cached_property
    def _length(self) -> Array:
        return self.d_max / self.gamma

    @cached_property
    def _full(self) -> Array:
        return softplus(self._length, self.shoulder)

    @cached_property
    def _start(self) -> Array:
        left = self._full * (1.0 - self.aim / self.d_max)
        return -softplus_inverse(self._length - softplus_inverse(left, self.shoulder), self.toe)

    def density(self, x: Array) -> Array:
        """Return the density at log10 exposure x, shape (..., 3)."""
        u = softplus(x - self._start, self.toe)
        return np.asarray(
            self.d_max * (1.0 - softplus(self._length - u, self.shoulder) / self._full)
        )

    def exposure(self, density: Array) -> Array:
        """Return the log10 exposure that gives `density`, for 0 < density < D-max."""
        left = self._full * (1.0 - density / self.d_max)
        u = self._length - softplus_inverse(left, self.shoulder)
        return softplus_inverse(u, self.toe) + self._start

    def numbers(self) -> tuple[CurveNumbers, CurveNumbers, CurveNumbers]:
        """Return what the formulas take, for each channel."""
        columns = (
            self.d_max, self.toe, 1.0 / self.toe, self._start, self._length, self.shoulder,
            1.0 / self.shoulder, self.d_max * self.shoulder / self._full,
        )  # fmt: skip
        rows = zip(*columns, strict=True)
        red, green, blue = (CurveNumbers(*map(float, row)) for row in rows)
        return red, green, blue

    def reach(self) -> tuple[Array, Array]:
        """Return the log10 exposures between which the density moves."""
        low = np.maximum(self._start - _FLAT * self.toe, -36.0)
        return low, np.minimum(self._start + self._length + _FLAT * self.shoulder, 36.0)


class Negative(Table):
    """The camera film's curve; densities count from D-min."""

    gamma: PerChannel = param(0.55, "slope of the straight line")
    d_max: float = param(2.0, "highest density", unit="density", gt=0.1, le=6.0)
    toe: float = param(0.31, "width of the toe", unit="log10 exposure", ge=0.02, le=2.0)
    shoulder: float = param(0.10, "width of the shoulder", unit="log10 exposure", ge=0.02, le=2.0)
    aim: float = param(0.70, "density of mid-grey", unit="density", gt=0.01, le=5.0)


class Print(Table):
    """The print film's curve; densities count from D-min."""

    gamma: PerChannel = param(3.4, "slope of the straight line")
    d_max: float = param(3.6, "highest density", unit="density", gt=0.1, le=6.0)
    toe: float = param(0.30, "width of the toe", unit="log10 exposure", ge=0.02, le=2.0)
    shoulder: float = param(0.20, "width of the shoulder", unit="log10 exposure", ge=0.02, le=2.0)
    aim: float = param(1.0, "density of mid-grey", unit="density", gt=0.01, le=5.0)


class CurveNumbers(NamedTuple):
    """The numbers of one channel's characteristic curve."""

    d_max: float
    toe: float
    per_toe: float
    start: float
    length: float
    shoulder: float
    per_shoulder: float
    share: float


class NegativeNumbers(NamedTuple):
    """The negative's curves and mid-grey's density."""

    curves: tuple[CurveNumbers, CurveNumbers, CurveNumbers]
    aim: float


class PrintNumbers(NamedTuple):
    """The print's curves."""

    curves: tuple[CurveNumbers, CurveNumbers, CurveNumbers]


class HdrNumbers(NamedTuple):
    """The print's curves, and how its highlights open."""

    curves: tuple[CurveNumbers, CurveNumbers, CurveNumbers]
    knee: KernelTriple
    rate: KernelTriple
    paper: float
    stops: float


def _three(planes: Iterable[Plane]) -> Planes:
    red, green, blue = planes
    return red, green, blue


def _density(x: Plane, c: CurveNumbers) -> Plane:
    """Return the density at log10 exposure x."""
    u = c.toe * softplus_one((x - c.start) * c.per_toe)
    return c.d_max - c.share * softplus_one((c.length - u) * c.per_shoulder)


@formula()
def expose(r: Plane, g: Plane, b: Plane, p: NegativeNumbers) -> Planes:
    """Return the negative's density above that of mid-grey for the light that it sees."""
    top = maximum(maximum(absolute(r), absolute(g)), absolute(b))
    least = minimum(minimum(r, g), b)
    # A channel far below the others is what is left of a difference in float32.
    unsure((least < 0.005 * top) & (least > -1e-3 * top) & (top > 0.02))
    return _three(
        _density(_PER_DOUBLING * (log2(maximum(light, _FLOOR)) - _GREY), curve) - p.aim
        for light, curve in zip((r, g, b), p.curves, strict=True)
    )


@formula()
def print_light(r: Plane, g: Plane, b: Plane, p: PrintNumbers) -> Planes:
    """Return the light through the print for its log10 exposure."""
    return _three(
        exp2(-DOUBLINGS * _density(h, curve)) for h, curve in zip((r, g, b), p.curves, strict=True)
    )


@formula()
def hdr_light(r: Plane, g: Plane, b: Plane, p: HdrNumbers) -> Planes:
    """Return the light of `print_light` with its highlights opened towards the peak."""
    return _three(
        _opened(h, curve, knee, rate, p)
        for h, curve, knee, rate in zip((r, g, b), p.curves, p.knee, p.rate, strict=True)
    )


def _opened(h: Plane, curve: CurveNumbers, knee: Plane, rate: Plane, p: HdrNumbers) -> Plane:
    t = clip((knee - h) * rate, 0.0, 1.0)
    opened = t * t * t * (t * (6.0 * t - 15.0) + 10.0)
    return p.paper * exp2(p.stops * opened - DOUBLINGS * _density(h, curve))


class FilmPrint(Rendering):
    """Expose a negative, print it, and look at the light through the print."""

    example: ClassVar[str] = """
        [rendering]
        kind = "film-print"
        lights = [25.0, 25.0, 26.0]
        crosstalk = 0.5
        print = { gamma = 3.2 }
    """

    kind: Literal["film-print"] = "film-print"
    negative: Negative = param(Negative(), "the camera film")
    print: Print = param(Print(), "the print film")
    lights: PerChannel = param(
        NORMAL_LIGHTS, "printer lights; higher prints darker, 25 is normal", unit="points"
    )
    crosstalk: float = param(
        0.5, "how far the dyes pollute each other: 0 not at all, 1 as in ADX", ge=0.0, le=1.0
    )
    separation: float = param(
        0.0,
        "purity of the film's response: 0 sees AP1 as it is, 1 sees the print's own primaries",
        ge=-0.5,
        le=1.0,
    )

    @field_validator("lights")
    @classmethod
    def _lights(cls, value: PerChannel) -> PerChannel:
        lights = per_channel(value, NORMAL_LIGHTS)
        if lights.min() < 1.0 or lights.max() > 50.0:
            raise PydanticCustomError("range", "out of range, expected 1 to 50")
        return value

    @model_validator(mode="after")
    def _aims(self) -> FilmPrint:
        for name, film in (("negative", self.negative), ("print", self.print)):
            if film.aim >= 0.98 * film.d_max:
                raise PydanticCustomError(
                    "aim", f"{name}.aim is not below {name}.d_max, expected it well below"
                )
            slopes = per_channel(film.gamma, 1.0)
            if slopes.min() < 0.05 or slopes.max() > 12.0:
                raise PydanticCustomError(
                    "gamma", f"{name}.gamma is out of range, expected 0.05 to 12"
                )
        return self

    @cached_property
    def curves(self) -> tuple[Curve, Curve]:
        """The curves of negative and print."""
        return _curve(self.negative), _curve(self.print)

    @cached_property
    def taking(self) -> Array:
        """M: what the film sees of AP1, shape (3, 3), rows sum to one."""
        towards = between(AP1, PRINT_PRIMARIES, "bradford")
        return np.asarray(np.eye(3) + self.separation * (towards - np.eye(3)))

    @cached_property
    def dyes(self) -> Array:
        """A: how the negative's densities add up in the print, shape (3, 3)."""
        return np.asarray(np.eye(3) + self.crosstalk * (ADX_CROSSTALK - np.eye(3)))

    @cached_property
    def light_offset(self) -> Array:
        """The printer lights as log10 exposure, shape (3,)."""
        return LOG_E_PER_LIGHT * (per_channel(self.lights, NORMAL_LIGHTS) - NORMAL_LIGHTS)

    def negative_density(self, light: Array) -> Array:
        """Return the negative's density above that of mid-grey for linear `light`."""
        negative, _ = self.curves
        return negative.density(np.log10(np.maximum(light, _FLOOR) / MID_GREY)) - negative.aim

    def print_light(self, h: Array) -> Array:
        """Return the light through the print for its log10 exposure h."""
        return np.asarray(10.0 ** -self.curves[1].density(h))

    def program(self) -> Program:
        """Return the negative and the print: RGB of P3-D65, above 0 and below 1."""
        return (*self._negative(), Call(print_light, PrintNumbers(self.curves[1].numbers())))

    def _negative(self) -> Program:
        negative = NegativeNumbers(self.curves[0].numbers(), float(self.curves[0].aim[0]))
        exposed = (affine_call(self.taking), Call(expose, negative))
        return (*exposed, affine_call(-self.dyes, self.light_offset))

    def inverse(self, rgb: Array) -> Array:
        """Return the scene that gives the print light `rgb`; NaN where no scene does."""
        negative, positive = self.curves
        with np.errstate(invalid="ignore", divide="ignore"):
            h = positive.exposure(-np.log10(rgb))
            contrast = (self.light_offset - h) @ np.linalg.inv(self.dyes).T
            light = MID_GREY * 10.0 ** negative.exposure(contrast + negative.aim)
        return np.asarray(light @ np.linalg.inv(self.taking).T)

    def lower(self) -> list[OcioTransform]:
        """Return matrix, logarithm, 1D, matrix, 1D.

        Both tables have 8192 entries over the exposures where the curves move; OCIO
        interpolates linearly between them, which costs less than 5e-6 of density.
        """
        return self.lower_with(self.print_light)

    def lower_with(self, light: Callable[[Array], Array]) -> list[OcioTransform]:
        """Return `lower` with another function from print exposure to light."""
        import PyOpenColorIO as ocio

        negative, _ = self.curves
        low, high = negative.reach()[0].min(), negative.reach()[1].max()
        steps = np.repeat(np.linspace(low, high, _ENTRIES)[:, None], 3, axis=1)
        to_table = ocio.LogAffineTransform(
            linSideSlope=[1.0 / MID_GREY] * 3,
            logSideSlope=[1.0 / (high - low)] * 3,
            logSideOffset=[-low / (high - low)] * 3,
        )
        to_table.setBase(10.0)
        ends = np.stack([-negative.aim, negative.d_max - negative.aim])
        printed = np.sort(-self.dyes[None] * ends[:, None, :], axis=0).sum(axis=-1)
        first, last = printed + self.light_offset
        span = last - first
        print_steps = first + np.linspace(0.0, 1.0, _ENTRIES)[:, None] * span
        return [
            matrix_transform(self.taking),
            to_table,
            _table(negative.density(steps) - negative.aim),
            matrix_transform(-self.dyes / span[:, None], (self.light_offset - first) / span),
            _table(light(print_steps)),
        ]

    def ops_for(self, output: Output) -> Sequence[Op]:
        """Return this print and, where the output's gamut is smaller, the fit into it."""
        shown = HdrPrint(self, output.reference_white, output.peak) if output.is_hdr else self
        return [shown, *fit_into(PRINT_PRIMARIES, output.limiting)]


@dataclass(frozen=True)
class HdrPrint:
    """The same print on an HDR display: `paper` and `peak` in cd/m2.

    Up to _KNEE of the print's own light nothing but the scale differs: 1.0 of the print is
    paper white. Above it, the print's highlights open towards the peak:

        t   = (h_knee - h) / (h_knee - h_end), held to 0-1
        w   = 6 t^5 - 15 t^4 + 10 t^3
        out = (paper / 100) 10^-D_print(h) (peak / paper)^w

    h_knee is the print exposure at the knee, h_end lies _END of the way from mid-grey to the
    negative's D-max. Twice differentiable and strictly monotone, for both factors are.
    """

    film: FilmPrint
    paper: float
    peak: float
    takes: State = State.SCENE
    gives: State = State.DISPLAY

    @property
    def label(self) -> str:
        """Name the print with its levels."""
        return f"{self.film.label}, paper white {self.paper:g}, peak {self.peak:g} cd/m2"

    def light(self, h: Array) -> Array:
        """Return the light for a print exposure; 1.0 = 100 cd/m2."""
        film = self.film
        knee, end = self._opening()
        t = np.clip((knee - h) / (knee - end), 0.0, 1.0)
        opened = t**3 * (t * (6.0 * t - 15.0) + 10.0)
        return np.asarray(
            self.paper / 100.0 * film.print_light(h) * (self.peak / self.paper) ** opened
        )

    def program(self) -> Program:
        """Return the print's own steps with its highlights opened, between 0 and peak / 100."""
        film = self.film
        knee, end = self._opening()
        numbers = HdrNumbers(
            film.curves[1].numbers(),
            triple(knee),
            triple(1.0 / (knee - end)),
            self.paper / 100.0,
            float(np.log2(self.peak / self.paper)),
        )
        return (*film._negative(), Call(hdr_light, numbers))

    def evaluate(self, rgb: Array) -> Array:
        """Return display light, RGB of P3-D65, between 0 and peak / 100."""
        return evaluated(self, rgb)

    def _opening(self) -> tuple[Array, Array]:
        """Return the print exposures between which highlights open, shape (3,)."""
        negative, positive = self.film.curves
        knee = positive.exposure(np.full(3, -np.log10(_KNEE)))
        return knee, np.minimum(-_END * (negative.d_max - negative.aim), knee - _SHORTEST)

    def lower(self) -> list[OcioTransform]:
        """Return the print's own steps with the last table opened up."""
        return self.film.lower_with(self.light)


_KNEE = 0.35
_END = 1.0
_SHORTEST = 0.2


def _curve(film: Negative | Print) -> Curve:
    return Curve(
        gamma=per_channel(film.gamma, 1.0),
        d_max=np.full(3, film.d_max),
        toe=np.full(3, film.toe),
        shoulder=np.full(3, film.shoulder),
        aim=np.full(3, film.aim),
    )


def _table(values: Array) -> OcioTransform:
    import PyOpenColorIO as ocio

    table = ocio.Lut1DTransform(len(values), False)
    table.setData(np.ascontiguousarray(values, dtype=np.float32).ravel())
    return table

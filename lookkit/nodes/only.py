r"""Soft limits: where in the picture a node acts.

    e(x, soft) = f(x / soft + 1/2),      f(t) = t^2 (3 - 2 t) in 0-1
    w_stops    = e(s - from, soft) e(to - s, soft)             s: stops from mid-grey
    w_hue      = e(width / 2 - d, soft) f(c / 0.04)            d: distance from centre
    w_chroma   = e(c - from, soft) e(to - c, soft)             c: chroma
    w          = w_stops w_hue w_chroma, or 1 - that with `invert`
    out        = in + mix w (node(in) - in)

An edge has half effect at its limit and takes `soft` from none to all. Stops are those of the
level (`spaces/level.py`), which stays positive for negative and very saturated colours; hue
and chroma are Oklab's (`spaces/oklab.py`), which exposure changes neither of, so limits in
hue and chroma hold the same at any exposure. A neutral has no hue: the hue limit takes hold
between chroma 0 and 0.04, so nothing jumps where hues meet. What is measured is the
light that enters the node.

Source: edges are the cubic of the usual smooth step; hue and chroma B. Ottosson, "A
perceptual color space for image processing" (2020); the rest is ours.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from pydantic import model_validator
from pydantic_core import PydanticCustomError

from lookkit.kernel.formula import Call, Planes, formula
from lookkit.kernel.maths import PER_RADIAN, Plane, atan2, maximum, smooth, sqrt
from lookkit.nodes.table import Table, error_at, param
from lookkit.spaces.level import stops_of, stops_plane
from lookkit.spaces.oklab import (
    chroma_of,
    hue_distance,
    hue_of,
    in_circle,
    oklab,
    opponents_of,
    roots_of,
)
from lookkit.spaces.working import Array

COLOURED = 0.04
"""The chroma from which a hue limit holds fully."""
LEAST = 0.01
"""A limit that nowhere lets more than this through can never match."""


class StopsLimit(Table):
    """From one level of light to another; a limit left out is open."""

    from_: float | None = param(
        None,
        "half effect on the dark side",
        unit="stops from mid-grey",
        alias="from",
        ge=-30,
        le=30,
    )
    to: float | None = param(
        None, "half effect on the bright side", unit="stops from mid-grey", ge=-30, le=30
    )
    soft: float = param(1.0, "how long each edge takes", unit="stops", ge=0.1, le=20)

    def weight(self, stops: Array) -> Array:
        """Return the weight at `stops` from mid-grey, same shape."""
        return _between(stops, self.from_, self.to, self.soft)


class HueLimit(Table):
    """A band of hues."""

    centre: float = param(
        ...,
        "the hue in the middle: red 25, skin 40, yellow 95-110, foliage 125, cyan 200, sky 253",
        unit="degrees of Oklab hue",
        ge=-360,
        le=360,
    )
    width: float = param(60.0, "from half effect to half effect", unit="degrees", ge=1, le=330)
    soft: float = param(30.0, "how long each edge takes", unit="degrees", ge=1, le=180)

    def weight(self, hue: Array, chroma: Array) -> Array:
        """Return the weight of hues in degrees at a chroma, same shape."""
        apart = hue_distance(hue, in_circle(self.centre))
        return np.asarray(_edge(0.5 * self.width - apart, self.soft) * smooth(chroma / COLOURED))


class ChromaLimit(Table):
    """From one chroma to another; a limit left out is open."""

    from_: float | None = param(
        None, "half effect on the grey side; skin has about 0.1", alias="from", ge=0, le=1
    )
    to: float | None = param(
        None, "half effect on the pure side; a red lamp has 0.4 to 0.5", ge=0, le=1
    )
    soft: float = param(0.05, "how long each edge takes", ge=0.005, le=1)

    def weight(self, chroma: Array) -> Array:
        """Return the weight of a chroma, same shape."""
        return _between(chroma, self.from_, self.to, self.soft)


class Only(Table):
    """Where a node acts: all of its limits together, softly."""

    stops: StopsLimit | None = param(None, "how bright, in stops from mid-grey")
    hue: HueLimit | None = param(None, "which hues")
    chroma: ChromaLimit | None = param(None, "how colourful")
    invert: bool = param(False, "act everywhere else instead")

    @model_validator(mode="after")
    def _can_match(self) -> Only:
        if self.stops is None and self.hue is None and self.chroma is None:
            raise PydanticCustomError("only", "no limit, expected stops, hue or chroma")
        for name, limit in (("stops", self.stops), ("chroma", self.chroma)):
            if limit is None or limit.from_ is None or limit.to is None:
                continue
            if limit.to <= limit.from_:
                raise error_at(
                    (name,),
                    f"from {limit.from_:g} to {limit.to:g} can never match, expected `from` "
                    "below `to`",
                    limit.model_dump(by_alias=True),
                )
        stops = np.linspace(-40.0, 40.0, 1601)[:, None]
        chroma = np.linspace(0.0, 1.0, 1001)
        best = np.ones(1) if self.stops is None else self.stops.weight(stops)
        coloured = self._colour_weight(
            np.array(0.0 if self.hue is None else in_circle(self.hue.centre)), chroma
        )
        inside = best.max() * coloured.max()
        outside = 1.0 - best.min() * self._least_colour_weight(chroma)
        if (outside if self.invert else inside) < LEAST:
            what = "inverted, these limits can never match" if self.invert else (
                "these limits can never match together"
            )  # fmt: skip
            raise PydanticCustomError("only", "{what}, expected wider ones", {"what": what})
        return self

    def _colour_weight(self, hue: Array, chroma: Array) -> Array:
        weight = np.ones(np.broadcast_shapes(hue.shape, chroma.shape))
        if self.hue is not None:
            weight = weight * self.hue.weight(hue, chroma)
        if self.chroma is not None:
            weight = weight * self.chroma.weight(chroma)
        return weight

    def _least_colour_weight(self, chroma: Array) -> float:
        """Return the least weight of any colour: opposite to the band, or in neutrals."""
        far = 0.0 if self.hue is None else in_circle(self.hue.centre + 180.0)
        return float(self._colour_weight(np.array(far), chroma).min())

    def weight(self, rgb: Array) -> Array:
        """Return how far the node acts on scene-linear AP1: 0 to 1, shape (..., 3) to (...)."""
        weight = np.ones(rgb.shape[:-1])
        if self.stops is not None:
            weight = self.stops.weight(stops_of(rgb))
        if self.hue is not None or self.chroma is not None:
            lab = oklab(rgb)
            weight = weight * self._colour_weight(hue_of(lab), chroma_of(lab))
        return 1.0 - weight if self.invert else weight


_OPEN: Final = 1e9
"""An end that no stops and no chroma reach."""


def _edge(x: Plane, soft: Plane) -> Plane:
    return smooth(x / soft + 0.5)


def _within(x: Plane, low: Plane, high: Plane, soft: Plane) -> Plane:
    return _edge(x - low, soft) * _edge(high - x, soft)


def _between(x: Array, low: float | None, high: float | None, soft: float) -> Array:
    ends = (-_OPEN if low is None else low, _OPEN if high is None else high)
    return np.asarray(_within(x, *ends, soft))


class Limits(NamedTuple):
    """How far a node acts: `mix`, and the limits; one that is not set is open.

    `inside` and `outside` are 1 and 0, or the other way round with `invert`.
    """

    mix: float
    low: float
    high: float
    soft: float
    centre: float
    half_width: float
    hue_soft: float
    pale: float
    pure: float
    chroma_soft: float
    coloured: float
    inside: float
    outside: float


@formula()
def mix_in(er: Plane, eg: Plane, eb: Plane, r: Plane, g: Plane, b: Plane, p: Share) -> Planes:
    """Make a share of the change from the light that entered."""
    return er + p.share * (r - er), eg + p.share * (g - eg), eb + p.share * (b - eb)


class Share(NamedTuple):
    """How much of a change is made."""

    share: float


@formula()
def act_by_stops(
    er: Plane, eg: Plane, eb: Plane, r: Plane, g: Plane, b: Plane, p: Limits
) -> Planes:
    """Make the change where the light that entered is bright enough and not too bright."""
    share = p.mix * _either_way(_within(stops_plane(er, eg, eb), p.low, p.high, p.soft), p)
    return er + share * (r - er), eg + share * (g - eg), eb + share * (b - eb)


@formula()
def act_by_colour(
    er: Plane, eg: Plane, eb: Plane, r: Plane, g: Plane, b: Plane, p: Limits
) -> Planes:
    """Make the change where level, hue and chroma of the light that entered lie in the limits."""
    light, a1, b1 = opponents_of(*roots_of(er, eg, eb))
    square = a1 * a1 + b1 * b1
    chroma = sqrt(square / maximum(square + light * light, 1e-37))
    apart = hue_distance(PER_RADIAN * atan2(b1, a1), p.centre)
    in_hue = _edge(p.half_width - apart, p.hue_soft) * smooth(chroma / COLOURED)
    weight = 1.0 + p.coloured * (in_hue - 1.0)
    weight = weight * _within(chroma, p.pale, p.pure, p.chroma_soft)
    weight = weight * _within(stops_plane(er, eg, eb), p.low, p.high, p.soft)
    share = p.mix * _either_way(weight, p)
    return er + share * (r - er), eg + share * (g - eg), eb + share * (b - eb)


def _either_way(weight: Plane, p: Limits) -> Plane:
    return p.outside + (p.inside - p.outside) * weight


def acting(mix: float, only: Only | None, slot: int, entering: int) -> Call:
    """Return the call that makes a part of the change in `slot` of what entered in another."""
    if only is None:
        return Call(mix_in, Share(mix), slot, entering)
    stops, hue, chroma = only.stops, only.hue, only.chroma
    limits = Limits(
        mix=mix,
        low=_open(stops.from_ if stops else None, -_OPEN),
        high=_open(stops.to if stops else None, _OPEN),
        soft=stops.soft if stops else 1.0,
        centre=in_circle(hue.centre) if hue else 0.0,
        half_width=0.5 * hue.width if hue else 180.0,
        hue_soft=hue.soft if hue else 1.0,
        pale=_open(chroma.from_ if chroma else None, -_OPEN),
        pure=_open(chroma.to if chroma else None, _OPEN),
        chroma_soft=chroma.soft if chroma else 1.0,
        coloured=1.0 if hue else 0.0,
        inside=0.0 if only.invert else 1.0,
        outside=1.0 if only.invert else 0.0,
    )
    return Call(act_by_colour if hue or chroma else act_by_stops, limits, slot, entering)


def _open(end: float | None, instead: float) -> float:
    return instead if end is None else end

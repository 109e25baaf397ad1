r"""Tone bands: expose, tint and saturate what is dark, middling and bright apart.

    s     = log2(level(in) / 0.18)                        stops from mid-grey
    w_i   = e^(l_i) / sum_j e^(l_j)                       weights, positive, sum to one
    l_0   = 0,   l_(i+1) = l_i + (s - b_i) / t_i
    b_i   = (c_i v_(i+1) + c_(i+1) v_i) / (v_i + v_(i+1))    c: centres, v: widths
    t_i   = v_i v_(i+1) / (c_(i+1) - c_i)
    a     = in 2^(sum w_i (exposure_i + shift_i))         shift per channel
    out   = Y(a) + (sum w_i saturation_i) (a - Y(a))

With equal widths these weights are bell curves of standard deviation v around the centres,
divided by their sum; with unequal ones neighbours still meet at b_i, nearer to the narrower
band. They are smooth, and as s goes to minus or plus infinity the first or last band takes
all: the outermost bands hold. The level (`spaces/level.py`) is the luminance-weighted root
mean square: it equals luminance on neutrals, and stays positive for negative and very
saturated colours, where luminance would call a blue lamp a shadow. Exposure multiplies all
channels alike, so it moves neither hue nor relative saturation. Negatives are carried.

A setting that folds tone is refused. Along any exposure ray with channels of 0 or more the
level alone moves the bands, and the largest output is linear in the other channels; so it is
enough that along the rays of the three primaries, their mixtures in pairs, and neutral, each
channel that carries the ray rises, and that each channel's gain falls slower than the light
rises. No inverse is offered. Source: the weights are the standard normalised (softmax) form
of bell curves; luminance weights from Academy S-2014-004; the rest is ours.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import combinations, pairwise
from typing import ClassVar, Final, Literal, NamedTuple

import numpy as np
from pydantic import field_validator
from pydantic_core import PydanticCustomError

from lookkit.kernel.formula import Call, Planes, Program, formula, padded
from lookkit.kernel.maths import Plane, exp2, maximum
from lookkit.nodes.base import Channels, Node, Table, error_at, param, per_channel
from lookkit.spaces.level import luminance_plane, stops_plane
from lookkit.spaces.working import AP1_LUMINANCE, Array, OcioTransform

NEAR_FOLD = 0.25
"""Stops out for one stop in below which a warning is given."""
_REACH = 15.0
_STEPS = 241


class ToneBand(Table):
    """One band of tone."""

    centre: float = param(..., "the stop in the middle", unit="stops from mid-grey", ge=-20, le=20)
    width: float = param(
        2.0, "how far it reaches; wider hands over more softly", unit="stops", ge=0.1, le=20
    )
    exposure: float = param(0.0, "brighter or darker", unit="stops", ge=-10, le=10)
    shift: Channels = param(0.0, "colour shift: more or less of each channel", unit="stops")
    saturation: float = param(1.0, "about luminance; 0 is grey", ge=0, le=4)

    @field_validator("shift")
    @classmethod
    def _in_range(cls, value: Channels) -> Channels:
        if np.abs(per_channel(value, 0.0)).max() > 10.0:
            raise PydanticCustomError("range", "a channel out of range, expected -10 to 10")
        return value


LENGTHS: Final = (2, 4, 8, 16)


class BandNumbers(NamedTuple):
    """A band: how its weight's logarithm rises over the one before, and what it does."""

    rate: float
    start: float
    red: float
    green: float
    blue: float
    saturation: float


_NO_BAND: Final = BandNumbers(0.0, -1e4, 0.0, 0.0, 0.0, 0.0)
"""A band whose weight is nothing at any level."""


class Banded(NamedTuple):
    """The bands, from dark to light."""

    bands: tuple[BandNumbers, ...]


@formula(LENGTHS)
def tone_bands(r: Plane, g: Plane, b: Plane, p: Banded) -> Planes:
    """Expose, tint and saturate by the level of the light."""
    stops = stops_plane(r, g, b)
    at, logs = 0.0 * stops, []
    for band in p.bands:
        at = at + (band.rate * stops + band.start)
        logs.append(at)
    top = logs[0]
    for one in logs[1:]:
        top = maximum(top, one)
    total = red = green = blue = saturation = 0.0 * stops
    for band, one in zip(p.bands, logs, strict=True):
        weight = exp2(_PER_E * (one - top))
        total = total + weight
        red, green = red + band.red * weight, green + band.green * weight
        blue, saturation = blue + band.blue * weight, saturation + band.saturation * weight
    share = 1.0 / total
    r, g, b = r * exp2(share * red), g * exp2(share * green), b * exp2(share * blue)
    grey, kept = luminance_plane(r, g, b), share * saturation
    return grey + kept * (r - grey), grey + kept * (g - grey), grey + kept * (b - grey)


_PER_E: Final = 1.4426950408889634
"""log2(e)."""


class ToneBands(Node):
    """Expose, tint and saturate shadows, middle and lights apart."""

    example: ClassVar[str] = """
        [[look]]
        kind = "tone-bands"
        bands = [
          { centre = -5, width = 2, exposure = 0.4, shift = { hue = 260, strength = 0.05 } },
          { centre = 0, width = 2 },
          { centre = 5, width = 2, exposure = -0.8, saturation = 0.9 },
        ]
    """

    kind: Literal["tone-bands"] = "tone-bands"
    bands: tuple[ToneBand, ...] = param((), "from dark to light; none is the identity")

    @field_validator("bands")
    @classmethod
    def _ordered_and_rising(cls, bands: tuple[ToneBand, ...]) -> tuple[ToneBand, ...]:
        for index, (below, above) in enumerate(pairwise(bands), start=1):
            if above.centre < below.centre + 0.01:
                raise error_at(
                    (index,),
                    f"centre {above.centre:g} follows {below.centre:g}, expected bands from dark "
                    "to light, at least 0.01 stops apart",
                    above.centre,
                )
        stop, slope = flattest(bands)
        if slope <= 0.0:
            index = _culprit(bands, stop)
            raise error_at(
                (index,),
                f"band {index + 1} (centre {bands[index].centre:+g}) folds tone at {stop:+.1f} "
                "stops: the output falls while the light rises, expected less difference to its "
                "neighbours, or wider bands",
                bands[index].model_dump(),
            )
        return bands

    @cached_property
    def _blend(self) -> Blend:
        return Blend.of(self.bands)

    def weights(self, stops: Array) -> Array:
        """Return the weight of each band at `stops` from mid-grey: (...) to (..., bands)."""
        return np.moveaxis(self._blend.weights(stops), 0, -1)

    def program(self) -> Program:
        """Return the bands."""
        if not self.bands:
            return ()
        return (Call(tone_bands, Banded(padded(self._numbers(), _NO_BAND, LENGTHS))),)

    def _numbers(self) -> list[BandNumbers]:
        blend = self._blend
        gains = np.broadcast_to(blend.gain_stops, (len(self.bands), 3))
        steps = [(0.0, 0.0)]
        steps += [(1.0 / t, -b / t) for b, t in zip(blend.crossing, blend.softness, strict=True)]
        return [
            BandNumbers(*map(float, (*step, *gain, saturation)))
            for step, gain, saturation in zip(steps, gains, blend.saturation, strict=True)
        ]

    def lower(self) -> list[OcioTransform] | None:
        """Return None: OpenColorIO has no bands that keep ratios."""
        return None if self.bands else []

    def warnings(self) -> list[str]:
        """Say where tone is close to folding."""
        stop, slope = flattest(self.bands)
        if slope >= NEAR_FOLD:
            return []
        index = _culprit(self.bands, stop)
        return [
            f"band {index + 1} (centre {self.bands[index].centre:+g}) nearly folds tone: at "
            f"{stop:+.1f} stops only {slope:.2f} stops come out for one stop in"
        ]


@dataclass(frozen=True, eq=False)
class Blend:
    """Bands as arrays, ready to be mixed.

    Shapes: `crossing` and `softness` (bands - 1,), `gain_stops` (bands, 1) where all channels
    move alike, else (bands, 3), `saturation` (bands,).
    """

    crossing: Array
    softness: Array
    gain_stops: Array
    saturation: Array

    @classmethod
    def of(cls, bands: tuple[ToneBand, ...]) -> Blend:
        """Gather bands, which stand from dark to light."""
        centre = np.array([band.centre for band in bands])
        width = np.array([band.width for band in bands])
        sums = width[:-1] + width[1:]
        gains = np.array([per_channel(band.shift, 0.0) + band.exposure for band in bands])
        if (gains == gains[:, :1]).all():
            gains = gains[:, :1]
        return cls(
            crossing=(centre[:-1] * width[1:] + centre[1:] * width[:-1]) / sums,
            softness=width[:-1] * width[1:] / np.diff(centre),
            gain_stops=gains,
            saturation=np.array([band.saturation for band in bands]),
        )

    @property
    def saturates(self) -> bool:
        """Whether any band changes saturation."""
        return bool((self.saturation != 1.0).any())

    def weights(self, stops: Array) -> Array:
        """Return the weights at `stops`: shape (...) to (bands, ...)."""
        stops = np.asarray(stops)
        logs = np.zeros((len(self.crossing) + 1, *stops.shape))
        for index, (crossing, softness) in enumerate(
            zip(self.crossing, self.softness, strict=True), start=1
        ):
            logs[index] = logs[index - 1] + (stops - crossing) / softness
        weights = np.exp(logs - logs.max(axis=0))
        return np.asarray(weights / weights.sum(axis=0))

    def slope(self, stops: Array) -> Array:
        """Return the least stops out for one stop in, over all rays, at each of `stops`."""
        weights = self.weights(stops)
        rates = np.concatenate([[0.0], np.cumsum(1.0 / self.softness)])[:, None]
        change = weights * (rates - (weights * rates).sum(axis=0))
        gain_stops = np.broadcast_to(self.gain_stops, (len(self.gain_stops), 3))
        # The common factor 2^s cancels in a relative slope; it is kept as "+ 1" below.
        gain = np.exp2(weights.T @ gain_stops)
        channel_slope = 1.0 + change.T @ gain_stops
        gain_rate = np.log(2.0) * gain * channel_slope
        amount = (weights.T @ self.saturation)[:, None]
        amount_rate = (change.T @ self.saturation)[:, None]
        least = channel_slope.min(axis=-1)
        for carriers in _RAYS:
            grey = (gain[:, carriers] @ AP1_LUMINANCE[carriers])[:, None]
            grey_rate = (gain_rate[:, carriers] @ AP1_LUMINANCE[carriers])[:, None]
            value = grey + amount * (gain[:, carriers] - grey)
            rate = (
                grey_rate
                + amount_rate * (gain[:, carriers] - grey)
                + amount * (gain_rate[:, carriers] - grey_rate)
            )
            value = np.where(value == 0.0, np.finfo(float).tiny, value)
            least = np.minimum(least, (rate / value).min(axis=-1) / np.log(2.0))
        return np.asarray(least)


_RAYS = [list(carriers) for count in (1, 2, 3) for carriers in combinations(range(3), count)]


def flattest(bands: tuple[ToneBand, ...]) -> tuple[float, float]:
    """Return where tone rises least, in stops from mid-grey, and its slope there.

    The slope is in stops out for one stop in, the least over neutral and the rays of the
    primaries and their mixtures; 0 or less is a fold. A single band never folds.
    """
    if len(bands) < 2:
        return 0.0, 1.0
    blend = Blend.of(bands)
    around = np.linspace(-_REACH, _REACH, _STEPS)
    stops = np.unique(blend.crossing + around[:, None] * blend.softness)
    slopes = blend.slope(stops)
    worst = int(slopes.argmin())
    return float(stops[worst]), float(slopes[worst])


def _culprit(bands: tuple[ToneBand, ...], stop: float) -> int:
    """Return the band whose adjustments, taken away, would help most at `stop`."""
    slopes = []
    for index, band in enumerate(bands):
        bare = ToneBand(centre=band.centre, width=band.width)
        changed = (*bands[:index], bare, *bands[index + 1 :])
        slopes.append(float(Blend.of(changed).slope(np.array([stop]))[0]))
    return int(np.argmax(slopes))

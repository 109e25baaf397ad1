r"""Hue bands: turn, saturate and expose the colours around chosen hues.

    h, r  = hue and relative chroma C / L of `in`          Oklab; exposure changes neither
    d_i   = distance of h from centre_i around the circle, 0 to 180 degrees
    w_i   = f((width_i / 2 + soft_i / 2 - d_i) / soft_i),  f(x) = x^2 (3 - 2 x) in 0-1
    g     = r^2 / (r^2 + half_chroma^2)
    h'    = h + g sum w_i turn_i
    C'    = C (1 + g (prod (1 + w_i (saturation_i - 1)) - 1))
    out   = 2^(g sum w_i exposure_i) rgb(L, C', h')

A band has full effect inside, half effect at `width` / 2 from its centre and none beyond its
edge, also across 360 degrees. All effects fade out towards neutral by g, so neutrals stay
exactly and nothing jumps: close to neutral all hues meet, and what depends on hue there
amplifies noise and is too narrow for a lattice. The output is the input plus a difference that
is zero where no band reaches. Lightness L is kept by turn and saturation. Negatives are carried;
there is no upper limit. No inverse is offered.

Source: hue, chroma and lightness of Oklab, B. Ottosson, "A perceptual color space for image
processing" (2020), as in W3C CSS Color Module Level 4, homogeneous in light (see
`spaces/oklab.py`); the bands are ours.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar, Final, Literal, NamedTuple

import numpy as np

from lookkit.kernel.formula import Call, Planes, Program, formula, padded
from lookkit.kernel.maths import (
    PER_RADIAN,
    Plane,
    absolute,
    atan2,
    cos,
    exp2,
    maximum,
    minimum,
    mixed,
    sin,
    smooth,
    unsure,
)
from lookkit.nodes.base import Node, Table, param
from lookkit.spaces.oklab import (
    CONES,
    OPPONENTS,
    hue_distance,
    in_circle,
    opponents_of,
    roots_of,
)
from lookkit.spaces.working import Array, OcioTransform

_STEEPEST = 1.5
"""The greatest slope of the edge function f."""


class Band(Table):
    """One band of hues."""

    centre: float = param(
        ...,
        "the hue in the middle: red 25, skin 40, orange 53, yellow 95-110, foliage 125, "
        "green 145, cyan 200, sky 253, blue 260, violet 318, magenta 345",
        unit="degrees of Oklab hue",
        ge=-360,
        le=360,
    )
    width: float = param(40.0, "from half effect to half effect", unit="degrees", ge=1, le=300)
    soft: float = param(30.0, "how long each edge takes to fall", unit="degrees", ge=1, le=300)
    turn: float = param(0.0, "added to the hue", unit="degrees", ge=-180, le=180)
    saturation: float = param(
        1.0, "multiplies the chroma; 0 leaves pale colours a trace", ge=0, le=4
    )
    exposure: float = param(0.0, "brighter or darker", unit="stops", ge=-10, le=10)


LENGTHS: Final = (2, 4, 8, 16)
_FROM_AB = np.linalg.inv(OPPONENTS)[:, 1:].tolist()
_FROM_CONES = np.linalg.inv(CONES).tolist()
_NO_LIGHT: Final = 1e-37


class BandNumbers(NamedTuple):
    """A band: its centre, half its reach, one over its edge, and what it does.

    `turn` is in radians, `saturation` what is added to 1.
    """

    centre: float
    reach: float
    steep: float
    turn: float
    saturation: float
    exposure: float


_NO_BAND: Final = BandNumbers(0.0, 1.0, 1.0, 0.0, 0.0, 0.0)


class Hues(NamedTuple):
    """The bands, and the chroma where their effect is half."""

    bands: tuple[BandNumbers, ...]
    half_chroma: float


def _numbers(band: Band) -> BandNumbers:
    return BandNumbers(
        in_circle(band.centre),
        0.5 * (band.width + band.soft),
        1.0 / band.soft,
        float(np.radians(band.turn)),
        band.saturation - 1.0,
        band.exposure,
    )


def band_weight(hue: Array, band: Band) -> Array:
    """Return the weight of `band` at `hue` in degrees: 1 inside, 0 outside, same shape."""
    return np.asarray(_weight((hue + 180.0) % 360.0 - 180.0, _numbers(band)))


def _weight(hue: Plane, band: BandNumbers) -> Plane:
    x = (band.reach - hue_distance(hue, band.centre)) * band.steep
    # A short edge magnifies what float32 loses of the hue.
    unsure((x > 0.0) & (x < 1.0) & (band.steep > 0.2))
    return smooth(x)


@formula(LENGTHS)
def hue_bands(r: Plane, g: Plane, b: Plane, p: Hues) -> Planes:
    """Turn, saturate and expose the colours in each band."""
    long, middle, short = roots_of(r, g, b)
    light, a1, b1 = opponents_of(long, middle, short)
    turn, saturation, stops = effect(PER_RADIAN * atan2(b1, a1), p.bands)
    chroma = a1 * a1 + b1 * b1
    # Nearly all chroma and no lightness: what float32 loses of it shows.
    unsure(chroma > 4.0 * light * light)
    level = p.half_chroma * light
    share = chroma / maximum(chroma + level * level, _NO_LIGHT)
    turn, saturation = share * turn, 1.0 + share * (saturation - 1.0)
    # 1 - cos by the half angle, which keeps its digits where the turn is small.
    sine, cosine = sin(0.5 * turn), cos(0.5 * turn)
    along = saturation * (1.0 - 2.0 * sine * sine) - 1.0
    across = saturation * (2.0 * sine * cosine)
    da, db = along * a1 - across * b1, across * a1 + along * b1
    changes = [
        _cubes_apart(root, row[0] * da + row[1] * db)
        for root, row in zip((long, middle, short), _FROM_AB, strict=True)
    ]
    dr, dg, db = mixed(_FROM_CONES, *changes)
    before = maximum(maximum(absolute(r), absolute(g)), absolute(b))
    after = maximum(maximum(absolute(r + dr), absolute(g + dg)), absolute(b + db))
    least = minimum(minimum(absolute(r + dr), absolute(g + dg)), absolute(b + db))
    # What is left of strong colours, in all channels or in one, is a small difference.
    unsure((after < 0.1 * before) | (least < 0.003 * after))
    # So it is where a turn makes light that no screen has much stronger.
    unsure((after > 1.5 * before) & (least < 0.03 * after))
    gain = exp2(share * stops)
    return gain * (r + dr), gain * (g + dg), gain * (b + db)


def effect(hue: Plane, bands: Sequence[BandNumbers]) -> tuple[Plane, Plane, Plane]:
    """Return turn in radians, saturation and exposure in stops at `hue` in degrees."""
    turn, saturation, stops = 0.0 * hue, 1.0 + 0.0 * hue, 0.0 * hue
    for band in bands:
        weight = _weight(hue, band)
        turn = turn + band.turn * weight
        saturation = saturation * (1.0 + band.saturation * weight)
        stops = stops + band.exposure * weight
    return turn, saturation, stops


def _cubes_apart(root: Plane, step: Plane) -> Plane:
    """Return (root + step)^3 - root^3, exact also where the step is tiny or zero."""
    return step * (3.0 * root * (root + step) + step * step)


class HueBands(Node):
    """Change some hues and leave the others."""

    example: ClassVar[str] = """
        [[look]]
        kind = "hue-bands"
        bands = [
          { centre = 125, width = 50, turn = -8, saturation = 0.8 },
          { centre = 253, width = 60, soft = 40, exposure = -0.3 },
        ]
    """

    kind: Literal["hue-bands"] = "hue-bands"
    bands: tuple[Band, ...] = param((), "may overlap; none is the identity")
    half_chroma: float = param(
        0.05,
        "relative chroma C / L where the effect is half: skin has about 0.1, a lamp 0.4; "
        "more is smoother around neutral, and LUTs hold it better",
        ge=0.01,
        le=1,
    )

    def program(self) -> Program:
        """Return the bands."""
        if not self.bands:
            return ()
        numbers = padded([_numbers(band) for band in self.bands], _NO_BAND, LENGTHS)
        return (Call(hue_bands, Hues(numbers, self.half_chroma)),)

    def lower(self) -> list[OcioTransform] | None:
        """Return None: OpenColorIO has no bands in this hue."""
        return None if self.bands else []

    def warnings(self) -> list[str]:
        """Say where the order of the hues is reversed."""
        hue = np.arange(-180.0, 180.0, 0.25)
        turned = hue + np.degrees(effect(hue, [_numbers(band) for band in self.bands])[0])
        step = np.diff(turned, append=turned[0] + 360.0)
        if step.min() > 0.0:
            return []
        place = hue[int(step.argmin())]
        near = min(
            range(len(self.bands)),
            key=lambda index: float(
                abs(
                    hue_distance(place, in_circle(self.bands[index].centre))
                    - self.bands[index].width / 2
                )
            ),
        )
        needed = _STEEPEST * abs(self.bands[near].turn)
        return [
            f"band {near + 1} (centre {self.bands[near].centre:g}) reverses the order of hues "
            f"around {place % 360.0:.0f} degrees: give it soft = {needed:.0f} or more, or turn "
            "it less"
        ]

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

from typing import ClassVar, Literal

import numpy as np

from lookkit.nodes.base import Node, Table, param
from lookkit.spaces.oklab import (
    CONES,
    OPPONENTS,
    cone_roots,
    hue_distance,
    hue_of,
    opponents,
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

    def evaluate(self, rgb: Array) -> Array:
        """Return the light with the hues of each band changed."""
        if not self.bands:
            return np.array(rgb)
        roots = cone_roots(rgb)
        lab = opponents(roots)
        turn, saturation, exposure = self._effect(hue_of(lab))
        a, b = lab[..., 1], lab[..., 2]
        chroma = np.square(a) + np.square(b)
        whole = chroma + np.square(self.half_chroma * lab[..., 0])
        share = np.divide(chroma, whole, out=np.zeros_like(whole), where=whole > 0.0)
        turn *= share
        saturation = 1.0 + share * (saturation - 1.0)
        along, across = saturation * np.cos(turn), saturation * np.sin(turn)
        moved = np.stack([along * a - across * b - a, across * a + along * b - b], axis=-1)
        step = moved @ _FROM_AB.T
        # The difference of the cubes, exact also where the step is tiny or zero.
        change = step * (3.0 * roots * (roots + step) + step * step)
        out = rgb + change @ _FROM_CONES.T
        if exposure is not None:
            out *= np.exp2(share * exposure)[..., None]
        return np.asarray(out)

    def _effect(self, hue: Array) -> tuple[Array, Array, Array | None]:
        """Return turn in radians, saturation and, if any band has it, exposure at `hue`."""
        turn, saturation = np.zeros_like(hue), np.ones_like(hue)
        exposure = np.zeros_like(hue) if any(band.exposure for band in self.bands) else None
        for band in self.bands:
            weight = band_weight(hue, band)
            turn += np.radians(band.turn) * weight
            saturation *= 1.0 + weight * (band.saturation - 1.0)
            if exposure is not None:
                exposure += band.exposure * weight
        return turn, saturation, exposure

    def lower(self) -> list[OcioTransform] | None:
        """Return None: OpenColorIO has no bands in this hue."""
        return None if self.bands else []

    def warnings(self) -> list[str]:
        """Say where the order of the hues is reversed."""
        hue = np.arange(0.0, 360.0, 0.25)
        turned = hue + np.degrees(self._effect(hue)[0])
        step = np.diff(turned, append=turned[0] + 360.0)
        if step.min() > 0.0:
            return []
        place = hue[int(step.argmin())]
        near = min(
            range(len(self.bands)),
            key=lambda index: float(
                abs(hue_distance(place, self.bands[index].centre) - self.bands[index].width / 2)
            ),
        )
        needed = _STEEPEST * abs(self.bands[near].turn)
        return [
            f"band {near + 1} (centre {self.bands[near].centre:g}) reverses the order of hues "
            f"around {place:.0f} degrees: give it soft = {needed:.0f} or more, or turn it less"
        ]


def band_weight(hue: Array, band: Band) -> Array:
    """Return the weight of `band` at `hue` in degrees: 1 inside, 0 outside, same shape."""
    distance = hue_distance(hue, band.centre)
    x = np.clip((0.5 * (band.width + band.soft) - distance) / band.soft, 0.0, 1.0)
    return np.asarray(x * x * (3.0 - 2.0 * x))


_FROM_AB = np.linalg.inv(OPPONENTS)[:, 1:]
_FROM_CONES = np.linalg.inv(CONES)

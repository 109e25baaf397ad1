"""The colours on which a lattice is fitted and judged.

Every set is drawn in scene-linear AP1 and encoded by the camera, so the same scenes
test every camera. The draws are repeatable: a seed gives the same colours always. The
seeds of fitting and of auditing differ, so a certificate never judges a lattice on the
colours it was fitted to.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from lookkit.spaces.level import luminance, stops_of
from lookkit.spaces.working import MID_GREY, Array

SetName = Literal[
    "neutral-ramp",
    "image-like",
    "skin",
    "saturated-emitters",
    "over-range",
    "whole-cube",
    "bright-skies",
    "negative-lights",
    "clipped-faces",
]

SET_SIZES: Final[dict[SetName, int]] = {
    "neutral-ramp": 4096,
    "image-like": 32768,
    "skin": 8192,
    "saturated-emitters": 16384,
    "over-range": 8192,
    "whole-cube": 32768,
    "bright-skies": 8192,
    "negative-lights": 8192,
    "clipped-faces": 8192,
}
"""How many colours each audited set has."""

FIT_SEED: Final = 1
AUDIT_SEED: Final = 2


@dataclass(frozen=True)
class CodeSpace:
    """A camera's encoding, between scene-linear AP1 and code values.

    Attributes
    ----------
    encode
        Scene-linear AP1 (n, 3), negatives and values over 1 included, to code (n, 3).
    decode
        Code (n, 3) to scene-linear AP1 (n, 3).
    """

    encode: Callable[[Array], Array]
    decode: Callable[[Array], Array]


def audit_sets(
    space: CodeSpace, seed: int = AUDIT_SEED, sizes: Mapping[SetName, int] | None = None
) -> dict[SetName, Array]:
    """Return all audited sets as code values in 0-1, shape (n, 3) each.

    Parameters
    ----------
    space
        The camera's encoding.
    seed
        Chooses the draw.
    sizes
        Colours in each set; `SET_SIZES` by default.
    """
    sizes = SET_SIZES if sizes is None else sizes
    top = float(stops_of(space.decode(np.ones((1, 3))))[0])
    draws = _draws(top)
    sets: dict[SetName, Array] = {}
    for order, (name, count) in enumerate(sizes.items()):
        rng = np.random.default_rng([seed, order])
        if name == "neutral-ramp":
            sets[name] = neutral_ramp(count)
        elif name == "whole-cube":
            sets[name] = rng.random((count, 3))
        elif name == "clipped-faces":
            sets[name] = _clipped(rng, to_code(space, _anything(rng, count, top)))
        else:
            sets[name] = to_code(space, draws[name](rng, count))
    return sets


def _draws(top: float) -> dict[SetName, Callable[[np.random.Generator, int], Array]]:
    """Return the sets that are scenes, for a camera that clips `top` stops over mid-grey."""
    return {
        "image-like": image_like,
        "skin": skin,
        "saturated-emitters": saturated_emitters,
        "over-range": lambda rng, n: over_range(rng, n, top),
        "bright-skies": lambda rng, n: bright_skies(rng, n, top),
        "negative-lights": negative_lights,
    }


def to_code(space: CodeSpace, scene: Array) -> Array:
    """Encode scene-linear AP1 as a camera file holds it: clipped to 0-1, finite."""
    code = np.nan_to_num(np.asarray(space.encode(scene), dtype=np.float64), posinf=1.0, neginf=0.0)
    return np.clip(code, 0.0, 1.0)


def neutral_ramp(count: int) -> Array:
    """Return equal code values from 0 to 1, shape (count, 3)."""
    return np.repeat(np.linspace(0.0, 1.0, count)[:, None], 3, axis=1)


def image_like(rng: np.random.Generator, count: int) -> Array:
    """Draw scene colours as pictures have them, AP1, shape (count, 3).

    Log luminance is a broad bell a stop below mid-grey with a tail of lights and of
    deep shadow. A third of the surfaces are greyish, half are coloured, the rest are
    vivid; blue-yellow varies more than red-green and leans to yellow, and so does the
    light of a picture. A tenth of the pixels mix two surfaces, as edges and blur do; a
    little sensor noise is added.

    References
    ----------
    Log-opponent axes and the order of their variances follow Ruderman, Cronin, Chiao,
    JOSA A 15 (1998), from memory. The numbers are our own, set so that quantiles of
    log ratios and luminance lie between those of open photographs.
    """
    stops = rng.normal(-1.0, 1.8, count)
    kind = rng.random(count)
    lights, shadows = kind < 0.06, kind > 0.90
    stops[lights] = rng.uniform(1.5, 6.0, int(lights.sum()))
    stops[shadows] = rng.uniform(-8.0, -3.0, int(shadows.sum()))
    kind = rng.random(count)
    spread = np.where(kind < 0.35, 0.06, np.where(kind < 0.85, 0.22, 0.5))
    red_green = spread * rng.normal(0.25, 1.0, count)
    blue_yellow = 1.6 * spread * rng.normal(-0.5, 1.0, count)
    # Each picture of 512 pixels has its own light, a little warm or cool.
    warmth = np.repeat(rng.normal(-0.05, 0.15, -(-count // 512)), 512)[:count]
    scene = _from_log_ratios(stops, red_green, blue_yellow + warmth)
    mixed = rng.random(count) < 0.10
    share = rng.random((count, 1))
    scene = np.where(mixed[:, None], share * scene + (1.0 - share) * np.roll(scene, 1, 0), scene)
    return np.asarray(scene + rng.normal(0.0, 0.0006, (count, 3)))


def skin(rng: np.random.Generator, count: int) -> Array:
    """Draw skin from deep to light under light and shade, AP1, shape (count, 3).

    Lighter skin sits about a stop over mid-grey, deeper skin at or below it (common
    practice, no source); the hue band is our own choice around the two skin patches of
    the usual 24-patch chart.
    """
    depth = rng.random(count)
    stops = 1.0 - 2.5 * depth + rng.normal(0.0, 0.3, count)
    shade = -rng.exponential(0.8, count)
    warm = rng.random(count) < 0.03
    shade[warm] = rng.uniform(0.5, 2.5, int(warm.sum()))
    red_over_green = rng.normal(0.34, 0.08, count) + 0.08 * depth
    blue_over_green = rng.normal(-0.34, 0.10, count) - 0.08 * depth
    log_rgb = np.stack([red_over_green, np.zeros(count), blue_over_green], axis=-1)
    rgb = np.exp(log_rgb)
    return np.asarray(rgb * (MID_GREY * np.exp2(stops + shade) / luminance(rgb))[:, None])


def saturated_emitters(rng: np.random.Generator, count: int) -> Array:
    """Draw coloured lights: every hue of AP1, 60-100 % saturated, -6 to +6 stops.

    The brightest channel, not the luminance, is placed in stops from mid-grey: that is
    what a camera's log curve sees of a coloured lamp.
    """
    rgb = _hue(rng.random(count))
    saturation = 1.0 - 0.4 * rng.random(count) ** 2
    rgb = 1.0 - saturation[:, None] * (1.0 - rgb)
    stops = rng.uniform(-6.0, 6.0, count)
    return np.asarray(rgb * (MID_GREY * np.exp2(stops))[:, None])


def over_range(rng: np.random.Generator, count: int, top: float) -> Array:
    """Draw what a display cannot show: from +4 stops to `top`, and below black.

    A quarter are coloured lights, a quarter lie around and below zero, a quarter of
    those carry the negative channels that a camera matrix makes of deep blue and red.
    """
    scene = image_like(rng, count)
    bright = np.exp2(rng.uniform(4.0, max(top, 5.0) + 0.5, count)) * MID_GREY
    scene = scene * (bright / np.maximum(np.abs(luminance(scene)), 1e-4))[:, None]
    kind = rng.random(count)
    lamps = kind < 0.25
    lamp = _hue(rng.random(int(lamps.sum())))
    scene[lamps] = (0.02 + lamp) * bright[lamps, None]
    dark = kind > 0.75
    scene[dark] = rng.normal(0.0, 0.02, (int(dark.sum()), 3))
    negative = (kind > 0.70) & ~dark
    lamp = _hue(rng.random(int(negative.sum()))) * 1.15 - 0.15
    scene[negative] = lamp * (MID_GREY * np.exp2(rng.uniform(-4.0, 4.0, len(lamp))))[:, None]
    return scene


def bright_skies(rng: np.random.Generator, count: int, top: float) -> Array:
    """Draw skies from +1 stop to where the camera clips, AP1, shape (count, 3).

    Seven in ten are blue to white, the rest are sunsets from yellow to red; a hundredth of a
    stop of noise and the glow of the sun, which is white, lie over both. The log ratios are
    our own choice, wide enough for the skies of open panoramas.
    """
    stops = rng.uniform(1.0, max(top, 2.0) + 0.5, count)
    sunset = rng.random(count) < 0.3
    strength = rng.random(count)
    red_green = np.where(sunset, 0.9, -0.45) * strength + rng.normal(0.0, 0.06, count)
    blue_yellow = np.where(sunset, -1.0, 0.75) * strength + rng.normal(0.0, 0.08, count)
    scene = _from_log_ratios(stops, red_green, blue_yellow)
    glow = rng.random((count, 1)) ** 4 * scene.max(axis=1, keepdims=True)
    return np.asarray((scene + glow) * np.exp2(rng.normal(0.0, 0.01, (count, 3))))


def negative_lights(rng: np.random.Generator, count: int) -> Array:
    """Draw coloured lights whose weakest channel is below zero, AP1, shape (count, 3).

    A camera's matrix makes them of narrow lamps: down to -15 % of the largest channel, most of
    them nearer to zero. From -6 to +6 stops, placed as `saturated_emitters` are.
    """
    below = 0.15 * rng.random((count, 1)) ** 2
    rgb = _hue(rng.random(count)) * (1.0 + below) - below
    return np.asarray(rgb * (MID_GREY * np.exp2(rng.uniform(-6.0, 6.0, (count, 1)))))


def _anything(rng: np.random.Generator, count: int, top: float) -> Array:
    """Draw one of the scenes' colours at a time, AP1, shape (count, 3)."""
    draws = _draws(top)
    kind = rng.integers(0, len(draws), count)
    drawn = np.stack([draw(rng, count) for draw in draws.values()])
    return np.asarray(drawn[kind, np.arange(count)])


def _clipped(rng: np.random.Generator, code: Array) -> Array:
    """Push one channel of each code to an end: half at it, half within two hundredths of it.

    The weakest channel goes to 0 as often as the strongest goes to 1.
    """
    rows = np.arange(len(code))
    up = rng.random(len(code)) < 0.5
    channel = np.where(up, code.argmax(axis=1), code.argmin(axis=1))
    inwards = 0.02 * rng.random(len(code)) * (rng.random(len(code)) < 0.5)
    out = code.copy()
    out[rows, channel] = np.where(up, 1.0 - inwards, inwards)
    return out


def _from_log_ratios(stops: Array, red_green: Array, blue_yellow: Array) -> Array:
    """RGB of ln(R/G) = red_green and ln(B/sqrt(RG)) = blue_yellow at a luminance in stops."""
    log_rgb = np.stack([0.5 * red_green, -0.5 * red_green, blue_yellow], axis=-1)
    rgb = np.exp(log_rgb)
    return np.asarray(rgb * (MID_GREY * np.exp2(stops) / luminance(rgb))[:, None])


def _hue(turn: Array) -> Array:
    """Fully saturated RGB of a hue given in turns from red; largest channel 1, least 0."""
    offsets = np.array([0.0, 1.0 / 3.0, 2.0 / 3.0])
    distance = np.abs((turn[:, None] - offsets + 0.5) % 1.0 - 0.5)
    return np.asarray(np.clip(2.0 - 6.0 * distance, 0.0, 1.0))

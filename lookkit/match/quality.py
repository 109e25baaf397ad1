"""What is wrong with the frames a match was made from, in words, each with its figure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from lookkit.match import charts
from lookkit.match.colour import difference, lab_jacobian
from lookkit.match.fit import Fit
from lookkit.match.patches import Patches
from lookkit.match.solve import Solution
from lookkit.spaces.working import Array

Level = Literal["note", "warning"]

CLIPPED_SHARE: Final = 0.02
_NOISE: Final = 0.5
_FLARE: Final = 0.5
_SHADE: Final = 0.15
_UNEVEN: Final = 0.25
"""Against published values, which a real chart meets only so well."""
_MIXED: Final = 0.15
_EXPOSURE: Final = 0.5
_BRACKET: Final = 0.3
_CAST: Final = 0.15
_EDITION: Final = 0.3
_SUBSAMPLED: Final = 4.0
"""Pixels of a subsampled, compressed picture that are worth one independent one."""


@dataclass(frozen=True)
class Finding:
    """One thing found about the frames.

    Attributes
    ----------
    check
        A short name: clipped, crushed, noisy, glared, shaded, mixed light, flared,
        exposure, bracket, cast, edition, light.
    figure, unit
        The measured value.
    words
        The whole sentence for people.
    """

    level: Level
    check: str
    camera: str
    figure: float
    unit: str
    words: str


def clipping(camera: str, stops: float, patches: Patches) -> list[Finding]:
    """Return which patches clip at the top (left out) or lie at zero (kept)."""
    findings = []
    high = np.flatnonzero(patches.clipped > CLIPPED_SHARE)
    if len(high):
        # An exposure meant to be bright clips its white without harm.
        level: Level = "note" if stops > 0.5 and len(high) <= 12 else "warning"
        findings.append(
            Finding(
                level,
                "clipped",
                camera,
                float(len(high)),
                "patches",
                f"camera {camera} at {stops:+g} stops: {len(high)} of 24 patches clip and are "
                f"left out ({_names(high)})",
            )
        )
    low = np.flatnonzero((patches.crushed > CLIPPED_SHARE) & (patches.pixels > 0))
    if len(low):
        findings.append(
            Finding(
                "note",
                "crushed",
                camera,
                float(len(low)),
                "patches",
                f"camera {camera} at {stops:+g} stops: {len(low)} of 24 patches touch zero "
                f"({_names(low)}): what was lost there cannot be matched",
            )
        )
    return findings


def noise(camera: str, patches: Patches, scene: Array, counts: np.ndarray) -> list[Finding]:
    """Return whether the means of the patches are uncertain.

    `scene` is the scene-linear AP1 of the patches, (24, 3); noise is carried to it by the
    ratio of its brightness to the patches' own light.
    """
    gain = np.abs(scene).mean(axis=1) / np.maximum(np.abs(patches.light).mean(axis=1), 1e-6)
    count = np.maximum(patches.pixels / _SUBSAMPLED, 1.0)
    error = patches.noise * (gain / np.sqrt(count))[:, None]
    in_lab = np.einsum("nij,nj->ni", np.abs(lab_jacobian(scene)), error) / np.sqrt(3.0)
    figure = float(np.linalg.norm(in_lab, axis=1)[counts].max())
    if figure <= _NOISE:
        return []
    return [
        Finding(
            "warning",
            "noisy",
            camera,
            figure,
            "Delta E",
            f"camera {camera}: noise leaves up to {figure:.1f} Delta E of doubt in a patch: "
            "average more frames, or let the chart fill more of the picture",
        )
    ]


def glare(camera: str, fit: Fit, usable: np.ndarray) -> list[Finding]:
    """Return which patches the fit gave up on: glare, a shadow, a finger, a scratch."""
    dropped = usable & ~fit.kept
    patches = np.flatnonzero(dropped.any(axis=0))
    if not len(patches):
        return []
    worst = float(fit.observed[dropped].max())
    return [
        Finding(
            "warning",
            "glared",
            camera,
            worst,
            "Delta E",
            f"camera {camera}: {len(patches)} of 24 patches disagree with the others by up to "
            f"{worst:.1f} Delta E and were left out ({_names(patches)}): glare or a shadow?",
        )
    ]


def evenness(camera: str, scene: Array, wanted: Array, counts: np.ndarray) -> list[Finding]:
    """Return whether light falls off or changes colour over the chart.

    Planes are fitted to the log ratios of `scene` to `wanted` (both (24, 3)) over those
    patches that count; the figures are stops from one end to the other. What goes with the
    patches' own brightness or colour is fitted beside them: the greys lie in a row from
    white to black, so a wrong tone curve would look like a falling light.
    """
    ratio = np.log2(np.maximum(scene, 1e-5) / np.maximum(wanted, 1e-5))
    steady = counts & (
        np.minimum(scene.min(axis=1), wanted.min(axis=1)) > 0.15 * wanted.mean(axis=1)
    )
    own = np.log2(np.maximum(wanted, 1e-4))
    level = np.log2(np.maximum(wanted.mean(axis=1), 1e-4))
    luminance = np.log2(
        np.maximum(scene.mean(axis=1), 1e-5) / np.maximum(wanted.mean(axis=1), 1e-5)
    )
    findings = []
    shade = _slope(luminance, level, counts)
    if shade > _UNEVEN:
        findings.append(
            Finding(
                "warning",
                "shaded",
                camera,
                shade,
                "stops",
                f"camera {camera}: the light falls off by {shade:.2f} stop over the chart: "
                "light it more evenly or move the lamp back",
            )
        )
    mixed = max(
        _slope(ratio[:, 0] - ratio[:, 1], own[:, 0] - own[:, 1], steady),
        _slope(ratio[:, 2] - ratio[:, 1], own[:, 2] - own[:, 1], steady),
    )
    if mixed > _MIXED:
        findings.append(
            Finding(
                "warning",
                "mixed light",
                camera,
                mixed,
                "stops",
                f"camera {camera}: the colour of the light changes by {mixed:.2f} stop over the "
                "chart: two kinds of light fall on it",
            )
        )
    return findings


def shading(camera: str, reference: str, solution: Solution) -> list[Finding]:
    """Return whether light falls off over camera B's chart against the reference's."""
    figure = float(np.abs(solution.shade).sum())
    if figure <= _SHADE:
        return []
    return [
        Finding(
            "warning",
            "shaded",
            camera,
            figure,
            "stops",
            f"camera {camera}: the light falls off by {figure:.2f} stop over the chart against "
            f"{reference}; the fit allowed for it, but light it more evenly",
        )
    ]


def flare(camera: str, solution: Solution, target: Array) -> list[Finding]:
    """Return how much stray light lies over camera B's chart, seen from its bracket."""
    if len(solution.exposure_errors) < 2:
        return []
    figure = flare_percent(solution, target)
    if figure <= _FLARE:
        return []
    return [
        Finding(
            "warning",
            "flared",
            camera,
            figure,
            "percent",
            f"camera {camera}: stray light of {figure:.1f} % of white lies over the chart; the "
            "match does not undo it, so scenes without it are right and this chart is not",
        )
    ]


def flare_percent(solution: Solution, target: Array) -> float:
    """Return the flare as a percentage of the chart's white."""
    stray = float((solution.matrix @ solution.flare).mean())
    return 100.0 * stray / float(target[charts.WHITE].mean())


def exposure(
    reference: str, camera: str, scene: Array, before: Array, counts: np.ndarray
) -> list[Finding]:
    """Return whether the main camera's chart is exposed as its paper is, and how B differs.

    `scene` is the reference's scene-linear AP1, `before` camera B's own light, (24, 3);
    `reference` is "camera NAME" or "chart EDITION".
    """
    greys = np.arange(charts.COUNT)[charts.NEUTRALS]
    greys = greys[counts[greys]]
    if not len(greys):
        return []
    paper = charts.edition("average").luminance[greys]
    off = float(np.median(np.log2(_luminance(scene)[greys] / paper)))
    findings = []
    if abs(off) > _EXPOSURE:
        findings.append(
            Finding(
                "warning",
                "exposure",
                reference.removeprefix("camera "),
                off,
                "stops",
                f"{reference}: the chart's greys lie {off:+.1f} stops from their paper values; the "
                "match follows it, so its exposure is taken as wanted",
            )
        )
    ratio = _luminance(before)[greys] / _luminance(scene)[greys]
    between = float(np.median(np.log2(ratio)))
    findings.append(
        Finding(
            "note",
            "exposure",
            camera,
            between,
            "stops",
            f"camera {camera} is exposed {between:+.2f} stops against {reference}",
        )
    )
    return findings


def bracket(camera: str, stops: Sequence[float], solution: Solution) -> list[Finding]:
    """Return which exposures are not what they were called."""
    findings = []
    for nominal, error in zip(stops, solution.exposure_errors, strict=True):
        if abs(error) > _BRACKET:
            findings.append(
                Finding(
                    "warning",
                    "bracket",
                    camera,
                    float(error),
                    "stops",
                    f"camera {camera}: the exposure called {nominal:+g} stops is "
                    f"{nominal + error:+.2f}; the fit allowed for it",
                )
            )
    return findings


def cast(camera: str, light: Array) -> list[Finding]:
    """Return whether the camera's neutral is not neutral; `light` (24, 3) is linear RGB."""
    grey = np.maximum(light[charts.NEUTRAL_5], 1e-6)
    red, blue = float(np.log2(grey[0] / grey[1])), float(np.log2(grey[2] / grey[1]))
    figure = red if abs(red) > abs(blue) else blue
    if abs(figure) <= _CAST:
        return []
    return [
        Finding(
            "warning",
            "cast",
            camera,
            figure,
            "stops",
            f"camera {camera}: neutral 5 has red {red:+.2f} and blue {blue:+.2f} stop against "
            "green: its white balance was set for another light",
        )
    ]


def best_edition(scene: Array, counts: np.ndarray) -> tuple[str, dict[str, float]]:
    """Return the published edition nearest to `scene` (24, 3), and the mean of each.

    Only patches that count, (24,) booleans, are compared.

    Each is compared after the 3x3 that carries one to the other best, so exposure, white
    balance and a camera's matrix do not count.
    """
    means = {}
    for name in charts.editions():
        wanted = charts.edition(name).scene[counts]
        weight = 1.0 / np.maximum(np.cbrt(wanted.mean(axis=1)) ** 2, 0.05)[:, None]
        matrix = np.linalg.lstsq(scene[counts] * weight, wanted * weight, rcond=None)[0]
        means[name] = float(difference(scene[counts] @ matrix, wanted).mean())
    return min(means, key=lambda name: means[name]), means


def edition_mismatch(camera: str, named: str, scene: Array, counts: np.ndarray) -> list[Finding]:
    """Return whether the chart in the picture looks like another edition than was named."""
    nearest, means = best_edition(scene, counts)
    gain = means[named] - means[nearest]
    if nearest == named or gain < _EDITION:
        return []
    return [
        Finding(
            "warning",
            "edition",
            camera,
            gain,
            "Delta E",
            f"camera {camera}: its chart is nearer to edition {nearest!r} (mean "
            f"{means[nearest]:.1f} Delta E) than to {named!r} ({means[named]:.1f}): which chart "
            "is it?",
        )
    ]


def _slope(values: Array, own: Array, counts: np.ndarray) -> float:
    """End-to-end rise of a plane fitted to values over the chart, outliers held down."""
    if counts.sum() < 8:
        return 0.0
    beside = own[counts] - own[counts].mean()
    values, place = values[counts], charts.centres()[counts] - 0.5
    rows = np.stack([*place.T, np.ones(len(place)), beside, beside**2], axis=1)
    weight = np.ones(len(place))
    plane: Array = np.zeros(5)
    for _ in range(10):
        plane = np.asarray(np.linalg.lstsq(rows * weight[:, None], values * weight, rcond=None)[0])
        miss = np.abs(values - rows @ plane)
        weight = 1.0 / np.sqrt(1.0 + (miss / 0.05) ** 2)
    return float(np.abs(plane[:2]).sum())


def _luminance(scene: Array) -> Array:
    return np.asarray(np.maximum(scene.mean(axis=1), 1e-6))


def _names(indices: np.ndarray, most: int = 6) -> str:
    names = charts.patch_names()
    listing = ", ".join(names[int(index)] for index in indices[:most])
    return listing + (" ..." if len(indices) > most else "")

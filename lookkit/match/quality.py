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
_PAPER_FLARE: Final = 1.5
_DARK_FLARE: Final = 1.0
"""Percent by the two darkest greys; one in a hundred unknown curves says so falsely."""
_SHADE: Final = 0.15
_UNEVEN: Final = 0.25
"""Against published values, which a real chart meets only so well."""
_MIXED: Final = 0.15
_EXPOSURE: Final = 0.5
_BRACKET: Final = 0.3
_CAST: Final = 0.15
_EDITION: Final = 0.2
_TWO_EDITIONS: Final = 0.1
"""Delta E, and share of what is left, by which another edition must fit camera B's chart better."""
GLARE: Final = 0.2
"""Stops by which a patch's brightness is off where light or shadow fell on it."""
_SURE: Final = 6.0
"""Standard errors by which a slope over the chart must be above nothing."""
_PLATEAU: Final = 2.0 / 255.0
"""Medians this near to each other may lie on one plateau: rounding of 8-bit Y'CbCr."""
_ON_PLATEAU: Final = 4
"""Medians of two patches and more that make a plateau."""
_APART: Final = 0.5
"""Stops by which the light of patches on a plateau must differ for it to be one."""
_SUBSAMPLED: Final = 4.0
"""Pixels of a subsampled, compressed picture that are worth one independent one."""


@dataclass(frozen=True)
class Finding:
    """One thing found about the frames.

    Attributes
    ----------
    check
        A short name: clipped, crushed, lost, noisy, glared, unlike, shaded, mixed light, flared,
        flare unknown, exposure, bracket, cast, edition, two editions, light, scene.
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
    """Return which patches the fit gave up on: too bright or dark, or of another colour.

    Glare and shadows change a patch's brightness in every exposure, and lie on few patches; where
    only colours are off, or a third of the chart, the two cameras see these colours differently.
    """
    dropped = usable & ~fit.kept
    patches = np.flatnonzero(dropped.any(axis=0))
    if not len(patches):
        return []
    off = np.abs(np.where(dropped, fit.brighter, 0.0)).max(axis=0)
    often = dropped.sum(axis=0) > 0.5 * np.maximum(usable.sum(axis=0), 1)
    glared = (off > GLARE) & often & (len(patches) <= charts.COUNT // 3)
    findings = []
    lit = np.flatnonzero(glared)
    if len(lit):
        worst = float(fit.observed[:, lit][dropped[:, lit]].max())
        findings.append(
            Finding(
                "warning",
                "glared",
                camera,
                worst,
                "Delta E",
                f"camera {camera}: {len(lit)} of 24 patches are brighter or darker than the others "
                f"say, by up to {worst:.1f} Delta E, and were left out ({_names(lit)}): glare or a "
                "shadow?",
            )
        )
    rest = np.flatnonzero(dropped.any(axis=0) & ~glared)
    if len(rest):
        worst = float(fit.observed[:, rest][dropped[:, rest]].max())
        findings.append(
            Finding(
                "note",
                "unlike",
                camera,
                worst,
                "Delta E",
                f"camera {camera}: {len(rest)} of 24 patches are off by up to {worst:.1f} Delta E "
                f"and were left out, in one exposure or all ({_names(rest)}): the cameras see "
                "these colours differently, or noise hides them",
            )
        )
    return findings


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


def shading(
    camera: str, reference: str, solution: Solution, scene: Array, target: Array, counts: np.ndarray
) -> list[Finding]:
    """Return whether light falls off over camera B's chart against the reference's.

    `scene` (24, 3) is what the fit makes of the chart without allowing for that; cameras that see
    colours differently make a fall of their own, which is not told.
    """
    figure = float(np.abs(solution.shade).sum())
    level = np.log2(np.maximum(target.mean(axis=1), 1e-4))
    ratio = np.log2(np.maximum(scene.mean(axis=1), 1e-5)) - level
    if figure <= _SHADE or _slope(ratio, level, counts) == 0.0:
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
    return _flared(camera, flare_percent(solution, target))


def flare_unknown(camera: str, stray: float | None) -> list[Finding]:
    """Return what one exposure of a camera of unknown curve tells of stray light.

    `stray` is what its two darkest greys say (`stray.dark_stray`), percent of white.
    """
    words = (
        f"camera {camera}: stray light over the chart is unknown, for one exposure cannot tell "
        "it from the camera's own curve"
    )
    much = stray is not None and stray > _DARK_FLARE
    if stray is not None:
        words += f"; black and neutral 3.5 say {max(stray, 0.0):.1f} % of white, give or take 1"
    words += "; 2 % costs some 1.5 Delta E. Shoot the chart at -2, 0 and +2 stops"
    level: Level = "warning" if much else "note"
    return [Finding(level, "flare unknown", camera, max(stray or 0.0, 0.0), "percent", words)]


def black_flare(scene: Array, wanted: Array, counts: np.ndarray) -> float | None:
    """Return stray light by the greys down to black, in percent of white; None if they are few.

    The intercept of `scene` over `wanted` (both scene-linear, (24, 3)) on the chart's neutrals, the
    dark ones weighted most, for light adds as much to black as to white.
    """
    greys = np.arange(charts.COUNT)[charts.NEUTRALS]
    greys = greys[counts[greys]]
    if len(greys) < 4 or greys[-1] != charts.BLACK:
        return None
    x, y = wanted[greys].mean(axis=1), scene[greys].mean(axis=1)
    weight = 1.0 / (x + 0.02)
    rows = np.stack([x, np.ones(len(x))], axis=1) * weight[:, None]
    slope, intercept = np.linalg.lstsq(rows, y * weight, rcond=None)[0]
    return float(100.0 * intercept / max(slope * x.max(), 1e-6))


def greys_flare(camera: str, scene: Array, wanted: Array, counts: np.ndarray) -> list[Finding]:
    """Return the stray light that the greys tell of a camera of known encoding."""
    figure = black_flare(scene, wanted, counts)
    return [] if figure is None else _flared(camera, figure)


def paper_flare(camera: str, scene: Array, paper: Array, counts: np.ndarray) -> list[Finding]:
    """Return the stray light that the main camera's greys tell against their paper values.

    Editions and single charts differ by some tenths of a percent in black, so little is not told.
    """
    figure = black_flare(scene, paper, counts)
    if figure is None or figure <= _PAPER_FLARE:
        return []
    words = (
        f"its chart's black is lighter than paper allows, by some {figure:.1f} % of white: stray "
        "light lay on it, or it is decoded by another curve than its own; the match takes over "
        "what it shows"
    )
    return [_stray(camera, figure, words)]


def _flared(camera: str, figure: float) -> list[Finding]:
    if figure <= _FLARE:
        return []
    words = (
        f"stray light of {figure:.1f} % of white lies over the chart; the match does not undo it, "
        "so scenes without it are right and this chart is not"
    )
    return [_stray(camera, figure, words)]


def _stray(camera: str, figure: float, words: str) -> Finding:
    return Finding("warning", "flared", camera, figure, "percent", f"camera {camera}: {words}")


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


def edition_mismatch(camera: str, named: str, residuals: dict[str, float]) -> list[Finding]:
    """Return whether the chart in the picture looks like another edition than was named.

    `residuals` are those of a fit to each edition, the mean in Delta E. Most editions lie nearer to
    each other than a camera to the eye: what fits a little better is only told.
    """
    nearest = min(residuals, key=lambda name: residuals[name])
    gain = residuals[named] - residuals[nearest]
    if nearest == named:
        return []
    listing = ", ".join(f"{name} {mean:.2f}" for name, mean in sorted(residuals.items()))
    sure = gain >= _EDITION
    return [
        Finding(
            "warning" if sure else "note",
            "edition",
            camera,
            gain,
            "Delta E",
            f"camera {camera}: its chart fits edition {nearest!r} better than {named!r}"
            + (": which chart is it?" if sure else ", but hardly: that may be the camera")
            + f" (what fits leave, in Delta E: {listing})",
        )
    ]


def two_editions(
    camera: str, reference: str, theirs: str, residuals: dict[str, float]
) -> list[Finding]:
    """Return whether the cameras' charts look like two editions.

    Parameters
    ----------
    theirs
        The edition that the main camera's chart looks like.
    residuals
        Of a fit to what the main camera would have seen of each edition (`as_edition`), the mean in
        Delta E.
    """
    nearest = min(residuals, key=lambda name: residuals[name])
    gain = residuals[theirs] - residuals[nearest]
    if nearest == theirs or gain < _TWO_EDITIONS * max(1.0, residuals[theirs]):
        return []
    return [
        Finding(
            "warning",
            "two editions",
            camera,
            gain,
            "Delta E",
            f"camera {camera}: its chart seems to be another edition than camera {reference}'s: "
            f"taken for {nearest!r} beside {theirs!r}, the fit leaves {residuals[nearest]:.2f} "
            f"instead of {residuals[theirs]:.2f} Delta E; the charts' difference is in the match",
        )
    ]


def as_edition(target: Array, theirs: str, other: str) -> Array:
    """Return what a camera that saw a chart of edition `theirs` as `target` sees of another.

    Scene-linear AP1, (24, 3); channel by channel, for editions differ by little.
    """
    return np.asarray(target * charts.edition(other).scene / charts.edition(theirs).scene)


def plateau(medians: Sequence[Array], light: Sequence[Array]) -> float | None:
    """Return the code at which a camera clips below the end of its range, or None.

    Parameters
    ----------
    medians
        Median codes of the patches in each exposure, (24, 3) each; patches that are not seen
        have NaN.
    light
        The light of the same patches that the other camera saw at that exposure, (24, 3).

    The highest codes of different patches are then one and the same, though their light differs.
    """
    found = None
    for codes, seen in zip(medians, light, strict=True):
        values = np.sort(codes[np.isfinite(codes)])
        if len(values) < 3 * _ON_PLATEAU:
            continue
        near = np.abs(codes - values[-2]) <= _PLATEAU
        patches = near.any(axis=1)
        if near.sum() < _ON_PLATEAU or patches.sum() < 2:
            continue
        ends = [
            float(np.ptp(np.log2(np.maximum(seen[near[:, channel], channel], 1e-6))))
            for channel in range(3)
            if near[:, channel].sum() >= 2
        ]
        if ends and max(ends) > _APART:
            found = max(float(values[-2]), found or 0.0)
    return found


def plateau_found(camera: str, code: float, bits: int, stops: Sequence[float]) -> Finding:
    """Return that a camera clips at a code below the end of its range."""
    top = (1 << bits) - 1
    return Finding(
        "note" if all(one > 0.5 for one in stops) else "warning",
        "clipped",
        camera,
        code * top,
        "code",
        f"camera {camera} clips at code {code * top:.0f} of {top}, "
        f"at {', '.join(f'{one:+g}' for one in stops)} stops: patches there are left out",
    )


def on_plateau(medians: Array, code: float) -> np.ndarray:
    """Return which patches lie on a plateau, (24,) booleans."""
    return np.asarray((medians >= code - _PLATEAU).any(axis=1))


def lost_pixels(camera: str, count: int, stops: float) -> list[Finding]:
    """Return that pixels of a picture are no numbers."""
    if not count:
        return []
    return [
        Finding(
            "warning",
            "lost",
            camera,
            float(count),
            "pixels",
            f"camera {camera} at {stops:+g} stops: {count} pixels are no numbers (NaN or infinite) "
            "and count as no light",
        )
    ]


def _slope(values: Array, own: Array, counts: np.ndarray) -> float:
    """End-to-end rise of a plane fitted to values over the chart, outliers held down.

    0 where it is not well above what the patches' own disagreement makes by chance.
    """
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
    weighted = rows * weight[:, None]
    spread = float((weight**2 * miss**2).sum()) / max(float((weight**2).sum()) - 5.0, 1.0)
    doubt = spread * np.linalg.inv(weighted.T @ weighted + 1e-9 * np.eye(5))[:2, :2]
    share = float(plane[:2] @ np.linalg.solve(doubt + 1e-12 * np.eye(2), plane[:2]))
    return float(np.abs(plane[:2]).sum()) if share > _SURE**2 else 0.0


def _luminance(scene: Array) -> Array:
    return np.asarray(np.maximum(scene.mean(axis=1), 1e-6))


def _names(indices: np.ndarray, most: int = 6) -> str:
    names = charts.patch_names()
    listing = ", ".join(names[int(index)] for index in indices[:most])
    return listing + (" ..." if len(indices) > most else "")

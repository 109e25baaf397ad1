"""Whether a match belongs to a scene's light: frames of the scene by both cameras, compared."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from lookkit.match.colour import difference, lab, perceived
from lookkit.match.frames import Footage
from lookkit.match.make import Matched
from lookkit.match.pairs import registered
from lookkit.match.quality import Finding
from lookkit.match.stage import ColourStage, own_change
from lookkit.matchfile.model import SceneSeen
from lookkit.matchfile.steps import Match
from lookkit.spaces.working import Array

GAINS: Final = 0.6
"""Delta E by which a matrix fitted to the scene may better the median: more is another light."""
HARMS: Final = 1.5
"""A median below this is good, whatever could be gained."""
TOLERANCE: Final = 0.3
"""Stops by which red or blue may lie off against green on average, where no pairs are found."""
_BLACK: Final = 0.002
_FLAT: Final = 6.0
"""Spread in L*a*b*, 10 to 90 %, below which a picture has hardly more than one colour."""
_PASSES: Final = 3


@dataclass(frozen=True)
class Compared:
    """Pairs of a scene after a match: medians in Delta E 2000, one exposure for all taken off.

    `refitted` is the median after a matrix fitted to these pairs, `most` the 80th percentile
    before it: up to a fifth of pairs may be wrong ones.
    """

    pairs: int
    median: float
    most: float
    refitted: float

    @property
    def other_light(self) -> bool:
        """Whether the chart was shot under a light unlike the scene's."""
        return self.median - self.refitted > GAINS and self.median > HARMS


def compare_pairs(landed: Array, target: Array) -> Compared:
    """Compare pairs of scene-linear AP1, (n, 3): a matched camera's and the main camera's."""
    ratio = np.maximum(target.mean(axis=1), 1e-6) / np.maximum(landed.mean(axis=1), 1e-6)
    landed = landed * float(np.median(ratio))
    found = difference(landed, target)
    goal = lab(target)
    weights, keep = perceived(goal), found <= max(3.0, 3.0 * float(np.median(found)))
    after = found
    for _ in range(_PASSES):
        change = own_change(landed, goal, weights, keep, roots=False)
        after = difference(ColourStage.of(change)(landed), target)
        keep = after <= max(3.0, 3.0 * float(np.median(after)))
    return Compared(
        len(landed),
        float(np.median(found)),
        float(np.percentile(found, 80)),
        float(np.median(after)),
    )


def with_scene(made: Matched, reference: Footage, camera: Footage) -> Matched:
    """Return a match with what frames of the scene itself say of it.

    Parameters
    ----------
    reference, camera
        One frame each of the scene, of the same moment.

    Black frames, flat ones, and such as cannot be registered prove nothing: the match then says
    so. Where only registration fails, a cast of the whole picture is told.
    """
    seen: SceneSeen | None = None
    doubt = _no_proof(reference) or _no_proof(camera)
    pairs = doubt or registered(reference, camera)
    if isinstance(pairs, str):
        found = [_nothing(camera, pairs)]
        found += [] if doubt else _cast(made.match, reference, camera)
    else:
        compared = compare_pairs(made.match.scene(pairs[0]), pairs[1])
        seen = SceneSeen(
            pairs=compared.pairs,
            median=round(compared.median, 2),
            most=round(compared.most, 2),
            refitted=round(compared.refitted, 2),
        )
        found = [_told(made.match, compared)]
    one = made.file.lights[0]
    told = tuple(each.words for each in found if each.level == "warning")
    statistics = one.statistics.model_copy(
        update={"scene": seen, "warnings": (*one.statistics.warnings, *told)}
    )
    file = made.file.with_light(one.model_copy(update={"statistics": statistics}))
    return replace(made, file=file, findings=(*made.findings, *found))


def _told(match: Match, compared: Compared) -> Finding:
    words = (
        f"on the scene itself, half of {compared.pairs} places lie within {compared.median:.1f} "
        f"Delta E and four fifths within {compared.most:.1f}"
    )
    if not compared.other_light:
        return Finding("note", "scene", match.file.camera, compared.median, "Delta E", words)
    words += (
        f"; a match of this scene's own light would bring half within {compared.refitted:.1f}: the "
        f"chart of {match.one.light!r} was shot under a light unlike the scene's; shoot it in the "
        "scene's own light"
    )
    return Finding("warning", "scene", match.file.camera, compared.median, "Delta E", words)


def _nothing(camera: Footage, why: str) -> Finding:
    words = f"the frames of the scene prove nothing about its light: {why}"
    return Finding("warning", "scene", camera.camera, 0.0, "", words)


def _no_proof(footage: Footage) -> str | None:
    """Why a picture can prove nothing, if so."""
    scene = footage.decode(_some(footage))
    if not len(scene) or float(np.percentile(scene.mean(axis=1), 99)) < _BLACK:
        return f"that of camera {footage.camera} is black"
    low, high = np.percentile(lab(np.maximum(scene, 0.0)), [10, 90], axis=0)
    if float(np.linalg.norm(high - low)) < _FLAT:
        return f"that of camera {footage.camera} is flat, nearly one colour"
    return None


def _cast(match: Match, reference: Footage, camera: Footage) -> list[Finding]:
    """Return whether the means of two pictures differ in colour after the match."""
    ours = _mean(reference.decode(_some(reference)))
    theirs = _mean(match.scene(camera.decode(_some(camera))))
    ratio = np.log2(theirs / ours)
    red, blue = float(ratio[0] - ratio[1]), float(ratio[2] - ratio[1])
    if max(abs(red), abs(blue)) <= TOLERANCE:
        return []
    words = (
        f"on the whole, camera {camera.camera} is off by {red:+.2f} stop in red and {blue:+.2f} "
        f"in blue against camera {reference.camera} on the scene: was the chart shot under a light "
        "unlike the scene's, or do the frames show different things?"
    )
    figure = red if abs(red) > abs(blue) else blue
    return [Finding("warning", "light", camera.camera, figure, "stops", words)]


def _some(footage: Footage) -> Array:
    """Up to half a million code values of a picture that are numbers, (n, 3)."""
    pixels = footage.main.picture.reshape(-1, 3)
    pixels = pixels[:: 1 + len(pixels) // 500_000]
    return np.asarray(pixels[np.isfinite(pixels).all(axis=1)], dtype=np.float64)


def _mean(pixels: Array) -> Array:
    """Mean colour of the middle brightnesses of scene-linear AP1, (3,)."""
    brightness = pixels.mean(axis=1)
    low, high = np.percentile(brightness, [10, 90])
    fair = pixels[(brightness >= low) & (brightness <= high)]
    return np.asarray(np.maximum(fair.mean(axis=0), 1e-6))

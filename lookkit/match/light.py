"""Whether a match belongs to a scene's light."""

from __future__ import annotations

from typing import Final

import numpy as np

from lookkit.errors import InputError
from lookkit.match.frames import Footage
from lookkit.matchfile.steps import Match
from lookkit.spaces.working import Array

TOLERANCE: Final = 0.2
"""Stops by which red or blue may lie off against green on average."""


def refuse_other_light(match: Match, reference: Footage, camera: Footage) -> tuple[float, float]:
    """Check a match on frames of a scene that both cameras saw from about the same place.

    The means of the two pictures should then have one colour. Returns red and blue of the
    matched camera against the main one, relative to green, in stops.

    Raises
    ------
    InputError
        If they differ by more than `TOLERANCE`: the chart was shot in another light.
    """
    ours = _mean(reference.decode(reference.main.picture))
    theirs = _mean(match.scene(camera.decode(camera.main.picture)))
    ratio = np.log2(theirs / ours)
    red, blue = float(ratio[0] - ratio[1]), float(ratio[2] - ratio[1])
    if max(abs(red), abs(blue)) > TOLERANCE:
        raise InputError(
            f"the match for the light {match.one.light!r} does not fit this scene: after it, "
            f"camera {match.file.camera} is off by {red:+.2f} stop in red and {blue:+.2f} in blue "
            f"against camera {match.file.reference}. The chart was shot under a light unlike the "
            "scene's: shoot it in the scene's own light"
        )
    return red, blue


def _mean(scene: Array) -> Array:
    """Mean colour of the middle brightnesses, (3,)."""
    pixels = scene.reshape(-1, 3)[::7]
    brightness = pixels.mean(axis=1)
    low, high = np.percentile(brightness, [10, 90])
    fair = pixels[(brightness >= low) & (brightness <= high)]
    return np.asarray(np.maximum(fair.mean(axis=0), 1e-6))

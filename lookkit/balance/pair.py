"""How much two shots of one scene differ, from what both of them see.

Landmarks of both are paired, the shot is laid over the hero by a plane's perspective, and dense
optical flow carries each pixel the rest of the way: parallax, things at other distances. What
remains is a ratio of light at each pixel; people who walk about and lights that change make
ratios of their own, so the centre that most pixels share is taken (Tukey's biweight).

Sources: D. Lowe, Distinctive image features from scale-invariant keypoints, IJCV 60 (2004); T.
Kroeger et al., Fast optical flow using dense inverse search, ECCV 2016; J. Tukey's biweight as
in Hoaglin, Mosteller, Tukey, Understanding robust and exploratory data analysis (1983).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from lookkit.balance.view import Plane, View, library
from lookkit.spaces.working import Array

LEAST_MATCHES: Final = 12
LEAST_AGREEING: Final = 0.4
LEAST_COVER: Final = 0.04
SMALL_COVER: Final = 0.2
"""Under it one thing that travels, such as a prop, may be all that is shared."""
DOUBTFUL_COVER: Final = 0.25
"""Under it that is told."""
LEAST_PARTS: Final = 3
SPREAD_PARTS: Final = 7
"""Sixteenths of the frame that hold landmarks, at least, and where little is shared: people and
props of up to a fifth of the frame filled two to six, framings of one place six and more."""
LEAST_FOUND: Final = 0.4
FAR_PARTS: Final = 9
"""Share of the overlap that is found again, at least, and sixteenths that outweigh it: two places
with one person or thing in both had .16 to .39 on seven at most, framings of one place .4 and
more, or ten and more sixteenths."""
MOST_MIXED: Final = 0.15
AGREEING: Final = 0.25
"""Stops from the centre within which a ratio agrees with it."""
_RATIO: Final = 0.8
_TEXTURE: Final = 0.05
_STILL: Final = 1e-5
"""Stops: a centre that moves by less has arrived."""


@dataclass(frozen=True, eq=False)
class Pair:
    """What two views say of each other.

    Attributes
    ----------
    gain
        log2 of the factors on the shot's cones that bring it to the hero, shape (3,).
    matches
        Landmarks that one perspective joins.
    parts
        Sixteenths of the frame that hold some of them, in the shot or the hero, whichever has
        more.
    agreeing
        Share of the compared pixels whose ratio is within a quarter stop of the centre.
    cover
        Share of the frame that was compared.
    found
        Share of the overlap, as far as it is sure in both, that was found again and compared.
    mixed
        By how many stops the left, middle and right of the overlap differ.
    apart
        The middle one of these thirds' own shares of pixels that agree.
    """

    gain: Array
    matches: int
    parts: int
    agreeing: float
    cover: float
    found: float
    mixed: float
    apart: float

    @property
    def refusal(self) -> str:
        """Why it is not trusted, in words; nothing where it is."""
        if self.matches < LEAST_MATCHES or self.parts < LEAST_PARTS:
            return f"shows too little of the same ({self.matches} landmarks)"
        if max(self.agreeing, self.apart) < LEAST_AGREEING:
            return f"only {self.agreeing:.0%} of what is shared agrees"
        if self.cover < LEAST_COVER:
            return f"shares only {self.cover:.1%} of the frame"
        if self.found < LEAST_FOUND and self.parts < FAR_PARTS:
            return (
                f"shows only {self.found:.0%} of the overlap again: it may be a person or a thing "
                "in another place"
            )
        if self.cover < SMALL_COVER and self.parts < SPREAD_PARTS:
            return (
                f"shares only {self.cover:.0%} of the frame, in one spot: it may be a thing that "
                "travels"
            )
        if self.mixed > MOST_MIXED:
            return (
                f"mixed light: parts of the frame differ by {self.mixed:.2f} stop from those of "
                "the other shot"
            )
        if self.agreeing < LEAST_AGREEING:
            return f"only {self.agreeing:.0%} of what is shared agrees"
        return ""

    @property
    def spread(self) -> float:
        """Its standard error in stops, about: what the simulation shows for such a pair."""
        return 0.015 + 0.06 * (1.0 - self.agreeing)


def compare(hero: View, shot: View) -> Pair | None:
    """Return what brings a shot to a hero; None where they share too few landmarks to try."""
    cv2 = library()
    here, there = _paired(hero, shot)
    if len(here) < 8:
        return None
    try:
        plane, fits = cv2.findHomography(
            there, here, cv2.USAC_MAGSAC, 4.0, maxIters=3000, confidence=0.999
        )
    except cv2.error:
        # OpenCV's robust estimators stop with an error on some sets of real landmarks.
        return None
    if plane is None or fits.sum() < 8 or not _is_view(plane, shot.size, hero.size):
        return None
    kept = fits.ravel() > 0
    parts = max(_parts(here[kept], hero.size), _parts(there[kept], shot.size))
    light, sure, found = _carried(hero, shot, plane)
    sure[::2] = False
    sure[:, ::2] = False
    cover = float(sure.mean() * 4)
    if sure.sum() < 150:
        return Pair(np.zeros(3), int(kept.sum()), parts, 0.0, cover, found, 0.0, 0.0)
    ratio = np.log2(hero.cones[sure] / np.maximum(light[sure], np.float32(1e-5)))
    weight = 1.0 / (_TEXTURE + hero.edges[sure])
    gain, agreeing = centre(ratio, weight)
    columns = np.nonzero(sure)[1]
    thirds = np.array_split(np.argsort(columns, kind="stable"), 3)
    sides = [centre(ratio[one], weight[one]) for one in thirds]
    mixed = float(np.ptp([side.mean() for side, _ in sides]))
    apart = float(np.median([share for _, share in sides]))
    return Pair(gain, int(kept.sum()), parts, agreeing, cover, found, mixed, apart)


def centre(ratio: Plane, weight: Plane) -> tuple[Array, float]:
    """Return the centre that most ratios share, and the share of them within a quarter stop.

    Parameters
    ----------
    ratio
        log2, shape (n, 3).
    weight
        Shape (n,): less at edges, where a pixel of displacement is a large ratio.
    """
    exact: Array = np.asarray(ratio, np.float64)
    middle: Array = np.median(exact, axis=0)
    for turn in range(12):
        apart = _distance(exact, middle)
        width = max(1.48 * float(np.median(apart)), 0.06)
        # The first rounds see far, for the median may lie between two groups.
        width *= 1.5 if turn < 3 else 1.0
        bell = np.clip(1.0 - (apart / (3.0 * width)) ** 2, 0.0, None) ** 2 * weight
        total = bell.sum()
        if total < 1e-9:
            break
        before, middle = middle, np.asarray(bell @ exact) / total
        if turn >= 3 and np.abs(middle - before).max() < _STILL:
            break
    apart = _distance(exact, middle)
    return np.asarray(middle, np.float64), float((apart < AGREEING).mean())


def _distance(ratio: Array, middle: Array) -> Array:
    away = ratio - middle
    return np.asarray(np.sqrt(np.einsum("ij,ij->i", away, away)))


def _paired(hero: View, shot: View) -> tuple[Plane, Plane]:
    cv2 = library()
    nothing = np.zeros((0, 2), np.float32), np.zeros((0, 2), np.float32)
    few = min(len(hero.points), len(shot.points)) < 8
    if few or hero.features is None or shot.features is None:
        return nothing
    found = cv2.BFMatcher().knnMatch(shot.features, hero.features, k=2)
    good = [one[0] for one in found if len(one) == 2 and one[0].distance < _RATIO * one[1].distance]
    if not good:
        return nothing
    return (
        hero.points[[one.trainIdx for one in good]],
        shot.points[[one.queryIdx for one in good]],
    )


def _is_view(plane: Any, size: tuple[int, int], target: tuple[int, int]) -> bool:
    """Say whether a perspective can be another framing: no mirror, no sliver, no horizon."""
    cv2 = library()
    wide, high = size
    corners = np.array([[[0, 0], [wide, 0], [wide, high], [0, high]]], np.float32)
    shown = cv2.perspectiveTransform(corners, plane)[0]
    if not np.isfinite(shown).all():
        return False
    share = cv2.contourArea(shown, oriented=True) / (target[0] * target[1])
    return bool(0.05 < share < 20 and cv2.isContourConvex(shown))


def _parts(points: Plane, size: tuple[int, int]) -> int:
    column = np.clip(points[:, 0] * 4 / size[0], 0, 3).astype(int)
    row = np.clip(points[:, 1] * 4 / size[1], 0, 3).astype(int)
    return len(set((row * 4 + column).tolist()))


def _carried(hero: View, shot: View, plane: Any) -> tuple[Plane, Any, float]:
    """Return the shot's light at the hero's pixels, where that is sure, and of what share."""
    cv2 = library()
    size = hero.size
    light = cv2.warpPerspective(shot.cones, plane, size)
    sure = cv2.warpPerspective(shot.sure.astype(np.uint8), plane, size, flags=cv2.INTER_NEAREST)
    stops = cv2.warpPerspective(shot.stops, plane, size, borderMode=cv2.BORDER_REPLICATE)
    inside = cv2.warpPerspective(np.ones(shot.stops.shape, np.uint8), plane, size) > 0
    if not inside.any():
        return light, inside, 0.0
    level = np.median(hero.stops[inside])
    shift = np.median((hero.stops - stops)[inside])
    first, second = _shades(hero.stops, level), _shades(stops + shift, level)
    flow = cv2.DISOpticalFlow_create(cv2.DISOPTICAL_FLOW_PRESET_MEDIUM)
    there = flow.calc(first, second, None)
    back = flow.calc(second, first, None)
    row, column = np.mgrid[: size[1], : size[0]].astype(np.float32)
    x, y = column + there[..., 0], row + there[..., 1]
    returned = there + cv2.remap(back, x, y, cv2.INTER_LINEAR)
    steady = np.hypot(returned[..., 0], returned[..., 1]) < 1.0
    moved = cv2.remap(light, x, y, cv2.INTER_LINEAR)
    known = cv2.remap(sure, x, y, cv2.INTER_NEAREST) > 0
    carried = known & steady & inside & hero.sure
    overlap = (sure > 0) & inside & hero.sure
    return moved, carried, float(carried.sum() / max(overlap.sum(), 1))


def _shades(stops: Plane, level: float) -> Any:
    return np.clip((stops - level) * 18 + 128, 0, 255).astype(np.uint8)

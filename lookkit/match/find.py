"""Finding the 24-patch classic in a picture, or taking it from four corners.

Candidate squares come from the segmentation of colour-checker-detection (an optional
extra; its other paths need a network or a model and are never used). Everything after
that is here: squares are grown into a grid, a homography is fitted with RANSAC, and what
lies under it must agree with the chart's own order of colours.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from lookkit.errors import InputError, LookkitError
from lookkit.match import charts, pose
from lookkit.match.homography import UNIT, area, carry, from_points, is_convex
from lookkit.match.patches import pixels_of
from lookkit.spaces.working import Array

WORKING_WIDTH: Final = 1440
_PITCH: Final = (charts.SWATCH + charts.GAP) / charts.SWATCH
SMALLEST: Final = 24
_RANSAC_PIXELS: Final = 3.0
_SMOOTHINGS: Final = 2
"""Of the five that the library does by default; more finds no more charts, and costs most."""
FEWEST_SEEN: Final = 16

HELP_YOURSELF: Final = "give the four corners of its outer patches, or a crop around it"


@dataclass(frozen=True)
class Chart:
    """A chart in a picture.

    Attributes
    ----------
    homography
        From the chart's unit square to pixels, (3, 3).
    agreement
        How well the colours agree with the chart's order, 1 at best.
    how
        "found" or "corners".
    turned
        Whether the given corners had to be taken in another order.
    """

    homography: Array
    agreement: float
    how: str
    turned: bool = False

    @property
    def corners(self) -> Array:
        """Outer corners in pixels, from dark skin over bluish green and black to white."""
        return carry(self.homography, UNIT)

    @property
    def mirrored(self) -> bool:
        """Whether the picture shows the chart as in a mirror."""
        (x, y), (next_x, next_y) = self.corners.T, np.roll(self.corners, -1, axis=0).T
        return bool((x * next_y - y * next_x).sum() < 0.0)


def from_corners(picture: Array, corners: Sequence[Sequence[float]] | Array) -> Chart:
    """Take the chart from the four outer corners of its corner patches.

    Parameters
    ----------
    picture
        Code values, (height, width, 3).
    corners
        Four (x, y) in pixels, in turn around the chart, beginning anywhere. They may lie
        outside of the picture as long as sixteen patches are in it.

    Raises
    ------
    InputError
        If the corners cannot be a chart's, or what lies between them is not the chart.
    """
    points = np.asarray(corners, dtype=np.float64)
    if points.shape != (4, 2) or not np.isfinite(points).all():
        raise InputError("corners: expected four pairs of x and y, in pixels")
    height, width = picture.shape[:2]
    if not is_convex(points):
        raise InputError("corners: give them in turn around the chart; these cross or fold")
    if area(points) < SMALLEST**2:
        raise InputError("corners: the chart would be smaller than 24 x 24 pixels")
    ways = []
    for turn in range(8):
        order = np.roll(points if turn < 4 else points[::-1], -(turn % 4), axis=0)
        homography = from_points(UNIT, order)
        seen = np.array([len(pixels) > 0 for pixels in pixels_of(picture, homography)])
        if seen.sum() < FEWEST_SEEN:
            raise InputError(
                f"corners: only {seen.sum()} of 24 patches would lie in the picture "
                f"({width} x {height} pixels), at least {FEWEST_SEEN} are needed"
            )
        ways.append((pose.score(_colours(picture, homography), seen), turn, homography))
    ways.sort(key=lambda way: -way[0])
    agreement, turn, homography = ways[0]
    if agreement < pose.ACCEPT_GIVEN or agreement - ways[1][0] < pose.MARGIN_GIVEN:
        raise InputError(
            f"corners: what lies between them is not the chart (agreement {agreement:.2f}, "
            f"at least {pose.ACCEPT_GIVEN:.2f} expected): the outer corners of the four corner "
            "patches are wanted"
        )
    return Chart(homography, agreement, "corners", turned=turn != 0)


def find_chart(picture: Array, crop: Sequence[int] | None = None) -> Chart:
    """Find the one chart in a picture.

    Parameters
    ----------
    picture
        Code values or scene-linear light, (height, width, 3).
    crop
        x, y, width, height in pixels to look in.

    Raises
    ------
    InputError
        If there is none, only a part of one, or more than one.
    LookkitError
        If the optional extra is not installed.
    """
    if crop is not None:
        x, y, wide, high = _checked_crop(picture, crop)
        found = find_chart(picture[y : y + high, x : x + wide])
        move = np.array([[1.0, 0.0, x], [0.0, 1.0, y], [0.0, 0.0, 1.0]])
        return Chart(move @ found.homography, found.agreement, "found")
    partial = 0.0
    small, factor = _reduced(picture)
    for shade in _shades(small):
        charts_found, part = _in_shade(picture, shade, factor)
        if len(charts_found) > 1:
            raise InputError(
                f"{len(charts_found)} charts in one picture: give a crop around the one to use"
            )
        if charts_found:
            return charts_found[0]
        partial = max(partial, part)
    if partial >= 0.9:
        raise InputError(
            "only a part of the chart is in the picture: show all 24 patches, or give its four "
            "corners (they may lie outside) if at least sixteen are there"
        )
    raise InputError(f"no chart found in the picture: {HELP_YOURSELF}")


def _checked_crop(picture: Array, crop: Sequence[int]) -> tuple[int, int, int, int]:
    height, width = picture.shape[:2]
    x, y, wide, high = (round(value) for value in crop)
    small = min(wide, high) < SMALLEST
    if small or min(x, y) < 0 or x + wide > width or y + high > height:
        raise InputError(
            f"crop {x},{y},{wide},{high}: expected x, y, width and height inside of the "
            f"picture ({width} x {height} pixels), at least 24 pixels each"
        )
    return x, y, wide, high


def _reduced(picture: Array) -> tuple[Array, int]:
    """Return means of blocks of a big picture, and their width: big ones are searched shrunk."""
    factor = max(picture.shape[:2]) // (2 * WORKING_WIDTH)
    if factor < 2:
        return picture, 1
    height, width = (length // factor for length in picture.shape[:2])
    total = np.zeros((height, width, 3), dtype=np.float32)
    for y in range(factor):
        for x in range(factor):
            total += picture[y : height * factor : factor, x : width * factor : factor]
    return np.asarray(total / factor**2), factor


def _shades(picture: Array) -> list[Array]:
    """Return the picture stretched to 0-1 as it is, and with its shadows opened."""
    finite = np.nan_to_num(picture, nan=0.0, posinf=0.0, neginf=0.0)
    low, high = (float(end) for end in np.percentile(finite[::4, ::4], [0.5, 99.5]))
    if high - low < 1e-4:
        raise InputError("the picture is one flat colour (black or fully clipped?): no chart in it")
    plain = np.clip((finite - low) / (high - low), 0.0, 1.0)
    return [plain, np.sqrt(plain)]


def _in_shade(picture: Array, shade: Array, factor: int) -> tuple[list[Chart], float]:
    """All charts seen in one rendering, and the best agreement of a partial one."""
    centres, sizes, axes = (factor * one for one in _squares(shade))
    found: list[Chart] = []
    partial = 0.0
    for grid in _grids(centres, sizes, axes):
        chart, part = _fit_grid(picture, grid, centres)
        partial = max(partial, part)
        if chart is not None and not any(_overlap(chart, other) for other in found):
            found.append(chart)
    return found, partial


def _overlap(first: Chart, second: Chart) -> bool:
    a, b = first.corners, second.corners
    apart = np.linalg.norm(a.mean(axis=0) - b.mean(axis=0))
    return bool(apart < 0.5 * np.sqrt(min(area(a), area(b))))


def _library() -> tuple[Any, Any]:
    """Return the segmentation function and cv2, without the side effects of importing them."""
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    options = np.get_printoptions()
    try:
        import cv2
        from colour_checker_detection.detection.segmentation import segmenter_default
    except ImportError as error:
        raise LookkitError(
            "finding the chart needs the optional extra 'match' (pip install "
            f"'lookkit[match]'); without it, {HELP_YOURSELF.partition(', or')[0]}"
        ) from error
    finally:
        np.set_printoptions(**options)
    return segmenter_default, cv2


def _squares(shade: Array) -> tuple[Array, Array, Array]:
    """Squares in a picture: centres (n, 2), edge lengths (n,), and edges (n, 2, 2)."""
    segment, cv2 = _library()
    height, width = shade.shape[:2]
    turned = width < height
    source = np.ascontiguousarray(shade.astype(np.float32))
    if turned:
        source = np.ascontiguousarray(np.rot90(source, -1))
    scale = source.shape[1] / WORKING_WIDTH
    size = (WORKING_WIDTH, round(source.shape[0] / scale))
    method = cv2.INTER_AREA if scale > 1.0 else cv2.INTER_CUBIC
    small = np.clip(cv2.resize(source, size, interpolation=method), 0.0, 1.0)
    try:
        data = segment(
            small,
            apply_cctf_encoding=False,
            additional_data=True,
            bilateral_filter_iterations=_SMOOTHINGS,
        )
    except (cv2.error, ValueError, IndexError):
        return np.empty((0, 2)), np.empty(0), np.empty((0, 2, 2))
    quads = np.asarray(data.swatches, dtype=np.float64).reshape(-1, 4, 2)
    quads = (quads + 0.5) * np.array([source.shape[1] / size[0], source.shape[0] / size[1]])
    if turned:
        quads = np.stack([quads[..., 1], height - quads[..., 0]], axis=-1)
    edges = np.stack([quads[:, 1] - quads[:, 0], quads[:, 2] - quads[:, 1]], axis=1)
    lengths = np.sqrt(np.linalg.norm(edges, axis=-1).prod(axis=1))
    return quads.mean(axis=1), lengths, edges


def _grids(centres: Array, sizes: Array, axes: Array) -> list[dict[int, tuple[int, int]]]:
    """Grow squares into grids: square number to (column, row); largest grid first."""
    free = set(range(len(centres)))
    grids = []
    for seed in np.argsort(np.abs(sizes - np.median(sizes))) if len(sizes) else []:
        if int(seed) not in free:
            continue
        grid = _grow(int(seed), free, centres, sizes, axes)
        if len(grid) >= 8:
            grids.append(grid)
            free -= set(grid)
    return sorted(grids, key=len, reverse=True)


def _grow(
    seed: int, free: set[int], centres: Array, sizes: Array, axes: Array
) -> dict[int, tuple[int, int]]:
    grid = {seed: (0, 0)}
    taken = {(0, 0)}
    steps = {seed: axes[seed] / np.linalg.norm(axes[seed], axis=-1)[:, None] * sizes[seed] * _PITCH}
    queue = [seed]
    candidates = np.array(sorted(free))
    while queue:
        here = queue.pop(0)
        for axis, sign in ((0, 1), (0, -1), (1, 1), (1, -1)):
            cell = list(grid[here])
            cell[axis] += sign
            place = (cell[0], cell[1])
            if place in taken:
                continue
            step = steps[here]
            aim = centres[here] + sign * step[axis]
            distance = np.linalg.norm(centres[candidates] - aim, axis=1)
            nearest = int(candidates[np.argmin(distance)])
            reach = float(np.linalg.norm(step[axis]))
            alike = 0.6 < sizes[nearest] / sizes[here] < 1.65
            if distance.min() > 0.3 * reach or nearest in grid or not alike:
                continue
            grid[nearest] = place
            taken.add(place)
            fresh = step.copy()
            fresh[axis] = 0.5 * (step[axis] + sign * (centres[nearest] - centres[here]))
            steps[nearest] = fresh
            queue.append(nearest)
    return grid


def _fit_grid(
    picture: Array, grid: dict[int, tuple[int, int]], centres: Array
) -> tuple[Chart | None, float]:
    """Place the chart on a grid of squares; also the agreement of a partial chart."""
    numbers = np.array(list(grid))
    cells = np.array([grid[number] for number in numbers], dtype=np.float64)
    points = centres[numbers]
    best: tuple[float, Array] | None = None
    partial = 0.0
    for across in (False, True):
        placed = cells[:, ::-1] if across else cells
        low, high = placed.min(axis=0), placed.max(axis=0)
        spare = np.array([charts.COLUMNS, charts.ROWS]) - 1 - (high - low)
        if (spare < -2).any():
            continue
        columns = range(int(min(0, spare[0])), int(max(0, spare[0])) + 1)
        rows = range(int(min(0, spare[1])), int(max(0, spare[1])) + 1)
        for shift in ((c, r) for c in columns for r in rows):
            on_chart = placed - low + np.array(shift)
            size = np.array([charts.COLUMNS, charts.ROWS])
            inside = np.all((on_chart >= 0) & (on_chart < size), axis=1)
            if inside.sum() < 8:
                continue
            homography = _robust(_unit(on_chart[inside]), points[inside])
            if homography is None:
                continue
            agreement, turned, part = _best_pose(picture, homography)
            partial = max(partial, part)
            if best is None or agreement > best[0]:
                best = (agreement, turned)
    if best is None or best[0] < pose.ACCEPT:
        return None, partial
    homography = _settle(best[1], centres)
    agreement = pose.score(_colours(picture, homography))
    if agreement < best[0] - 0.02 or not _within(picture, homography):
        homography, agreement = best[1], best[0]
    return Chart(homography, agreement, "found"), partial


def _unit(cells: Array) -> Array:
    """Return the centres of cells (column, row) in the chart's unit square."""
    grid = charts.centres().reshape(charts.ROWS, charts.COLUMNS, 2)
    pitch = grid[1, 1] - grid[0, 0]
    return np.asarray(grid[0, 0] + cells * pitch)


def _robust(source: Array, target: Array) -> Array | None:
    _, cv2 = _library()
    if np.ptp(source[:, 0]) < 1e-6 or np.ptp(source[:, 1]) < 1e-6:
        return None
    found, _ = cv2.findHomography(source, target, cv2.RANSAC, _RANSAC_PIXELS)
    return None if found is None else np.asarray(found, dtype=np.float64)


def _best_pose(picture: Array, homography: Array) -> tuple[float, Array, float]:
    """Return the pose with the best agreement, and that of a chart that is partly outside."""
    height, width = picture.shape[:2]
    corners = carry(homography, UNIT)
    if not is_convex(corners) or area(corners) < SMALLEST**2:
        return -1.0, homography, 0.0
    where = carry(homography, charts.centres())
    seen = np.all((where > 0) & (where < [width, height]), axis=1)
    if seen.sum() < 8:
        return -1.0, homography, 0.0
    colours = _colours(picture, homography)
    scores = [pose.score(colours[order], seen[order]) for order in pose.poses()]
    winner = int(np.argmax(scores))
    if not _within(picture, homography):
        return -1.0, homography, scores[winner] if not seen.all() else 0.0
    flips = [UNIT, UNIT[[2, 3, 0, 1]], UNIT[[1, 0, 3, 2]], UNIT[[3, 2, 1, 0]]]
    return scores[winner], from_points(UNIT, carry(homography, flips[winner])), 0.0


def _within(picture: Array, homography: Array) -> bool:
    height, width = picture.shape[:2]
    half = charts.half_swatch() * 0.5
    first, last = charts.centres()[0] - half, charts.centres()[-1] + half
    box = np.array([first, [last[0], first[1]], last, [first[0], last[1]]])
    corners = carry(homography, box)
    return bool((corners >= 0.0).all() and (corners <= [width, height]).all())


def _settle(homography: Array, centres: Array) -> Array:
    """Refit on every square that lies near the centre of a patch, until nothing changes."""
    wanted = charts.centres()
    for _ in range(4):
        where = carry(homography, wanted)
        reach = 0.3 * np.sqrt(area(carry(homography, UNIT)) / charts.COUNT)
        distance = np.linalg.norm(where[:, None] - centres[None], axis=-1)
        nearest = distance.argmin(axis=1)
        near = distance.min(axis=1) < reach
        if near.sum() < 8:
            return homography
        again = _robust(wanted[near], centres[nearest[near]])
        if again is None:
            return homography
        if np.abs(carry(again, UNIT) - carry(homography, UNIT)).max() < 0.05:
            return again
        homography = again
    return homography


def _colours(picture: Array, homography: Array) -> Array:
    """Median code values under each patch, (24, 3); 0 where the picture ends."""
    return np.array(
        [
            np.median(pixels, axis=0) if len(pixels) else np.zeros(3)
            for pixels in pixels_of(picture, homography)
        ]
    )

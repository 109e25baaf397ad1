"""Pairs of colours from two frames of one scene: pictures registered, flat blocks compared."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import numpy.typing as npt

from lookkit.match.frames import Footage
from lookkit.spaces.working import Array

Picture = npt.NDArray[np.floating[Any]]
WORKING_WIDTH: Final = 960
BLOCK: Final = 12
MOST_PAIRS: Final = 600
FEWEST_PAIRS: Final = 60
CLIPS: Final = 0.98
_FEWEST_POINTS: Final = 20


def registered(reference: Footage, camera: Footage) -> tuple[Array, Array] | str:
    """Light of camera B and scene of camera A in blocks both saw, or why there are none.

    Returns two arrays (n, 3), 60 to 600 blocks, rare colours first: what `Footage.decode` gives of
    the matched camera, and the main camera's scene-linear AP1. Some may be wrong pairs.
    """
    found = aligned(reference.main.picture, camera.main.picture)
    if isinstance(found, str):
        return found
    ours, warped, covered = found
    a, spread_a = blocks_of(ours)
    b, spread_b = blocks_of(warped)
    whole = shown_blocks(covered)
    top = 1e9 if reference.encoding and reference.encoding.scene_linear else CLIPS
    fair = whole & (b.max(axis=1) < CLIPS) & (b.min(axis=1) > 0.005) & (a.max(axis=1) < top)
    flat = (spread_a < 0.03) & (spread_b < 0.03)
    chosen = np.flatnonzero(fair & flat)
    if len(chosen) < FEWEST_PAIRS:
        return "the two frames share too few even areas"
    chosen = _spread_out(b, chosen)
    return camera.decode(b[chosen]), reference.decode(a[chosen])


def aligned(ours: Picture, theirs: Picture) -> tuple[Picture, Picture, Picture] | str:
    """Return two frames of one view, small and over each other, or why they cannot be.

    Parameters
    ----------
    ours, theirs
        Codes, shape (height, width, 3), each of its own size.

    Returns
    -------
    tuple
        The first, the second as the first framed it, float32 (height, width, 3), and which of it
        the second shows, 0-1 (height, width).
    """
    try:
        import cv2
    except ImportError:
        return "frames are registered only with the optional extra 'match'"
    first, second = (_shrunk(cv2, one) for one in (ours, theirs))
    homography = _registration(cv2, first, second)
    if homography is None:
        return "the two frames could not be registered: their views share too little"
    size = first.shape[1], first.shape[0]
    warped = cv2.warpPerspective(second, homography, size, flags=cv2.INTER_AREA)
    covered = cv2.warpPerspective(np.ones(second.shape[:2], np.float32), homography, size)
    return first, np.asarray(warped, np.float32), np.asarray(covered, np.float32)


def _shrunk(cv2: Any, picture: Picture) -> Any:
    width = min(WORKING_WIDTH, picture.shape[1])
    height = round(picture.shape[0] * width / picture.shape[1])
    return cv2.resize(picture.astype(np.float32), (width, height), interpolation=cv2.INTER_AREA)


def _registration(cv2: Any, ours: Any, theirs: Any) -> Array | None:
    """Homography from camera B's small picture to camera A's, or None."""
    detector = cv2.ORB_create(nfeatures=3000, fastThreshold=8)
    found = [detector.detectAndCompute(_features(cv2, one), None) for one in (ours, theirs)]
    (points_a, marks_a), (points_b, marks_b) = found
    if marks_a is None or marks_b is None:
        return None
    matches = cv2.BFMatcher(cv2.NORM_HAMMING).knnMatch(marks_b, marks_a, k=2)
    both = [pair for pair in matches if len(pair) == 2]
    good = [best for best, second in both if best.distance < 0.8 * second.distance]
    if len(good) < _FEWEST_POINTS:
        return None
    source = np.array([points_b[match.queryIdx].pt for match in good], dtype=np.float64)
    target = np.array([points_a[match.trainIdx].pt for match in good], dtype=np.float64)
    homography, inside = cv2.findHomography(source, target, cv2.RANSAC, 3.0)
    if homography is None or inside.sum() < max(_FEWEST_POINTS, 0.2 * len(good)):
        return None
    return np.asarray(homography, dtype=np.float64)


def _features(cv2: Any, picture: Any) -> Any:
    """Brightness as bytes, evened out locally so that two curves look alike."""
    grey = np.sqrt(np.maximum(np.nan_to_num(picture).mean(axis=2), 0.0))
    low, high = np.percentile(grey, [0.5, 99.5])
    stretched = np.clip((grey - low) / max(high - low, 1e-6), 0.0, 1.0)
    return cv2.createCLAHE(clipLimit=4.0, tileGridSize=(8, 8)).apply(
        (stretched * 255.0).astype(np.uint8)
    )


def blocks_of(picture: Any) -> tuple[Array, Array]:
    """Mean of each block, (n, 3), and the largest spread of its channels, (n,)."""
    height, width = (length // BLOCK * BLOCK for length in picture.shape[:2])
    cut = picture[:height, :width].astype(np.float64)
    blocks = cut.reshape(height // BLOCK, BLOCK, width // BLOCK, BLOCK, 3).swapaxes(1, 2)
    flat = blocks.reshape(-1, BLOCK * BLOCK, 3)
    return flat.mean(axis=1), flat.std(axis=1).max(axis=1)


def shown_blocks(covered: Picture) -> npt.NDArray[np.bool_]:
    """Return which blocks lie wholly in what `aligned` says that both frames show, (n,)."""
    return np.asarray(blocks_of(np.repeat(covered[..., None], 3, axis=2))[0][:, 0] > 0.999)


def _spread_out(colours: Array, chosen: np.ndarray) -> np.ndarray:
    """At most `MOST_PAIRS`, rare colours first: round robin over cells of colour space."""
    return np.asarray(chosen[rare_first(colours[chosen], 12)[:MOST_PAIRS]])


def rare_first(colours: Array, edge: int) -> np.ndarray:
    """Return all rows of colours, (n, 3), in the order in which cells give one each, and again.

    A cell has 1/edge along each axis; the more colours it has, the later its last ones come.
    """
    cells = np.floor(colours * float(edge)).astype(int) @ np.array([1, 1000, 1000000])
    order = np.argsort(cells, kind="stable")
    rank = np.empty(len(colours), dtype=int)
    _, first, counts = np.unique(cells[order], return_index=True, return_counts=True)
    rank[order] = np.arange(len(colours)) - np.repeat(first, counts)
    return np.argsort(rank, kind="stable")

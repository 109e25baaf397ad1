"""Matching without a chart: frames of one scene that both cameras saw at one moment.

Where the views overlap and opencv is installed, the pictures are registered and small
flat blocks become pairs of colours for the robust joint fit. Otherwise only exposure and
white are matched, and the match says that it is approximate.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from lookkit.errors import InputError
from lookkit.match.fit import SIGNAL_TOP, curve_knots, fit_pairs
from lookkit.match.frames import Footage
from lookkit.match.make import (
    DEFAULT_LIGHT,
    Matched,
    build_file,
    file_with,
    provenance,
    refuse_itself,
    unmatched,
)
from lookkit.match.quality import Finding
from lookkit.matchfile.model import LightMatch, Statistics, ToneCurve
from lookkit.matchfile.steps import Match
from lookkit.progress import Progress, silent
from lookkit.spaces.primaries import AP1, BT709, between
from lookkit.spaces.working import MID_GREY, Array

WORKING_WIDTH: Final = 960
BLOCK: Final = 12
MOST_PAIRS: Final = 600
FEWEST_PAIRS: Final = 60
_FEWEST_POINTS: Final = 20
_CLIPS: Final = 0.98
_BLACK: Final = 0.002
_TRUSTED: Final = 0.35
"""Share of pairs that must agree with the fit, or registration is not believed."""


def match_frames(
    reference: Footage,
    camera: Footage,
    *,
    light: str = DEFAULT_LIGHT,
    register: bool = True,
    progress: Progress = silent,
) -> Matched:
    """Match a camera to the main camera from frames of one scene, without a chart.

    Parameters
    ----------
    reference, camera
        One frame (or mean of frames) each, of the same moment in the same light. The main
        camera's encoding must be known.
    register
        False matches exposure and white only.

    Raises
    ------
    InputError
        If the frames are those of one camera, black, or fully clipped.
    """
    refuse_itself(reference, camera)
    if reference.encoding is None:
        raise InputError(
            f"camera {reference.camera}: the main camera's encoding must be known; name it in "
            "the recipe"
        )
    findings: list[Finding] = []
    if register:
        progress("registering the frames", 0, 2)
        pairs = _pairs(reference, camera)
        if isinstance(pairs, str):
            findings.append(_note(camera, f"{pairs}: only exposure and white are matched"))
        else:
            progress("fitting", 1, 2)
            made = _from_pairs(reference, camera, light, *pairs)
            if made is not None:
                return made
            findings.append(
                _note(
                    camera,
                    "the registered colours disagree with each other too much to be believed: "
                    "only exposure and white are matched",
                )
            )
    return _exposure_and_white(reference, camera, light, findings)


def _note(camera: Footage, words: str) -> Finding:
    return Finding("warning", "no chart", camera.camera, 0.0, "", words)


def _from_pairs(
    reference: Footage, camera: Footage, light: str, values: Array, target: Array
) -> Matched | None:
    knots = curve_knots() if camera.encoding is None else None
    fit = fit_pairs(values, target, knots=knots)
    if fit.kept.mean() < _TRUSTED:
        return None
    lost = 1.0 - float(fit.kept.mean())
    findings = []
    if lost > 0.1:
        findings.append(
            Finding(
                "warning",
                "pairs",
                camera.camera,
                100.0 * lost,
                "percent",
                f"{100.0 * lost:.0f} % of the paired colours disagreed and were left out: "
                "parallax, or something moved between the frames",
            )
        )
    file = build_file(
        reference.camera, camera, light, "paired frames", fit, findings, target,
        (reference, camera),
    )  # fmt: skip
    kept = fit.kept[0]
    return Matched(
        file,
        fit,
        tuple(findings),
        target[kept],
        unmatched(camera, values[kept]),
        Match(file, file.lights[0]).scene(values[kept]),
        np.ones(int(kept.sum()), dtype=bool),
    )


def _exposure_and_white(
    reference: Footage, camera: Footage, light: str, findings: list[Finding]
) -> Matched:
    """Gains that make the mean light of the two pictures equal.

    Where one camera clips a share of its picture, that share of the brightest pixels is
    left out of both.
    """
    wanted, lost = _light(reference)
    have, lost_too = _light(camera)
    wanted, have = (_darkest(one, 1.0 - max(lost, lost_too)) for one in (wanted, have))
    gain = wanted.mean(axis=0) / have.mean(axis=0)
    base = np.eye(3) if camera.encoding is not None else between(BT709, AP1, "bradford")
    rows = [[round(float(value), 7) for value in row] for row in gain[:, None] * base]
    ends = (
        round(float(np.log2(max(np.percentile(wanted.mean(axis=1), 1), 1e-4) / MID_GREY)), 2),
        round(float(np.log2(np.percentile(wanted.mean(axis=1), 99) / MID_GREY)), 2),
    )
    findings.append(
        Finding(
            "warning",
            "approximate",
            camera.camera,
            float(np.log2(gain.mean())),
            "stops",
            f"approximate: camera {camera.camera} was only given exposure and white "
            f"({np.log2(gain.mean()):+.2f} stops); expect errors of 3 to 8 Delta E, more if the "
            "pictures show different things; shoot the chart for a match",
        )
    )
    quantiles = np.linspace(2, 98, 49)
    target = np.percentile(wanted, quantiles, axis=0)
    before = np.percentile(have, quantiles, axis=0)
    after = before * gain
    statistics = Statistics(
        patches=0,
        covers=ends,
        approximate=True,
        warnings=tuple(one.words for one in findings),
    )
    curve = None
    if camera.encoding is None:
        curve = ToneCurve(top=SIGNAL_TOP, slopes=(1.0, 1.0))
    one = LightMatch.model_validate(
        {
            "light": light,
            "method": "exposure and white",
            "curve": curve,
            "matrix": tuple(tuple(row) for row in rows),
            "statistics": statistics,
            "provenance": provenance((reference, camera)),
        }
    )
    file = file_with(reference.camera, camera, one)
    return Matched(file, None, tuple(findings), target, before, after, np.ones(len(target), bool))


def _light(footage: Footage) -> tuple[Array, float]:
    """Scene-linear AP1 of a small version, (n, 3), and the share of it that clips."""
    codes = _thumbnail(footage.main.picture)
    scene = unmatched(footage, footage.decode(codes)).reshape(-1, 3)
    endless = footage.encoding is not None and footage.encoding.scene_linear
    clipped = 0.0 if endless else float((codes >= _CLIPS).any(axis=-1).mean())
    bright = float(scene.mean())
    if clipped > 0.5 or bright < _BLACK or (scene.mean(axis=0) <= 0.0).any():
        raise InputError(
            f"camera {footage.camera} ({', '.join(footage.main.files[:2])}): the frame is black "
            "or clipped nearly everywhere: nothing can be matched to it"
        )
    return scene, clipped


def _darkest(scene: Array, share: float) -> Array:
    brightness = scene.mean(axis=1)
    return np.asarray(scene[brightness <= np.quantile(brightness, share)])


def _thumbnail(picture: Array) -> Array:
    """Means of square blocks, at most about 240 pixels wide."""
    size = max(1, picture.shape[1] // 240)
    height, width = (length // size * size for length in picture.shape[:2])
    blocks = picture[:height, :width].reshape(height // size, size, width // size, size, 3)
    return np.asarray(blocks.mean(axis=(1, 3)))


def _pairs(reference: Footage, camera: Footage) -> tuple[Array, Array] | str:
    """Light of camera B and scene of camera A in blocks both saw, or why there are none."""
    try:
        import cv2
    except ImportError:
        return "frames are registered only with the optional extra 'match'"
    ours, theirs = (_shrunk(cv2, one.main.picture) for one in (reference, camera))
    homography = _registration(cv2, ours, theirs)
    if homography is None:
        return "the two frames could not be registered: their views share too little"
    height, width = ours.shape[:2]
    warped = cv2.warpPerspective(theirs, homography, (width, height), flags=cv2.INTER_AREA)
    covered = cv2.warpPerspective(
        np.ones(theirs.shape[:2], np.float32), homography, (width, height)
    )
    a, spread_a = _blocks(ours)
    b, spread_b = _blocks(warped)
    whole = _blocks(np.repeat(covered[..., None], 3, axis=2))[0][:, 0] > 0.999
    top = 1e9 if reference.encoding and reference.encoding.scene_linear else _CLIPS
    fair = whole & (b.max(axis=1) < _CLIPS) & (b.min(axis=1) > 0.005) & (a.max(axis=1) < top)
    flat = (spread_a < 0.03) & (spread_b < 0.03)
    chosen = np.flatnonzero(fair & flat)
    if len(chosen) < FEWEST_PAIRS:
        return "the two frames share too few even areas"
    chosen = _spread_out(b, chosen)
    return camera.decode(b[chosen]), reference.decode(a[chosen])


def _shrunk(cv2: Any, picture: Array) -> Any:
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
    grey = np.sqrt(np.maximum(picture.mean(axis=2), 0.0))
    low, high = np.percentile(grey, [0.5, 99.5])
    stretched = np.clip((grey - low) / max(high - low, 1e-6), 0.0, 1.0)
    return cv2.createCLAHE(clipLimit=4.0, tileGridSize=(8, 8)).apply(
        (stretched * 255.0).astype(np.uint8)
    )


def _blocks(picture: Any) -> tuple[Array, Array]:
    """Mean of each block, (n, 3), and the largest spread of its channels, (n,)."""
    height, width = (length // BLOCK * BLOCK for length in picture.shape[:2])
    cut = picture[:height, :width].astype(np.float64)
    blocks = cut.reshape(height // BLOCK, BLOCK, width // BLOCK, BLOCK, 3).swapaxes(1, 2)
    flat = blocks.reshape(-1, BLOCK * BLOCK, 3)
    return flat.mean(axis=1), flat.std(axis=1).max(axis=1)


def _spread_out(colours: Array, chosen: np.ndarray) -> np.ndarray:
    """At most `MOST_PAIRS`, rare colours first: round robin over cells of colour space."""
    cells = np.floor(colours[chosen] * 12.0).astype(int) @ np.array([1, 1000, 1000000])
    order = np.argsort(cells, kind="stable")
    rank = np.empty(len(chosen), dtype=int)
    _, first, counts = np.unique(cells[order], return_index=True, return_counts=True)
    rank[order] = np.arange(len(chosen)) - np.repeat(first, counts)
    return np.asarray(chosen[np.argsort(rank, kind="stable")[:MOST_PAIRS]])

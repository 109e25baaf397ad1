"""Matching without a chart: frames of one scene that both cameras saw at one moment.

Where the views overlap and opencv is installed, the pictures are registered and small
flat blocks become pairs of colours for the robust joint fit. Otherwise only exposure and
white are matched, and the match says that it is approximate.
"""

from __future__ import annotations

from typing import Final

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
from lookkit.match.pairs import CLIPS, registered
from lookkit.match.quality import Finding
from lookkit.matchfile.model import LightMatch, Statistics, ToneCurve
from lookkit.matchfile.steps import Match
from lookkit.progress import Progress, silent
from lookkit.spaces.primaries import AP1, BT709, between
from lookkit.spaces.working import MID_GREY, Array

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
        pairs = registered(reference, camera)
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
    codes = codes.reshape(-1, 3)[np.isfinite(codes).all(axis=-1).ravel()]
    scene = unmatched(footage, footage.decode(codes)).reshape(-1, 3)
    endless = footage.encoding is not None and footage.encoding.scene_linear
    clipped = 0.0 if endless else float((codes >= CLIPS).any(axis=-1).mean())
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
    return np.asarray(blocks.mean(axis=(1, 3)), dtype=np.float64)

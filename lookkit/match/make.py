"""From frames to a match: the whole job, with nothing written."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import numpy as np

from lookkit.errors import InputError
from lookkit.match import charts, pose, quality
from lookkit.match.colour import difference
from lookkit.match.find import Chart, find_chart, from_corners
from lookkit.match.fit import (
    SIGNAL_TOP,
    Errors,
    Fit,
    Shot,
    Stage,
    brighter,
    curve_knots,
    fit_shots,
    plain_fit,
)
from lookkit.match.frames import Exposure, Footage
from lookkit.match.patches import NEAR_TOP, Patches, sample
from lookkit.match.promise import promise
from lookkit.match.quality import CLIPPED_SHARE, Finding
from lookkit.match.solve import errors
from lookkit.matchfile.camera_curve import bt709_encode
from lookkit.matchfile.model import (
    ChartSeen,
    ColourStage,
    LightMatch,
    MatchFile,
    Method,
    Provenance,
    Source,
    Spread,
    Statistics,
    ToneCurve,
)
from lookkit.matchfile.steps import Match
from lookkit.nodes.base import Matrix
from lookkit.progress import Progress, silent
from lookkit.spaces.primaries import AP1, BT709, between
from lookkit.spaces.working import Array
from lookkit.version import __version__

DEFAULT_LIGHT: Final = "main"
_BLACK: Final = 0.003
_SAME_EXPOSURE: Final = 0.25
_DOUBTFUL: Final = 3.5
"""Left-out mean from which the two cameras can hardly have seen the same light."""
_HOPELESS: Final = 6.0
_FAILS: Final = 3.0
"""Delta E that a fit leaves of a quarter of the patches on a plateau, if it is one."""


@dataclass(frozen=True)
class Reading:
    """The chart in one exposure of one camera."""

    exposure: Exposure
    chart: Chart
    patches: Patches

    @property
    def usable(self) -> np.ndarray:
        """Patches that are in the picture and do not clip, (24,) booleans."""
        return (self.patches.pixels > 0) & (self.patches.clipped <= CLIPPED_SHARE)


@dataclass(frozen=True)
class Matched:
    """A match and everything worth telling about it.

    Attributes
    ----------
    file
        The match file with this one light.
    fit
        The fit, or None where only exposure and white were matched.
    findings
        What is wrong with the frames.
    target
        Scene-linear AP1 that the patches (or pairs) should become, (n, 3).
    before, after
        The same of camera B without and with the match, (n, 3).
    known
        Which of these mean anything: not clipped in either camera, (n,) booleans.
    reference, camera
        What was read of each camera's chart; empty without a chart.
    must_not
        What the match must not be used for, in words.
    """

    file: MatchFile
    fit: Fit | None
    findings: tuple[Finding, ...]
    target: Array
    before: Array
    after: Array
    known: np.ndarray
    reference: tuple[Reading, ...] = ()
    camera: tuple[Reading, ...] = ()

    @property
    def match(self) -> Match:
        """The match itself."""
        return Match(self.file, self.file.lights[0])

    @property
    def before_errors(self) -> Errors:
        """Delta E 2000 of camera B without a match."""
        return Errors.of(difference(self.before, self.target)[self.known])

    @property
    def must_not(self) -> tuple[str, ...]:
        """What the match must not be used for."""
        match = self.file.lights[0]
        low, high = match.statistics.covers
        words = [
            f"scenes under another light than {match.light!r}: under coloured LED light a match "
            "made elsewhere can be off by more than ten Delta E",
            f"trusting light darker than {low:+.1f} or brighter than {high:+.1f} stops from "
            "mid-grey: beyond that the curve is extended, not measured",
        ]
        if match.statistics.approximate:
            words.append("close cutting between the two cameras: it is approximate")
        return tuple(words)


def match_charts(
    reference: Footage | str,
    camera: Footage,
    *,
    light: str = DEFAULT_LIGHT,
    stage: Stage = "auto",
    hold_white: bool = False,
    progress: Progress = silent,
) -> Matched:
    """Match a camera to the main camera from frames of the 24-patch chart.

    Parameters
    ----------
    reference
        The main camera's frames (its encoding must be known), or the name of a published
        chart edition where there was no main camera.
    camera
        The frames of the camera to be matched, one or several exposures.
    light
        The name of the light they were shot in.
    stage
        The colour stage behind the matrix: "auto" mixes what is learnt with what the chart asks
        for, "always" takes the chart's alone, "never" none: the form 1D + 3x3.
    hold_white
        Land the chart's white exactly.

    Raises
    ------
    InputError
        With what is wrong with the frames and what to do. Nothing is written in any case.
    """
    if isinstance(reference, Footage):
        refuse_itself(reference, camera)
        if reference.encoding is None:
            raise InputError(
                f"camera {reference.camera}: the main camera's encoding must be known; name it "
                "in the recipe, or match to a published chart edition instead"
            )
    theirs = read_all(camera, progress)
    _check_order(camera, theirs)
    findings: list[Finding] = []
    ours: tuple[Reading, ...] = ()
    if isinstance(reference, Footage):
        ours = read_all(reference, progress)
        _check_order(reference, ours)
        everything = np.ones(charts.COUNT, dtype=bool)
        paper = charts.edition("average").scene
        ours, clips = _without_plateau(reference, ours, paper, everything, None)
        findings += clips
        target, known = _target(reference, ours)
        name, method = reference.camera, "chart"
        findings += _reference_findings(reference, ours, target, known)
    else:
        target, known = charts.edition(reference).scene, np.ones(charts.COUNT, dtype=bool)
        name, method = f"chart {reference}", "published chart"
    knots = curve_knots() if camera.encoding is None else None
    theirs, clips = _without_plateau(camera, theirs, target, known, knots)
    findings += clips
    shots = _shots(theirs, known)
    fit = fit_shots(
        shots, target, knots=knots, stage=stage, hold_white=hold_white, progress=progress
    )
    if fit.cross.mean > _HOPELESS:
        raise InputError(
            f"the two cameras' charts cannot be brought together (left-out patches are off by "
            f"{fit.cross.mean:.1f} Delta E on average): were they shot in different light, or "
            "is one of the charts another one?"
        )
    usable = np.array([shot.usable for shot in shots])
    main = main_reading(theirs)
    level = 2.0**-main.exposure.stops
    before = unmatched(camera, main.patches.light) * level
    named = f"camera {name}" if isinstance(reference, Footage) else name
    seen = main.usable & known
    findings += _camera_findings(camera, theirs, fit, usable, target, named, before, seen)
    if isinstance(reference, Footage):
        theirs_is, _ = quality.best_edition(target, known)
        as_each = {one: quality.as_edition(target, theirs_is, one) for one in charts.editions()}
        residuals = _residuals(shots, as_each, knots)
        findings += quality.two_editions(camera.camera, reference.camera, theirs_is, residuals)
    else:
        editions = {one: charts.edition(one).scene for one in charts.editions()}
        residuals = _residuals(shots, editions, knots)
        findings += quality.edition_mismatch(camera.camera, reference, residuals)
    file = build_file(
        name, camera, light, "chart" if method == "chart" else "published chart", fit, findings,
        target, (*([reference] if isinstance(reference, Footage) else []), camera),
        _chart_seen(camera, main, target, seen),
    )  # fmt: skip
    after = Match(file, file.lights[0]).scene(main.patches.light) * level
    return Matched(file, fit, tuple(findings), target, before, after, seen, ours, theirs)


def _shots(readings: Sequence[Reading], known: np.ndarray) -> list[Shot]:
    return [Shot(one.exposure.stops, one.patches.light, one.usable & known) for one in readings]


def _residuals(
    shots: Sequence[Shot], targets: dict[str, Array], knots: Array | None
) -> dict[str, float]:
    """Return what curve and matrix leave of the chart for each target, mean Delta E."""
    out = {}
    for name, target in targets.items():
        _, kept, solution = plain_fit(shots, target, knots)
        out[name] = float(errors(kept, solution)[kept.keep].mean())
    return out


def _without_plateau(
    footage: Footage,
    readings: Sequence[Reading],
    wanted: Array,
    known: np.ndarray,
    knots: Array | None,
) -> tuple[tuple[Reading, ...], list[Finding]]:
    """Mark patches as clipped that lie on a plateau below the end of the range.

    A knee makes one nearly. So a fit that counts these patches must fail on them.
    """
    if footage.encoding is not None and footage.encoding.scene_linear:
        return tuple(readings), []
    medians = [
        np.where((one.patches.pixels > 0)[:, None], one.patches.medians, np.nan) for one in readings
    ]
    light = [wanted * 2.0**one.exposure.stops for one in readings]
    code = quality.plateau(medians, light)
    if code is None or code >= _top(footage) - NEAR_TOP:
        return tuple(readings), []
    shots = _shots(readings, known)
    flat = np.array([quality.on_plateau(one.patches.medians, code) for one in readings])
    seen = flat & np.array([one.usable for one in shots])
    problem, _, solution = plain_fit(shots, wanted, knots)
    # Glare may bring patches there too: those that are too bright have no say.
    seen &= brighter(problem, solution).reshape(seen.shape) < quality.GLARE
    left = errors(problem, solution).reshape(seen.shape)[seen]
    if not len(left) or float(np.percentile(left, 75)) < _FAILS:
        return tuple(readings), []
    where = [one.exposure.stops for one, on in zip(readings, flat, strict=True) if on.any()]
    out = []
    for one, on in zip(readings, flat, strict=True):
        clipped = np.where(on, 1.0, one.patches.clipped)
        out.append(replace(one, patches=replace(one.patches, clipped=clipped)))
    return tuple(out), [quality.plateau_found(footage.camera, code, footage.depth, where)]


def _chart_seen(camera: Footage, main: Reading, target: Array, seen: np.ndarray) -> ChartSeen:
    """Return the patches of the main exposure that count, to five decimals."""
    own = main.patches.light if camera.encoding is not None else bt709_encode(main.patches.light)
    theirs = target * 2.0**main.exposure.stops

    def rows(colours: Array) -> tuple[tuple[float, ...], ...]:
        return tuple(tuple(round(float(value), 5) for value in row) for row in colours[seen])

    numbers = tuple(int(number) + 1 for number in np.flatnonzero(seen))
    return ChartSeen.model_validate(
        {"patches": numbers, "camera": rows(own), "reference": rows(theirs)}
    )


def unmatched(camera: Footage, light: Array) -> Array:
    """Return the scene-linear AP1 that a camera's light would give without a match.

    `light` is as `Footage.decode` gives it; unknown cameras are read as BT.709.
    """
    if camera.encoding is not None:
        return light
    return np.asarray(light @ between(BT709, AP1, "bradford").T)


def build_file(
    reference: str,
    camera: Footage,
    light: str,
    method: Method,
    fit: Fit,
    findings: Sequence[Finding],
    target: Array,
    sources: Sequence[Footage],
    seen: ChartSeen | None = None,
) -> MatchFile:
    """Return the match file of a fit; its rounded numbers are the match."""
    solution = fit.solution
    curve = None
    if solution.curve is not None:
        slopes = np.exp(solution.curve.log_slopes)
        curve = ToneCurve(top=SIGNAL_TOP, slopes=tuple(float(f"{slope:.5g}") for slope in slopes))
    bracketed = len(solution.exposure_errors) > 1 and len(target) == charts.COUNT
    statistics = Statistics.model_validate(
        {
            "chart": spread(fit.chart),
            "left-out": spread(fit.cross) if len(fit.left_out) else None,
            "promise": promise(fit, camera.encoding is not None) if len(fit.left_out) else None,
            "unlikeness": None if fit.unlikeness is None else round(fit.unlikeness, 2),
            "patches": int(fit.kept.sum()),
            "covers": (round(fit.covers[0], 2), round(fit.covers[1], 2)),
            "flare": round(quality.flare_percent(solution, target), 2) if bracketed else None,
            "warnings": tuple(one.words for one in findings if one.level == "warning"),
        }
    )
    one = LightMatch(
        light=light,
        method=method,
        curve=curve,
        matrix=_rows(solution.matrix),
        stage=_stage(fit),
        statistics=statistics,
        chart=seen,
        provenance=provenance(sources),
    )
    return file_with(reference, camera, one)


def file_with(reference: str, camera: Footage, one: LightMatch) -> MatchFile:
    """Return a match file that holds one light."""
    known = camera.encoding is not None
    return MatchFile.model_validate(
        {
            "schema": 1,
            "camera": camera.camera,
            "reference": reference,
            "encoding": camera.encoding_name,
            "range": (camera.range or "full") if known else camera.signal_range,
            "bits": (camera.bits or 10) if known else camera.depth,
            "lights": (one,),
        }
    )


def provenance(sources: Sequence[Footage]) -> Provenance:
    """Return which frames went in."""
    return Provenance.model_validate(
        {
            "made-by": f"lookkit {__version__}",
            "sources": tuple(
                Source(camera=one.camera, stops=each.stops, files=each.files, sha256=each.sha256)
                for one in sources
                for each in one.exposures
            ),
        }
    )


def spread(errors: Errors) -> Spread:
    """Return errors as the match file holds them."""
    return Spread(mean=round(errors.mean, 3), p95=round(errors.p95, 3), max=round(errors.max, 3))


def _stage(fit: Fit) -> ColourStage | None:
    stage = fit.solution.stage
    if stage is None or fit.learnt is None:
        return None
    return ColourStage(
        learnt=round(fit.learnt, 3), matrix=_rows(stage.matrix), roots=_rows(stage.roots)
    )


def _rows(matrix: Array) -> Matrix:
    rows = [tuple(round(float(value), 7) for value in row) for row in matrix]
    return (rows[0], rows[1], rows[2])  # type: ignore[return-value]


def refuse_itself(reference: Footage, camera: Footage) -> None:
    """Refuse to match a camera to itself, by name or by its frames."""
    if reference.camera == camera.camera:
        raise InputError(f"camera {camera.camera} cannot be matched to itself: name two cameras")
    ours = {one.sha256 for one in reference.exposures if one.sha256}
    twice = [one for one in camera.exposures if one.sha256 in ours]
    same = twice or [
        one
        for one in camera.exposures
        if any(np.array_equal(one.picture, other.picture) for other in reference.exposures)
    ]
    if same:
        files = ", ".join(same[0].files) or "a picture"
        raise InputError(
            f"{files} is given for camera {reference.camera} and for camera {camera.camera}: the "
            "reference is the camera itself"
        )


def read_all(footage: Footage, progress: Progress) -> tuple[Reading, ...]:
    """Find and sample the chart in every exposure, beginning with the main one."""
    order = sorted(footage.exposures, key=lambda one: abs(one.stops))
    readings: list[Reading] = []
    for number, one in enumerate(order):
        progress(f"finding the chart of camera {footage.camera}", number, len(order))
        chart = _locate(footage, one, readings[0].chart if readings else None)
        patches = sample(one.picture, chart.homography, footage.decode, top=_top(footage))
        if not readings:
            _refuse_black(footage, one, patches)
        readings.append(Reading(one, chart, patches))
    return tuple(sorted(readings, key=lambda one: one.exposure.stops))


def main_reading(readings: Sequence[Reading]) -> Reading:
    """Return the reading of the exposure nearest to 0 stops."""
    return min(readings, key=lambda one: abs(one.exposure.stops))


def _locate(footage: Footage, one: Exposure, main: Chart | None) -> Chart:
    where = f"camera {footage.camera}" + (f" ({', '.join(one.files[:2])})" if one.files else "")
    try:
        if footage.corners is not None:
            return from_corners(one.picture, footage.corners)
        return find_chart(one.picture, footage.crop)
    except InputError as error:
        if main is None:
            raise InputError(f"{where}: {error}") from error
        # A very dark or bright exposure: the camera stood still, so the main one's place holds.
        patches = sample(one.picture, main.homography, footage.decode)
        if pose.score(patches.codes, (patches.pixels > 0)) >= pose.ACCEPT_GIVEN:
            return main
        raise InputError(f"{where}, at {one.stops:+g} stops: {error}") from error


def _top(footage: Footage) -> float:
    """Return the code at which the camera clips; none for scene-linear floats."""
    if footage.encoding is not None and footage.encoding.scene_linear:
        return float("inf")
    return 1.0


def _refuse_black(footage: Footage, one: Exposure, patches: Patches) -> None:
    white = float(patches.light[charts.WHITE].mean())
    if white < _BLACK:
        raise InputError(
            f"camera {footage.camera} ({', '.join(one.files[:2])}): the frames are black (the "
            f"chart's white reads {white:.4f} of full light): expose the chart"
        )


def _check_order(footage: Footage, readings: Sequence[Reading]) -> None:
    """Refuse exposures whose brightness does not rise with their stops."""
    for first, second in pairwise(readings):
        both = first.usable & second.usable
        if not both.any():
            continue
        step = np.median(
            np.log2(
                np.maximum(second.patches.light[both].mean(axis=1), 1e-6)
                / np.maximum(first.patches.light[both].mean(axis=1), 1e-6)
            )
        )
        if step < 0.05:
            raise InputError(
                f"camera {footage.camera}: the exposure series is in the wrong order: "
                f"{_named(second)} should be brighter than {_named(first)} but is "
                f"{'as bright' if abs(step) < 0.05 else f'{-step:.1f} stops darker'}"
            )


def _named(reading: Reading) -> str:
    files = ", ".join(reading.exposure.files[:2])
    return f"{files or 'the one'} at {reading.exposure.stops:+g} stops"


def _target(reference: Footage, readings: Sequence[Reading]) -> tuple[Array, np.ndarray]:
    """Return the main camera's patches at exposure 0, and which of them are known.

    Exposures are brought to the main one by the median ratio of their patches, so that
    jitter of the bracket does not blur the target, and averaged by how certain they are.
    """
    main = main_reading(readings)
    base = 2.0**-main.exposure.stops
    total = np.zeros((charts.COUNT, 3))
    weights = np.zeros((charts.COUNT, 1))
    for one in readings:
        light = one.patches.light * 2.0**-one.exposure.stops
        both = one.usable & main.usable
        if one is not main:
            if both.sum() < 6:
                continue
            gain = float(
                np.median(main.patches.light[both].mean(axis=1) * base / light[both].mean(axis=1))
            )
            if abs(np.log2(max(gain, 1e-6))) > _SAME_EXPOSURE:
                raise InputError(
                    f"camera {reference.camera}: {_named(one)} is off by "
                    f"{-np.log2(max(gain, 1e-6)):+.1f} stops against the main exposure: say the "
                    "stops it was shot at"
                )
            light = light * gain
        noise = one.patches.noise.mean(axis=1) * 2.0**-one.exposure.stops
        level = light.mean(axis=1)
        doubt = noise**2 / np.maximum(one.patches.pixels / 4.0, 1.0) + (0.005 * level + 2e-4) ** 2
        weight = np.where(one.usable, 1.0 / np.maximum(doubt, 1e-12), 0.0)[:, None]
        total += light * weight
        weights += weight
    known = weights[:, 0] > 0
    if known.sum() < 12:
        raise InputError(
            f"camera {reference.camera}: only {int(known.sum())} of 24 patches are usable in any "
            "exposure (the rest clip): expose less"
        )
    return np.where(weights > 0, total / np.maximum(weights, 1e-30), 1e-3), known


def _reference_findings(
    reference: Footage, readings: Sequence[Reading], target: Array, known: np.ndarray
) -> list[Finding]:
    name = reference.camera
    findings = []
    for one in readings:
        findings += quality.lost_pixels(name, one.exposure.lost, one.exposure.stops)
        findings += quality.clipping(name, one.exposure.stops, one.patches)
    main = main_reading(readings)
    findings += quality.noise(name, main.patches, target, main.usable)
    findings += quality.cast(name, target)
    nearest, _ = quality.best_edition(target, known)
    wanted = charts.edition(nearest).scene
    carried = wanted @ np.linalg.lstsq(wanted[known], target[known], rcond=None)[0]
    findings += quality.evenness(name, target, carried, known)
    findings += quality.paper_flare(name, target, charts.edition("average").scene, known)
    return findings


def _camera_findings(
    camera: Footage,
    readings: Sequence[Reading],
    fit: Fit,
    usable: np.ndarray,
    target: Array,
    reference: str,
    before: Array,
    seen: np.ndarray,
) -> list[Finding]:
    name = camera.camera
    findings: list[Finding] = []
    for one in readings:
        findings += quality.lost_pixels(name, one.exposure.lost, one.exposure.stops)
        findings += quality.clipping(name, one.exposure.stops, one.patches)
    main = main_reading(readings)
    plain = replace(fit.solution, flare=np.zeros(3))
    fall = (charts.centres() - 0.5) @ plain.shade
    scene = plain.scene(main.patches.light, main.exposure.stops + fall[:, None])
    findings += quality.noise(name, main.patches, scene, main.usable)
    findings += quality.glare(name, fit, usable)
    flat = plain.scene(main.patches.light, main.exposure.stops)
    findings += quality.shading(name, reference, fit.solution, flat, target, seen)
    findings += quality.evenness(name, scene, target, seen)
    if len(readings) > 1:
        findings += quality.flare(name, fit.solution, target)
    elif camera.encoding is None:
        findings += quality.flare_unknown(name, fit.stray)
    else:
        findings += quality.greys_flare(name, scene, target, seen)
    findings += quality.exposure(reference, name, target, before, seen)
    findings += quality.bracket(name, [one.exposure.stops for one in readings], fit.solution)
    curve = fit.solution.curve
    own = main.patches.light if curve is None else curve(main.patches.light)
    findings += quality.cast(name, own)
    if fit.cross.mean > _DOUBTFUL:
        findings.append(
            Finding(
                "warning",
                "light",
                name,
                fit.cross.mean,
                "Delta E",
                f"left-out patches are off by {fit.cross.mean:.1f} Delta E on average: were both "
                "charts in the same light, and are they the same edition?",
            )
        )
    return findings

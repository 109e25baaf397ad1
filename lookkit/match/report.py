"""What a match tells people: a JSON file, a page of pictures, and where it sampled."""

from __future__ import annotations

import json
import textwrap
from dataclasses import asdict
from pathlib import Path
from typing import Any, Final

import numpy as np

from lookkit.files import write_beside
from lookkit.match import charts
from lookkit.match.advice import next_time
from lookkit.match.colour import difference
from lookkit.match.find import Chart
from lookkit.match.homography import carry
from lookkit.match.make import Matched, Reading
from lookkit.match.patches import CENTRAL
from lookkit.matchfile.camera_curve import bt709_decode
from lookkit.media.stills import write_still
from lookkit.plotting import CHANNELS, LIGHT, dress, new_figure
from lookkit.spaces.primaries import AP1, BT709, between
from lookkit.spaces.working import Array

_LONGEST: Final = 4000


def report_dict(made: Matched) -> dict[str, Any]:
    """Return everything known about a match, as JSON holds it."""
    match = made.file.lights[0]
    report: dict[str, Any] = {
        "camera": made.file.camera,
        "reference": made.file.reference,
        "light": match.light,
        "method": match.method,
        "encoding": made.file.encoding,
        "statistics": match.statistics.model_dump(by_alias=True, exclude_none=True),
        "before": asdict(made.before_errors),
        "must_not_be_used_for": list(made.must_not),
        "next_time": list(next_time(made)),
        "findings": [asdict(one) for one in made.findings],
        "provenance": match.provenance.model_dump(by_alias=True),
    }
    if made.camera and made.fit is not None:
        fit, after = made.fit, difference(made.after, made.target)
        before = difference(made.before, made.target)
        counted = np.asarray(fit.kept.any(axis=0))
        left = {index: one for index, one in enumerate(fit.left_out.tolist()) if np.isfinite(one)}
        report["patches"] = [
            {
                "name": name,
                "counted": bool(counted[index]),
                "before": round(float(before[index]), 3) if made.known[index] else None,
                "after": round(float(after[index]), 3) if made.known[index] else None,
                "left_out": round(left[index], 3) if index in left else None,
            }
            for index, name in enumerate(charts.patch_names())
        ]
        report["colour_stage"] = {
            "used": match.stage is not None,
            "learnt": fit.learnt,
            "unlikeness": fit.unlikeness,
        }
        report["exposures"] = [
            {
                "stops": one.exposure.stops,
                "error_stops": round(float(error), 4),
                "chart": one.chart.how,
                "agreement": round(one.chart.agreement, 3),
                "corners": np.round(one.chart.corners * one.exposure.reduced, 1).tolist(),
                "mirrored": one.chart.mirrored,
            }
            for one, error in zip(made.camera, fit.solution.exposure_errors, strict=True)
        ]
    return report


def write_json(made: Matched, path: Path) -> None:
    """Write `report_dict` as JSON."""
    with write_beside(path) as beside:
        text = json.dumps(report_dict(made), indent=2, ensure_ascii=False)
        beside.write_text(text + "\n", encoding="utf-8", newline="\n")


def summary(made: Matched) -> str:
    """Return the match in a few lines of text."""
    match = made.file.lights[0]
    known = match.statistics
    before = made.before_errors
    lines = [
        f"camera {made.file.camera} to {made.file.reference}, light {match.light!r}, by "
        f"{match.method}"
    ]
    if known.chart is not None:
        lines.append(f"  before         mean {before.mean:5.2f}   p95 {before.p95:5.2f}  Delta E")
        lines.append(
            f"  after          mean {known.chart.mean:5.2f}   p95 {known.chart.p95:5.2f}"
            "  on what the fit saw"
        )
    if known.left_out is not None:
        lines.append(
            f"  left out       mean {known.left_out.mean:5.2f}   p95 {known.left_out.p95:5.2f}"
            "  on patches, by matrices that did not see their hue"
        )
    if known.promise is not None:
        lines.append("  expect, on colours that are not the chart's and do not clip, in Delta E:")
        for name, one in (
            ("mean", known.promise.mean),
            ("p95", known.promise.p95),
            ("skin", known.promise.skin),
        ):
            lines.append(f"    {name:5s} about {one.about:.1f}, up to {one.up_to:.1f}")
        lines.append('    (nine in ten simulated matches of this kind stay below "up to")')
    low, high = known.covers
    lines.append(f"  covers {low:+.1f} to {high:+.1f} stops from mid-grey")
    if match.stage is not None:
        share = 100.0 * match.stage.learnt
        lines.append(
            f"  a colour stage follows the 3x3: {share:.0f} % learnt from other cameras, the rest "
            "asked for by this chart (no 1D + 3x3 form; --stage never leaves it out)"
        )
    lines += [f"  not for {words}" for words in made.must_not]
    lines += [f"{one.level}: {one.words}" for one in made.findings]
    lines += [f"next time: {words}" for words in next_time(made)]
    return "\n".join(lines)


def write_patches(reading: Reading, path: Path) -> None:
    """Write the picture with what was sampled drawn on it; dark skin has a double outline."""
    write_still(path, patches_picture(reading.exposure.picture, reading.chart), bits=8)


def patches_picture(picture: Array, chart: Chart) -> Array:
    """Return the picture with the sampled squares outlined, (height, width, 3) in 0-1.

    A picture of more than 4000 pixels' width or height is thinned out.
    """
    step = max(1, max(picture.shape[:2]) // _LONGEST)
    finite = np.nan_to_num(picture[::step, ::step], nan=0.0, posinf=0.0, neginf=0.0)
    low, high = np.percentile(finite[::4, ::4], [0.2, 99.8])
    shown = np.clip((finite - low) / max(high - low, 1e-6), 0.0, 1.0)
    half = charts.half_swatch() * CENTRAL
    corners = half * np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
    for index, centre in enumerate(charts.centres().tolist()):
        for scale in (1.0, 0.6) if index == 0 else (1.0,):
            _outline(shown, carry(chart.homography, centre + corners * scale) / step)
    return np.asarray(shown)


def _outline(picture: Array, corners: Array) -> None:
    """Draw a closed outline in place: black and white, so that it shows on any patch."""
    for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        steps = int(np.ceil(np.abs(end - start).max() * 2.0)) + 1
        line = start + (end - start) * np.linspace(0.0, 1.0, steps)[:, None]
        for offset, value in ((1, 0.0), (0, 1.0)):
            x, y = np.floor(line + offset).astype(int).T
            inside = (x >= 0) & (y >= 0) & (x < picture.shape[1]) & (y < picture.shape[0])
            picture[y[inside], x[inside]] = value


def write_page(made: Matched, path: Path) -> None:
    """Write the page: chart halves before and after, what to expect, what to shoot better.

    Below them, errors of each patch and the curve.

    Raises
    ------
    LookkitError
        If matplotlib (the optional extra 'pictures') is not installed.
    """
    figure = new_figure(14.0, 11.5, dpi=110, layout="constrained", facecolor=LIGHT["sheet"])
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    FigureCanvasAgg(figure)
    match = made.file.lights[0]
    figure.suptitle(
        f"camera {made.file.camera} to {made.file.reference}, light “{match.light}”, "
        f"by {match.method}"
        + (
            f"\neach patch: upper left {_main(made)}, lower right camera {made.file.camera}"
            if made.camera
            else ""
        ),
        fontsize=13,
        color=LIGHT["ink"],
    )
    grid = figure.add_gridspec(3, 12, height_ratios=[1.25, 0.62, 0.9])
    if made.camera:
        _halves(figure.add_subplot(grid[0, :6]), made, made.before, "before")
        _halves(figure.add_subplot(grid[0, 6:]), made, made.after, "after")
    else:
        _scatter(figure.add_subplot(grid[0, :6]), made.target, made.before, "before")
        _scatter(figure.add_subplot(grid[0, 6:]), made.target, made.after, "after")
    _expected(figure.add_subplot(grid[1, :6]), made)
    _words(figure.add_subplot(grid[1, 6:]), made)
    _bars(figure.add_subplot(grid[2, :8]), made)
    _curve(figure.add_subplot(grid[2, 8:]), made)
    with write_beside(path) as beside:
        # A fixed set of metadata keeps the file the same from run to run.
        figure.savefig(beside, metadata={"Software": None})


def _display(scene: Array) -> Array:
    """Scene-linear AP1 as display values of a plain BT.709 picture, 0-1."""
    linear = np.clip(scene @ between(AP1, BT709, "bradford").T, 0.0, 1.0)
    return np.asarray(linear ** (1.0 / 2.2))


def _counted(made: Matched) -> np.ndarray:
    """Patches that the fit counted in some exposure, (24,) booleans."""
    if made.fit is None:
        return np.asarray(made.known)
    return np.asarray(made.fit.kept.any(axis=0))


def _halves(axes: Any, made: Matched, shown: Array, title: str) -> None:
    from matplotlib.patches import Polygon

    ours, theirs = _display(made.target), _display(shown)
    counted = _counted(made)
    for index in range(charts.COUNT):
        row, column = divmod(index, charts.COLUMNS)
        x, y = column * 1.12, -row * 1.12
        if not made.known[index]:
            axes.text(x + 0.5, y + 0.5, "clipped", color="0.6", ha="center", va="center")
            continue
        axes.add_patch(Polygon([(x, y), (x + 1, y + 1), (x, y + 1)], color=ours[index]))
        axes.add_patch(Polygon([(x, y), (x + 1, y + 1), (x + 1, y)], color=theirs[index]))
        if not counted[index]:
            axes.add_patch(
                Polygon(
                    [(x, y), (x + 1, y), (x + 1, y + 1), (x, y + 1)],
                    fill=False, edgecolor="white", linewidth=1.5, linestyle="--",
                )
            )  # fmt: skip
            axes.text(x + 0.5, y + 0.06, "left out", color="white", ha="center", fontsize=8)
    axes.set_xlim(-0.1, charts.COLUMNS * 1.12)
    axes.set_ylim(-charts.ROWS * 1.12 + 1.0, 1.12)
    axes.set_aspect("equal")
    axes.set_facecolor("0.12")
    axes.set_xticks([])
    axes.set_yticks([])
    fair = counted & made.known
    mean = float(difference(shown, made.target)[fair].mean())
    axes.set_title(
        f"{title}: mean Delta E {mean:.2f} on the chart",
        fontsize=11,
    )


def _main(made: Matched) -> str:
    named = made.file.reference
    return named if named.startswith("chart ") else f"camera {named}"


def _expected(axes: Any, made: Matched) -> None:
    """Draw the range that is promised, and what the scene showed."""
    known = made.file.lights[0].statistics
    rows: list[tuple[str, float, float]] = []
    if known.promise is not None:
        for name, one in (
            ("mean", known.promise.mean),
            ("skin", known.promise.skin),
            ("one in 20 above", known.promise.p95),
        ):
            rows.append((name, one.about, one.up_to))
    if known.scene is not None:
        rows.append(("scene, half", known.scene.median, known.scene.median))
    axes.set_title(
        "what to expect on other colours that do not clip, in this light, Delta E 2000", fontsize=10
    )
    if not rows:
        axes.axis("off")
        axes.text(0.5, 0.5, "nothing is known without a chart", ha="center", va="center")
        return
    for place, (_, about, most) in enumerate(rows):
        axes.barh(place, most, 0.55, color=LIGHT["rule"])
        axes.barh(place, about, 0.55, color=LIGHT["line-1"])
        words = f"about {about:.1f}, up to {most:.1f}" if most > about else f"{about:.1f}"
        axes.text(most, place, f"  {words}", va="center", fontsize=10)
    axes.set_yticks(range(len(rows)), [name for name, _, _ in rows])
    axes.set_ylim(len(rows) - 0.15, -0.6)
    axes.set_xlim(0.0, 1.45 * max(most for _, _, most in rows))
    axes.axvline(1.0, color=LIGHT["quiet"], linewidth=0.8, linestyle=":")
    dress(axes)
    axes.grid(visible=False)
    axes.text(1.0, len(rows) - 0.3, " just seen", fontsize=8, color=LIGHT["quiet"])


def _words(axes: Any, made: Matched) -> None:
    """Write what to shoot better next time."""
    axes.axis("off")
    axes.set_title("next time", fontsize=10, loc="left")
    lines = next_time(made) or ("nothing: these frames are as good as they need to be",)
    text = "\n".join(f"- {textwrap.fill(words, 76, subsequent_indent='  ')}" for words in lines)
    axes.text(0.0, 0.97, text, va="top", fontsize=10, transform=axes.transAxes)


def _scatter(axes: Any, target: Array, shown: Array, title: str) -> None:
    for channel, colour in enumerate(LIGHT[name] for name in CHANNELS):
        axes.loglog(
            np.maximum(target[:, channel], 1e-4),
            np.maximum(shown[:, channel], 1e-4),
            ".",
            color=colour,
            markersize=3,
        )
    ends = [max(float(target.min()), 1e-3), max(float(target.max()), 2e-3)]
    axes.plot(ends, ends, color=LIGHT["quiet"], linewidth=0.8)
    axes.set_xlabel("main camera, scene-linear")
    axes.set_ylabel("matched camera")
    axes.set_title(title, fontsize=10)
    dress(axes)


def _bars(axes: Any, made: Matched) -> None:
    if made.fit is None or not made.camera:
        errors = np.sort(difference(made.after, made.target))
        axes.plot(np.linspace(0, 100, len(errors)), errors, color=LIGHT["line-1"])
        dress(axes)
        axes.set_xlabel("percent of colours")
        axes.set_ylabel("Delta E 2000")
        return
    fit = made.fit
    names = charts.patch_names()
    place = np.arange(len(names))
    counted = _counted(made) & made.known
    after = np.where(counted, difference(made.after, made.target), 0.0)
    axes.bar(place - 0.2, after, 0.4, color=LIGHT["line-1"], label="fitted, main exposure")
    left = fit.left_out if len(fit.left_out) else np.zeros(charts.COUNT)
    left = np.where(counted & np.isfinite(left), left, 0.0)
    if len(fit.left_out):
        axes.bar(place + 0.2, left, 0.4, color=LIGHT["line-2"], label="by a fit without its hue")
    # Patches that were not used are named, and do not set the scale.
    top = 1.15 * max(float(after.max()), float(left.max()), 1.0)
    axes.set_ylim(0.0, top)
    for index in place[~counted]:
        words = "clipped" if not made.known[index] else "left out of the match"
        if made.known[index]:
            words += f", off by {difference(made.after, made.target)[index]:.1f}"
        axes.axvspan(index - 0.45, index + 0.45, color=LIGHT["rule"])
        axes.text(index, 0.04 * top, words, rotation=90, ha="center", va="bottom", fontsize=8)
    axes.set_xticks(place, names, rotation=70, ha="right", fontsize=7)
    axes.set_ylabel("Delta E 2000")
    axes.legend(fontsize=8, frameon=False, labelcolor=LIGHT["ink"])
    dress(axes)


def _curve(axes: Any, made: Matched) -> None:
    match = made.file.lights[0]
    low, high = match.statistics.covers
    if match.curve is None:
        axes.axis("off")
        text = "3x3 to the main camera's scene\n\n" + "\n".join(
            "  ".join(f"{value:+.4f}" for value in row) for row in match.matrix
        )
        axes.text(0.0, 0.9, text, va="top", family="monospace")
        return
    signal = np.linspace(0.0, match.curve.top, 300)
    light = bt709_decode(signal)
    gain = float(np.array(match.matrix)[1].sum())
    plain, fitted = (np.maximum(one * gain, 1e-4) for one in (light, match.curve.rising(light)))
    axes.semilogy(signal, plain, "--", color=LIGHT["quiet"], label="BT.709")
    axes.semilogy(signal, fitted, color=LIGHT["line-1"], label="fitted")
    how = {"color": LIGHT["rule"], "alpha": 0.6, "label": "observed light"}
    axes.axhspan(0.18 * 2.0**low, 0.18 * 2.0**high, **how)
    axes.set_ylim(1e-3, 20.0)
    axes.set_xlabel("signal of the matched camera (0 black, 1 white)")
    axes.set_ylabel("scene-linear")
    axes.legend(fontsize=8, frameon=False, labelcolor=LIGHT["ink"])
    dress(axes)

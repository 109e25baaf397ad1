"""The report: one page on which a film-maker reads what a look does and how exact it is."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING, Final

from lookkit.errors import InputError
from lookkit.files import write_beside
from lookkit.match.check import Checked, check_matches
from lookkit.match.consistency import Consistency
from lookkit.media.measure import CAUTION as LEVELS_CAUTION
from lookkit.nodes.base import Node, Step
from lookkit.progress import Progress, silent
from lookkit.recipe.wiring import wire
from lookkit.report import charts
from lookkit.report.certificates import Found, certificates_html, find_certificates
from lookkit.report.describe import describe, settings, warnings
from lookkit.report.frames import Frames, graded_frames, sheet_title
from lookkit.report.graph_picture import Inks, graph_figure
from lookkit.report.html import (
    INK,
    PAPER,
    QUIET,
    details,
    figure,
    film,
    folded,
    page,
    paragraphs,
    table,
)
from lookkit.report.measure_charts import measures_html, measures_table
from lookkit.report.sheet import PAGE_WIDTH, draw_sheet
from lookkit.report.stops import CAUTION, stop_chart

if TYPE_CHECKING:
    from lookkit.look import Look
    from lookkit.match.consistency import Consistency
    from lookkit.media.jobs import Options

REPORT: Final = "report.html"
SHEET: Final = "sheet.png"
_WIDTH: Final = PAGE_WIDTH


def write_report(
    look: Look,
    path: Path,
    *,
    files: Sequence[str | Path] = (),
    options: Options | None = None,
    certificates: Sequence[Path] = (),
    consistency: Sequence[Checked] = (),
    progress: Progress = silent,
) -> tuple[str, ...]:
    """Write the report as one HTML page that fetches nothing and runs nothing.

    The same inputs give the same bytes.

    Parameters
    ----------
    files, options
        Frames to show through the look, as `lookkit apply` takes them; see `graded_frames`.
    certificates
        Certificates of built .cube files (`NAME.cube.json`), or folders to search for them,
        such as a hand-off's.
    consistency
        How far apart the cameras land, from `lookkit.match.check`; default on the charts that
        the recipe's matches were made from.

    Returns
    -------
    tuple of str
        What a user should know of the frames.

    Raises
    ------
    InputError
        If the recipe has no camera or no output, nothing says whose a file is, or a place
        holds no certificate that can be read.
    LookkitError
        If matplotlib or Pillow is not installed, or the page cannot be written.
    """
    frames = None
    if files:
        frames = graded_frames(look, files, options, width=_WIDTH, measured=True, progress=progress)
    _write(look, path, frames, certificates, consistency, progress)
    return frames.warnings if frames is not None else ()


def write_pages(
    look: Look,
    folder: Path,
    files: Sequence[str | Path] = (),
    options: Options | None = None,
    progress: Progress = silent,
) -> tuple[Path, ...]:
    """Write `report.html`, and with frames `sheet.png`, into a folder with certificates.

    Parameters and errors as of `write_report`.
    """
    frames = None
    made = [folder / REPORT]
    if files:
        frames = graded_frames(look, files, options, width=_WIDTH, measured=True, progress=progress)
        made.append(folder / SHEET)
        draw_sheet(frames.rows, made[-1], sheet_title(look), 360, frames.note)
    _write(look, made[0], frames, [folder], (), progress)
    return tuple(made)


def _write(
    look: Look,
    path: Path,
    frames: Frames | None,
    certificates: Sequence[Path],
    consistency: Sequence[Checked],
    progress: Progress,
) -> None:
    if not look.cameras or not look.outputs:
        what = "cameras" if not look.cameras else "outputs"
        raise InputError(f"{look.source}: no {what}, expected at least one to report on")
    found = find_certificates(look, certificates)
    sections: list[tuple[str, str, Callable[[], str]]] = [
        *([("frames", "Frames", lambda: _frames(look, frames))] if frames is not None else []),
        ("graph", "The graph", lambda: _graph(look)),
        ("tone", "Tone", lambda: _tone(look)),
        ("neutrals", "Neutrals", lambda: _neutrals(look)),
        ("colours", "Coloured lights", lambda: _colours(look)),
        ("exactness", "How exact the files are", lambda: _exactness(look, found)),
        ("cameras", "How alike the cameras land", lambda: _consistency(look, consistency)),
    ]
    parts = [_head(look, [(name, title) for name, title, _ in sections])]
    for count, (name, title, body) in enumerate(sections):
        progress(f"report: {title.lower()}", count, len(sections))
        head = f'<h2 id="{name}-head">{escape(title)}</h2>'
        parts.append(f'<section aria-labelledby="{name}-head">\n{head}\n{body()}\n</section>')
    recipe = look.recipe
    text = page(f"{recipe.show}: {recipe.name}, version {recipe.version}", "\n".join(parts))
    with write_beside(path) as beside:
        beside.write_text(text, encoding="utf-8", newline="\n")


def _head(look: Look, sections: Sequence[tuple[str, str]]) -> str:
    recipe = look.recipe
    links = "".join(f'<a href="#{name}-head">{escape(title)}</a>' for name, title in sections)
    beware = paragraphs((f"Beware: {one}." for one in warnings(look)), "beware")
    note = paragraphs([recipe.note]) if recipe.note else ""
    return (
        f"<header>\n<h1>{escape(recipe.name)}</h1>\n"
        f"<p>Version {recipe.version}, for {escape(recipe.show)}. "
        f'<span class="quiet">Recipe sha256 {look.recipe_hash[:16]}...</span></p>\n{note}\n'
        f"{beware}\n"
        f'<nav aria-label="Sections">{links}</nav>\n</header>'
    )


def _codings(look: Look) -> str:
    cameras = [
        [f"camera {name}", step.encoding.name, step.signal_range,
         str(step.bits or step.encoding.bits)]
        for name, step in ((n, look.graph.input_transform(n)) for n in look.cameras)
    ]  # fmt: skip
    outputs = []
    for name in look.outputs:
        target = look.graph.output(name)
        outputs.append([f"output {name}", target.name, target.range, str(target.bits)])
    return table(["", "coding", "range", "bits"], [*cameras, *outputs])


def _graph(look: Look) -> str:
    """Return the steps as boxes that wrap, the look first; the drawn graph is folded away."""
    recipe = look.recipe
    parts = ["<h3>The look</h3>", _steps(recipe.look)]
    renderings = dict.fromkeys(recipe.rendering_for(name) for name in look.outputs)
    parts += ["<h3>How it is shown</h3>", _steps(tuple(renderings), flow=False)]
    trimmed = [(f"camera {name}", one.trims) for name, one in recipe.cameras.items()]
    trimmed += [(f"scene {name}", one.trims) for name, one in recipe.scenes.items()]
    trimmed += [(f"shot {one.match}", one.trims) for one in recipe.shots]
    for name, trims in trimmed:
        if trims:
            parts += [f"<h3>Before the look, {escape(name)}</h3>", _steps(trims)]
    parts += ["<h3>Cameras and outputs</h3>", _codings(look)]
    inks = Inks(INK, PAPER, QUIET)
    drawn = figure(
        graph_figure(look, inks, titled=False), "graph-picture", "The graph of the recipe",
        "Light flows from the cameras on the left, through the scenes' trims and the look, to "
        "the outputs on the right. The same in words stands below.",
        "Light flows from left to right; each box is a step with what it sets.", "own",
    )  # fmt: skip
    parts.append(details("Drawn whole, from cameras to outputs", drawn))
    return "\n".join(parts) + details("The same in words", f"<pre>{escape(describe(look))}</pre>")


def _steps(steps: Sequence[Step], *, flow: bool = True) -> str:
    """Return steps as boxes with what they set; one that takes others' light says whose."""
    if not steps:
        return paragraphs(["No step: light goes through as it is."], "quiet")
    sources: dict[int, str] = {}
    nodes = [one for one in steps if isinstance(one, Node)]
    if flow and len(nodes) == len(steps):
        wiring = wire(nodes)
        for index in wiring.order:
            taken = wiring.sources(index)
            if tuple(taken) != (index - 1,):
                names = [nodes[one].label if one >= 0 else "what enters" for one in taken]
                sources[index] = f"takes {' and '.join(names)}"
    boxes = []
    for index, step in enumerate(steps):
        said = settings(step)
        off = isinstance(step, Node) and not step.enabled
        if isinstance(step, Node):
            said += [f"mix {step.mix:g}"] if step.mix != 1.0 else []
            said += ["only in part"] if step.only is not None else []
        said += [sources[index]] if index in sources else []
        lines = "".join(f"<span>{escape(one)}</span>" for one in ["off"] * off + said)
        kind = ' class="off"' if off else ""
        boxes.append(f"<li{kind}><b>{escape(step.label)}</b>{lines}</li>")
    return f'<ol class="steps{" flow" * flow}">{"".join(boxes)}</ol>'


def _tone(look: Look) -> str:
    parts = [paragraphs([
        "Neutral light, in stops from mid-grey, and where each output shows it. Cameras whose "
        "lines lie on each other are alike as far as their encodings reach.",
    ])]  # fmt: skip
    for number, name in enumerate(look.outputs):
        signals, lights = charts.tone_figures(look, name)
        target = look.graph.output(name)
        said = f"{_landings(look, name)} The table below has the numbers."
        parts.append(f"<h3>Output {escape(name)}: {escape(target.name)}</h3>")
        drawn = [
            figure(signals, f"tone-{number}-signal", f"Tone in percent of signal, {name}", said,
                   kind="fits"),
            figure(lights, f"tone-{number}-light", f"Tone in cd/m2, {name}", said, kind="fits"),
        ]  # fmt: skip
        parts.append(f'<div class="pair">{"".join(drawn)}</div>')
    tables = []
    for camera in look.cameras:
        chart = stop_chart(look, camera)
        head = ["stops", "10-bit code"]
        head += [text for n in look.outputs for text in (f"{n} %", f"{n} cd/m2")]
        rows = [
            [f"{row.stops:+.1f}", f"{row.code:.0f}",
             *(text for n in look.outputs
               for text in (f"{row.percent[n]:.1f}", f"{row.light[n]:.3g}"))]
            for row in chart.rows
        ]  # fmt: skip
        end = "" if chart.clip is None else f"; the encoding ends at {chart.clip:+.2f} stops"
        tables.append((f"Camera {camera} stop by stop{end}", table(head, rows)))
    parts.append(folded(tables))
    parts.append(paragraphs([CAUTION], "beware"))
    return "\n".join(parts)


def _landings(look: Look, output: str) -> str:
    camera = look.cameras[0]
    rows = [row for row in stop_chart(look, camera).rows if row.stops in (-4.0, 0.0, 2.0, 4.0)]
    told = ", ".join(
        f"{row.stops:+.0f} stops at {row.percent[output]:.0f} % and {row.light[output]:.3g} cd/m2"
        for row in rows
    )
    return f"Camera {camera}: {told}."


def _neutrals(look: Look) -> str:
    parts = [paragraphs([
        "What grey becomes, as CIE a* and b* against paper white: zero is neutral, 1 is about "
        "what a trained eye sees side by side.",
    ])]  # fmt: skip
    for number, name in enumerate(look.outputs):
        told = []
        for camera in look.cameras:
            _, found = charts.drift(look, camera, name)
            told.append(f"camera {camera} a* from {found[:, 1].min():+.1f} to "
                        f"{found[:, 1].max():+.1f}, b* from {found[:, 2].min():+.1f} to "
                        f"{found[:, 2].max():+.1f}")  # fmt: skip
        said = f"{'; '.join(told)}."
        drawn = charts.drift_figure(look, name)
        title = f"Tint of neutrals on output {name}"
        parts.append(figure(drawn, f"drift-{number}", title, said, f"{title}: {said}"))
    return "\n".join(parts)


def _colours(look: Look) -> str:
    levels = ", ".join(f"{stops:+.0f}" for stops in charts.LAMP_STOPS)
    parts = [paragraphs([
        "Where the light of narrow-band LEDs lands, in CIE 1976 chromaticities: from the ring, "
        f"the lamp's own light, to what is shown with the lamp at {levels} stops from mid-grey "
        "(large dot to small). The lamps are recorded as a perfect camera would; real "
        "sensitivities move them, so test with your own lamps. Heavy line: the output's gamut.",
    ])]  # fmt: skip
    for number, output in enumerate(look.outputs):
        drawn = []
        for place, camera in enumerate(look.cameras):
            said = "; ".join(
                f"{lamp.name} from {lamp.light[0]:.2f}, {lamp.light[1]:.2f} to "
                f"{lamp.shown[0][0]:.2f}, {lamp.shown[0][1]:.2f}"
                for lamp in charts.lamps(look, camera, output)
            )
            title = f"Coloured lights of camera {camera} on output {output}"
            drawn.append(figure(charts.lamps_figure(look, camera, output),
                                f"lamps-{number}-{place}", title, f"u', v': {said}.", title,
                                "fits"))  # fmt: skip
        body = f'<div class="pair trio">{"".join(drawn)}</div>'
        parts.append(body if number == 0 else details(f"On output {output}", body))
    return "\n".join(parts)


def _exactness(look: Look, found: Sequence[Found]) -> str:
    if not found:
        return paragraphs([
            "No certificates were given. A build measures each .cube against the exact "
            "look and writes one beside it.",
        ])  # fmt: skip
    return paragraphs([
        "Each .cube was read back and compared with the exact look; 1 is about what a trained "
        "eye sees side by side. Colours that no scene has (the whole cube) are the hardest; the "
        "worst of them are shown.",
    ]) + certificates_html(look, found)  # fmt: skip


def _consistency(look: Look, given: Sequence[Checked]) -> str:
    try:
        found = tuple(given) or check_matches(look)
    except InputError:
        return paragraphs([
            "Not measured: it needs the chart as each camera shot it in the same light.",
        ])  # fmt: skip
    return "\n".join(_pairs(one.consistency, one.heading()) for one in found)


def _pairs(found: Consistency, heading: str) -> str:
    rows = []
    for first in found.cameras:
        row = [f"camera {first}"]
        for second in found.cameras:
            one = found.between(first, second)
            text = f"{one.mean:.2f} / {one.p95:.2f} / {one.max:.2f}"
            row.append("" if first == second else text)
        rows.append(row)
    head = ["", *(f"camera {name}" for name in found.cameras)]
    told = f"Delta E 2000, mean / 95 % / largest, through the look: {heading}"
    return table(head, rows, told)


def _frames(look: Look, frames: Frames) -> str:
    target = look.graph.output(frames.output)
    named = []
    for one in frames.frames:
        scene = f", scene {one.scene}" if one.scene else ""
        if one.measures is not None:
            named.append((f"camera {one.camera}{scene} ({Path(one.place).name})", one.measures))
    charts_of = [
        (f"Levels and colours: {name}", measures_html(one, target, f"frame-{n}", name))
        for n, (name, one) in enumerate(named)
    ]
    told = f"The signal of each frame through the look, on {target.name}"
    return "\n".join([
        film(frames.rows, frames.note),
        details("Levels of the frames", measures_table(named, told)),
        folded(charts_of),
        paragraphs([LEVELS_CAUTION], "beware"),
    ])  # fmt: skip

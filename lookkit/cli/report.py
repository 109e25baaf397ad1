"""`lookkit report`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from lookkit.cli.options import file_options

if TYPE_CHECKING:
    from lookkit.recipe.shots import Shot


@click.command("report")
@click.argument("recipe", type=click.Path(path_type=Path))
@click.argument("frames", nargs=-1)
@click.option(
    "-o",
    "target",
    type=click.Path(path_type=Path),
    default=Path("report.html"),
    show_default=True,
    help="The page.",
)
@file_options
@click.option(
    "--handoff",
    "handoffs",
    multiple=True,
    type=click.Path(path_type=Path),
    metavar="FOLDER",
    help="A built hand-off, or accuracy reports of its .cube files; may be given again.",
)
@click.option(
    "--chart",
    "charts",
    multiple=True,
    metavar="A:FRAMES",
    help="The chart as a camera shot it, for two cameras or more: how alike they land.",
)
def command(
    recipe: Path,
    frames: tuple[str, ...],
    target: Path,
    camera: str | None,
    scene: str | None,
    shots: tuple[Shot, ...],
    output: str | None,
    signal_range: Any,
    matrix: str | None,
    handoffs: tuple[Path, ...],
    charts: tuple[str, ...],
) -> None:
    """When the look is to be judged by figures too: write a page about RECIPE and its frames.

    FRAMES are stills, clips, folders and sequences, as of `lookkit sheet`. The page is one
    HTML file that fetches nothing and runs nothing, for screens light and dark and for print.
    """
    from lookkit.cli.progress import shown_progress
    from lookkit.cli.told import tell
    from lookkit.errors import InputError
    from lookkit.files import check_writable
    from lookkit.look import load
    from lookkit.media.jobs import Options
    from lookkit.report.report import write_report

    if target.suffix.lower() != ".html":
        raise InputError(f"{target}: expected a name that ends with .html")
    check_writable(target)
    look = load(recipe)
    options = Options(
        camera=camera, scene=scene, output=output, range=signal_range, matrix=matrix, shots=shots
    )
    with shown_progress() as progress:
        consistency = []
        if charts:
            from lookkit.match.check import check_frames

            checked = check_frames(charts, look, scene=scene, output=output, progress=progress)
            consistency.append(checked)
        warnings = write_report(
            look,
            target,
            files=frames,
            options=options,
            certificates=handoffs,
            consistency=consistency,
            progress=progress,
        )
    tell("warning", warnings)
    click.echo(target)

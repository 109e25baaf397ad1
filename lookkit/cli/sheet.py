"""`lookkit sheet`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from lookkit.cli.options import file_options

if TYPE_CHECKING:
    from lookkit.recipe.shots import Shot


@click.command("sheet")
@click.argument("recipe", type=click.Path(path_type=Path))
@click.argument("frames", nargs=-1, required=True)
@click.option(
    "-o",
    "target",
    type=click.Path(path_type=Path),
    required=True,
    help="The sheet: .png, .jpg, .pdf or .html.",
)
@file_options
@click.option(
    "--beside",
    multiple=True,
    metavar="RECIPE",
    help="Another recipe of the same cameras, or a shipped look by name (see `lookkit looks`), "
    "beside the first; may be given again.",
)
@click.option("--no-before", is_flag=True, help="Leave out the frames as recorded.")
@click.option("--title", default="", help="Stands above; default the look's name and version.")
@click.option(
    "--width",
    type=click.IntRange(64, 3840),
    default=480,
    show_default=True,
    help="Pixels across each picture.",
)
@click.option("--watch", is_flag=True, help="Draw anew when the recipe or the frames change.")
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
    beside: tuple[str, ...],
    no_before: bool,
    title: str,
    width: int,
    watch: bool,
) -> None:
    """When the whole film is to be seen or shown at once: draw one page of its pictures.

    Rows are scenes, columns cameras, before and after RECIPE. FRAMES are stills, clips,
    folders and sequences as `lookkit apply` takes them, and whose they are is told alike: by
    --camera, a line of the shot list (--shot, then the recipe's), or a file's own colour tags. Of
    a clip or a sequence the frame in the middle is shown. Pictures are converted from the output
    to sRGB and tagged as that. With --watch, the page is drawn anew at each change, until Ctrl-C.
    """
    from lookkit.cli.progress import shown_progress
    from lookkit.cli.told import tell
    from lookkit.errors import LookkitError
    from lookkit.look import beside_look, load
    from lookkit.media.jobs import Options
    from lookkit.report.frames import graded_frames, sheet_title
    from lookkit.report.sheet import check_format, draw_sheet
    from lookkit.report.watch import changes

    check_format(target)
    options = Options(
        camera=camera, scene=scene, output=output, range=signal_range, matrix=matrix, shots=shots
    )

    def draw() -> None:
        look = load(recipe)
        variants = [beside_look(look, name) for name in beside]
        with shown_progress() as progress:
            made = graded_frames(
                look,
                frames,
                options,
                variants=variants,
                before=not no_before,
                width=width,
                progress=progress,
            )
        tell("warning", made.warnings)
        draw_sheet(made.rows, target, title or sheet_title(look, variants), width, made.note)
        click.echo(target)

    if not watch:
        draw()
        return
    files = [recipe, *(Path(name) for name in beside if Path(name).is_file())]
    waiting = changes(files, frames, target)
    while True:
        try:
            draw()
        except LookkitError as error:
            # What was saved half-way is told, and mended by the next change.
            click.echo(str(error), err=True)
        click.echo(f"watching {recipe} and its frames; Ctrl-C ends", err=True)
        next(waiting)

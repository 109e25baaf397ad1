"""`lookkit looks`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from lookkit.cli.options import file_options

if TYPE_CHECKING:
    from lookkit.recipe.shots import Shot


@click.command("looks")
@click.argument("recipe", type=click.Path(path_type=Path), required=False)
@click.argument("frames", nargs=-1)
@click.option(
    "-o",
    "target",
    type=click.Path(path_type=Path),
    help="A page of RECIPE's FRAMES through every look: .png, .jpg, .pdf or .html.",
)
@file_options
@click.option(
    "--width",
    type=click.IntRange(64, 3840),
    default=480,
    show_default=True,
    help="Pixels across each picture.",
)
def command(
    recipe: Path | None,
    frames: tuple[str, ...],
    target: Path | None,
    camera: str | None,
    scene: str | None,
    shots: tuple[Shot, ...],
    output: str | None,
    signal_range: Any,
    matrix: str | None,
    width: int,
) -> None:
    """When a look to start from is to be chosen: list those that come with lookkit.

    With -o, show your own frames through each. Name one in a recipe's `extends`. For the page,
    RECIPE says what the cameras and outputs are, and FRAMES are found as for `lookkit sheet`.
    """
    from lookkit.look import load, load_shipped, shipped_looks

    looks = {name: load_shipped(name) for name in shipped_looks()}
    if target is None:
        for name, look in looks.items():
            click.echo(name)
            click.echo(click.wrap_text(look.recipe.note.strip(), 78, "    ", "    "))
        if recipe is not None:
            raise click.UsageError("a page of pictures needs its name: -o looks.html")
        return
    if recipe is None or not frames:
        raise click.UsageError(
            "a page of pictures needs a recipe and frames, expected RECIPE FRAMES"
        )
    from lookkit.cli.progress import shown_progress
    from lookkit.cli.told import tell
    from lookkit.media.jobs import Options
    from lookkit.report.frames import graded_frames
    from lookkit.report.sheet import check_format, draw_sheet

    check_format(target)
    mine = load(recipe)
    first, *others = [mine.wearing(look) for look in looks.values()]
    options = Options(
        camera=camera, scene=scene, output=output, range=signal_range, matrix=matrix, shots=shots
    )
    with shown_progress() as progress:
        made = graded_frames(
            first, frames, options, variants=others, width=width, progress=progress
        )
    tell("warning", made.warnings)
    draw_sheet(made.rows, target, f"{mine.recipe.show}: the looks to start from", width, made.note)
    click.echo(target)

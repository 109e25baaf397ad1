"""`lookkit adjust`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from lookkit.cli.options import file_options

if TYPE_CHECKING:
    from lookkit.recipe.shots import Shot


@click.command("adjust")
@click.argument("recipe", type=click.Path(path_type=Path))
@click.argument("frames", nargs=-1, required=True)
@file_options
@click.option(
    "--at",
    "shares",
    multiple=True,
    type=click.FloatRange(0, 1),
    metavar="SHARE",
    help="Which frame of a clip: 0 is its first, 1 its last; may be given again. Default 0.5.",
)
@click.option(
    "--proof",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="PAGE.html",
    help="Open nothing; write one file for a client: the film, its takes, before and after.",
)
@click.option("--port", type=click.IntRange(0, 65535), default=0, help="Default: any free one.")
@click.option("--no-browser", is_flag=True, help="Only print the address.")
def command(
    recipe: Path,
    frames: tuple[str, ...],
    camera: str | None,
    scene: str | None,
    shots: tuple[Shot, ...],
    output: str | None,
    signal_range: Any,
    matrix: str | None,
    shares: tuple[float, ...],
    proof: Path | None,
    port: int,
    no_browser: bool,
) -> None:
    """When the look is to be built by eye: open a page that shows RECIPE on all FRAMES at once.

    FRAMES are stills, clips, folders and sequences as `lookkit apply` takes them, and whose
    they are is told alike; files whose camera nothing tells are left out, and told. Every
    finished change is written into RECIPE at once, its comments and order kept; undo and takes
    are in a file beside it. The page is for this machine alone: its address holds a secret, so
    do not pass it on.
    """
    import webbrowser

    from lookkit.cli.progress import shown_progress
    from lookkit.media.jobs import Options
    from lookkit.page.jobs import proof_at
    from lookkit.page.server import opened, serve

    options = Options(
        camera=camera, scene=scene, output=output, range=signal_range, matrix=matrix, shots=shots
    )
    with shown_progress() as progress:
        page = opened(recipe, frames, options, shares or (0.5,), progress)
        if proof is not None:
            told = proof_at(page, proof, progress)
    for problem in page.left_out:
        click.echo(f"left out: {problem}", err=True)
    if proof is not None:
        click.echo(told)
        return

    def ready(address: str) -> None:
        click.echo(address)
        click.echo("The page is open until this command is ended (Ctrl-C).", err=True)
        if not no_browser:
            webbrowser.open(address)

    serve(page, ready, port)

"""`lookkit build`."""

from __future__ import annotations

from pathlib import Path

import click


@click.command("build")
@click.argument("recipe", type=click.Path(path_type=Path))
@click.option(
    "--into",
    type=click.Path(path_type=Path),
    default=Path(),
    help="Where the hand-off folder goes; default here.",
)
@click.option(
    "--scene",
    "scenes",
    multiple=True,
    help="A scene to deliver, instead of those the recipe asks for.",
)
@click.option(
    "--merge",
    "base",
    metavar="CONFIG",
    help="An OCIO config (.ocio, .ocioz, ocio://NAME) that the look is also merged over.",
)
def command(recipe: Path, into: Path, scenes: tuple[str, ...], base: str | None) -> None:
    """Write the hand-off folder of RECIPE: .cube files, the OCIO config and what to know."""
    from lookkit.cli.progress import shown_progress
    from lookkit.handoff.build import build
    from lookkit.look import load

    look = load(recipe)
    with shown_progress() as progress:
        made = build(look.delivering(scenes) if scenes else look, into, progress, base=base)
    for path in sorted(made.folder.rglob("*")):
        if path.is_file():
            click.echo(path)
    for one in made.over_budget:
        click.echo(f"beware: {one}", err=True)

"""`lookkit texture`."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import click

from lookkit.cli.apply import Rate


def _size(context: click.Context, option: click.Parameter, text: str) -> tuple[int, int]:
    """Return width and height of pixels as 1920x1080."""
    wide, _, high = text.lower().partition("x")
    if not (wide.isdecimal() and high.isdecimal() and len(text) < 20):
        raise click.BadParameter(f"{text!r}: expected pixels, such as 3840x2160", context, option)
    return int(wide), int(high)


@click.command("texture")
@click.argument("recipe", type=click.Path(path_type=Path))
@click.option("--output", help="Over whose pictures it is laid; default the first output.")
@click.option("--size", callback=_size, default="1920x1080", show_default=True, help="Pixels.")
@click.option("--frames", type=click.IntRange(1, 1_000_000), default=240, show_default=True)
@click.option("--rate", type=Rate(), default="24", show_default=True, help="Frames per second.")
@click.option(
    "-o", "target", type=click.Path(path_type=Path), required=True, help="The file: NAME.mov."
)
def command(
    recipe: Path,
    output: str | None,
    size: tuple[int, int],
    frames: int,
    rate: Fraction,
    target: Path,
) -> None:
    """When a picture is finished elsewhere: write the grain of RECIPE as a plate to lay over it.

    Lay it over pictures that have the look, with the blend called overlay; 50 % grey leaves them
    alone. `lookkit apply` draws the true grain, with halation and softness, which no plate holds.
    """
    from lookkit.cli.progress import shown_progress
    from lookkit.look import load
    from lookkit.media.plate import write_plate

    look = load(recipe)
    shown = output or look.first_output
    with shown_progress() as progress:
        found = write_plate(
            look, target, shown, size=size, frames=frames, rate=rate, progress=progress
        )
    click.echo(target)
    click.echo("lay it over with overlay; it has no halation and no softness, and its grain is,")
    click.echo("as a share of the true one on a grey (red, green, blue):")
    for one in found:
        ratios = ", ".join(f"{value:.2f}" for value in one.ratio)
        click.echo(f"  {one.stop:+d} stops  {ratios}")

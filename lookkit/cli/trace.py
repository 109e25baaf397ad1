"""`lookkit trace`."""

from __future__ import annotations

import math
from pathlib import Path

import click


def _three(text: str) -> tuple[float, float, float]:
    from lookkit.errors import InputError

    try:
        r, g, b = (float(part) for part in text.split(","))
        if not all(map(math.isfinite, (r, g, b))):
            raise ValueError(text)
    except ValueError as error:
        raise InputError(f"{text!r}: expected three numbers, as 0.4,0.4,0.4") from error
    return r, g, b


@click.command("trace")
@click.argument("recipe", type=click.Path(path_type=Path))
@click.option("--camera", required=True, help="One of the recipe's cameras.")
@click.option("--output", help="One of the recipe's outputs; default the first.")
@click.option("--scene", help="One of the recipe's scenes; default the plain look.")
@click.option("--colour", help="Code values R,G,B, 0-1.")
@click.option(
    "--pixel",
    nargs=2,
    metavar="FILE X,Y",
    help="A pixel of a picture, counted from the top left corner.",
)
def command(
    recipe: Path,
    camera: str,
    output: str | None,
    scene: str | None,
    colour: str | None,
    pixel: tuple[str, str] | None,
) -> None:
    """When a colour comes out as it should not: print it after every step of RECIPE."""
    from lookkit.errors import InputError
    from lookkit.look import load
    from lookkit.trace import check_code, trace, trace_text

    look = load(recipe)
    shown = output or look.first_output
    if (colour is None) == (pixel is None):
        raise InputError("expected either --colour R,G,B or --pixel FILE X,Y")
    if colour is not None:
        code = _three(colour)
        check_code(look, camera, code)
    else:
        from lookkit.media.frame import pixel_of

        assert pixel is not None
        code = pixel_of(look, camera, Path(pixel[0]), pixel[1])
    steps = trace(look, code, camera=camera, output=shown, scene=scene)
    click.echo(trace_text(steps))

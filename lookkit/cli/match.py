"""`lookkit match`."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

T = TypeVar("T")


@click.command("match")
@click.option(
    "--reference",
    multiple=True,
    metavar="A:FRAMES[@STOPS]",
    help="Frames of the main camera, once for each exposure; or chart:EDITION.",
)
@click.option(
    "--camera",
    multiple=True,
    required=True,
    metavar="B:FRAMES[@STOPS]",
    help="Frames of the camera to be matched, once for each exposure.",
)
@click.option("-o", "target", type=click.Path(path_type=Path), help="The match file (.toml).")
@click.option("--light", default="main", show_default=True, help="Name of the light of the frames.")
@click.option("--recipe", type=click.Path(path_type=Path), help="Whose cameras' encodings to use.")
@click.option("--encoding", multiple=True, metavar="A=NAME", help="An encoding, or unknown.")
@click.option("--range", "ranges", multiple=True, metavar="B=legal", help="full or legal.")
@click.option(
    "--corners",
    multiple=True,
    metavar="B=X,Y,X,Y,X,Y,X,Y",
    help="Outer corners of the chart's corner patches, in pixels, in turn.",
)
@click.option(
    "--crop", multiple=True, metavar="B=X,Y,W,H", help="Where to look for the chart, in pixels."
)
@click.option(
    "--scene",
    multiple=True,
    metavar="A:FRAME",
    help="A frame of the scene itself, of both cameras: refuse a match of another light.",
)
@click.option("--no-chart", is_flag=True, help="The frames show one scene, not the chart.")
@click.option("--hold-white", is_flag=True, help="Land the chart's white exactly.")
@click.option(
    "--stage",
    type=click.Choice(["auto", "never", "always"]),
    default="auto",
    show_default=True,
    help="A colour stage beyond the matrix, which has no 1D + 3x3 form.",
)
@click.option(
    "--check", is_flag=True, help="Match nothing: compare the cameras through the recipe."
)
@click.option("--output", help="With --check: one of the recipe's outputs; default the first.")
def command(
    reference: tuple[str, ...],
    camera: tuple[str, ...],
    target: Path | None,
    light: str,
    recipe: Path | None,
    encoding: tuple[str, ...],
    ranges: tuple[str, ...],
    corners: tuple[str, ...],
    crop: tuple[str, ...],
    scene: tuple[str, ...],
    no_chart: bool,
    hold_white: bool,
    stage: Any,
    check: bool,
    output: str | None,
) -> None:
    r"""Make one camera's picture land where the main camera's does.

    Shoot the 24-patch chart with both cameras in each light, best at -2, 0 and +2 stops:

    \b
    lookkit match --recipe film.toml --light window -o B.match.toml \
        --reference A:a.mov \\
        --camera B:under.mov@-2 --camera B:normal.mov --camera B:over.mov@+2

    FRAMES is a still, a clip, a folder of stills or a pattern with *; they are averaged.
    A match holds for its own light only. To see how far apart the recipe's cameras land:

    \b
    lookkit match --check --recipe film.toml --camera A:a.mov --camera B:b.mov
    """
    from lookkit.cli.progress import shown_progress
    from lookkit.errors import InputError
    from lookkit.look import load
    from lookkit.match.report import summary
    from lookkit.match.run import Settings, check_consistency, make_match

    settings = Settings(
        _by_camera("--encoding", encoding, str),
        _by_camera("--range", ranges, str),
        _by_camera("--corners", corners, _numbers),
        _by_camera("--crop", crop, _numbers),
    )
    look = load(recipe) if recipe is not None else None
    if check:
        if look is None:
            raise InputError("--check needs --recipe")
        with shown_progress() as progress:
            matrix = check_consistency(
                camera, look, output=output, settings=settings, progress=progress
            )
        click.echo(matrix.table())
        return
    if target is None or not reference:
        missing = "-o" if target is None else "--reference"
        raise InputError(f"{missing} is missing; see lookkit match --help")
    with shown_progress() as progress:
        written = make_match(
            reference,
            camera,
            target,
            look=look,
            settings=settings,
            light=light,
            scene=scene,
            chart=not no_chart,
            stage=stage,
            hold_white=hold_white,
            progress=progress,
        )
    click.echo(summary(written.made))
    for note in written.notes:
        click.echo(f"note: {note}")
    for path in written.files:
        click.echo(path)


def _by_camera(option: str, values: tuple[str, ...], read: Callable[[str], T]) -> dict[str, T]:
    """Split CAMERA=VALUE options into a table."""
    table = {}
    for text in values:
        camera, equals, value = text.partition("=")
        if not equals or not camera or not value:
            raise click.BadParameter(f"{text!r}, expected CAMERA=VALUE", param_hint=option)
        try:
            table[camera] = read(value)
        except ValueError as error:
            raise click.BadParameter(
                f"{text!r}, expected numbers with commas between", param_hint=option
            ) from error
    return table


def _numbers(text: str) -> tuple[float, ...]:
    return tuple(float(part) for part in text.split(","))

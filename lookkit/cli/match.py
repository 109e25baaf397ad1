"""`lookkit match`."""

from __future__ import annotations

import math
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
    metavar="B:FRAMES[@STOPS]",
    help="Frames of the camera to be matched, once for each exposure.",
)
@click.option("-o", "target", type=click.Path(path_type=Path), help="The match file (.toml).")
@click.option("--light", help="Name of the frames' light; default the scene's, else main.")
@click.option("--scene", help="The recipe's scene in whose light they were shot.")
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
    "--scene-frame",
    "scene_frames",
    multiple=True,
    metavar="A:FRAME",
    help="A frame of the scene itself, of both cameras: how well the match holds there.",
)
@click.option("--no-chart", is_flag=True, help="The frames show one scene, not the chart.")
@click.option("--hold-white", is_flag=True, help="Land the chart's white exactly.")
@click.option(
    "--stage",
    type=click.Choice(["auto", "never", "always"]),
    default="auto",
    show_default=True,
    help="A colour stage behind the matrix: auto adds what other cameras teach, always takes this "
    "chart's alone, never leaves it out, for a 1D LUT and a 3x3.",
)
@click.option(
    "--check",
    type=click.Path(path_type=Path),
    metavar="RECIPE",
    help="Match nothing: say how far apart the cameras of a recipe land.",
)
@click.option("--output", help="With --check: one of the recipe's outputs; default the first.")
def command(
    reference: tuple[str, ...],
    camera: tuple[str, ...],
    target: Path | None,
    light: str | None,
    scene: str | None,
    recipe: Path | None,
    encoding: tuple[str, ...],
    ranges: tuple[str, ...],
    corners: tuple[str, ...],
    crop: tuple[str, ...],
    scene_frames: tuple[str, ...],
    no_chart: bool,
    hold_white: bool,
    stage: Any,
    check: Path | None,
    output: str | None,
) -> None:
    """When a second camera joins the main one: make its picture land where that one's does.

    Shoot the 24-patch chart with both cameras in each light, best at -2, 0 and +2 stops of
    the camera to be matched, and name the frames:

    \b
    lookkit match --recipe film.toml --scene kitchen -o B.match.toml
        --reference A:a.mov
        --camera B:under.mov@-2 --camera B:normal.mov --camera B:over.mov@+2

    FRAMES is a still, a clip, a folder of stills or a pattern with *; they are averaged.
    Beside the match file go pictures of what was sampled and of how well it fits. The file
    holds one match for each light; then, in the recipe:

    \b
    [cameras.B]
    match = "B.match.toml"

    How far apart the cameras then land, on the chart of each match or on frames of it:

    \b
    lookkit match --check film.toml
    lookkit match --check film.toml --scene kitchen --camera A:a.mov --camera B:b.mov
    """  # noqa: D301 (click keeps the lines after its mark)
    from lookkit.cli.progress import shown_progress
    from lookkit.errors import InputError
    from lookkit.look import load
    from lookkit.match.check import check_frames, check_matches
    from lookkit.match.report import summary
    from lookkit.match.run import Settings, load_cameras, make_match

    settings = Settings(
        _by_camera("--encoding", encoding, str),
        _by_camera("--range", ranges, str),
        _by_camera("--corners", corners, _numbers),
        _by_camera("--crop", crop, _numbers),
    )
    if check is not None:
        look = load(check)
        if not camera:
            click.echo("\n\n".join(one.text() for one in check_matches(look, output)))
            return
        with shown_progress() as progress:
            found = check_frames(
                camera, look, scene=scene, output=output, settings=settings, progress=progress
            )
        click.echo(found.text())
        return
    missing = [
        name
        for name, value in (("--reference", reference), ("--camera", camera), ("-o", target))
        if not value
    ]
    if target is None or missing:
        raise InputError(f"{', '.join(missing)}: missing; see lookkit match --help")
    with shown_progress() as progress:
        written = make_match(
            reference,
            camera,
            target,
            look=None if recipe is None else load_cameras(recipe),
            settings=settings,
            light=light,
            scene=scene,
            scene_frames=scene_frames,
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
    numbers = tuple(float(part) for part in text.split(","))
    if not all(math.isfinite(one) and abs(one) < 1e6 for one in numbers):
        raise ValueError(text)
    return numbers

"""`lookkit build`."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import click


@click.command("build")
@click.argument("recipe", type=click.Path(path_type=Path))
@click.argument("frames", nargs=-1)
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
    "--shots",
    is_flag=True,
    help="Files of their own for each line of the shot list that has trims.",
)
@click.option(
    "--date",
    type=click.DateTime(["%Y-%m-%dT%H:%M:%SZ", "%Y-%m-%d"]),
    help="UTC, for files that must have a date (AMF); default SOURCE_DATE_EPOCH, else 2000-01-01.",
)
@click.option(
    "--merge",
    "base",
    metavar="CONFIG",
    help="An OCIO config (.ocio, .ocioz, ocio://NAME) that the look is also merged over.",
)
def command(
    recipe: Path,
    frames: tuple[str, ...],
    into: Path,
    scenes: tuple[str, ...],
    shots: bool,
    date: datetime | None,
    base: str | None,
) -> None:
    """When the look goes to others: write the hand-off folder of RECIPE, a file for each of them.

    FRAMES are stills, clips, folders and sequences to show in the report and on a sheet; whose
    they are is found as for `lookkit apply`.
    """
    from lookkit.cli.progress import shown_progress
    from lookkit.handoff.build import build
    from lookkit.look import load

    look = load(recipe)
    when = None if date is None else date.replace(tzinfo=UTC)
    with shown_progress() as progress:
        made = build(
            look.delivering(scenes or None, when, shots=shots),
            into,
            progress,
            base=base,
            frames=frames,
            begun=lambda plan: click.echo(plan.text(), err=True),
        )
    for path in sorted(made.folder.rglob("*")):
        if path.is_file():
            click.echo(path)
    beware = [
        *look.recipe.all_match_warnings((None, *look.recipe.deliver.scenes)),
        *([] if shots else look.recipe.shots_left()),
        *(
            f"{one}: its files hold the middle of its key frames; only apply follows them"
            for one in look.delivering(shots=shots).recipe.deliver.scenes
            if look.recipe.is_keyed(one)
        ),
    ]
    for one in (*beware, *made.left_out, *made.over_budget):
        click.echo(f"beware: {one}", err=True)

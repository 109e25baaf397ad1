"""`lookkit balance`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from lookkit.cli.options import file_options
from lookkit.cli.told import printable

if TYPE_CHECKING:
    from lookkit.balance import Balanced
    from lookkit.balance.run import Shot
    from lookkit.look import Look
    from lookkit.media.jobs import Options
    from lookkit.recipe.shots import Shot as Line


@click.command("balance")
@click.argument("recipe", type=click.Path(path_type=Path))
@click.argument("files", nargs=-1, required=True)
@file_options
@click.option(
    "--hero",
    "heroes",
    multiple=True,
    metavar="FILE",
    help="A shot that the others of its scene and camera are brought to; default the first one.",
)
@click.option(
    "--grey",
    "greys",
    multiple=True,
    metavar="FILE:X,Y",
    help="A grey card in a file, X and Y from 0 to 1: it becomes neutral mid-grey.",
)
@click.option(
    "--pick",
    "picks",
    multiple=True,
    metavar="FILE:X,Y",
    help="The same thing (a face, a wall) in a shot and in its hero, one --pick each.",
)
@click.option(
    "--same-place",
    is_flag=True,
    help="Go by statistics where pictures share too little: approximate, and only right where "
    "all shots of a scene show one place.",
)
@click.option("--across", is_flag=True, help="Bring other cameras to the main camera's hero too.")
@click.option(
    "--follow", is_flag=True, help="Write key frames for shots whose light changes inside them."
)
@click.option("--no-drift", is_flag=True, help="Do not look for light that changes inside a shot.")
@click.option(
    "--sheet",
    type=click.Path(path_type=Path),
    metavar="PATH",
    help="Draw every shot before and after: .png, .jpg, .tif or .pdf.",
)
@click.option("--dry-run", is_flag=True, help="Say what would be written, and write nothing.")
def command(
    recipe: Path,
    files: tuple[str, ...],
    camera: str | None,
    scene: str | None,
    shots: tuple[Line, ...],
    output: str | None,
    signal_range: Any,
    matrix: str | None,
    heroes: tuple[str, ...],
    greys: tuple[str, ...],
    picks: tuple[str, ...],
    same_place: bool,
    across: bool,
    follow: bool,
    no_drift: bool,
    sheet: Path | None,
    dry_run: bool,
) -> None:
    """Before the look is judged: make the shots of each scene agree in exposure and white.

    It wants a recipe with its cameras and scenes, as `lookkit new` writes it. It compares what
    neighbouring shots both show, and writes a trim for each file into the shot list of RECIPE.
    Where two shots show nothing alike, nothing is written. Differences that the eye does not see
    are left alone. FILES are found as for `lookkit apply`; run it again at any time.
    """
    from lookkit.balance import Wanted, balance, write_trims
    from lookkit.balance.picks import parse_pick
    from lookkit.cli.progress import shown_progress
    from lookkit.errors import some_of
    from lookkit.look import load
    from lookkit.media.jobs import Options
    from lookkit.report.sheet import check_format

    if sheet is not None:
        check_format(sheet)
    look = load(recipe)
    options = Options(
        camera=camera, scene=scene, output=output, range=signal_range, matrix=matrix, shots=shots
    )
    wanted = Wanted(
        heroes=heroes,
        picks=(*(parse_pick(one, grey=True) for one in greys), *map(parse_pick, picks)),
        same_place=same_place,
        across=across,
        drifts=follow or not no_drift,
    )
    with shown_progress() as progress:
        made = balance(look, files, options, wanted, progress)
    count = 0 if dry_run else write_trims(recipe, made, follow=follow)
    _print(made, follow=follow)
    written = sum(shot.is_written for shot in made.shots)
    if dry_run:
        click.echo(f"{written} of {len(made.shots)} shots would have a trim; nothing is written")
    else:
        click.echo(f"{written} of {len(made.shots)} shots have a trim; {count} lines changed")
    for line in some_of(made.unread):
        click.echo(printable(line), err=True)
    if sheet is not None:
        _draw(look, recipe, made, options, sheet, follow=follow)
        click.echo(sheet)


def _draw(
    look: Look, recipe: Path, made: Balanced, options: Options, target: Path, *, follow: bool
) -> None:
    """Draw the shots through the look as it was read, and with the trims that were found."""
    from lookkit.balance.write import with_trims
    from lookkit.cli.progress import shown_progress
    from lookkit.look import loads
    from lookkit.recipe.load import read_text
    from lookkit.report.frames import CELL_WIDTH, graded_frames
    from lookkit.report.sheet import draw_sheet

    text, _ = with_trims(read_text(recipe), recipe, made, follow=follow)
    with shown_progress() as progress:
        frames = graded_frames(
            look,
            [shot.taken.place for shot in made.shots],
            options,
            variants=[loads(text, folder=recipe.parent)],
            names=["before", "balanced"],
            before=False,
            progress=progress,
        )
    draw_sheet(frames.rows, target, f"{look.recipe.show}: balanced", CELL_WIDTH, frames.note)


def _print(made: Balanced, *, follow: bool) -> None:
    for group in made.groups:
        click.echo(f"{group.scene or 'no scene'}, camera {group.camera}")
        for shot in group.shots:
            click.echo(f"  {printable(shot.name)}: {_said(shot)}")
            for doubt in shot.doubts:
                click.echo(f"    beware: {doubt}")
            if shot.drift is not None:
                more = "key frames written" if follow else "--follow writes key frames"
                click.echo(
                    f"    its light changes inside the shot by {shot.drift.stops:.2f} stop ({more})"
                )
        for line in group.told:
            click.echo(f"  {printable(line)}")


def _said(shot: Shot) -> str:
    if shot.trim is None:
        return "the hero, as it is" if shot.hero else "left as it is"
    if not shot.is_written:
        return f"agrees already ({shot.trim}), left alone"
    return f"{shot.trim}, by {shot.how}"

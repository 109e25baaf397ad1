"""`lookkit new`."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import click


def _files(takes: Sequence[object]) -> str:
    return f"{len(takes)} file{'s' * (len(takes) > 1)}"


@click.command("new")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option(
    "-o",
    "target",
    type=click.Path(path_type=Path),
    default=Path("film.toml"),
    show_default=True,
    help="The recipe; one that is there already is left as it is.",
)
@click.option(
    "--look",
    default="warm-print",
    show_default=True,
    help="The look to start from; `lookkit looks` lists them.",
)
@click.option("--show", help="The film's name; default the folder's.")
def command(folder: Path, target: Path, look: str, show: str | None) -> None:
    """At the start, with a card of footage: write a first recipe for what lies in FOLDER.

    It looks at every clip and still below FOLDER and
    writes down the cameras, scenes and shots it finds. What the files do not say stands in the
    recipe as a question, with a stand-in, so that it works at once.
    """
    from lookkit.cli.progress import shown_progress
    from lookkit.cli.told import printable, tell
    from lookkit.errors import some_of
    from lookkit.files import check_new, write_beside
    from lookkit.start import start

    check_new(target)
    with shown_progress() as progress:
        made = start(folder, look=look, show=show, progress=progress)
    with write_beside(target) as beside:
        beside.write_text(made.text, encoding="utf-8", newline="\n")
    for camera in made.cameras:
        click.echo(
            f"camera {camera.name}: {_files(camera.takes)}, {camera.encoding or 'not known'}"
        )
    for scene in made.scenes:
        why = f" ({scene.why})" if scene.why else ""
        click.echo(f"{scene.name}: {_files(scene.takes)}{why}")
    tell("beware", some_of(made.told))
    for line in made.questions:
        click.echo(f"question: {printable(line)}")
    click.echo(target)
    click.echo(f"next: lookkit sheet {target} {folder} -o sheet.png")

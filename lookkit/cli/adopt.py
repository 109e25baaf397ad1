"""`lookkit adopt`."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click


@click.command("adopt")
@click.argument("source", type=click.Path(path_type=Path))
@click.option("--from", "camera", required=True, help="The encoding of the codes it takes.")
@click.option("--to", "shown", required=True, help="The output that it is for.")
@click.option(
    "--from-range",
    "camera_range",
    type=click.Choice(["full", "legal"]),
    help="The range of the codes it takes; default the encoding's own.",
)
@click.option(
    "--to-range",
    "shown_range",
    type=click.Choice(["full", "legal"]),
    help="The range of the signal it gives; default the output's own.",
)
@click.option(
    "-o",
    "target",
    type=click.Path(path_type=Path),
    required=True,
    help="The recipe; one that is there already is left as it is.",
)
@click.option(
    "--report",
    type=click.Path(path_type=Path),
    help="A page (.html) with source and recipe over each other.",
)
@click.option("--nodes-only", is_flag=True, help="Leave out the remainder.")
def command(
    source: Path,
    camera: str,
    shown: str,
    camera_range: Any,
    shown_range: Any,
    target: Path,
    report: Path | None,
    nodes_only: bool,
) -> None:
    """When your look is locked in a LUT: make it a recipe that you can read and change.

    SOURCE is a 3D LUT for one camera and one display. What it takes and gives cannot be seen in
    it: say it with --from and --to.
    """
    from lookkit.adopt.run import adopt_lut
    from lookkit.adopt.text import RIGHT
    from lookkit.cli.progress import shown_progress
    from lookkit.cli.told import tell
    from lookkit.files import check_writable

    if report is not None:
        check_writable(report)
    with shown_progress() as progress:
        made = adopt_lut(
            source, target, camera=camera, shown=shown, camera_range=camera_range,
            shown_range=shown_range, nodes_only=nodes_only, progress=progress,
        )  # fmt: skip
    if report is not None:
        from lookkit.adopt.page import write_page

        write_page(made, report)
    click.echo(f"nodes alone: {made.nodes} (Delta E 2000, colours left out of the fit)")
    if made.whole is not None:
        click.echo(f"with the remainder: {made.whole}")
    click.echo(f"the source's own two common readings: {made.open}")
    tell("beware", made.told)
    click.echo(f"{target}: {made.steps} step{'s' * (made.steps > 1)}")
    click.echo(RIGHT)
    click.echo(f"next: lookkit check {target}")

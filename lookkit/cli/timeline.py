"""`lookkit timeline`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from lookkit.cli.told import tell

if TYPE_CHECKING:
    from lookkit.handoff.timeline import Cdl


@click.command("timeline")
@click.argument("source", metavar="HANDOFF", type=click.Path(path_type=Path))
@click.argument("edit", type=click.Path(path_type=Path))
@click.option("-o", "--out", type=click.Path(path_type=Path), required=True, help=".edl or .otio.")
@click.option(
    "--shots",
    type=click.Path(path_type=Path),
    help="Shot list, .csv (match,camera,scene) or .toml; default the recipe's [[shots]].",
)
@click.option("--output", help="The output that the AMFs are for; default the recipe's first.")
@click.option(
    "--cdl",
    type=click.Choice(["look", "trims", "none"]),
    default="look",
    help="What the CDLs stand for: the trims of scene and shot and the look, trims alone, or none.",
)
@click.option("--rate", type=float, help="Frames per second of an EDL; default as it counts.")
@click.option("--leave", is_flag=True, help="Leave events that no pattern fits as they are.")
def command(
    source: Path,
    edit: Path,
    out: Path,
    shots: Path | None,
    output: str | None,
    cdl: Cdl,
    rate: float | None,
    leave: bool,
) -> None:
    """When the cut is there: put the look of each shot into the timeline EDIT (.edl or .otio).

    HANDOFF is a folder that `build` made, or a recipe. Each event gets the CDL of its scene, and
    the name and uuid of its AMF. CDL with residual, or AMF: use the one or the other, never both.
    """
    from lookkit.handoff.timeline import mark_timeline

    done = mark_timeline(
        source, edit, out, shots=shots, output=output, cdl=cdl, rate=rate, leave=leave
    )
    click.echo(f"{out}: {done.marked} events")
    tell("left as it is", done.left)
    tell("beware", done.told)

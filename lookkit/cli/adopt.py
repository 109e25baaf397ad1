"""`lookkit adopt`."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click


@click.command("adopt")
@click.argument("source", type=click.Path(path_type=Path), required=False)
@click.option(
    "--before",
    type=click.Path(path_type=Path),
    help="Instead of a LUT: a folder of stills as the camera recorded them.",
)
@click.option(
    "--after",
    type=click.Path(path_type=Path),
    help="The same stills with the look, of the same names or in the same order.",
)
@click.option("--from", "camera", required=True, help="The encoding of what the look is put on.")
@click.option("--to", "shown", required=True, help="The output that the look is for.")
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
@click.option(
    "--frame",
    "frames",
    type=click.Path(path_type=Path),
    multiple=True,
    help="A still as the camera recorded it: the page shows it through LUT and recipe. Repeatable.",
)
@click.option("--nodes-only", is_flag=True, help="Leave out the remainder.")
def command(
    source: Path | None,
    before: Path | None,
    after: Path | None,
    camera: str,
    shown: str,
    camera_range: Any,
    shown_range: Any,
    target: Path,
    report: Path | None,
    frames: tuple[Path, ...],
    nodes_only: bool,
) -> None:
    """When your look is locked in a LUT, or in graded stills: make it a recipe to read and change.

    SOURCE is a 3D LUT for one camera and one display. What it takes and gives cannot be seen in
    it: say it with --from and --to. Without SOURCE, --before and --after name two folders of
    stills; those after may be resized, cropped and a little moved.
    """
    from lookkit.adopt.from_pairs import adopt_pairs
    from lookkit.adopt.page import frames_of, write_page
    from lookkit.adopt.pairs_page import write_pairs_page
    from lookkit.adopt.run import adopt_lut
    from lookkit.adopt.text import RIGHT
    from lookkit.cli.progress import shown_progress
    from lookkit.cli.told import tell
    from lookkit.errors import InputError
    from lookkit.files import check_writable

    if (source is None) != (before is not None and after is not None) or bool(before) != bool(
        after
    ):
        raise InputError("expected either a LUT, or --before and --after with a folder each")
    if report is not None:
        check_writable(report)
    if frames and (report is None or source is None):
        raise InputError("--frame is for the page about a LUT, expected --report and a LUT too")
    shown_on_page = frames_of(frames)
    how: dict[str, Any] = {
        "camera": camera, "shown": shown, "camera_range": camera_range, "shown_range": shown_range
    }  # fmt: skip
    with shown_progress() as progress:
        if before is not None and after is not None:
            made: Any = adopt_pairs(before, after, target, progress=progress, **how)
            lines = [
                f"{len(made.pairs)} pair{'s' * (len(made.pairs) > 1)} of frames; left out of the "
                f"fit: {made.error} (Delta E 2000)",
                f"the frames show {made.shown:.0%} of the colours that pictures commonly have",
            ]
            if report is not None:
                write_pairs_page(made, report)
        else:
            assert source is not None
            made = adopt_lut(source, target, nodes_only=nodes_only, progress=progress, **how)
            lines = [f"nodes alone: {made.nodes} (Delta E 2000, colours left out of the fit)"]
            if made.whole is not None:
                lines.append(f"with the remainder: {made.whole}")
            lines.append(f"the source's own two common readings: {made.open}")
            if report is not None:
                write_page(made, report, shown_on_page)
    for line in lines:
        click.echo(line)
    tell("beware", made.told)
    click.echo(f"{target}: {made.steps} step{'s' * (made.steps > 1)}")
    click.echo(RIGHT)
    click.echo(f"next: lookkit check {target}")

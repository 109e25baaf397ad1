"""`lookkit measure`."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click


@click.command("measure")
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--output", required=True, help="What the signal is for: an output's name; see explain outputs."
)
@click.option(
    "--recipe", type=click.Path(path_type=Path), help="The output is one of this recipe's."
)
@click.option(
    "--range",
    "signal_range",
    type=click.Choice(["full", "legal"]),
    help="Signal range; default a movie's tags, and for stills the output's.",
)
@click.option("--matrix", help="Y'CbCr matrix of movies whose tags lie or lack it: bt709, ...")
@click.option(
    "--every",
    type=click.IntRange(1),
    default=1,
    show_default=True,
    help="Count each so many-th frame of a movie.",
)
@click.option("-o", "target", type=click.Path(path_type=Path), help="Draw them: a page (.html).")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def command(
    files: tuple[Path, ...],
    output: str,
    recipe: Path | None,
    signal_range: Any,
    matrix: str | None,
    every: int,
    target: Path | None,
    as_json: bool,
) -> None:
    """Before files are delivered: count levels, colours and excursions of finished FILES.

    A file that was graded anywhere can be measured, whole, as it will be delivered. What
    an excursion means is for the delivery specification to say.
    """
    from lookkit.cli.progress import shown_progress
    from lookkit.cli.told import printable, tell
    from lookkit.errors import InputError, UnknownNameError
    from lookkit.files import check_writable
    from lookkit.look import load
    from lookkit.media.measure import CAUTION, measure_file
    from lookkit.report.measure_charts import write_measures
    from lookkit.spaces import outputs

    if target is not None:
        if target.suffix.lower() != ".html":
            raise InputError(f"{target}: expected a name that ends with .html")
        check_writable(target)
    if recipe is None:
        display = outputs.output(output)
    else:
        look = load(recipe)
        if output not in look.outputs:
            raise UnknownNameError("output", output, look.outputs)
        display = look.graph.output(output)
    with shown_progress() as progress:
        found = [
            (path, measure_file(path, display, signal_range=signal_range, matrix=matrix,
                                every=every, progress=progress))
            for path in files
        ]  # fmt: skip
    for _, one in found:
        tell("warning", one.warnings)
    if as_json:
        click.echo(json.dumps({str(path): one.to_dict() for path, one in found}, indent=1))
    else:
        for path, one in found:
            counted = "1 frame" if one.frames == 1 else f"{one.frames} frames"
            place = printable(str(path))
            click.echo(f"{place}, {counted}, as {display.name}\n{one.to_text()}\n")
        click.echo(CAUTION)
    if target is not None:
        write_measures([(path.name, one) for path, one in found], display, target)
        click.echo(target, err=as_json)

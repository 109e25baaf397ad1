"""`lookkit diff`."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from lookkit.handoff.diff import Difference, Figures, Pictures


@click.command("diff")
@click.argument("first", metavar="A", type=click.Path(path_type=Path))
@click.argument("second", metavar="B", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def command(first: Path, second: Path, as_json: bool) -> None:
    """When a look was changed: say how the hand-offs or recipes A and B differ.

    Which parameters changed, which files, and by how much pictures change: Delta E 2000 by
    camera and output, with the colours that change most.
    """
    from lookkit.handoff.diff import diff

    found = diff(first, second)
    if as_json:
        click.echo(json.dumps(found.as_dict(), indent=2))
    else:
        _print(found)


def _print(found: Difference) -> None:
    click.echo(f"{len(found.parameters)} parameters differ")
    for parameter in found.parameters:
        click.echo(f"  {parameter}")
    if found.files is not None:
        click.echo(f"{len(found.files)} files differ")
        for file in found.files:
            click.echo(f"  {file.what:8} {file.name}")
    click.echo("pictures, Delta E 2000: mean / 99 % / largest")
    for one in found.pictures:
        where = f"{one.camera} to {one.output}" + (f", {one.scene}" if one.scene else "")
        figures = f"{_figures(one.pictures)}; coloured lights {_figures(one.lights)}"
        click.echo(f"  {where}: {figures}")
    worst = max(found.pictures, key=lambda one: one.pictures.largest, default=None)
    if worst is not None and worst.worst:
        _print_worst(worst)


def _figures(figures: Figures) -> str:
    return f"{figures.mean:.2f} / {figures.p99:.2f} / {figures.largest:.2f}"


def _print_worst(one: Pictures) -> None:
    from rich.console import Console
    from rich.text import Text

    click.echo(f"colours that change most, {one.camera} to {one.output}: code, signals")
    console = Console(soft_wrap=True) if sys.stdout.isatty() else None
    for colour in one.worst:
        code, first, second = (
            " ".join(f"{value:.3f}" for value in values)
            for values in (colour.code, colour.first, colour.second)
        )
        line = f"  {code}: {first} -> {second}, Delta E {colour.delta_e:.1f} "
        if console is None:
            click.echo(line.rstrip())
            continue
        text = Text(line)
        for patch in (colour.first_srgb, colour.second_srgb):
            text.append("    ", style=f"on rgb({patch[0]},{patch[1]},{patch[2]})")
        console.print(text)

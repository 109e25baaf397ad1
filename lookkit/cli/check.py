"""`lookkit check`."""

from __future__ import annotations

from pathlib import Path

import click


@click.command("check")
@click.argument("recipe", type=click.Path(path_type=Path))
def command(recipe: Path) -> None:
    """Say what RECIPE's graph is and what is wrong with it."""
    from lookkit.look import load
    from lookkit.report.describe import describe

    click.echo(describe(load(recipe)))

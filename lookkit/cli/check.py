"""`lookkit check`."""

from __future__ import annotations

from pathlib import Path

import click


@click.command("check")
@click.argument("recipe", type=click.Path(path_type=Path))
@click.option("--picture", type=click.Path(path_type=Path), help="Draw it into this SVG or PNG.")
def command(recipe: Path, picture: Path | None) -> None:
    """After each change of RECIPE: say what its graph is, what is wrong, and what to beware of."""
    from lookkit.look import load
    from lookkit.report.describe import describe

    look = load(recipe)
    click.echo(describe(look))
    if picture is not None:
        from lookkit.report.graph_picture import draw_graph

        draw_graph(look, picture)
        click.echo(picture)

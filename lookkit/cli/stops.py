"""`lookkit stops`."""

from __future__ import annotations

from pathlib import Path

import click


@click.command("stops")
@click.argument("recipe", type=click.Path(path_type=Path))
@click.option("--camera", help="One of the recipe's cameras; default all.")
@click.option("--picture", type=click.Path(path_type=Path), help="Draw it into this PNG or SVG.")
def command(recipe: Path, camera: str | None, picture: Path | None) -> None:
    """When exposure is to be planned: say where each stop of light lands through RECIPE."""
    from lookkit.errors import InputError
    from lookkit.look import load
    from lookkit.report.stops import CAUTION, draw_stop_charts, stop_chart

    look = load(recipe)
    names = [camera] if camera else list(look.cameras)
    if not names or not look.outputs:
        raise InputError(f"{recipe}: expected at least one camera and one output")
    charts = [stop_chart(look, name) for name in names]
    for chart in charts:
        click.echo(chart.to_text() + "\n")
    click.echo(CAUTION)
    if picture is not None:
        draw_stop_charts(charts, picture)
        click.echo(picture)

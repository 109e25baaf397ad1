"""`lookkit lut`."""

from __future__ import annotations

from pathlib import Path

import click


@click.command("lut")
@click.argument("recipe", type=click.Path(path_type=Path))
@click.option("--camera", required=True, help="Which of the recipe's cameras it is for.")
@click.option("--output", help="Which of the recipe's outputs it is for; default the first.")
@click.option("--scene", help="With this scene's trims, and the match of its light.")
@click.option(
    "--size",
    type=click.Choice(["17", "33", "65", "auto"]),
    default="33",
    show_default=True,
    help="Points per edge, as the monitor or program takes it.",
)
@click.option(
    "-o", "target", type=click.Path(path_type=Path), required=True, help="The file: NAME.cube."
)
def command(
    recipe: Path, camera: str, output: str | None, scene: str | None, size: str, target: Path
) -> None:
    """When a monitor on the set, or one program, wants the look: write one .cube in one step.

    It takes the camera's codes and gives the output's signal, both in the range that the recipe
    says. How exact it is stands in the files beside it. A viewing LUT is no exposure meter.
    """
    from lookkit.cli.progress import shown_progress
    from lookkit.deliver.certified import accuracy_lines
    from lookkit.deliver.cube import write_lut
    from lookkit.deliver.names import codes_of, signal_of
    from lookkit.look import load

    look = load(recipe)
    shown = output or look.first_output
    with shown_progress() as progress:
        made = write_lut(
            look,
            target,
            camera,
            shown,
            scene=scene,
            size="auto" if size == "auto" else int(size),  # type: ignore[arg-type]
            progress=progress,
        )
    click.echo(made.path)
    click.echo(f"takes {codes_of(look, camera, scene)}; gives {signal_of(look, shown)}")
    for line in () if made.certificate is None else accuracy_lines(made.certificate):
        click.echo(line)
    for line in (*look.recipe.match_warnings(camera, scene), *made.over_budget):
        click.echo(f"beware: {line}", err=True)

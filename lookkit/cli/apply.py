"""`lookkit apply`."""

from __future__ import annotations

from pathlib import Path

import click


@click.command("apply")
@click.argument("recipe", type=click.Path(path_type=Path))
@click.argument("files", type=click.Path(path_type=Path), nargs=-1, required=True)
@click.option("--camera", required=True, help="Which of the recipe's cameras took them.")
@click.option("--output", help="Which of the recipe's outputs; default the first.")
@click.option("--scene", help="Which of the recipe's scenes; default the plain look.")
@click.option("--into", type=click.Path(path_type=Path), help="Folder for the results.")
@click.option("--format", "extension", help="exr, tif, png, jpg or dpx; default the source's.")
@click.option("--bits", type=int, help="Bit depth of integer results.")
@click.option("--overwrite", is_flag=True, help="Replace results that are there already.")
def command(
    recipe: Path,
    files: tuple[Path, ...],
    camera: str,
    output: str | None,
    scene: str | None,
    into: Path | None,
    extension: str | None,
    bits: int | None,
    overwrite: bool,
) -> None:
    """Grade stills (EXR, TIFF, PNG, JPEG, DPX, ...) through RECIPE.

    Results are named after the source, the look and the output; sources are never changed.
    """
    from lookkit.cli.progress import shown_progress
    from lookkit.errors import InputError
    from lookkit.look import load
    from lookkit.media.apply import apply_to_stills

    look = load(recipe)
    if not look.outputs:
        raise InputError(f"{recipe}: no outputs, expected at least one")
    with shown_progress() as progress:
        results = apply_to_stills(
            look,
            files,
            camera=camera,
            output=output or look.outputs[0],
            scene=scene,
            into=into,
            extension=extension,
            bits=bits,
            overwrite=overwrite,
            progress=progress,
        )
    for result in results:
        if result.target is None:
            click.echo(result.problem, err=True)
            continue
        counted = f" ({result.not_finite} pixels were not finite)" if result.not_finite else ""
        click.echo(f"{result.source} -> {result.target}{counted}")
    if any(result.target is None for result in results):
        raise SystemExit(1)

"""`lookkit apply`."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

import click

from lookkit.cli.options import file_options
from lookkit.cli.told import escaped

if TYPE_CHECKING:
    from lookkit.media.jobs import Job, Plan
    from lookkit.recipe.shots import Shot


class Rate(click.ParamType):  # type: ignore[type-arg]
    """A frame rate: 24, 23.976 or 24000/1001."""

    name = "rate"

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> Fraction:
        """Return the rate; the decimal forms of 24000/1001 and its kin become exact."""
        try:
            rate = Fraction(str(value))
        except (ValueError, ZeroDivisionError):
            self.fail(
                f"{value!r}: expected frames per second, such as 24 or 24000/1001", param, ctx
            )
        drop = Fraction(round(rate) * 1000, 1001)
        if rate.denominator > 1 and abs(rate - drop) < Fraction(1, 200):
            rate = drop
        if not 0 < rate <= 1000:
            self.fail(f"{value!r}: expected more than 0 and at most 1000", param, ctx)
        return rate


@click.command("apply")
@click.argument("recipe", type=click.Path(path_type=Path))
@click.argument("files", nargs=-1, required=True)
@file_options
@click.option("--into", type=click.Path(path_type=Path), help="Folder for the results.")
@click.option(
    "--format",
    "extension",
    help="mov, mp4, mkv, mxf, exr, dpx, tif, png or jpg; default the source's, or a near one.",
)
@click.option(
    "--codec", help="prores-422-hq, prores-4444, dnxhr-hq, dnxhr-hqx, dnxhr-444, h264, hevc."
)
@click.option("--bits", type=int, help="Bit depth of the results.")
@click.option("--rate", type=Rate(), help="Frame rate of sequences that become movies.")
@click.option("--deinterlace", is_flag=True, help="Make whole frames of interlaced fields.")
@click.option("--keep-location", is_flag=True, help="Keep where pictures were taken.")
@click.option("--no-texture", is_flag=True, help="Leave halation, softness and grain out.")
@click.option("--overwrite", is_flag=True, help="Replace results that are there already.")
@click.option("--dry-run", is_flag=True, help="Say what would be done, and do nothing.")
@click.option("--cluster", metavar="ADDRESS", help="Work on the machines of a dask scheduler.")
def command(
    recipe: Path,
    files: tuple[str, ...],
    camera: str | None,
    scene: str | None,
    shots: tuple[Shot, ...],
    output: str | None,
    into: Path | None,
    extension: str | None,
    codec: str | None,
    bits: int | None,
    signal_range: str | None,
    matrix: str | None,
    rate: Fraction | None,
    deinterlace: bool,
    keep_location: bool,
    no_texture: bool,
    overwrite: bool,
    dry_run: bool,
    cluster: str | None,
) -> None:
    """When graded files are wanted: grade movies, sequences and stills through RECIPE.

    FILES are movies, stills, camera raw, folders, and sequences: a name with # for each
    digit, with its frames after it if not all are meant: name.####.exr 1001-1100.

    The camera is told by --camera, a line of the shot list (--shot, then the recipe's), or the
    file's own colour tags. Results are named after the source, the look and the output;
    sources are never changed. What is there already from the same command is kept, so an
    interrupted run goes on where it stopped. The exit status is 1 if any file failed.
    """
    from lookkit.cli.progress import shown_progress
    from lookkit.look import load
    from lookkit.media.jobs import Options, plan
    from lookkit.media.run import run

    look = load(recipe)
    options = Options(
        camera=camera,
        scene=scene,
        output=output,
        into=into,
        extension=extension,
        codec=codec,
        bits=bits,
        range=signal_range,  # type: ignore[arg-type]
        matrix=matrix,
        rate=rate,
        deinterlace=deinterlace,
        overwrite=overwrite,
        location=keep_location,
        shots=shots,
        texture=not no_texture,
    )
    with shown_progress() as progress:
        planned = plan(look, files, options, progress)
    for refused in planned.refused:
        click.echo(_on_lines(refused.problem, refused.source), err=True)
    failed = bool(planned.refused)
    if dry_run:
        _show(planned)
    else:
        with shown_progress() as progress:
            done = run(look, planned, progress, cluster)
        for one in done:
            for warning in one.warnings:
                click.echo(_on_lines(f"warning: {warning}", one.source, one.target), err=True)
            if one.problem:
                failed = True
                click.echo(_on_lines(one.problem, one.source, one.target), err=True)
                continue
            kept = ", done before" if one.kept else ""
            counted = f", {one.not_finite} pixels were not finite" if one.not_finite else ""
            line = f"{one.source} -> {one.target}{kept}{counted}"
            click.echo(_on_lines(line, one.source, one.target))
    if failed:
        raise SystemExit(1)


def _show(planned: Plan) -> None:
    for job in planned.jobs:
        click.echo(_on_lines(_described(job), job.place, job.result))
        for warning in job.warnings:
            click.echo(_on_lines(f"warning: {warning}", job.place, job.result), err=True)


def _on_lines(text: str, *places: Path) -> str:
    """Return a message with the line ends and the like in names of files written as escapes."""
    names = {part for place in places for part in (str(place), *place.parts)}
    # Messages on a frame of a sequence have its number where the place has signs.
    names |= {part for name in names for part in name.split("#")}
    return escaped(text, names)


def _described(job: Job) -> str:
    from lookkit.media.clip import Clip, described

    parts = [f"camera {job.camera}", *([f"scene {job.scene}"] if job.scene else []), job.output]
    if job.codec:
        parts.append(f"{job.codec} {job.bits} bits")
    parts.append(f"{job.frames} frames" if job.frames > 1 else "1 frame")
    if isinstance(job.source, Clip):
        parts.append(described(job.source))
    return f"{job.place} -> {job.result} ({', '.join(parts)})"

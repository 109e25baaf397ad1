"""`lookkit inspect`."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click


@click.command("inspect")
@click.argument("file", type=click.Path(path_type=Path))
@click.argument("other", type=click.Path(path_type=Path), required=False)
@click.option("--expects", help="The encoding that the LUT takes, if you know it.")
@click.option("--gives", help="The output that the LUT is for, if you know it.")
@click.option("--repair", is_flag=True, help="Write a clean .cube if that loses nothing (with -o).")
@click.option("-o", "--output", type=click.Path(path_type=Path), help="The clean .cube.")
@click.option("--pictures", type=click.Path(path_type=Path), help="Folder for its pictures.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@click.option("--quick", is_flag=True, help="Do not try the file with other libraries.")
def command(
    file: Path,
    other: Path | None,
    expects: str | None,
    gives: str | None,
    repair: bool,
    output: Path | None,
    pictures: Path | None,
    as_json: bool,
    quick: bool,
) -> None:
    """Before a LUT from elsewhere is trusted: examine FILE, say who will misread it.

    With OTHER, say how the two LUTs differ.

    Exit status: 0 if the file is sound (warnings allowed) or was repaired, 1 if it has a fault
    that a strict reader must refuse, 2 if it cannot be read at all, an option is wrong, or a
    repair would lose something.
    """
    if bool(output) != repair:
        raise click.UsageError("--repair and -o FILE go together")
    if other is not None:
        if repair or pictures or expects:
            raise click.UsageError("two files are only compared: no --repair, --pictures")
        _compare(file, other, gives, as_json)
        return
    from lookkit.cli.progress import shown_progress
    from lookkit.inspect.inspection import inspect
    from lookkit.inspect.readers import READERS
    from lookkit.inspect.text import describe

    with shown_progress() as progress:
        found = inspect(file, expects, gives, () if quick else READERS, progress)
    report: dict[str, Any] = found.as_dict()
    lines = [describe(found)]
    if output is not None:
        from lookkit.inspect.repairs import repair as write_clean

        if not as_json:
            click.echo(lines.pop())
        repaired = write_clean(found.file, output)
        report["repair"] = {"file": str(repaired.path), "changes": list(repaired.changes)}
        changes = repaired.changes or ("nothing to repair; a clean copy",)
        lines += ["", f"repaired: {repaired.path}", *(f"  {change}" for change in changes)]
    if pictures is not None:
        from lookkit.inspect.pictures import draw

        drawn = [str(path) for path in draw(found, pictures)]
        report["pictures"] = drawn
        lines += ["", *drawn]
    click.echo(json.dumps(report, indent=2) if as_json else "\n".join(lines))
    if not found.sound and output is None:
        raise SystemExit(1)


def _compare(file: Path, other: Path, gives: str | None, as_json: bool) -> None:
    from dataclasses import asdict

    from lookkit.inspect.comparison import compare_files
    from lookkit.inspect.text import describe_comparison

    found = compare_files(file, other, gives)
    if as_json:
        report = {"first": str(file), "second": str(other), **asdict(found)}
        click.echo(json.dumps(report, indent=2))
    else:
        click.echo(describe_comparison(found, str(file), str(other)))

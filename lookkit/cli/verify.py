"""`lookkit verify`."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from lookkit.handoff.verify.report import Report


@click.command("verify")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option(
    "--schemas",
    type=click.Path(path_type=Path),
    help="Folder with the published schema of AMF (acesMetadataFile.xsd and what it imports).",
)
@click.option(
    "--timeline",
    "timelines",
    type=click.Path(path_type=Path),
    multiple=True,
    help="A timeline elsewhere (.edl, .otio) that was made from it; may be given again.",
)
@click.option(
    "--rebuild",
    is_flag=True,
    help="Also build it again from its own recipe and compare every file (as slow as a build).",
)
@click.option("--quick", is_flag=True, help="Do not try LUT files with other libraries.")
@click.option("--bad", "only_bad", is_flag=True, help="Print only what is wrong.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def command(
    folder: Path,
    schemas: Path | None,
    timelines: tuple[Path, ...],
    rebuild: bool,
    quick: bool,
    only_bad: bool,
    as_json: bool,
) -> None:
    """Before a hand-off is sent, or trusted: re-read FOLDER with other libraries than ours.

    Exit status: 0 if all that could be tried agrees, 1 if anything is missing, changed,
    unlisted, refused or misread, 2 if the folder is no hand-off.
    """
    from lookkit.cli.progress import shown_progress
    from lookkit.handoff.verify import ALL_READERS, verify

    with shown_progress() as progress:
        readers = () if quick else ALL_READERS
        report = verify(folder, schemas, readers, progress, timelines=timelines, rebuild=rebuild)
    if as_json:
        click.echo(json.dumps(report.as_dict(), indent=2))
    else:
        _print(report, only_bad)
    if not report.sound:
        raise SystemExit(1)


def _print(report: Report, only_bad: bool) -> None:
    rows = [row for row in report.rows if row.bad or not only_bad]
    if sys.stdout.isatty():
        from rich.console import Console
        from rich.table import Table
        from rich.text import Text

        table = Table(title=Text(str(report.folder)))
        for heading in ("file", "reader", "verdict", ""):
            table.add_column(heading, overflow="fold")
        for row in rows:
            style = "bold red" if row.bad else "yellow" if row.verdict == "absent" else "green"
            # Names come from the folder: as text, so that none of them is markup.
            cells = tuple(map(_plain, (row.file, row.reader, row.verdict, row.text)))
            table.add_row(*(Text(one, style if at == 2 else "") for at, one in enumerate(cells)))
        Console().print(table)
    else:
        for row in rows:
            click.echo("\t".join(map(_plain, (row.file, row.reader, row.verdict, row.text))))
    click.echo(report.summary)


def _plain(text: str) -> str:
    return "".join(letter if letter.isprintable() else "?" for letter in text)

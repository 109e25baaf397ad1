"""A progress bar for whatever takes longer than a second; lines where there is no terminal."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager

import click

from lookkit.cli.told import printable
from lookkit.progress import Progress


@contextmanager
def shown_progress() -> Iterator[Progress]:
    """Give a `Progress` that draws a bar on the terminal once a second has passed.

    Where errors do not go to a terminal (a log, a script) it prints a line, the first after ten
    seconds and then at most one in ten seconds.
    """
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, TextColumn, TimeRemainingColumn
    from rich.progress import Progress as Bar

    console = Console(stderr=True)
    bar = Bar(
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
        console=console,
        transient=True,
    )
    task = bar.add_task("", total=None)
    began = said = time.monotonic()

    def show(what: str, done: int, total: int) -> None:
        nonlocal said
        if not console.is_terminal:
            if time.monotonic() - said > 10.0:
                said = time.monotonic()
                click.echo(f"{done} of {total}, {said - began:.0f} s: {what}", err=True)
            return
        bar.update(task, description=printable(what), completed=done, total=total)
        if not bar.live.is_started and time.monotonic() - began > 1.0:
            bar.start()

    try:
        yield show
    finally:
        if bar.live.is_started:
            bar.stop()

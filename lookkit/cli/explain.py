"""`lookkit explain`."""

from __future__ import annotations

import click


@click.command("explain")
@click.argument("name", required=False)
def command(name: str | None) -> None:
    """Say what NAME is: a node kind, an encoding, an output, or a whole page.

    Without a name: list all that can be explained.
    """
    from lookkit.explain import explain

    click.echo(explain(name))

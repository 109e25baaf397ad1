"""`lookkit explain`."""

from __future__ import annotations

import click


@click.command("explain")
@click.argument("name", required=False)
def command(name: str | None) -> None:
    """When a word in a recipe is not clear: say what NAME is, with its source.

    Without a name: list all that can be explained.
    """
    from lookkit.explain import explain

    click.echo(explain(name))

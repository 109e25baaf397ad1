"""`lookkit schema`."""

from __future__ import annotations

import json

import click


@click.command("schema")
def command() -> None:
    """Print the JSON Schema of recipes; editors complete and check recipes with it."""
    from lookkit.recipe.model import json_schema

    click.echo(json.dumps(json_schema(), indent=2))

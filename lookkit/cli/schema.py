"""`lookkit schema`."""

from __future__ import annotations

import json

import click


@click.command("schema")
def command() -> None:
    """When recipes are written in an editor: print their JSON Schema, by which it helps."""
    from lookkit.recipe.model import json_schema

    click.echo(json.dumps(json_schema(), indent=2))

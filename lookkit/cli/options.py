"""What several commands ask about files alike: whose they are, and how their numbers lie."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, TypeVar

import click

if TYPE_CHECKING:
    from lookkit.recipe.shots import Shot

C = TypeVar("C", bound=Callable[..., object])


class ShotLine(click.ParamType):  # type: ignore[type-arg]
    """A line of a shot list: PATTERN=CAMERA or PATTERN=CAMERA/SCENE."""

    name = "shot"

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> Shot:
        """Return the line."""
        from pydantic import ValidationError

        from lookkit.recipe.shots import Shot

        pattern, equals, whose = str(value).rpartition("=")
        camera, slash, scene = whose.partition("/")
        try:
            if not equals or not camera or bool(slash) != bool(scene):
                raise ValueError
            return Shot(match=pattern, camera=camera, scene=scene or None)
        except (ValueError, ValidationError):
            self.fail(f"{value!r}: expected PATTERN=CAMERA or PATTERN=CAMERA/SCENE", param, ctx)


def file_options(command: C) -> C:
    """Add the options that say whose files are."""
    for option in reversed((
        click.option("--camera", help="Which of the recipe's cameras took them."),
        click.option("--scene", help="Which of the recipe's scenes they are of."),
        click.option(
            "--shot", "shots", multiple=True, type=ShotLine(), metavar="PATTERN=CAMERA[/SCENE]",
            help="A line of the shot list, before the recipe's; may be given again.",
        ),
        click.option("--output", help="Which of the recipe's outputs; default the first."),
        click.option(
            "--range", "signal_range", type=click.Choice(["full", "legal"]),
            help="Signal range of movies whose tags lie.",
        ),
        click.option(
            "--matrix", help="Y'CbCr matrix of movies whose tags lie or lack it: bt709, ..."
        ),
    )):  # fmt: skip
        command = option(command)
    return command

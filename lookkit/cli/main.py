"""The `lookkit` command and its sub-commands, each loaded only when it runs."""

from __future__ import annotations

import gc
import importlib
import os
import signal
import sys
from typing import Any, NoReturn

import click

from lookkit.version import __version__

COMMANDS: dict[str, str] = {
    "new": "Write a first recipe for a folder of footage.",
    "sheet": "Make one page of pictures: scenes by cameras, before and after.",
    "looks": "List the looks to start from, or show your frames through each.",
    "adopt": "Make a recipe of a look that is locked in a LUT or in graded stills.",
    "balance": "Make the shots of each scene agree in exposure and white.",
    "match": "Make one camera's picture land where the main camera's does.",
    "adjust": "Open a page on which the look is built by eye.",
    "apply": "Grade stills, sequences and clips through a recipe.",
    "texture": "Write a look's grain as a plate, to lay over finished pictures.",
    "build": "Write the hand-off folder of a recipe.",
    "check": "Say what a recipe's graph is and what is wrong with it.",
    "lut": "Write one .cube, for the monitor on the set.",
    "report": "Write a page about a recipe: curves, gamuts, how exact each LUT is, frames.",
    "measure": "Count levels, colours and excursions of finished stills and clips.",
    "verify": "Re-read a hand-off with other libraries, against its own recipe.",
    "timeline": "Put the look of each shot into an EDL or OTIO timeline.",
    "diff": "Say how two hand-offs or recipes differ, and by how much pictures change.",
    "stops": "Say where each stop of light lands in the code and on the monitor.",
    "trace": "Print a colour after every step, and what happened to it there.",
    "explain": "Say what a node kind, an encoding or an output is, with its source.",
    "inspect": "Examine a LUT from anywhere, repair it, or compare two.",
    "schema": "Print the JSON Schema of recipes, for editors.",
}
"""Every command with its one line; `lookkit.cli.NAME` has the click command `command`."""


class LazyGroup(click.Group):
    """A group that imports a command's module only when the command is used."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names in the order of the table."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import and return one command."""
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"lookkit.cli.{cmd_name}")
        command: click.Command = module.command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the table of commands without importing any."""
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Name the nearest command for a misspelt one."""
        from lookkit.errors import expected_one_of

        if args and not args[0].startswith("-") and args[0] not in COMMANDS:
            ctx.fail(f"no command {args[0]!r}: {expected_one_of(args[0], COMMANDS)}")
        return super().resolve_command(ctx, args)


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, message="lookkit %(version)s")
def cli() -> None:
    """One film-like look, as one text recipe, on every shot of every camera."""


def main(args: list[str] | None = None) -> Any:
    """Run the command line; the exit status is 0, 1 (a job failed) or 2 (bad input)."""
    interrupted = False
    _asked.clear()
    _end_like_an_interrupt()
    try:
        cli.main(args=args, prog_name="lookkit", standalone_mode=False)
    except click.exceptions.Exit as stop:
        sys.exit(stop.exit_code)
    except click.ClickException as error:
        error.show()
        sys.exit(2)
    except (click.Abort, KeyboardInterrupt):
        interrupted = True
    except Exception as error:
        # An extension that is interrupted while it is loaded makes an error of it.
        if not _asked:
            _end_with(error, args)
        interrupted = True
    if interrupted:
        _leave_at_once()


def _end_with(error: Exception, args: list[str] | None) -> NoReturn:
    """End with what an error says, and its exit status."""
    from lookkit.errors import InputError, LookkitError

    if isinstance(error, LookkitError):
        from lookkit.cli.told import escaped

        given = sys.argv[1:] if args is None else map(str, args)
        click.echo(escaped(str(error), given), err=True)
        sys.exit(2 if isinstance(error, InputError) else 1)
    if isinstance(error, BrokenPipeError):
        sys.stderr.close()
        sys.exit(1)
    if isinstance(error, OSError):
        # Whatever the system refuses is the place's fault, or the name's.
        place = f"{error.filename}: " if error.filename else ""
        click.echo(f"{place}{(error.strerror or str(error)).lower()}", err=True)
        sys.exit(1)
    raise error


_asked: list[int] = []
"""The signals that asked the command that runs to end."""


def _end_like_an_interrupt() -> None:
    """Let SIGTERM and a closed terminal end a command as Ctrl-C does."""

    def interrupt(number: int, frame: object) -> None:
        _asked.append(number)
        raise KeyboardInterrupt

    for name in ("SIGINT", "SIGTERM", "SIGHUP"):
        number = getattr(signal, name, None)
        usual = (signal.SIG_DFL, signal.default_int_handler)
        try:
            if number is not None and signal.getsignal(number) in usual:
                signal.signal(number, interrupt)
        except ValueError:
            return  # Only the main thread may; a caller's own thread ends as that caller wants.


def _leave_at_once() -> None:
    """End after an interrupt, whose exception and all that it held are gone by now.

    Python's own ending waits for the threads of every pool, and an interrupt that falls
    while a pool starts a thread leaves one that nobody tells to end: it would wait for ever.
    """
    gc.collect()
    click.echo("interrupted; nothing half-written was left", err=True)
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(130)

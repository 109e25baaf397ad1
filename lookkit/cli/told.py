"""What commands say besides their result: each thing on a line, whatever names of files hold."""

from __future__ import annotations

from collections.abc import Iterable

import click


def tell(word: str, lines: Iterable[str]) -> None:
    """Print lines where errors go, each behind a word, such as warning."""
    for line in lines:
        click.echo(f"{word}: {printable(line)}", err=True)


def printable(text: str) -> str:
    """Return a text with all that would break or colour a line, such as its end, as escapes."""
    return "".join(
        one if one.isprintable() else one.encode("unicode_escape").decode() for one in text
    )


def escaped(text: str, names: Iterable[str]) -> str:
    """Return a text of one line or more in which names, where it holds them, are `printable`."""
    for name in sorted(set(names), key=len, reverse=True):
        if not name.isprintable():
            text = text.replace(name, printable(name))
    return text

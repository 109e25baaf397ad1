"""Pages of one file: no script, nothing fetched, light and dark, readable in print."""

from __future__ import annotations

import io
import re
from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from html import escape
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Final

from lookkit.plotting import DARK, LIGHT, PRINT
from lookkit.version import __version__

if TYPE_CHECKING:
    from lookkit.report.sheet import Cell, Row

INK: Final = "#010101"
QUIET: Final = "#020202"
RULE: Final = "#030303"
PAPER: Final = "#040404"
MARK: Final = "#050505"
LINES: Final = ("#060601", "#060602", "#060603", "#060604", "#060605", "#060606")
"""Colours that charts are drawn in; on a page each is the reader's light or dark one."""
STAND_INS: Final = {"ink": INK, "quiet": QUIET, "rule": RULE, "sheet": "none"}
"""The same as a palette; a plot on a page has no ground of its own."""

_VARIABLES: Final[Mapping[str, str]] = {
    INK: "--ink", QUIET: "--quiet", RULE: "--rule", PAPER: "--sheet", MARK: "--mark",
    **{code: f"--line-{number}" for number, code in enumerate(LINES, 1)},
}  # fmt: skip


class Markup(str):
    """Text that is HTML already."""


def page(title: str, body: str) -> str:
    """Return a whole page; `title` is plain text, `body` HTML."""
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        # Even a mistake of ours cannot make the page ask for anything.
        '<meta http-equiv="Content-Security-Policy" '
        "content=\"default-src 'none'; img-src data:; style-src 'unsafe-inline'\">\n"
        '<link rel="icon" href="data:,">\n'
        f"<title>{escape(title)}</title>\n<style>\n{_style()}</style>\n</head>\n<body>\n"
        f'{body}\n<footer><p class="quiet">Made by lookkit {__version__}.</p></footer>\n'
        "</body>\n</html>\n"
    )


@cache
def _style() -> str:
    """Return the style of every page: its palettes, and the shared sheet."""
    light, dark, paper = (
        f":root {{ {' '.join(f'--{name}: {code};' for name, code in one.items())} }}"
        for one in (LIGHT, DARK, PRINT)
    )
    shared = files("lookkit.report").joinpath("style.css").read_text(encoding="utf-8")
    return (
        f":root {{ color-scheme: light dark; }}\n{light}\n"
        f"@media (prefers-color-scheme: dark) {{ {dark} }}\n"
        f"@media print {{ :root {{ color-scheme: light; }} {paper} }}\n{shared}"
    )


def paragraphs(lines: Iterable[str], kind: str = "") -> str:
    """Return each line as a paragraph."""
    attribute = f' class="{kind}"' if kind else ""
    return "\n".join(f"<p{attribute}>{escape(line)}</p>" for line in lines)


def table(head: Sequence[str], rows: Iterable[Sequence[str]], caption: str = "") -> str:
    """Return a table; the first cell of a row is its head, and only `Markup` is not escaped."""
    top = "".join(f'<th scope="col">{escape(cell)}</th>' for cell in head)
    told = f"<caption>{escape(caption)}</caption>" if caption else ""
    body = []
    for first, *rest in rows:
        cells = "".join(f"<td>{_cell(cell)}</td>" for cell in rest)
        body.append(f'<tr><th scope="row">{_cell(first)}</th>{cells}</tr>')
    lines = "\n".join(body)
    return (
        f'<div class="wide"><table>{told}<thead><tr>{top}</tr></thead>\n'
        f"<tbody>\n{lines}\n</tbody></table></div>"
    )


def _cell(text: str) -> str:
    return text if isinstance(text, Markup) else escape(text)


def details(summary: str, body: str) -> str:
    """Return what opens when a reader asks for it."""
    return f"<details><summary>{escape(summary)}</summary>\n{body}\n</details>"


def folded(parts: Iterable[tuple[str, str]]) -> str:
    """Return summaries and bodies as `details` of one kind; on paper they stand in columns."""
    return f'<div class="folded">{"".join(details(*one) for one in parts)}</div>'


def figure(
    drawing: Any, name: str, title: str, said: str, caption: str = "", kind: str = ""
) -> str:
    """Return a matplotlib figure as an SVG inside a page.

    Parameters
    ----------
    drawing
        Drawn in the colours of this module.
    name
        Of its own on the page: letters, digits and dashes.
    title, said
        What it is, and what it shows, for readers who do not see it.
    caption
        Stands below.
    kind
        Class of the SVG: "own" keeps its size and scrolls, "fits" never does.
    """
    below = f"<figcaption>{escape(caption)}</figcaption>" if caption else ""
    return (
        f'<figure><div class="wide">{svg(drawing, name, title, said, kind)}</div>{below}</figure>'
    )


def svg(drawing: Any, name: str, title: str, said: str, kind: str = "") -> str:
    """Return a matplotlib figure as the text of an SVG element; see `figure`."""
    import matplotlib as mpl

    kept = io.StringIO()
    with mpl.rc_context({"svg.fonttype": "none"}):
        drawing.savefig(
            kept, format="svg", transparent=True,
            metadata={key: None for key in ("Date", "Creator", "Format", "Type")},
        )  # fmt: skip
    text = kept.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>\s*", "", text, flags=re.DOTALL)
    text = re.sub(r"<!--.*?-->\s*", "", text, flags=re.DOTALL)
    # Some names are made of the last digits of places, which differ between processes.
    numbers: dict[str, str] = {}

    def numbered(found: re.Match[str]) -> str:
        return found[1] + numbers.setdefault(found[2], f"{found[2][0]}{len(numbers)}")

    text = re.sub(r'(\bid="|href="#|url\(#)([a-z][0-9a-f]{10})\b', numbered, text)
    # Names must not repeat between the charts of a page.
    text = re.sub(r'(\bid="|href="#|url\(#)', rf"\g<1>{name}-", text)
    text = re.sub(r"font: ([^;\"]*?)'DejaVu Sans'[^;\"]*", r"font: \1system-ui, sans-serif", text)
    for code, variable in _VARIABLES.items():
        text = text.replace(code, f"var({variable})")
    head, _, rest = text.partition(">")
    head = re.sub(r'\sxmlns(:\w+)?="[^"]*"|\sversion="[^"]*"', "", head)
    chosen = f' class="{kind}"' if kind else ""
    return (
        f'{head} role="img"{chosen} aria-labelledby="{name}-title {name}-said">'
        f'<title id="{name}-title">{escape(title)}</title>'
        f'<desc id="{name}-said">{escape(said)}</desc>{rest.rstrip()}'
    )


def film(rows: Sequence[Row], note: str = "") -> str:
    """Return the rows of a sheet as pictures; those of one file are beside each other."""
    lines = []
    for row in rows:
        shots: list[list[Cell]] = []
        told = []
        for cell in row.cells:
            if cell.picture is None:
                told += [cell.caption] if cell.caption else []
            elif shots and cell.name and shots[-1][0].name == cell.name:
                shots[-1].append(cell)
            else:
                shots.append([cell])
        head = f"<h3>{escape(row.label)}</h3>" if row.label else ""
        shown = "\n".join(_shot(row.label, shot) for shot in shots)
        missing = paragraphs(["; ".join(told)], "quiet") if told else ""
        lines.append(
            f'<div class="scene">{head}\n<div class="shots">\n{shown}\n</div>{missing}</div>'
        )
    return "\n".join(lines) + paragraphs([note] if note else [], "quiet")


_PAIRS: Final = 3
"""More pictures of one file than these wrap into rows."""


def _shot(label: str, cells: Sequence[Cell]) -> str:
    """Return the pictures of one file, with its name beneath."""
    from lookkit.report.shown import data_uri

    parts = []
    ratio = 1.0
    for cell in cells:
        assert cell.picture is not None
        high, wide = cell.picture.shape[:2]
        ratio = wide / high
        told = escape(f"{label}: {cell.caption}" if label else cell.caption, quote=True)
        parts.append(
            f'<div><img src="{data_uri(cell.picture)}" alt="{told}" width="{wide}" '
            f'height="{high}"><span>{escape(cell.caption)}</span></div>'
        )
    name = f"<figcaption>{escape(cells[0].name)}</figcaption>" if cells[0].name else ""
    kind = "shot upright" if ratio < 1.0 else "shot many" if len(cells) > _PAIRS else "shot"
    style = f"--count: {len(cells)}; --ratio: {ratio:.4f}"
    shown = f'<div class="takes">{"".join(parts)}</div>'
    return f'<figure class="{kind}" style="{style}">{shown}{name}</figure>'

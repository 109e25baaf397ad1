"""A sheet: one page of pictures, rows by columns, labelled; PNG, JPEG, PDF or HTML."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

from lookkit.errors import InputError, LookkitError
from lookkit.files import check_writable, write_beside
from lookkit.plotting import LIGHT
from lookkit.report.shown import Bytes, pillow, profile, small

PAPER, INK, QUIET = ((*bytes.fromhex(LIGHT[name][1:]),) for name in ("paper", "ink", "quiet"))
PAGE_WIDTH: Final = 640
"""Pixels across a picture of a page."""
FORMATS: Final = (".png", ".jpg", ".jpeg", ".pdf", ".html")

_GAP = 10
_MARGIN = 24
_CAPTION = 22
_TITLE = 40
_LABEL = 26
_DPI = 150
_NAME = 18
_ASPECT = 9 / 16
_LEAST = 150


@dataclass(frozen=True, eq=False)
class Cell:
    """One picture of a sheet: sRGB, uint8, shape (height, width, 3), with its caption.

    `name` is the file's; pictures of one file follow on each other. A cell without a picture is an
    empty place.
    """

    picture: Bytes | None
    caption: str = ""
    name: str = ""


@dataclass(frozen=True, eq=False)
class Row:
    """One row of a sheet."""

    label: str
    cells: Sequence[Cell]


def check_format(path: Path) -> None:
    """Check that a sheet can be written under this name, before its frames are made.

    Raises
    ------
    InputError
        If its extension is none of `FORMATS`, or its folder cannot be written.
    """
    if path.suffix.lower() not in FORMATS:
        listing = ", ".join(FORMATS)
        raise InputError(f"{path}: unknown kind of sheet {path.suffix!r}, expected {listing}")
    check_writable(path)


def draw_sheet(
    rows: Sequence[Row], path: Path, title: str = "", cell_width: int = 480, note: str = ""
) -> None:
    """Write `rows` as one page, its pictures tagged sRGB; the same rows give the same bytes.

    Parameters
    ----------
    rows
        Each with a cell for every column.
    path
        The extension chooses the format (see `FORMATS`).
    cell_width
        Pixels across each picture; others are averaged in light to it.
    note
        Stands below.

    Raises
    ------
    InputError
        If the format is unknown.
    LookkitError
        If Pillow (for a PDF fpdf2) is not installed or the page cannot be written.
    """
    check_format(path)
    suffix = path.suffix.lower()
    if suffix == ".html":
        # A page gives its pictures the room that its window has.
        cell_width = max(cell_width, PAGE_WIDTH)
    rows = [Row(row.label, [_fitted(cell, cell_width) for cell in row.cells]) for row in rows]
    if suffix == ".html":
        from html import escape

        from lookkit.report.html import film, page

        name = title or "Sheet"
        text = page(name, f"<h1>{escape(name)}</h1>\n{film(rows, note)}")
        with write_beside(path) as beside:
            beside.write_text(text, encoding="utf-8", newline="\n")
        return
    layout = _Layout(rows, title, cell_width, note)
    if suffix == ".pdf":
        _draw_pdf(layout, path)
    else:
        _draw_picture(layout, path)


def _fitted(cell: Cell, width: int) -> Cell:
    """Return a cell with its picture in the sheet's size: as wide, or if upright as high."""
    if cell.picture is None:
        return cell
    high, wide = cell.picture.shape[:2]
    if high > wide:
        width = max(1, round(width * _ASPECT * wide / high))
    return replace(cell, picture=small(cell.picture, width))


class _Layout:
    """Where everything of a sheet stands, in pixels."""

    def __init__(self, rows: Sequence[Row], title: str, cell_width: int, note: str) -> None:
        self.rows, self.title, self.note = rows, title, note
        self.left = _MARGIN + _LABEL
        self.widths = [_column(rows, n) for n in range(max(len(row.cells) for row in rows))]
        self.names = _NAME if any(cell.name for row in rows for cell in row.cells) else 0
        self.width = self.left + sum(self.widths) + _GAP * (len(self.widths) - 1) + _MARGIN
        tall = [
            max((cell.picture.shape[0] for cell in row.cells if cell.picture is not None),
                default=round(cell_width * _ASPECT))
            for row in rows
        ]  # fmt: skip
        top = _MARGIN + (_TITLE - 8 if title else 0)
        self.bands: list[tuple[Row, int, int]] = []
        for row, high in zip(rows, tall, strict=True):
            self.bands.append((row, top, high))
            top += high + _CAPTION + self.names + _GAP
        self.end = top
        self.height = top + 16 + (_CAPTION if note else 0)

    def x(self, column: int) -> int:
        """Return the left edge of a column."""
        return self.left + sum(self.widths[:column]) + column * _GAP


def _column(rows: Sequence[Row], column: int) -> int:
    """Return a column's width: of its widest picture, and room for words."""
    cells = [row.cells[column] for row in rows if column < len(row.cells)]
    wide = [int(one.picture.shape[1]) for one in cells if one.picture is not None]
    return max([_LEAST, *wide])


def _draw_picture(layout: _Layout, path: Path) -> None:
    pil = pillow()
    page = pil.Image.new("RGB", (layout.width, layout.height), PAPER)
    pen = pil.ImageDraw.Draw(page)
    if layout.title:
        pen.text((layout.left, _MARGIN - 6), layout.title, INK, font=_font(22))
    for row, top, high in layout.bands:
        page.paste(_upright(row.label, high), (_MARGIN - 8, top))
        for column, cell in enumerate(row.cells):
            if cell.picture is not None:
                page.paste(pil.Image.fromarray(cell.picture), (layout.x(column), top))
            font, room = _font(14), layout.widths[column]
            text = _cut(cell.caption, room, font.getlength)
            pen.text((layout.x(column), top + high + 3), text, INK, font=font)
            text = _cut(cell.name, room, font.getlength)
            pen.text((layout.x(column), top + high + 3 + _NAME), text, QUIET, font=font)
    if layout.note:
        pen.text((layout.left, layout.end), layout.note, INK, font=_font(13))
    with write_beside(path) as beside:
        page.save(beside, icc_profile=profile(), quality=88, optimize=True)


def _draw_pdf(layout: _Layout, path: Path) -> None:
    try:
        from fpdf import FPDF
    except ImportError as error:
        raise LookkitError(
            "PDF sheets need fpdf2: install lookkit with its extra, lookkit[pictures]"
        ) from error
    from datetime import UTC, datetime

    # A page of just the sheet's size; one sheet pixel is 1/150 inch.
    point = 72 / _DPI
    size = (layout.width * point, layout.height * point)
    made = FPDF(unit="pt", format=size)
    made.set_auto_page_break(False)
    made.set_creation_date(datetime(2000, 1, 1, tzinfo=UTC))
    made.set_title(_latin(layout.title or "Sheet"))
    made.set_lang("en")
    made.add_page()
    made.set_fill_color(*PAPER)
    made.rect(0, 0, *size, style="F")
    made.set_text_color(*INK)

    def write(x: float, y: float, text: str, height: int) -> None:
        made.set_font("helvetica", size=height * point)
        made.text(x * point, y * point, _latin(text))

    if layout.title:
        write(layout.left, _MARGIN + 14, layout.title, 22)
    for row, top, high in layout.bands:
        made.set_font("helvetica", size=16 * point)
        wide = made.get_string_width(_latin(row.label))
        x, y = (_MARGIN + 8) * point, (top + high / 2) * point + wide / 2
        with made.rotation(90, x, y):
            made.text(x, y, _latin(row.label))
        for column, cell in enumerate(row.cells):
            if cell.picture is not None:
                picture = pillow().Image.fromarray(cell.picture)
                picture.info["icc_profile"] = profile()
                made.image(
                    picture, layout.x(column) * point, top * point,
                    cell.picture.shape[1] * point, cell.picture.shape[0] * point,
                    alt_text=_latin(f"{row.label}: {cell.caption}"),
                )  # fmt: skip
            made.set_font("helvetica", size=14 * point)
            room = layout.widths[column] * point
            for line, text in enumerate((cell.caption, cell.name)):
                cut = _cut(_latin(text), room, made.get_string_width)
                write(layout.x(column), top + high + 16 + line * _NAME, cut, 14)
    if layout.note:
        write(layout.left, layout.end + 12, layout.note, 13)
    with write_beside(path) as beside:
        made.output(str(beside))


def _cut(text: str, room: float, length: Callable[[str], float]) -> str:
    """Return a text, cut off where it is longer than its room."""
    if length(text) <= room:
        return text
    while text and length(text + "...") > room:
        text = text[:-1]
    return text.rstrip(" ,") + "..."


def _latin(text: str) -> str:
    """Return a text in the letters that the fonts of every PDF reader have."""
    return text.encode("latin-1", "replace").decode("latin-1")


def _upright(label: str, height: int) -> Any:
    """Return the row's label, turned to read upwards."""
    pil = pillow()
    strip = pil.Image.new("RGB", (height, _LABEL), PAPER)
    pen = pil.ImageDraw.Draw(strip)
    pen.text((height // 2, _LABEL // 2), label, INK, font=_font(16), anchor="mm")
    return strip.rotate(90, expand=True)


def _font(size: int) -> Any:
    return pillow().ImageFont.load_default(size)

"""A sheet: one page of pictures, rows by columns, labelled."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from lookkit.errors import LookkitError
from lookkit.files import write_beside

PAPER = (244, 242, 238)
INK = (40, 40, 40)
_GAP = 10
_MARGIN = 24
_CAPTION = 22
_TITLE = 40


@dataclass(frozen=True, eq=False)
class Cell:
    """One picture of a sheet: sRGB, uint8, shape (height, width, 3), with its caption."""

    picture: npt.NDArray[np.uint8]
    caption: str = ""


@dataclass(frozen=True, eq=False)
class Row:
    """One row of a sheet."""

    label: str
    cells: Sequence[Cell]


def draw_sheet(rows: Sequence[Row], path: Path, title: str = "", cell_width: int = 480) -> None:
    """Write `rows` as one picture; PNG or JPEG by the extension of `path`, tagged sRGB.

    Pictures are scaled to `cell_width` pixels by area averaging in the encoded values.

    Raises
    ------
    LookkitError
        If Pillow is not installed or the picture cannot be written.
    """
    try:
        from PIL import Image, ImageCms, ImageDraw
    except ImportError as error:
        raise LookkitError(
            "sheets need Pillow: install lookkit with its extra, lookkit[pictures]"
        ) from error
    pictures = [[_scaled(cell, cell_width, Image) for cell in row.cells] for row in rows]
    heights = [max(picture.height for picture in row) for row in pictures]
    columns = max(len(row) for row in pictures)
    left = _MARGIN + 26
    width = left + columns * (cell_width + _GAP) - _GAP + _MARGIN
    height = _MARGIN + (_TITLE if title else 0) + sum(h + _CAPTION + _GAP for h in heights) + 8
    page = Image.new("RGB", (width, height), PAPER)
    pen = ImageDraw.Draw(page)
    y = _MARGIN
    if title:
        pen.text((left, y - 6), title, INK, font=_font(22))
        y += _TITLE - 8
    for row, line, tall in zip(rows, pictures, heights, strict=True):
        page.paste(_upright(row.label, tall, Image, ImageDraw), (_MARGIN - 8, y))
        for number, (cell, picture) in enumerate(zip(row.cells, line, strict=True)):
            x = left + number * (cell_width + _GAP)
            page.paste(picture, (x, y))
            pen.text((x, y + tall + 3), cell.caption, INK, font=_font(14))
        y += tall + _CAPTION + _GAP
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    with write_beside(path) as beside:
        page.save(beside, icc_profile=profile, quality=88, optimize=True)


def _scaled(cell: Cell, width: int, image: Any) -> Any:
    picture = image.fromarray(np.ascontiguousarray(cell.picture))
    height = max(1, round(picture.height * width / picture.width))
    return picture.resize((width, height), image.Resampling.BOX)


def _upright(label: str, height: int, image: Any, draw: Any) -> Any:
    """Return the row's label, turned to read upwards."""
    strip = image.new("RGB", (height, 26), PAPER)
    draw.Draw(strip).text((height // 2, 13), label, INK, font=_font(16), anchor="mm")
    return strip.rotate(90, expand=True)


def _font(size: int) -> Any:
    from PIL import ImageFont

    return ImageFont.load_default(size)

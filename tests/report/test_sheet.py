"""A sheet shows every picture, in its place, as sRGB."""

import numpy as np
import pytest

from lookkit.report.sheet import Cell, Row, draw_sheet

Image = pytest.importorskip("PIL.Image")


def test_every_picture_stands_in_its_row_and_column(tmp_path):
    colours = [(200, 30, 30), (30, 200, 30), (30, 30, 200), (200, 200, 30)]
    cells = [Cell(np.full((90, 160, 3), c, dtype=np.uint8), f"cell {c}") for c in colours]
    path = tmp_path / "sheet.png"
    draw_sheet([Row("one", cells[:2]), Row("two", cells[2:])], path, "A title", cell_width=160)
    with Image.open(path) as page:
        assert page.info["icc_profile"]
        pixels = np.asarray(page.convert("RGB")).astype(int)
    middles = []
    for colour in colours:
        where = np.argwhere((np.abs(pixels - colour) <= 1).all(axis=-1))
        assert len(where) >= 90 * 160
        middles.append(where.mean(axis=0))
    (y0, x0), (y1, x1), (y2, x2), (y3, x3) = middles
    assert x0 < x1
    assert x2 < x3
    assert max(y0, y1) < min(y2, y3)

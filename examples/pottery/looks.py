"""All shipped looks over the demo film's main camera, on one sheet.

python examples/pottery/looks.py --frames out/frames --sheet out/looks.png
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np

from lookkit import Look, shipped_looks
from lookkit.media.stills import read_still
from lookkit.recipe.load import parse_recipe
from lookkit.report.sheet import Cell, Row, draw_sheet

FRAMES = {"kiln": "kiln room", "flats": "tidal flats", "blue-hour": "blue hour"}


def with_camera(name: str) -> Look:
    """Return a shipped look for the demo's main camera and a web page."""
    text = (
        f'schema = 1\nname = "{name}"\nextends = "{name}"\n'
        '[cameras.A]\nencoding = "LogC4"\n[outputs.web]\noutput = "sRGB"\n'
    )
    return Look(parse_recipe(text), text)


def main() -> None:
    """Draw the sheet."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--frames", type=Path, required=True)
    parser.add_argument("--sheet", type=Path, required=True)
    parser.add_argument("--width", type=int, default=300)
    options = parser.parse_args()
    codes = {stem: read_still(options.frames / f"{stem}_A.dpx").pixels for stem in FRAMES}
    rows = {label: [] for label in FRAMES.values()}
    for name in shipped_looks():
        look = with_camera(name)
        for stem, label in FRAMES.items():
            graded = look.picture(codes[stem], camera="A", output="web", shot=stem)
            rows[label].append(Cell(np.rint(graded * 255).astype(np.uint8), name))
    sheet = [Row(label, cells) for label, cells in rows.items()]
    draw_sheet(sheet, options.sheet, "Six looks, one camera", cell_width=options.width)


if __name__ == "__main__":
    main()

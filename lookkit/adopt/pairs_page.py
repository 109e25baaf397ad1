"""The page about a look that was adopted from frames."""

from __future__ import annotations

from html import escape
from pathlib import Path
from typing import Any, Final

import numpy as np

from lookkit.accuracy.difference import delta_e_2000
from lookkit.adopt.frames import Mask, PairOfFrames
from lookkit.adopt.from_pairs import FromPairs
from lookkit.adopt.run import CAMERA, OUTPUT
from lookkit.adopt.text import RIGHT
from lookkit.files import write_beside
from lookkit.match.pairs import BLOCK
from lookkit.report.html import film, page, paragraphs, table
from lookkit.report.sheet import Cell, Row
from lookkit.report.shown import seen

_MOST: Final = 12
_DIMMED: Final = 0.25


def write_pairs_page(made: FromPairs, path: Path) -> None:
    """Write a page of one file that fetches nothing and runs nothing.

    Raises
    ------
    LookkitError
        If Pillow is not installed, or the page cannot be written.
    """
    title = f"{made.recipe.stem}, adopted from frames"
    head = (
        f"<header>\n<h1>{escape(title)}</h1>\n"
        + paragraphs([
            f"On even areas that the fit has not seen: Delta E 2000 {made.error}. The frames show "
            f"{made.shown:.0%} of the colours that pictures commonly have; the rest is a guess. "
            f"{RIGHT}"
        ])
        + paragraphs((f"Beware: {one}" for one in made.told), "beware") + "\n</header>"
    )  # fmt: skip
    rows, figures = [], []
    for pair, apart in list(zip(made.pairs, made.apart, strict=True))[:_MOST]:
        recipe = made.look.evaluate(pair.before, camera=CAMERA, output=OUTPUT)
        off = delta_e_2000(made.light.lab(recipe), made.light.lab(pair.after))
        counted = pair.fair & ~apart
        figures.append([
            pair.name, f"{np.median(off[counted]):.2f}", f"{np.quantile(off[counted], 0.95):.2f}",
            f"{apart.sum() / max(pair.seen.sum(), 1):.0%}",
        ])  # fmt: skip
        rows.append(_row(made, pair, apart))
    left = len(made.pairs) - len(rows)
    note = (
        "The recipe: what it makes of the frame before. What was counted: the frame after, dark "
        "where an area follows no look over the whole frame, such as a window, a vignette, a title "
        "or a retouch, or where the other frame ends. "
        + (f"{left} more frames are not shown." if left else "")
    )
    body = [
        head,
        '<section aria-labelledby="frames-head">\n<h2 id="frames-head">Frames</h2>',
        film(rows, note),
        table(["frame", "median", "95 % stay below", "not counted"], figures,
              "Delta E 2000 between the frame after and the recipe on even areas"),
        "</section>",
        '<section aria-labelledby="text-head">\n<h2 id="text-head">The recipe</h2>',
        f"<pre>{escape(made.look.text)}</pre>\n</section>",
    ]  # fmt: skip
    with write_beside(path) as beside:
        beside.write_text(page(title, "\n".join(body)), encoding="utf-8", newline="\n")


def _row(made: FromPairs, pair: PairOfFrames, apart: Mask) -> Row:
    high, wide = (length * BLOCK for length in pair.shape)
    after, before = (one[:high, :wide] for one in (pair.picture, pair.recorded))
    recipe = made.look.apply(before, camera=CAMERA, output=OUTPUT)
    shown = seen(made.display, after)
    lit = np.where(apart | ~pair.seen, _DIMMED, 1.0).reshape(pair.shape)
    cells = (
        Cell(shown, "after", pair.name),
        Cell(seen(made.display, recipe), "the recipe", pair.name),
        Cell(np.rint(shown * _large(lit)[..., None]).astype(np.uint8), "what was counted",
             pair.name),
    )  # fmt: skip
    return Row("", cells)


def _large(blocks: Any) -> Any:
    return blocks.repeat(BLOCK, axis=0).repeat(BLOCK, axis=1)

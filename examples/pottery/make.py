"""The main job on the demo film: frames, the look over all cameras, one sheet, the hand-off.

    python examples/pottery/make.py [--out out] [--width 960]

writes below the folder: frames/ (nine frames and the charts), sheet.png (rows are set-ups;
columns are cameras, as recorded and through the look) and the hand-off folder.
"""

from __future__ import annotations

import argparse
import json
import shutil
import sys
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
if __package__ in (None, ""):
    sys.path.insert(0, str(HERE.parent))

from lookkit import Look, load  # noqa: E402
from lookkit.cli.progress import shown_progress  # noqa: E402
from lookkit.handoff.build import build, handoff_name  # noqa: E402
from lookkit.media.stills import read_still  # noqa: E402
from lookkit.report.sheet import Cell, Row, draw_sheet  # noqa: E402
from pottery import frames  # noqa: E402

RECIPE = HERE / "pottery.toml"
LABELS = {"kiln": "kiln room", "flats": "tidal flats", "blue-hour": "blue hour"}
COLUMNS = "ABC"


def sheet(look: Look, folder: Path, path: Path) -> None:
    """Draw every frame as recorded and through `look`, rows by set-up."""
    files = {
        (entry["set_up"], entry["camera"]): folder / entry["file"]
        for entry in json.loads((folder / "scenes.json").read_text())["files"]
        if entry["kind"] == "scene"
    }
    rows = []
    for setup, label in LABELS.items():
        cells = []
        for camera in COLUMNS:
            codes = read_still(files[setup, camera]).pixels
            graded = look.apply(codes, camera=camera, output="web", scene=setup)
            recorded = f"camera {camera}, as recorded"
            cells += [Cell(_bytes(codes), recorded), Cell(_bytes(graded), "through the look")]
        rows.append(Row(label, cells))
    title = f"{look.recipe.name}: one recipe, three cameras"
    draw_sheet(rows, path, title, cell_width=320)


def _bytes(picture: np.ndarray) -> np.ndarray:
    return np.rint(np.clip(picture, 0.0, 1.0) * 255).astype(np.uint8)


def main() -> None:
    """Render, grade, draw, build; say where to look."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--out", type=Path, default=Path("out"))
    parser.add_argument("--width", type=int, default=960)
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    folder = options.out / "frames"
    frames.render(folder, options.width)
    look = load(RECIPE)
    path = options.out / "sheet.png"
    sheet(look, folder, path)
    shutil.rmtree(options.out / handoff_name(look), ignore_errors=True)
    with shown_progress() as progress:
        handoff = build(look, options.out, progress).folder
    print(f"look at   {path}")
    print(f"hand-off  {handoff}")


if __name__ == "__main__":
    main()

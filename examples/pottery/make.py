"""The main job on the demo film: frames, camera B's match, one sheet, the hand-off.

    python examples/pottery/make.py [--out out] [--width 960]

writes below the folder: frames/ (nine frames and the charts), the recipe with the match of
camera B (made from the charts, with its pictures beside it), sheet.png (rows are set-ups;
columns are cameras, as recorded and through the look) and the hand-off folder.
"""

from __future__ import annotations

import argparse
import json
import shutil
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
if __package__ in (None, ""):
    sys.path.insert(0, str(HERE.parent))

from lookkit import Look, load  # noqa: E402
from lookkit.cli.progress import shown_progress  # noqa: E402
from lookkit.handoff.build import build, handoff_name  # noqa: E402
from lookkit.match.run import load_cameras, make_match  # noqa: E402
from lookkit.media.jobs import Options  # noqa: E402
from lookkit.report.frames import graded_frames  # noqa: E402
from lookkit.report.sheet import Cell, Row, draw_sheet  # noqa: E402
from pottery import frames  # noqa: E402

RECIPE = HERE / "pottery.toml"
LABELS = {"kiln": "kiln room", "flats": "tidal flats", "blue-hour": "blue hour"}


def match(recipe: Path, folder: Path, target: Path) -> None:
    """Match camera B to camera A in each light, from the frames of the chart."""
    look = load_cameras(recipe)
    for setup in LABELS:
        chart = f"{folder}/{setup}_chart"
        shots = [f"B:{chart}_B_minus2.png@-2", f"B:{chart}_B_zero.png", f"B:{chart}_B_plus2.png@+2"]
        with shown_progress() as progress:
            made = make_match(
                [f"A:{chart}_A_zero.dpx"],
                shots,
                target,
                look=look,
                scene=setup,
                stage="never",
                progress=progress,
            ).made
        expected = made.file.lights[0].statistics.promise.mean
        print(
            f"{LABELS[setup]}: camera B was {made.before_errors.mean:.1f} Delta E from camera A on "
            f"the chart, and will be about {expected.about:.1f}, up to {expected.up_to:.1f}, on "
            "other colours"
        )


def sheet(look: Look, unmatched: Look, folder: Path, path: Path) -> None:
    """Draw every frame as recorded and through `look`, rows by set-up; B without its match too."""
    entries = json.loads((folder / "scenes.json").read_text())["files"]
    scenes = [entry for entry in entries if entry["kind"] == "scene"]
    everything = [folder / entry["file"] for entry in scenes]
    of_b = [folder / entry["file"] for entry in scenes if entry["camera"] == "B"]
    options = Options(output="web")
    graded = graded_frames(look, everything, options, width=320).rows
    alone = graded_frames(unmatched, of_b, options, before=False, width=320).rows
    rows = []
    for row, without in zip(graded, alone, strict=True):
        a, a_graded, b, b_graded, c, c_graded = row.cells
        b_pictures = [
            Cell(b_graded.picture, "camera B, through match and look"),
            Cell(without.cells[0].picture, "camera B, without its match"),
        ]
        rows.append(Row(LABELS[row.label], [a, a_graded, *b_pictures, b, c, c_graded]))
    draw_sheet(rows, path, f"{look.recipe.name}: one recipe, three cameras", 320)


def main() -> None:
    """Render, grade, draw, build; say where to look."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--out", type=Path, default=Path("out"))
    parser.add_argument("--width", type=int, default=960)
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    folder = options.out / "frames"
    frames.render(folder, options.width)
    recipe = options.out / RECIPE.name
    shutil.copyfile(RECIPE, recipe)
    matched = options.out / "B.match.toml"
    matched.unlink(missing_ok=True)
    match(recipe, folder, matched)
    look = load(recipe)
    path = options.out / "sheet.png"
    sheet(look, load_cameras(recipe), folder, path)
    shutil.rmtree(options.out / handoff_name(look), ignore_errors=True)
    with shown_progress() as progress:
        handoff = build(look, options.out, progress).folder
    print(f"look at   {path}")
    print(f"and at    {options.out}/B-*.png: how camera B was matched, and how well it fits")
    print(f"hand-off  {handoff}")
    for one in look.recipe.all_match_warnings((None, *look.recipe.deliver.scenes)):
        print(f"beware: {one}")


if __name__ == "__main__":
    main()

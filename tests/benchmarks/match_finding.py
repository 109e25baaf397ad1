"""How often the chart is found, how exactly, and how often where there is none.

    python tests/benchmarks/match_finding.py [SCENES]

Random scenes from tests/match/scenes.py: any orientation, mirrored, tilted, log or gamma,
dark or bright, portrait, 1080 lines. Then pictures without a chart, and the real ones.
"""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from lookkit.errors import InputError
from lookkit.match.find import find_chart
from lookkit.match.frames import read_exposure
from tests.match.scenes import clutter, random_scene, squares_but_no_chart


def main(count: int) -> None:
    """Print the figures."""
    errors, seconds = [], []
    for seed in range(count):
        scene = random_scene(seed)
        begin = time.process_time()
        try:
            chart = find_chart(scene.picture)
        except InputError as error:
            print(f"scene {seed}: {error}")
            continue
        finally:
            seconds.append(time.process_time() - begin)
        errors.append(np.linalg.norm(chart.corners - scene.corners, axis=1).max())
    fine = int((np.array(errors) < 6.0).sum())
    print(
        f"found {len(errors)} of {count}, {fine} with corners within 6 pixels, median of the "
        f"worst corner {np.median(errors):.2f}, largest {np.max(errors):.2f} pixels; "
        f"{np.mean(seconds):.2f} s a picture, at most {np.max(seconds):.2f}"
    )
    false = 0
    for seed in range(20):
        rng = np.random.default_rng(10_000 + seed)
        draw = clutter if seed % 2 else squares_but_no_chart
        picture = np.maximum(draw(rng, 1080, 1920), 0.0) ** 0.45
        try:
            find_chart(picture)
            false += 1
        except InputError:
            pass
    print(f"false: {false} of 20")
    beside = Path(__file__).resolve().parents[3] / "shared" / "data"
    folder = Path(os.environ.get("LOOKKIT_SAMPLES", beside))
    for path in [*sorted(folder.glob("chart/*")), folder / "exr" / "Carrots.exr"]:
        if not path.is_file():
            continue
        try:
            chart = find_chart(read_exposure([path]).picture)
            print(f"{path.name}: found, agreement {chart.agreement:.2f}")
        except InputError as error:
            print(f"{path.name}: {error}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 60)

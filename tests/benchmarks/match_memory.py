"""How much memory a match of 12,000 x 8,000 pixels takes, by the peak of a child process.

    python tests/benchmarks/match_memory.py [WIDTH]

A drawn chart is enlarged; both cameras and a bracket of three exposures are such files.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import OpenImageIO as oiio

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.match.scenes import scene_with


def write_big(path: Path, stops: float, width: int) -> None:
    """The same chart at another exposure, each pixel of the drawing a square of them."""
    rng = np.random.default_rng(3)
    drawn = scene_with(rng, 800, 1200, log=False, mirrored=False, stops=stops).picture
    codes = np.rint(np.clip(drawn, 0.0, 1.0) * 255.0).astype(np.uint8)
    times = width // 1200
    writer = oiio.ImageOutput.create(str(path))
    writer.open(str(path), oiio.ImageSpec(1200 * times, 800 * times, 3, "uint8"))
    for row, line in enumerate(codes):
        block = np.repeat(np.repeat(line[None], times, axis=0), times, axis=1)
        writer.write_scanlines(row * times, (row + 1) * times, 0, np.ascontiguousarray(block))
    writer.close()


def main(width: int) -> None:
    """Match, and print the child's peak."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for stem, stops in (("a", 0.0), ("under", -1.7), ("b", 0.3), ("over", 1.0)):
            write_big(folder / f"{stem}.tif", stops, width)
        command = [sys.executable, "-m", "lookkit", "match", "-o", f"{folder}/B.match.toml"]
        command += ["--reference", f"A:{folder}/a.tif", "--encoding", "A=Linear BT.709"]
        for stem, at in (("under", "@-2"), ("b", ""), ("over", "@1")):
            command += ["--camera", f"B:{folder}/{stem}.tif{at}"]
        done = subprocess.run([*command, "--encoding", "B=unknown"], capture_output=True)
        used = resource.getrusage(resource.RUSAGE_CHILDREN)
        print(
            f"{width} x {width * 2 // 3} pixels, four files: exit code {done.returncode}, peak "
            f"{used.ru_maxrss / 1e6:.2f} GB, {used.ru_utime + used.ru_stime:.0f} s of processor"
        )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 12_000)

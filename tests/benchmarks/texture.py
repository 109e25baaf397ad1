"""What texture costs beside plain `apply`, how its mean holds, and what memory it takes.

    python tests/benchmarks/texture.py [PICTURE ENCODING]

On one core, in one run: plain `apply` of a UHD picture, then the same with texture on two widths of
film, and the extra in nanoseconds a pixel and as a share of `apply`. An HD clip in ProRes graded by
the command with and without texture. Then the mean of codes against the picture without grain, at
two deviations of a pixel; and how memory grows with a picture.
"""

from __future__ import annotations

import multiprocessing
import os
import resource
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from statistics import median
from time import process_time
from unittest.mock import patch

import numpy as np

import lookkit
from lookkit.texture import engine
from lookkit.texture.engine import Textured
from lookkit.texture.grain import Field
from lookkit.texture.granularity import sigma_of_pixel
from lookkit.texture.planes import parted

RECIPE = """
schema = 1
name = "Bench"
extends = "plain-print"
[cameras.A]
encoding = "{encoding}"
[outputs.monitor]
output = "Rec.709 BT.1886"
[texture]
like = "gentle"
gate = "{gate}"
"""
PLACE = {"camera": "A", "output": "monitor"}
GATES = ("35 mm", "super 16 mm")
RUNS = 5
FRAMES = 16
PART = Field.part


def look(gate: str = "35 mm", encoding: str = "LogC4") -> lookkit.Look:
    return lookkit.loads(RECIPE.format(gate=gate, encoding=encoding))


def picture(height: int, width: int) -> np.ndarray:
    """Log codes of smooth ground with hard edges, lamps and a camera's noise."""
    rng = np.random.default_rng(2)
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    ways = [np.sin(x / 300 + c) + 0.7 * np.cos(y / 200 - c) for c in range(3)]
    codes = 0.33 + 0.09 * np.stack(ways, axis=-1)
    codes[height // 3 : height // 2, width // 4 : width // 2] += 0.15
    codes[height // 5 : height // 5 + 20, width // 2 :: 97] = 0.95
    noise = rng.standard_normal((height, width, 3), dtype=np.float32)
    return (codes + np.float32(0.003) * noise).astype(np.float32)


def one_core() -> None:
    """Use one core alone, where the system lets us."""
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})


def spent(work: object) -> float:
    """Median of processor seconds."""
    found = []
    for _ in range(RUNS):
        start = process_time()
        work()  # type: ignore[operator]
        found.append(process_time() - start)
    return median(found)


def speed() -> None:
    codes = picture(2160, 3840)
    pixels = codes[..., 0].size
    for gate in GATES:
        one = look(gate)
        one.picture(codes[:64], **PLACE)
        plain = spent(lambda one=one: one.apply(codes, **PLACE))
        whole = spent(lambda one=one: one.picture(codes, **PLACE, shot="A", frame=1))
        extra = (whole - plain) / pixels * 1e9
        print(f"UHD, {gate}: apply {plain / pixels * 1e9:.0f} ns a pixel, with texture "
              f"{whole / plain:.2f} of it, {extra:.0f} ns more")  # fmt: skip


def clip(frames: int = 24) -> None:
    """Print the processor time of the command on an HD clip, with texture and without."""
    import av

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "film.toml").write_text(RECIPE.format(gate="35 mm", encoding="LogC4"))
        rng = np.random.default_rng(1)
        codes = picture(1080, 1920)
        with av.open(str(folder / "a.mov"), "w") as out:
            stream = out.add_stream("prores_ks", rate=24, options={"profile": "3"})
            stream.width, stream.height, stream.pix_fmt = 1920, 1080, "yuv422p10le"
            for number in range(frames):
                noise = rng.standard_normal(codes.shape, dtype=np.float32)
                codes16 = np.clip(codes + np.float32(0.002) * noise, 0, 1) * np.float32(65535)
                frame = av.VideoFrame.from_ndarray(codes16.astype(np.uint16), format="rgb48le")
                frame = frame.reformat(format="yuv422p10le")
                frame.pts = number
                out.mux(stream.encode(frame))
            out.mux(stream.encode(None))
        spent = {}
        for option in ("--no-texture", ""):
            words = [sys.executable, "-m", "lookkit", "apply", "film.toml", "a.mov"]
            words += ["--camera", "A", "--into", f"out{option}", *[one for one in (option,) if one]]
            before = resource.getrusage(resource.RUSAGE_CHILDREN)
            subprocess.run(words, cwd=folder, check=True, capture_output=True)
            after = resource.getrusage(resource.RUSAGE_CHILDREN)
            spent[option] = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    print(f"HD ProRes, {frames} frames: without texture {spent['--no-texture']:.1f} s of processor "
          f"time, with it {spent[''] / spent['--no-texture']:.2f} of it")  # fmt: skip


def means(codes: np.ndarray, encoding: str) -> None:
    """Print how far the mean of codes is from the picture without grain, patch by patch."""
    height, width = (length // 16 * 16 for length in codes.shape[:2])
    codes = np.ascontiguousarray(codes[:height, :width])
    one = look("35 mm", encoding)
    numbers = one.recipe.texture.numbers._replace(halation=(0.0,) * 3, edge=0.0,
                                                  softness=(1e9,) * 3)  # fmt: skip
    for sigma in (0.02, 0.065):
        pixel = numbers.gate * 1000.0 / max(height, width)
        wanted = [sigma / sigma_of_pixel(1.0, radius, pixel, pixel) for radius in numbers.grain]
        textured = Textured(
            one.graph.chain("A", "monitor"), numbers._replace(granularity=tuple(wanted))
        )
        plain = one.apply(codes, **PLACE).astype(np.float64)
        total = np.zeros_like(plain)
        for frame in range(FRAMES):
            total += textured.apply(codes, frame=frame)
            # Each grain beside its opposite, which is as likely: chance cancels, and a bias stays.
            with patch.object(Field, "part", lambda *at: -PART(*at)):
                total += textured.apply(codes, frame=frame)
        off = np.abs(total / (2 * FRAMES) - plain) * 1023
        print(f"mean of codes, pixel sigma {sigma}: p50 {np.percentile(off, 50):.3f}, p95 "
              f"{np.percentile(off, 95):.3f}, p99 {np.percentile(off, 99):.3f}, largest "
              f"{off.max():.2f}")  # fmt: skip


def _peak(height: int, width: int) -> float:
    """Return by how many MB the peak of this process grows while a picture is drawn."""
    one_core()
    one = look()
    rng = np.random.default_rng(1)
    row = rng.random((1, width, 3), dtype=np.float32) * 0.5 + 0.1
    textured = one.textured("A", "monitor")
    textured.apply(np.repeat(row, 80, axis=0))
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss

    def rows(first: int, last: int, planes: np.ndarray) -> None:
        parted(np.repeat(row, last - first, axis=0), planes)

    textured.picture(rows, lambda start, signal: None, height, width)
    return (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024


def memory() -> None:
    engine._workers()
    for height in (1080, 2160, 4320):
        with multiprocessing.get_context("spawn").Pool(1) as pool:
            grown = pool.apply(_peak, (height, 3840))
        print(f"peak memory, 3840x{height} from rows to rows: {grown:.0f} MB more")


def main() -> None:
    memory()
    clip()
    one_core()
    with ThreadPoolExecutor(1):
        speed()
    codes, encoding = picture(432, 768), "LogC4"
    if len(sys.argv) > 2:
        from lookkit.media.stills import read_still

        codes, encoding = read_still(Path(sys.argv[1])).pixels, sys.argv[2]
    means(codes, encoding)


if __name__ == "__main__":
    main()

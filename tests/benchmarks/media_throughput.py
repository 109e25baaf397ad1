"""Throughput of clips, ProRes to ProRes through a lattice of 33, against FFmpeg's own lut3d.

Run as `python -m tests.benchmarks.media_throughput [frames]`. Both decode, grade and encode
through PyAV in this process, with the same codecs, threads and lattice, in turn; the ratio of
the frames per second (ours / FFmpeg's) is to be at least 0.9. The lattice is the same because
most of the time goes into encoding, and what a look does to noise decides how long that takes.
Stage times are of one frame alone; the ratio by processor time is what a busy machine disturbs
least.
"""

import itertools
import statistics
import sys
import tempfile
import time
from fractions import Fraction
from pathlib import Path

import numpy as np

from lookkit.lutfile.cube import write_cube
from lookkit.media import work
from lookkit.media.clip import frames_of, planes_of, probe
from lookkit.media.jobs import Options, plan
from lookkit.media.run import run
from tests.media.movies import av, made_look, noise, write_movie

ROUNDS = 5


def ffmpeg(source: Path, target: Path, cube: Path) -> None:
    """Decode, grade with lut3d and encode, as FFmpeg does it by itself."""
    with av.open(str(source)) as container, av.open(str(target), "w") as out:
        video = container.streams.video[0]
        video.codec_context.thread_type = "AUTO"
        stream = out.add_stream("prores_ks", rate=24, options={"profile": "3"})
        stream.width, stream.height, stream.pix_fmt = video.width, video.height, "yuv422p10le"
        stream.codec_context.thread_count, stream.codec_context.thread_type = 0, "AUTO"
        graph = av.filter.Graph()
        nodes = [
            graph.add("buffer", f"width={video.width}:height={video.height}"
                      ":pix_fmt=yuv422p10le:time_base=1/24:colorspace=1:range=1"),
            graph.add("format", "gbrp16le"),
            graph.add("lut3d", f"file={cube}:interp=tetrahedral"),
            graph.add("format", "yuv422p10le"),
            graph.add("buffersink"),
        ]  # fmt: skip
        for a, b in itertools.pairwise(nodes):
            a.link_to(b)
        graph.configure()
        for number, frame in enumerate(container.decode(video)):
            nodes[0].push(frame)
            made = nodes[-1].pull()
            made.pts, made.time_base = number, Fraction(1, 24)
            out.mux(stream.encode(made))
        out.mux(stream.encode(None))


def stages(look, source: Path) -> str:
    """Return the milliseconds of decoding, grading and encoding one frame alone."""
    clip = probe(source)
    (job,) = plan(look, [source], Options(camera="A", fast=True, into=source.parent)).jobs
    coding = clip.coding
    grader = work._grader(look, job, coding, coding, clip.pixels)
    began = time.perf_counter()
    pictures = [frame.picture for frame in frames_of(clip)]
    decode = (time.perf_counter() - began) / len(pictures)
    made = tuple(np.empty((clip.height, clip.width), np.uint16) for _ in range(3))
    began = time.perf_counter()
    for picture in pictures:
        grader.planes(planes_of(picture), made, clip.width)
    grade = (time.perf_counter() - began) / len(pictures)
    return f"decode and widen {decode * 1e3:.0f} ms, grade {grade * 1e3:.0f} ms"


def main() -> None:
    """Measure and print."""
    frames = int(sys.argv[1]) if len(sys.argv) > 1 else 24
    look = made_look()
    work.FAST_SIZE = 33
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        cube = folder / "look.cube"
        lattice = look.cube(camera="A", output="monitor", size=33)
        write_cube(cube, lattice, title="look", comments=(), decimals=8)
        for width, height in ((1920, 1080), (3840, 2160)):
            source = folder / f"A{width}.mov"
            pictures = noise(4, width, height)
            write_movie(source, [pictures[n % 4] for n in range(frames)], codec="prores_ks",
                        options={"profile": "3"})  # fmt: skip
            print(f"{width}x{height}: {stages(look, source)}")
            ratios, best = [], [float("inf"), float("inf")]
            for turn in range(ROUNDS):
                options = Options(camera="A", fast=True, into=folder / str(turn))
                planned = plan(look, [source], options)
                began, spent = time.perf_counter(), time.process_time()
                (done,) = run(look, planned)
                ours, our_work = time.perf_counter() - began, time.process_time() - spent
                assert not done.problem
                began, spent = time.perf_counter(), time.process_time()
                ffmpeg(source, folder / "ffmpeg.mov", cube)
                theirs, their_work = time.perf_counter() - began, time.process_time() - spent
                ratios.append(theirs / ours)
                best = [min(best[0], ours), min(best[1], theirs)]
                work_ratio = their_work / our_work
                print(f"  ours {frames / ours:.2f}, FFmpeg {frames / theirs:.2f} frames/s, "
                      f"ratio {ratios[-1]:.2f}, by processor time {work_ratio:.2f}")  # fmt: skip
            print(f"  median ratio {statistics.median(ratios):.2f}, of the best of each "
                  f"{best[1] / best[0]:.2f}")  # fmt: skip


if __name__ == "__main__":
    main()

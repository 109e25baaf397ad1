"""Throughput of clips against PyAV's own decoding, lut3d and encoding.

    LOOKKIT_SAMPLES=samples python -m tests.benchmarks.media_throughput [seconds]

HD ProRes, HD H.264 and UHD ProRes, made here from noisy log pictures, through the heaviest shipped
look. Both ways decode, grade and encode in this process, in turn, with the same codecs and
threads; FFmpeg through a .cube of the look of 33 points, tetrahedral, between 16-bit R'G'B'. The
ratio of the frames per second (ours / FFmpeg's) is to be at least 0.9. A busy machine disturbs the
one by processor time least.

first     seconds before the first frame of the clip is graded, whatever the lattice needs included
worst     how far our frames are from the exact graph, in codes of the target, before they are
          encoded
"""

import itertools
import statistics
import sys
import tempfile
import time
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np

from lookkit.look import Look
from lookkit.lutfile.cube import write_cube
from lookkit.media import work
from lookkit.media.clip import frames_of, planes_of, probe
from lookkit.media.codecs import CODECS
from lookkit.media.coding import Coding
from lookkit.media.jobs import Options, plan
from lookkit.media.run import run
from tests.benchmarks.noisy import noisy, scenes
from tests.media.movies import av, made_look, write_movie

ROUNDS = 5
RECIPE = """
schema = 1
name = "x"
extends = "warm-print"
[cameras.A]
encoding = "LogC4"
[outputs.monitor]
output = "Rec.709 BT.1886"
"""


@dataclass(frozen=True)
class Case:
    """A kind of clip."""

    name: str
    size: tuple[int, int]
    codec: str
    bits: int
    suffix: str
    options: dict[str, str]

    @property
    def form(self) -> str:
        """FFmpeg's pixel format."""
        return CODECS[self.codec].formats[self.bits]


CASES = (
    Case("HD ProRes", (1920, 1080), "prores-422-hq", 10, ".mov", {"profile": "3"}),
    Case("HD H.264", (1920, 1080), "h264", 8, ".mp4", {"crf": "16", "preset": "medium"}),
    Case("UHD ProRes", (3840, 2160), "prores-422-hq", 10, ".mov", {"profile": "3"}),
)


def source_of(look: Look, case: Case, folder: Path, frames: int) -> Path:
    """Write a clip: pictures in turn, each frame with noise of its own."""
    width, height = case.size
    coding = Coding("bt709", "legal", case.bits)
    matrix, offset = coding.from_rgb()
    kind = np.uint8 if case.bits == 8 else np.uint16
    light = dict(scenes(width, height))
    light = light.get("exr/Desk.exr", next(iter(light.values())))
    made = []
    for number in range(min(frames, 8)):
        code = noisy(look, "A", light, number)
        step = 2 ** (case.bits - 8)
        legal = (code * 219 * step + 16 * step) / coding.top
        planes = (legal @ matrix.T + offset) * 65535 / 2 ** (16 - case.bits)
        luma, *chroma = np.moveaxis(np.rint(planes).astype(kind), -1, 0)
        down = 2 if "420" in case.form else 1
        made.append([luma, *(plane[::down, ::2] for plane in chroma)])
    path = folder / f"{case.name.replace(' ', '-')}{case.suffix}"
    write_movie(
        path, [made[n % len(made)] for n in range(frames)], codec=CODECS[case.codec].encoder,
        form=case.form, options=case.options,
    )  # fmt: skip
    return path


def ffmpeg(case: Case, source: Path, target: Path, cube: Path) -> None:
    """Decode, grade with lut3d and encode, as FFmpeg does it by itself."""
    codec = CODECS[case.codec]
    with av.open(str(source)) as container, av.open(str(target), "w") as out:
        video = container.streams.video[0]
        video.codec_context.thread_type = "AUTO"
        stream = out.add_stream(codec.encoder, rate=24, options=dict(codec.options))
        stream.width, stream.height, stream.pix_fmt = video.width, video.height, case.form
        if codec.encoder == "prores_ks":
            stream.codec_context.thread_count, stream.codec_context.thread_type = 0, "AUTO"
        graph = av.filter.Graph()
        nodes = [
            graph.add("buffer", f"width={video.width}:height={video.height}"
                      f":pix_fmt={case.form}:time_base=1/24:colorspace=1:range=1"),
            graph.add("format", "gbrp16le"),
            graph.add("lut3d", f"file={cube}:interp=tetrahedral"),
            graph.add("format", case.form),
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


def check(look: Look, case: Case, source: Path) -> str:
    """Return how long the first frame waits, and the largest error of the first two."""
    clip = probe(source)
    (job,) = plan(look, [source], Options(camera="A", into=source.parent, overwrite=True)).jobs
    target = Coding("bt709", "legal", case.bits)
    made = tuple(np.empty((clip.height, clip.width), np.uint16) for _ in range(3))
    work._graders.clear()
    began, spent = time.perf_counter(), time.process_time()
    grader = work._grader(look, job, clip.coding, target, work.BOUNDED_PIXELS)
    pictures = (planes_of(frame.picture) for frame in frames_of(clip))
    first = next(pictures)
    grader.planes(first, made, clip.width)
    told = f"first {time.perf_counter() - began:.2f} s, {time.process_time() - spent:.2f} s of work"
    worst = 0.0
    rows, offset = clip.coding.to_rgb()
    back, zero = target.from_rgb()
    for picture in itertools.chain([first], itertools.islice(pictures, 1)):
        grader.planes(picture, made, clip.width)
        coded = np.stack([plane[::3, : clip.width : 2] for plane in picture], axis=-1) / 65535
        step, most = 2 ** (clip.coding.bits - 8), clip.coding.top
        code = ((coded @ rows.T + offset) * most - 16 * step) / (219 * step)
        graded = look.evaluate(code, camera="A", output="monitor")
        step = 2 ** (case.bits - 8)
        wanted = (graded * 219 * step + 16 * step) / target.top @ back.T + zero
        found = np.stack([plane[::3, ::2] for plane in made], axis=-1) / 65535
        off = np.abs(found - wanted).max() * 65535 / 2 ** (16 - case.bits)
        worst = max(worst, float(off))
    return f"{told}; worst {worst:.2f} codes"


def main() -> None:
    """Measure and print."""
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 4.0
    look = made_look(RECIPE)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        cube = folder / "look.cube"
        lattice = look.cube(camera="A", output="monitor", size=33)
        write_cube(cube, lattice, title="look", comments=(), decimals=8)
        for case in CASES:
            frames = max(8, round(seconds * 24 / (case.size[0] / 1920) ** 2))
            source = source_of(look, case, folder, frames)
            print(f"{case.name}, {frames} frames: {check(look, case, source)}")
            ratios, work_ratios = [], []
            for turn in range(ROUNDS):
                work._graders.clear()
                planned = plan(look, [source], Options(
                    camera="A", extension=case.suffix, codec=case.codec, bits=case.bits,
                    into=folder / f"{case.name}{turn}",
                ))  # fmt: skip
                began, spent = time.perf_counter(), time.process_time()
                (done,) = run(look, planned)
                ours, our_work = time.perf_counter() - began, time.process_time() - spent
                assert not done.problem
                began, spent = time.perf_counter(), time.process_time()
                ffmpeg(case, source, folder / f"ffmpeg{case.suffix}", cube)
                theirs, their_work = time.perf_counter() - began, time.process_time() - spent
                ratios.append(theirs / ours)
                work_ratios.append(their_work / our_work)
                print(
                    f"  ours {frames / ours:.2f}, FFmpeg {frames / theirs:.2f} frames/s, "
                    f"ratio {ratios[-1]:.2f}, by processor time {work_ratios[-1]:.2f}"
                )
            print(
                f"  median ratio {statistics.median(ratios):.2f}, "
                f"by processor time {statistics.median(work_ratios):.2f}"
            )


if __name__ == "__main__":
    main()

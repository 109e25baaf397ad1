"""A process of its own in which another library reads LUT files that nobody vouches for.

It is started by `lookkit.inspect.readers`, takes one job as JSON on standard input and
prints one JSON line a file. Whatever a broken file makes the library do (crash, hang, fill
the memory) ends with this process.
"""

from __future__ import annotations

import contextlib
import json
import os
import re
import sys
import warnings
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

Read = Callable[[Path, npt.NDArray[np.float64], bool], npt.NDArray[np.float64]]
"""Read a file and apply it to pixels (n, 3); True for a file of curves alone."""


def ocio(path: Path, pixels: npt.NDArray[np.float64], curves: bool) -> npt.NDArray[np.float64]:
    """Read with OpenColorIO, tetrahedral."""
    from lookkit.ocio import Processor, library

    lib = library()
    lib.ClearAllCaches()
    linear = lib.INTERP_LINEAR if curves else lib.INTERP_TETRAHEDRAL
    return Processor([lib.FileTransform(str(path), interpolation=linear)]).apply_exact(pixels)


def colour_science(
    path: Path, pixels: npt.NDArray[np.float64], curves: bool
) -> npt.NDArray[np.float64]:
    """Read with colour-science, tetrahedral."""
    import colour

    lib: Any = colour
    lut = lib.read_LUT(str(path))
    if lut is None:
        raise ValueError("nothing was read")
    interpolator = lib.algebra.table_interpolation_tetrahedral
    steps = lut.sequence if isinstance(lut, lib.LUTSequence) else [lut]
    out: Any = pixels
    for step in steps:
        if isinstance(step, lib.LUT3D):
            out = step.apply(out, interpolator=interpolator)
        else:
            out = step.apply(out)
    return np.asarray(out, dtype=np.float64)


def ffmpeg(path: Path, pixels: npt.NDArray[np.float64], curves: bool) -> npt.NDArray[np.float64]:
    """Read with FFmpeg's lut3d filter, tetrahedral, or its lut1d filter, through PyAV."""
    import av
    import av.filter
    import av.logging

    av.logging.set_level(av.logging.ERROR)
    rate = Fraction(1, 25)
    graph: Any = av.filter.Graph()
    source = graph.add_buffer(width=len(pixels), height=1, format="gbrpf32le", time_base=rate)
    if curves:
        lut = graph.add("lut1d", file=str(path), interp="linear")
    else:
        lut = graph.add("lut3d", file=str(path), interp="tetrahedral")
    sink = graph.add("buffersink")
    source.link_to(lut)
    lut.link_to(sink)
    graph.configure()
    picture = np.ascontiguousarray(pixels[None], dtype=np.float32)
    frame = av.VideoFrame.from_ndarray(picture, format="gbrpf32le")
    frame.time_base, frame.pts = rate, 0
    source.push(frame)
    taken: Any = sink.pull()
    return np.asarray(taken.to_ndarray()[0], dtype=np.float64)


def clf_io(path: Path, pixels: npt.NDArray[np.float64], curves: bool) -> npt.NDArray[np.float64]:
    """Read with colour-clf-io, and put the pixels through the numbers that it parsed."""
    from lookkit.inspect.clf_numbers import apply_clf

    return apply_clf(path, pixels)


def haldclut(path: Path, pixels: npt.NDArray[np.float64], curves: bool) -> npt.NDArray[np.float64]:
    """Read a picture of a lattice with FFmpeg's haldclut filter, tetrahedral, in 16 bits."""
    import av
    import av.filter
    import av.logging

    av.logging.set_level(av.logging.ERROR)
    with av.open(str(path)) as container:
        lattice = next(container.decode(video=0)).reformat(format="rgb48le")
    rate = Fraction(1, 25)
    graph: Any = av.filter.Graph()
    inputs = [
        graph.add_buffer(width=width, height=height, format="rgb48le", time_base=rate)
        for width, height in ((len(pixels), 1), (lattice.width, lattice.height))
    ]
    clut = graph.add("haldclut", interp="tetrahedral")
    sink = graph.add("buffersink")
    for index, source in enumerate(inputs):
        source.link_to(clut, 0, index)
    clut.link_to(sink)
    graph.configure()
    codes = np.rint(np.clip(pixels, 0.0, 1.0) * 65535.0).astype(np.uint16)
    picture = av.VideoFrame.from_ndarray(np.ascontiguousarray(codes[None]), format="rgb48le")
    for frame, source in ((picture, inputs[0]), (lattice, inputs[1])):
        frame.time_base, frame.pts = rate, 0
        source.push(frame)
        source.push(None)
    taken: Any = sink.pull().reformat(format="rgb48le")
    return np.asarray(taken.to_ndarray()[0], dtype=np.float64) / 65535.0


READS: dict[str, Read] = {
    "ocio": ocio,
    "colour": colour_science,
    "ffmpeg": ffmpeg,
    "clf-io": clf_io,
    "haldclut": haldclut,
}


def version(reader: str) -> str:
    """Return the name and version of a reader's library; ImportError if it is not there."""
    if reader == "ocio":
        import PyOpenColorIO

        return f"OpenColorIO {PyOpenColorIO.GetVersion()}"
    if reader == "colour":
        import colour as lib

        return f"colour-science {lib.__version__}"
    if reader == "clf-io":
        import colour_clf_io

        return f"colour-clf-io {colour_clf_io.__version__}"
    import av

    return "FFmpeg, libavfilter " + ".".join(str(n) for n in av.library_versions["libavfilter"])


def plain_reason(error: BaseException, path: Path) -> str:
    """Return a library's complaint in one line, without the path and its own format names."""
    text = str(error).replace(str(path), "")
    text = text.split("failed with:")[-1]
    text = re.split(r"Error is: |Error parsing [^(]*\(\)\.|Error parsing \.\w+ file\.", text)[-1]
    text = text.split("last error log:")[-1]
    text = "".join(letter if letter.isprintable() else " " for letter in text)
    text = re.sub(r"\b[A-Z]\w+ (?=\.\w+ LUT)", "", " ".join(text.split()))
    if not text or "Errno" in text:
        text = "invalid data"
    return text if len(text) <= 200 else text[:197] + "..."


def line_in(reason: str) -> int:
    """Return the line that a complaint names, or 0."""
    found = re.search(r"\bline[ (]*(\d{1,9})", reason, re.IGNORECASE)
    return int(found[1]) if found else 0


def _limit(memory: int, seconds: int) -> None:
    with contextlib.suppress(ImportError, ValueError, OSError):
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (memory, memory))
        resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def main() -> None:
    """Do the job on standard input."""
    job = json.load(sys.stdin)
    _limit(job["memory"], job["seconds"])
    # Libraries print to standard output too; our lines go where they cannot.
    answers = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)
    warnings.simplefilter("ignore")
    # colour-science does without matplotlib, and is imported in half the time.
    modules: dict[str, Any] = sys.modules
    modules["matplotlib"] = None
    try:
        named = version(job["reader"])
    except ImportError:
        return
    read = READS[job["reader"]]
    print(json.dumps({"library": named}), file=answers, flush=True)
    for one in job["files"]:
        path = Path(one["path"])
        answer: dict[str, str | None] = {"reason": None}
        try:
            with np.errstate(all="ignore"):
                pixels = read(path, np.load(one["pixels"]), one["curves"])
            np.save(one["result"], pixels)
        except MemoryError:
            answer = {"reason": "it needs too much memory"}
        except Exception as error:
            answer = {"reason": plain_reason(error, path)}
        print(json.dumps(answer), file=answers, flush=True)


if __name__ == "__main__":
    main()

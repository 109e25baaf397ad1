"""Who reads a LUT as it is meant, who misreads it and who refuses it: by really reading it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal

import numpy as np

from lookkit.spaces.working import Array

ReaderName = Literal["ocio", "colour", "ffmpeg", "clf-io", "haldclut"]
READERS: Final[tuple[ReaderName, ...]] = ("ocio", "colour", "ffmpeg")
"""Those that an inspection asks; a verification asks the others too."""
LIBRARIES: Final = {
    "ocio": "OpenColorIO",
    "colour": "colour-science",
    "ffmpeg": "FFmpeg (through PyAV)",
    "clf-io": "colour-clf-io",
    "haldclut": "FFmpeg's haldclut (through PyAV)",
}
EXTRAS: Final = {
    "ocio": "",
    "colour": ": lookkit[match]",
    "ffmpeg": ": lookkit[clips]",
    "clf-io": ": lookkit[verify]",
    "haldclut": ": lookkit[clips]",
}
"""What to install for each."""
ENDINGS: Final = {
    "ocio": None,
    "colour": (".cube", ".csp", ".spi1d", ".spi3d", ".spimtx"),
    "ffmpeg": (".cube", ".3dl", ".csp", ".m3d"),
    "clf-io": (".clf",),
    "haldclut": (".png",),
}
"""The endings that a reader knows; None for all that lookkit knows."""

TOLERANCE: Final = 1e-5
"""Largest difference that is rounding of 32-bit floats, for values up to 1."""
SECONDS: Final = 120
MEMORY: Final = 6 << 30
"""Limits of the process in which a library reads."""
_HOME: Final = str(Path(__file__).resolve().parents[2])

Verdict = Literal["same", "differs", "refuses", "not-its-format", "absent", "unknown"]


@dataclass(frozen=True)
class Job:
    """A file to be read and the pixels to apply it to.

    Attributes
    ----------
    pixels
        Inputs, shape (n, 3).
    curves
        Whether the file holds curves alone.
    """

    path: Path
    pixels: Array
    curves: bool


@dataclass(frozen=True, eq=False)
class Answer:
    """What a library did with a file.

    Attributes
    ----------
    library
        Name and version; "" if it is not installed.
    result
        Outputs, shape (n, 3), or None.
    reason
        Why there is no result.
    """

    library: str
    result: Array | None
    reason: str


@dataclass(frozen=True)
class Reading:
    """How a library reads a file, against lookkit's strict reading.

    Attributes
    ----------
    verdict
        "unknown" where lookkit itself could make nothing of the file, to compare with.
    difference
        Largest difference of any channel, in code values 0-1; None without a result.
    at, ours, theirs
        The input where they differ most, and the outputs there.
    """

    reader: ReaderName
    library: str
    verdict: Verdict
    difference: float | None = None
    at: tuple[float, ...] = ()
    ours: tuple[float, ...] = ()
    theirs: tuple[float, ...] = ()
    reason: str = ""

    def __str__(self) -> str:
        name = self.library or LIBRARIES[self.reader]
        if self.verdict == "same":
            return f"{name}: reads it" + (f"; {self.reason}" if self.reason else " alike")
        if self.verdict == "differs":
            by = (
                ""
                if self.difference is None
                else f", by up to {self.difference * 1023:.4g} ten-bit codes"
            )
            return (
                f"{name}: MISREADS it{by}: input {_numbers(self.at)} gives "
                f"{_numbers(self.theirs)}, {self.reason or 'not ' + _numbers(self.ours)}"
            )
        if self.verdict == "refuses":
            return f"{name}: refuses it ({self.reason})"
        if self.verdict == "absent":
            return f"{name}: not tried, it is not installed{EXTRAS[self.reader]}"
        if self.verdict == "unknown":
            return f"{name}: makes something of it, though its meaning is in doubt"
        return f"{name}: does not know this format"


def read_with(reader: ReaderName, jobs: Sequence[Job]) -> list[Answer]:
    """Read files with another library, in a process that may come to harm.

    A file on which the process crashes, or takes over two minutes, is answered as refused and
    the others are read by a new one.
    """
    answers: list[Answer] = []
    with tempfile.TemporaryDirectory(prefix="lookkit-") as name:
        folder = Path(name)
        entries = []
        for index, job in enumerate(jobs):
            pixels = folder / f"{index}.npy"
            np.save(pixels, job.pixels)
            entries.append(
                {
                    "path": str(job.path.absolute()),
                    "pixels": str(pixels),
                    "result": str(folder / f"{index}.result.npy"),
                    "curves": job.curves,
                }
            )
        while len(answers) < len(jobs):
            answers += _run(reader, entries[len(answers) :])
    return answers


def _run(reader: ReaderName, entries: list[dict[str, object]]) -> list[Answer]:
    job = {"reader": reader, "files": entries, "memory": MEMORY, "seconds": SECONDS}
    # One thread a library: each would take the address space of all cores.
    environment = os.environ | {
        "OPENBLAS_NUM_THREADS": "1",
        "OMP_NUM_THREADS": "1",
        # An empty part would be the working folder, where anything may lie.
        "PYTHONPATH": os.pathsep.join(filter(None, [_HOME, os.environ.get("PYTHONPATH")])),
    }
    library, ended = LIBRARIES[reader], "it crashed on the file"
    try:
        done = subprocess.run(
            [sys.executable, "-P", "-m", "lookkit.inspect.reader_process"],
            input=json.dumps(job).encode(),
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            timeout=SECONDS,
            env=environment,
            check=False,
        )
        text = done.stdout
        if not text and done.returncode == 0:
            return [Answer("", None, "not installed")] * len(entries)
    except subprocess.TimeoutExpired as late:
        text = late.stdout or b""
        ended = f"it took over {SECONDS} s"
    lines = [json.loads(line) for line in text.decode().splitlines() if line.endswith("}")]
    if lines:
        library = lines[0]["library"]
    answers = []
    for entry, line in zip(entries, lines[1:], strict=False):
        result = None if line["reason"] else np.load(str(entry["result"]))
        answers.append(Answer(library, result, line["reason"] or ""))
    if len(answers) < len(entries):
        answers.append(Answer(library, None, ended))
    return answers


def readings(
    path: Path, pixels: Array, ours: Array | None, curves: bool, readers: Sequence[ReaderName]
) -> list[Reading]:
    """Read a file with each library at once and compare with our own reading.

    Parameters
    ----------
    pixels
        Inputs within the LUT's domain, shape (n, 3).
    ours
        What lookkit makes of them, or None if it can make nothing of the file.
    """
    known = [name for name in readers if knows(name, path)]
    with ThreadPoolExecutor(max_workers=max(len(known), 1)) as pool:
        job = Job(path, pixels, curves)
        found = dict(
            zip(known, pool.map(lambda name: read_with(name, [job])[0], known), strict=True)
        )
    return [
        compare(name, pixels, ours, found[name])
        if name in found
        else Reading(name, "", "not-its-format")
        for name in readers
    ]


def knows(reader: ReaderName, path: Path) -> bool:
    """Whether a reader knows the ending of a file."""
    endings = ENDINGS[reader]
    return endings is None or path.suffix.lower() in endings


def compare(reader: ReaderName, pixels: Array, ours: Array | None, answer: Answer) -> Reading:
    """Compare what a library made of a file with what lookkit makes of it."""
    library, theirs = answer.library, answer.result
    if not library:
        return Reading(reader, "", "absent")
    if theirs is None:
        return Reading(reader, library, "refuses", reason=answer.reason)
    if ours is None:
        return Reading(reader, library, "unknown")
    if theirs.shape != ours.shape:
        return Reading(reader, library, "differs", reason="another number of channels")
    both_none = np.isnan(ours) & np.isnan(theirs)
    with np.errstate(invalid="ignore"):
        apart = np.where(both_none, 0.0, np.abs(ours - theirs)).max(axis=1)
    doubtful = np.isnan(apart)
    row = int(np.argmax(doubtful)) if doubtful.any() else int(np.argmax(apart))
    at, mine, other = _tuple(pixels[row]), _tuple(ours[row]), _tuple(theirs[row])
    difference, reason = None, ""
    verdict: Verdict = "differs"
    if doubtful[row] and np.isnan(ours[row]).any():
        reason = "where the file has no number"
    elif not doubtful.any():
        difference = float(apart[row])
        scale = max(1.0, float(np.nanmax(np.abs(ours), initial=0.0)))
        if difference <= TOLERANCE * scale:
            verdict = "same"
    return Reading(reader, library, verdict, difference, at, mine, other, reason)


def _tuple(values: Array) -> tuple[float, ...]:
    return tuple(float(value) for value in values)


def _numbers(values: Sequence[float]) -> str:
    return " ".join(f"{value:.4g}" for value in values)

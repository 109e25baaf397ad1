"""What other libraries make of every file of the corpus of bad .cube files, by running them.

    python -m tests.lutfile.who_reads_bad_cubes TABLE.md

writes the corpus into a temporary folder, has OpenColorIO, colour-science and FFmpeg (through
PyAV) read each file in processes of their own, compares the pixels with what lookkit's reader
finds meant, and writes one line a file. Nothing in the table is from memory: its head names
the versions that were run, and a library that is not installed has an empty column.

A cell says: `same`, the pixels agree; `differs`, it reads the file without complaint and gives
other pixels; `guesses`, it reads a file in which lookkit finds no certain meaning; `refuses`,
it gives an error; `refuses: it crashed`, and the like, if it came to harm.
"""

import sys
import tempfile
from pathlib import Path

from lookkit.inspect.function import function_of
from lookkit.inspect.inspection import probes
from lookkit.inspect.readers import LIBRARIES, READERS, Job, Reading, compare, read_with
from lookkit.lutfile.cube_scan import scan_cube
from lookkit.spaces.working import Array
from tests.lutfile.bad_cubes import BAD_CUBES, write

WORDS = {"same": "same", "differs": "differs", "unknown": "guesses", "absent": ""}
HARM = ("it crashed on the file", "it took over", "it needs too much memory")


def cell(reading: Reading) -> str:
    """One cell of the table."""
    if reading.verdict != "refuses":
        return WORDS[reading.verdict]
    return f"refuses: {reading.reason}" if reading.reason.startswith(HARM) else "refuses"


def jobs_of(paths: list[Path]) -> tuple[list[Job], list[Array | None]]:
    """The pixels to try each file with, and what lookkit makes of them."""
    functions = [function_of(scan_cube(path)) for path in paths]
    jobs = [
        Job(path, probes(function), function is not None and function.curves_only)
        for path, function in zip(paths, functions, strict=True)
    ]
    meant = [
        function(job.pixels) if function else None
        for job, function in zip(jobs, functions, strict=True)
    ]
    return jobs, meant


def readings_of(paths: list[Path]) -> dict[str, list[Reading]]:
    """What each library makes of each file."""
    jobs, meant = jobs_of(paths)
    return {
        name: [
            compare(name, job.pixels, ours, answer)
            for job, ours, answer in zip(jobs, meant, read_with(name, jobs), strict=True)
        ]
        for name in READERS
    }


def table(found: dict[str, list[Reading]]) -> str:
    """The table in Markdown."""
    named = {
        name: next((one.library for one in found[name] if one.library), LIBRARIES[name])
        for name in READERS
    }
    lines = [
        "| file | what is wrong | lookkit finds | " + " | ".join(named.values()) + " |",
        "|---|---|---|" + "---|" * len(READERS),
    ]
    for index, bad in enumerate(BAD_CUBES):
        codes = ", ".join(dict.fromkeys(code for _, code in bad.wrong))
        cells = " | ".join(cell(found[name][index]) for name in READERS)
        lines.append(f"| {bad.name} | {bad.about} | {codes} | {cells} |")
    lines.append("")
    for name in READERS:
        verdicts = [one.verdict for one in found[name]]
        counts = ", ".join(f"{verdicts.count(v)} {w}" for v, w in WORDS.items() if w)
        lines.append(f"{named[name]}: {counts}, {verdicts.count('refuses')} refuses.")
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        text = table(readings_of(write(Path(folder))))
    Path(sys.argv[1]).write_text(text, encoding="utf-8")

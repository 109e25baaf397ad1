"""A coverage-guided fuzzer for the LUT readers; needs atheris, and is no part of the test run.

    python -m tests.lutfile.fuzz CORPUS [libFuzzer options, such as -runs=1000000]
    python -m tests.lutfile.fuzz --keep CORPUS

The first form writes the good files and the corpus of bad .cube files into the folder CORPUS
as seeds and fuzzes all strict readers and the XML reader. The first byte of an input chooses
the reader, the rest is the file; what must hold of any reading is `check` of
`test_arbitrary_bytes.py`. The second form keeps the shortest inputs that between them reach
every line any input of CORPUS reaches, in `fuzzed.json`, which the test run replays.
"""

import json
import sys
import tempfile
from pathlib import Path
from types import FrameType
from typing import Any

ENDINGS = (".cube", ".clf", ".3dl", ".csp", ".spi1d", ".spi3d", ".cdl")
LONGEST = 4096
KEPT_LENGTH = 300


def ending_and_file(data: bytes) -> tuple[str, bytes]:
    """Split an input of the fuzzer."""
    return ENDINGS[data[0] % len(ENDINGS)], data[1:]


def seeds(folder: Path) -> None:
    """Write the seeds into a corpus folder."""
    from tests.lutfile.bad_cubes import BAD_CUBES
    from tests.lutfile.test_arbitrary_bytes import SEEDS

    folder.mkdir(parents=True, exist_ok=True)
    for ending, text in SEEDS.items():
        name = f"seed-good-{ending[1:]}"
        (folder / name).write_bytes(bytes([ENDINGS.index(ending)]) + text.encode())
    for bad in BAD_CUBES:
        if len(bad.data) < LONGEST:
            (folder / f"seed-{bad.name}").write_bytes(b"\x00" + bad.data)


def fuzz(arguments: list[str]) -> None:
    """Fuzz until the options say stop or something that must hold does not."""
    import atheris

    with atheris.instrument_imports(include=["lookkit.lutfile"]):
        from lookkit.lutfile.read import scan_lut
    from tests.lutfile.test_arbitrary_bytes import check

    folder = Path(arguments[0])
    seeds(folder)
    memory = Path("/dev/shm")
    place = tempfile.mkdtemp(dir=memory if memory.is_dir() else None)
    paths = {ending: Path(place, f"x{ending}") for ending in ENDINGS}

    def one(data: bytes) -> None:
        if data:
            ending, file = ending_and_file(data)
            paths[ending].write_bytes(file)
            check(scan_lut(paths[ending]))

    options = [f"-max_len={LONGEST}", "-timeout=10", "-rss_limit_mb=2048"]
    atheris.Setup([sys.argv[0], str(folder), *options, *arguments[1:]], one)
    atheris.Fuzz()


def keep(folder: Path) -> None:
    """Write the shortest inputs that reach every line that any input reaches."""
    from lookkit.lutfile.read import scan_lut
    from tests.lutfile.test_arbitrary_bytes import FOUND

    inputs = [path.read_bytes() for path in folder.iterdir() if not path.name.startswith("seed-")]
    kept: list[dict[str, str]] = []
    reached: set[tuple[str, str, int]] = set()
    with tempfile.TemporaryDirectory() as place:
        for data in sorted(inputs, key=lambda data: (len(data), data)):
            if not 1 < len(data) <= KEPT_LENGTH:
                continue
            ending, file = ending_and_file(data)
            path = Path(place, f"x{ending}")
            path.write_bytes(file)
            lines = {(ending, *line) for line in lines_run(lambda path=path: scan_lut(path))}
            if lines - reached:
                reached |= lines
                about = f"{ending[1:]}-{len(kept)}"
                kept.append({"about": about, "ending": ending, "hex": file.hex()})
    FOUND.write_text(json.dumps(kept, indent=0) + "\n", encoding="utf-8")
    print(f"{len(kept)} of {len(inputs)} inputs kept, which reach {len(reached)} lines")


def lines_run(work: Any) -> set[tuple[str, int]]:
    """The lines of the readers that `work` runs."""
    seen: set[tuple[str, int]] = set()

    def trace(frame: FrameType, event: str, _: Any) -> Any:
        name = Path(frame.f_code.co_filename)
        if name.parent.name != "lutfile":
            return None
        if event == "line":
            seen.add((name.name, frame.f_lineno))
        return trace

    sys.settrace(trace)
    try:
        work()
    finally:
        sys.settrace(None)
    return seen


if __name__ == "__main__":
    if sys.argv[1] == "--keep":
        keep(Path(sys.argv[2]))
    else:
        fuzz(sys.argv[1:])

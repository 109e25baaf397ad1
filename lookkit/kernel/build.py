"""All formulas as one C text, compiled for each kind of processor when the package is built."""

from __future__ import annotations

import hashlib
import importlib
import importlib.util
import platform
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Final

from lookkit.kernel.formula import FORMULAS
from lookkit.kernel.record import kernels

HERE: Final = Path(__file__).parent
PACKAGE: Final = HERE.parent
MODULES: Final = (
    "lookkit.nodes", "lookkit.spaces.curves", "lookkit.spaces.output", "lookkit.graph",
    "lookkit.matchfile.steps",
)  # fmt: skip
"""What is imported so that every formula is known."""
# Products joined with sums are a third faster; levels differ by thousandths of a ten-bit code.
LEVELS: Final = {
    2: ("-march=x86-64-v2",),
    3: ("-march=x86-64-v3", "-ffp-contract=fast"),
    4: ("-march=x86-64-v4", "-mprefer-vector-width=512", "-ffp-contract=fast"),
}
FLAGS: Final = (
    "-O3", "-std=c11", "-fPIC", "-shared", "-fvisibility=hidden",
    "-ffp-contract=off", "-fno-math-errno", "-fno-trapping-math",
)  # fmt: skip


def source_hash() -> str:
    """Return a hash of every file that the C depends on: what is compiled must match them."""
    digest = hashlib.sha256()
    for path in _sources():
        digest.update(path.relative_to(PACKAGE).as_posix().encode())
        digest.update(path.read_bytes().replace(b"\r\n", b"\n"))
    return digest.hexdigest()[:16]


def _sources() -> list[Path]:
    listed = [HERE / "maths.h", *HERE.glob("*.c"), HERE / "maths.py", HERE / "formula.py"]
    listed += [HERE / "record.py", HERE / "build.py"]
    for folder in ("nodes", "spaces/curves", "matchfile"):
        listed += (PACKAGE / folder).glob("*.py")
    names = ("oklab.py", "level.py", "encoding.py", "output.py")
    listed += [PACKAGE / "graph.py", *[PACKAGE / "spaces" / name for name in names]]
    return sorted(listed)


def c_text() -> str:
    """Return the whole C text."""
    for module in MODULES:
        importlib.import_module(module)
    made = [(name, text) for one in FORMULAS.values() for name, text in kernels(one)]
    parts = [
        (HERE / "maths.h").read_text(encoding="utf-8"),
        *[text for _, text in sorted(made)],
        *[path.read_text(encoding="utf-8") for path in sorted(HERE.glob("*.c"))],
        f'EXPORT const char *lookkit_source(void) {{ return "{source_hash()}"; }}\n',
    ]
    return "\n".join(parts)


def targets() -> Iterator[tuple[Path, Sequence[str]]]:
    """Yield each library's path on this kind of machine, and its own flags."""
    ending = {"win32": "dll", "darwin": "dylib"}.get(sys.platform, "so")
    if platform.machine().lower() in ("x86_64", "amd64"):
        for level, flags in LEVELS.items():
            yield HERE / f"compiled_{level}.{ending}", flags
    else:
        yield HERE / f"compiled_2.{ending}", ()


def compiler() -> list[str] | None:
    """Return the command of a C compiler: the machine's own, else that of the ziglang wheel."""
    for name in ("cc", "gcc", "clang"):
        if sys.platform != "win32" and shutil.which(name):
            return [name]
    if importlib.util.find_spec("ziglang") is not None:
        return [sys.executable, "-m", "ziglang", "cc"]
    return None


def compile_all() -> list[Path]:
    """Compile every library of this machine into this folder, and return their paths.

    A library that was compiled from the same text stays.

    Raises
    ------
    RuntimeError
        If there is no compiler, or it fails.
    """
    wanted = dict(targets())
    name = source_hash().encode()
    stale = [one for one in wanted if not one.is_file() or name not in one.read_bytes()]
    if stale:
        command = compiler()
        if command is None:
            raise RuntimeError("no C compiler")
        with tempfile.TemporaryDirectory() as folder, ThreadPoolExecutor() as workers:
            source = Path(folder) / "lookkit.c"
            source.write_text(c_text(), encoding="utf-8")
            list(workers.map(lambda one: _compile(command, source, one, wanted[one]), stale))
    return list(wanted)


def _compile(command: Sequence[str], source: Path, path: Path, flags: Sequence[str]) -> None:
    beside = source.parent / path.name
    march = [_of_zig(flag) if "ziglang" in command else flag for flag in flags]
    libraries = [] if sys.platform == "win32" else ["-lm"]
    run = [*command, *FLAGS, *march, "-o", str(beside), str(source), *libraries]
    done = subprocess.run(run, capture_output=True, text=True, check=False)
    if done.returncode:
        raise RuntimeError(f"the C compiler failed: {done.stderr.strip()[-2000:]}")
    shutil.copy(beside, path.with_name(f".{path.name}"))
    path.with_name(f".{path.name}").replace(path)


def _of_zig(flag: str) -> str:
    """Return a flag as the ziglang wheel's compiler takes it."""
    return flag.replace("-march=x86-64-v", "-mcpu=x86_64_v")


if __name__ == "__main__":
    for one in compile_all():
        print(one)

"""Compiles the C in `lookkit/kernel` when lookkit is built; `python hatch_build.py` does it here.

The compiler is $CC, one on the path, or else that of the `ziglang` wheel. Where none works the
wheel is made without: everything is computed by numpy then, right but slowly.
"""

from __future__ import annotations

import importlib.util
import os
import platform
import shutil
import subprocess
import sys
import sysconfig
from pathlib import Path
from typing import Any

try:
    from hatchling.builders.hooks.plugin.interface import BuildHookInterface
except ImportError:  # run by hand, where hatchling is not installed
    BuildHookInterface = object  # type: ignore[assignment, misc]

ROOT = Path(__file__).parent
SOURCES = ROOT / "lookkit" / "kernel"
COMPILED = SOURCES / "compiled"
# Never -ffast-math: NaN must be told from numbers.
FLAGS = ("-O3", "-std=gnu11", "-fno-math-errno", "-fno-trapping-math", "-fvisibility=hidden",
         "-shared")  # fmt: skip


def compiler() -> list[str]:
    """Return the command of a C compiler, or nothing."""
    named = os.environ.get("CC", "").split()
    for command in (named, ["cc"], ["gcc"], ["clang"]):
        if command and shutil.which(command[0]):
            return command
    if importlib.util.find_spec("ziglang") is not None:
        return [sys.executable, "-m", "ziglang", "cc"]
    return []


def compile_all() -> list[Path]:
    """Compile a library for each level of this machine's kind of processor; return them."""
    shutil.rmtree(COMPILED, ignore_errors=True)
    command = compiler()
    sources = [str(path) for path in sorted(SOURCES.glob("*.c"))]
    if not command:
        return []
    COMPILED.mkdir()
    levels = (2, 3, 4) if platform.machine().lower() in ("x86_64", "amd64") else (0,)
    suffix = {"Windows": ".dll", "Darwin": ".dylib"}.get(platform.system(), ".so")
    zig = "ziglang" in command
    made = []
    for level in levels:
        path = COMPILED / f"lookkit-{level}{suffix}"
        flags = list(FLAGS)
        if level:
            flags.append(f"-mcpu=x86_64_v{level}" if zig else f"-march=x86-64-v{level}")
        if suffix == ".so":
            flags += ["-fPIC", "-lm"]
        done = subprocess.run(
            [*command, *sources, "-o", str(path), *flags],
            capture_output=True, text=True, check=False,
        )  # fmt: skip
        if done.returncode:
            print(f"{path.name}: cannot be compiled\n{done.stderr}", file=sys.stderr)
            shutil.rmtree(COMPILED)
            return []
        made.append(path)
    for rest in COMPILED.iterdir():
        if rest not in made:
            rest.unlink()
    return made


class Compile(BuildHookInterface):  # type: ignore[misc, type-arg]
    """Puts the libraries into the wheel, which is then one for this platform."""

    PLUGIN_NAME = "custom"

    def dependencies(self) -> list[str]:
        """Return the compiler that the build needs where the machine has none."""
        return [] if compiler() else ["ziglang>=0.13"]

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Compile before the wheel, or the editable one, is put together."""
        if compile_all():
            build_data["artifacts"].append("lookkit/kernel/compiled/*")
            build_data["pure_python"] = False
            where = sysconfig.get_platform().replace("-", "_").replace(".", "_")
            build_data["tag"] = f"py3-none-{where}"


if __name__ == "__main__":
    print("\n".join(map(str, compile_all())) or "no C compiler was found")
